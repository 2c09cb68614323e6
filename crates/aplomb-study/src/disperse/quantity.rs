//! Quantities of the truth that can vary.

use aplomb_craft::{AirConfig, Config, Rotors};

use super::Dispersion;

/// A drawn craft in its air.
#[derive(Clone, Debug, PartialEq)]
pub struct Truth {
    /// The craft.
    pub craft: Config,
    /// The air.
    pub air: AirConfig,
    /// Actual over nominal speed of each motor.
    pub motor_share: Rotors<f64>,
}

/// Declares the quantities: key in files, description, unit, default dispersion, effect of a draw on the
/// truth.
macro_rules! quantities {
    ($($(#[doc = $doc:literal])+ $name:ident = $key:literal, $unit:literal, $dispersion:expr, $apply:expr;)+) => {
        /// A quantity that may vary. Those in per cent change the nominal value by a factor, the others are
        /// added to it.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum Quantity {
            $($(#[doc = $doc])+ $name,)+
        }

        impl Quantity {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$name),+];

            /// Name in files and results.
            #[must_use]
            pub const fn key(self) -> &'static str {
                match self { $(Self::$name => $key),+ }
            }

            /// Description, in one line.
            #[must_use]
            pub const fn meaning(self) -> &'static str {
                match self { $(Self::$name => concat!($($doc),+)),+ }
            }

            /// Unit of a draw.
            #[must_use]
            pub const fn unit(self) -> &'static str {
                match self { $(Self::$name => $unit),+ }
            }

            /// Default dispersion: plausible, no source; for delay and motor time constant the customary 50
            /// %.
            #[must_use]
            pub const fn default_dispersion(self) -> Dispersion {
                match self { $(Self::$name => $dispersion),+ }
            }

            /// Applies a draw to the truth.
            pub fn apply(self, draw: f64, truth: &mut Truth) {
                let apply: fn(f64, &mut Truth) = match self { $(Self::$name => $apply),+ };
                apply(draw, truth);
            }
        }
    };
}

use Dispersion::{Normal, Triangular, Uniform};

/// Factor of a draw in per cent.
fn by(percent: f64) -> f64 {
    1.0 + percent / 100.0
}

