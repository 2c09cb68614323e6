//! The stabilised camera of a flight: the simulated gimbal and the control crate's gimbal controller.

use aplomb::Libm;
use aplomb::frames::{Heading, Vector};
use aplomb::gimbal::{self, Angle, Joints, LineOfSight};
use aplomb::record::Record;
use aplomb_craft::gimbal::{self as plant, BaseMotion, Config};
use aplomb_craft::glam::{DMat3, DVec3};

use crate::error::FlyError;
use crate::signal::Signal;
use crate::trace::Camera;

/// Share of the travel that the gimbal controller uses. The rest is a margin to the end stops.
const TRAVEL_SHARE: f64 = 0.95;

/// Gimbal and gimbal controller. The line of sight follows the heading set-point of the craft at a fixed
/// elevation.
#[derive(Clone, Debug)]
pub struct StabilisedCamera {
    plant: plant::Gimbal,
    controller: gimbal::Gimbal<Libm>,
    setpoint: LineOfSight,
    torque_nm: [f64; 3],
    pixels_per_deg: f64,
}

impl StabilisedCamera {
    /// A camera stationary relative to its base, with the line of sight along the nose.
    ///
    /// # Errors
    /// A gimbal that cannot be simulated or stabilised.
    pub fn new(
        config: &Config,
        base: &BaseMotion,
        elevation_deg: f64,
        seed: u64,
        tick_hz: f32,
    ) -> Result<Self, FlyError> {
        let [yaw, roll, pitch] = config.travel_rad.map(|travel| (TRAVEL_SHARE * travel) as f32);
        let tick_s = 1.0 / f64::from(tick_hz);
        let settings = gimbal::Config::for_camera(
            config.inertia_kg_m2.map(|moment| moment as f32),
            Joints { yaw, roll, pitch },
            config.stall_torque_nm as f32,
            config.delay_s as f32,
            tick_s as f32,
        )?;
        Ok(Self {
            plant: plant::Gimbal::new(config, base, seed, tick_s)?,
            controller: gimbal::Gimbal::new(&settings, tick_s as f32)?,
            setpoint: LineOfSight {
                heading: Heading::NORTH,
                elevation: Angle::from_rad::<Libm>(elevation_deg.to_radians() as f32),
            },
            torque_nm: [0.0; 3],
            pixels_per_deg: config.pixels_per_deg(),
        })
    }

    /// One tick of the gimbal controller, after that of the flight controller.
    pub fn step(&mut self, record: &Record) {
        let sensed = self.plant.sense();
        let [x, y, z] = sensed.gyro_rad_s.to_array().map(|rate| rate as f32);
        let [yaw, roll, pitch] = sensed.joints.map(|joint| {
            let angle = Angle::from_sine_cosine::<Libm>(joint.sine as f32, joint.cosine as f32);
            angle.unwrap_or(Angle::ZERO)
        });
        let readings =
            gimbal::Readings { gyro_rad_s: Vector::new(x, y, z), joints: Joints { yaw, roll, pitch } };
        if let Some(heading) = record.attitude.attitude_setpoint.heading::<Libm>() {
            self.setpoint.heading = heading;
        }
        let craft = record.estimate.attitude;
        let Joints { yaw, roll, pitch } = self.controller.step(&readings, craft, &self.setpoint).torque_nm;
        self.torque_nm = [yaw, roll, pitch].map(f64::from);
    }

    /// One tick of the simulated gimbal; `base` is the motion of the craft at the end of the tick.
    pub fn advance(&mut self, base: &BaseMotion) {
        self.plant.advance(self.torque_nm, base);
    }

    /// Line of sight and its errors.
    #[must_use]
    pub fn row(&self) -> Camera {
        let camera = DMat3::from_quat(self.plant.attitude());
        let sight = camera.x_axis;
        let heading = libm::atan2(sight.y, sight.x);
        let setpoint =
            libm::atan2(f64::from(self.setpoint.heading.east()), f64::from(self.setpoint.heading.north()));
        let elevation = libm::asin((-sight.z).clamp(-1.0, 1.0));
        let level = DVec3::new(-sight.y, sight.x, 0.0).normalize_or_zero();
        let roll = libm::atan2(camera.y_axis.z, camera.y_axis.dot(level));
        let [yaw, joint_roll, pitch] = self.plant.sense().joints.map(|joint| joint.angle_rad().to_degrees());
        let elevation_setpoint = f64::from(self.setpoint.elevation.sine());
        Camera {
            heading_error_deg: crate::angle::half_turn((heading - setpoint).to_degrees()),
            elevation_deg: elevation.to_degrees(),
            elevation_error_deg: (elevation - libm::asin(elevation_setpoint)).to_degrees(),
            roll_deg: roll.to_degrees(),
            joint_deg: [yaw, joint_roll, pitch],
            at_stop: self.plant.at_stop(),
            pixels_per_deg: self.pixels_per_deg,
        }
    }
}

/// `craft` without its camera where no signal of `signals` is of the camera. The camera does not act on the
/// craft, so the rest of the flight is the same bit for bit.
#[must_use]
pub fn only_if_judged(
    craft: &aplomb_craft::Config,
    mut signals: impl Iterator<Item = Signal>,
) -> aplomb_craft::Config {
    let gimbal = craft.gimbal.filter(|_| signals.any(Signal::is_of_camera));
    aplomb_craft::Config { gimbal, ..*craft }
}
