//! The camera in its mount during a flight: the craft's mount, and the control crate's stabiliser that points it.

use aplomb::frames::{Heading, Vector};
use aplomb::gimbal::{self, Angle, Gimbal, Joints, LineOfSight};
use aplomb::{FlightController, Math};
use aplomb_craft::camera_mount::{CameraMount, Carrier, Config};
use aplomb_craft::glam::{DMat3, DVec3};

use crate::fly::FlyError;
use crate::input::signal::Signal;
use crate::trace::Camera;

/// Share of the travel that the stabiliser uses: the rest keeps it off the stops.
const TRAVEL_SHARE: f64 = 0.95;

/// Mount and stabiliser. The camera looks along the heading that the craft is asked to have, at a fixed elevation.
#[derive(Clone, Debug)]
pub struct StabilisedCamera<M> {
    mount: CameraMount,
    gimbal: Gimbal<M>,
    wanted: LineOfSight,
    torque_nm: [f64; 3],
    pixels_per_deg: f64,
}

impl<M: Math> StabilisedCamera<M> {
    /// At rest on its carrier, looking along the nose.
    ///
    /// # Errors
    /// A mount that cannot be simulated or stabilised.
    pub fn new(
        config: &Config,
        carrier: &Carrier,
        elevation_deg: f64,
        seed: u64,
        tick_hz: f32,
    ) -> Result<Self, FlyError> {
        let [yaw, roll, pitch] = config.travel_rad.map(|travel| (TRAVEL_SHARE * travel) as f32);
        let tick_s = 1.0 / f64::from(tick_hz);
        let gains = gimbal::Config::for_camera(
            config.inertia_kg_m2.map(|moment| moment as f32),
            Joints { yaw, roll, pitch },
            config.stall_nm as f32,
            config.delay_s as f32,
            tick_s as f32,
        )?;
        Ok(Self {
            mount: CameraMount::new(config, carrier, seed, tick_s)?,
            gimbal: Gimbal::new(&gains, tick_s as f32)?,
            wanted: LineOfSight {
                heading: Heading::NORTH,
                elevation: Angle::from_rad::<aplomb::Libm>(elevation_deg.to_radians() as f32),
            },
            torque_nm: [0.0; 3],
            pixels_per_deg: config.pixels_per_deg(),
        })
    }

    /// The stabiliser's tick, after the controller's.
    pub fn step(&mut self, controller: &FlightController<M>) {
        let sensed = self.mount.sense();
        let [x, y, z] = sensed.gyro_rad_s.to_array().map(|rate| rate as f32);
        let [yaw, roll, pitch] = sensed.joints.map(|joint| {
            let angle = Angle::from_sine_cosine::<aplomb::Libm>(joint.sine as f32, joint.cosine as f32);
            angle.unwrap_or(Angle::ZERO)
        });
        let readings =
            gimbal::Readings { gyro_rad_s: Vector::new(x, y, z), joints: Joints { yaw, roll, pitch } };
        if let Some(heading) = controller.attitude_setpoint().heading::<M>() {
            self.wanted.heading = heading;
        }
        let craft = controller.state().attitude;
        let Joints { yaw, roll, pitch } = self.gimbal.step(&readings, craft, &self.wanted).torque_nm;
        self.torque_nm = [yaw, roll, pitch].map(f64::from);
    }

    /// The mount's tick, with the craft moving as `carrier` at its end.
    pub fn advance(&mut self, carrier: &Carrier) {
        self.mount.advance(self.torque_nm, carrier);
    }

    /// Where the camera looks, against where it should.
    #[must_use]
    pub fn row(&self) -> Camera {
        let camera = DMat3::from_quat(self.mount.attitude());
        let sight = camera.x_axis;
        let heading = libm::atan2(sight.y, sight.x);
        let wanted =
            libm::atan2(f64::from(self.wanted.heading.east()), f64::from(self.wanted.heading.north()));
        let elevation = libm::asin((-sight.z).clamp(-1.0, 1.0));
        let level = DVec3::new(-sight.y, sight.x, 0.0).normalize_or_zero();
        let roll = libm::atan2(camera.y_axis.z, camera.y_axis.dot(level));
        let [yaw, joint_roll, pitch] = self.mount.sense().joints.map(|joint| joint.angle_rad().to_degrees());
        let elevation_wanted = f64::from(self.wanted.elevation.sine());
        Camera {
            heading_error_deg: crate::signals::half_turn((heading - wanted).to_degrees()),
            elevation_deg: elevation.to_degrees(),
            elevation_error_deg: (elevation - libm::asin(elevation_wanted)).to_degrees(),
            roll_deg: roll.to_degrees(),
            joint_deg: [yaw, joint_roll, pitch],
            at_stop: self.mount.at_stop(),
            pixels_per_deg: self.pixels_per_deg,
        }
    }
}

/// `craft` for a flight that is judged by `signals` alone: without its camera where none of them is of the camera. Nothing else
/// hangs on it, so that the flight is the same bit for bit.
#[must_use]
pub fn only_if_judged(
    craft: &aplomb_craft::Config,
    mut signals: impl Iterator<Item = Signal>,
) -> aplomb_craft::Config {
    let camera_mount = craft.camera_mount.filter(|_| signals.any(Signal::is_of_camera));
    aplomb_craft::Config { camera_mount, ..*craft }
}