quantities! {
    /// Total mass.
    Mass = "mass_percent", "%", Uniform(5.0), |d, t| t.craft.mass_kg *= by(d);
    /// Moment of inertia about the roll axis.
    InertiaRoll = "inertia_roll_percent", "%", Uniform(10.0), |d, t| t.craft.inertia_kg_m2[0][0] *= by(d);
    /// Moment of inertia about the pitch axis.
    InertiaPitch = "inertia_pitch_percent", "%", Uniform(10.0), |d, t| t.craft.inertia_kg_m2[1][1] *= by(d);
    /// Moment of inertia about the yaw axis.
    InertiaYaw = "inertia_yaw_percent", "%", Uniform(10.0), |d, t| t.craft.inertia_kg_m2[2][2] *= by(d);
    /// Centre of mass, forward.
    CentreForward = "centre_forward_mm", "mm", Uniform(4.0), |d, t| shift(t, [1e-3 * d, 0.0, 0.0]);
    /// Centre of mass, to the right.
    CentreRight = "centre_right_mm", "mm", Uniform(4.0), |d, t| shift(t, [0.0, 1e-3 * d, 0.0]);
    /// Centre of mass, downwards.
    CentreDown = "centre_down_mm", "mm", Uniform(8.0), |d, t| shift(t, [0.0, 0.0, 1e-3 * d]);
    /// Speed of the front left motor at a command.
    MotorFrontLeft = "motor_front_left_percent", "%", Normal(1.5), |d, t| t.motor_share.front_left *= by(d);
    /// Speed of the front right motor at a command.
    MotorFrontRight = "motor_front_right_percent", "%", Normal(1.5), |d, t| t.motor_share.front_right *= by(d);
    /// Speed of the rear left motor at a command.
    MotorRearLeft = "motor_rear_left_percent", "%", Normal(1.5), |d, t| t.motor_share.rear_left *= by(d);
    /// Speed of the rear right motor at a command.
    MotorRearRight = "motor_rear_right_percent", "%", Normal(1.5), |d, t| t.motor_share.rear_right *= by(d);
    /// Time constant of the motors, by the inertia of their rotors.
    MotorTimeConstant = "motor_time_constant_percent", "%", Uniform(50.0), |d, t| t.craft.rotor.inertia_kg_m2 *= by(d);
    /// Resistance of the motors.
    MotorResistance = "motor_resistance_percent", "%", Uniform(15.0), |d, t| t.craft.rotor.resistance_ohm *= by(d);
    /// Thrust of the propellers at a speed.
    PropellerThrust = "propeller_thrust_percent", "%", Normal(3.0), |d, t| t.craft.rotor.thrust_n_s2 *= by(d);
    /// Torque of the propellers at a speed.
    PropellerTorque = "propeller_torque_percent", "%", Normal(5.0), |d, t| t.craft.rotor.torque_nm_s2 *= by(d);
    /// Charge of the battery at the start, additive, limited to full.
    BatteryCharge = "battery_charge_percent", "% of full", Triangular(20.0), |d, t| {
        let charge = &mut t.craft.battery.state_of_charge;
        *charge = (*charge + d / 100.0).clamp(0.05, 1.0);
    };
    /// Resistance of the battery with its leads.
    BatteryResistance = "battery_resistance_percent", "%", Uniform(30.0), |d, t| {
        t.craft.battery.resistance_ohm *= by(d);
    };
    /// Delays of the speed controllers and of the inertial sensor.
    Delay = "delay_percent", "%", Uniform(50.0), |d, t| {
        t.craft.speed_controller.delay_s *= by(d);
        if let Some(imu) = &mut t.craft.sensors.imu {
            imu.delay_s *= by(d);
        }
    };
    /// White noise and turn-on bias of the gyro.
    Gyro = "gyro_errors_percent", "%", Uniform(50.0), |d, t| if let Some(imu) = &mut t.craft.sensors.imu {
        imu.gyro.noise_rad_s_rthz *= by(d);
        imu.gyro.turn_on_bias_rad_s *= by(d);
    };
    /// White noise and turn-on bias of the accelerometer.
    Accelerometer = "accelerometer_errors_percent", "%", Uniform(50.0), |d, t| {
        if let Some(imu) = &mut t.craft.sensors.imu {
            imu.accel.noise_m_s2_rthz *= by(d);
            imu.accel.turn_on_bias_m_s2 *= by(d);
        }
    };
    /// Imbalance of motors and propellers.
    Imbalance = "imbalance_percent", "%", Uniform(100.0), |d, t| t.craft.rotor.imbalance_kg_m *= by(d);
    /// White noise of the barometer.
    Barometer = "barometer_noise_percent", "%", Uniform(50.0), |d, t| {
        if let Some(barometer) = &mut t.craft.sensors.barometer {
            barometer.white_noise_m *= by(d);
        }
    };
    /// White noise of the GNSS position.
    Gnss = "gnss_noise_percent", "%", Uniform(50.0), |d, t| {
        if let Some(gnss) = &mut t.craft.sensors.gnss {
            gnss.white_noise_m *= by(d);
        }
    };
    /// Drag of body and rotors.
    Drag = "drag_percent", "%", Uniform(30.0), |d, t| {
        let drag = &mut t.craft.drag;
        for value in drag.rotor_drag_per_s.iter_mut().chain(&mut drag.drag_area_m2).chain(&mut drag.body_drag_n_s_m) {
            *value *= by(d);
        }
    };
    /// Temperature of the air, with its effect on density.
    Temperature = "temperature_k", "K", Uniform(15.0), |d, t| t.air.temperature_offset_k += d;
    /// Strength of winds and gusts.
    Wind = "wind_percent", "%", Uniform(10.0), |d, t| {
        t.air.winds.iter_mut().for_each(|wind| wind.speed_m_s *= by(d));
        t.air.gusts.iter_mut().for_each(|gust| gust.peak_m_s *= by(d));
        if let Some(u20_m_s) = &mut t.air.u20_m_s {
            *u20_m_s *= by(d);
        }
    };
    /// Strength of the turbulence.
    Turbulence = "turbulence_percent", "%", Uniform(10.0), |d, t| {
        if let Some(turbulence) = &mut t.air.turbulence {
            turbulence.u20_m_s *= by(d);
        }
    };
}

/// Moves the centre of mass: everything that is given from it moves the other way. The landing gear stays
/// under it.
fn shift(truth: &mut Truth, by_m: [f64; 3]) {
    let Config { arms, sensors, .. } = &mut truth.craft;
    for arm in [&mut arms.front_left, &mut arms.front_right, &mut arms.rear_left, &mut arms.rear_right] {
        arm.x_m -= by_m[0];
        arm.y_m -= by_m[1];
        arm.z_m -= by_m[2];
    }
    let places = sensors.imu.as_mut().map(|imu| &mut imu.position_m).into_iter();
    for place in places.chain(sensors.gnss.as_mut().map(|gnss| &mut gnss.position_m)) {
        place.iter_mut().zip(by_m).for_each(|(at, by)| *at -= by);
    }
}
