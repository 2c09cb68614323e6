//! Sensor samples, in SI units and in the axes of the craft.
//!
//! Each sample has an age in microseconds, the time since it was true. Inertial samples come on every
//! tick; the slow ones (pressure, GNSS, magnetic field) are present only on the tick on which a new one
//! arrives.

use crate::Rotors;
use crate::frames::{Body, Vector, World};

/// A slow sample: a value and its age.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Sample<T> {
    /// The measured value.
    pub value: T,
    /// Time in us since the value was true: the sensor's own delay and the transport.
    pub age_us: u32,
}

/// An inertial sample: the integrals of angular rate and specific force over an interval, in body axes.
///
/// A sensor that integrates its fast samples (coning and sculling compensated) gives the increments directly;
/// for one that gives rates, [`ImuSample::from_rates`] takes them as constant over the interval. The
/// estimators use the means over the interval, [`ImuSample::rate_rad_s`] and
/// [`ImuSample::specific_force_m_s2`].
///
/// ```
/// use aplomb::{ImuSample, frames::Vector};
/// let imu = ImuSample::from_rates(Vector::new(0.5, 0.0, 0.0), Vector::new(0.0, 0.0, -9.81), 1e-3);
/// assert!((imu.angle_increment_rad.x() - 5e-4).abs() < 1e-9);
/// assert!((imu.specific_force_m_s2().z() + 9.81).abs() < 1e-5 && imu.age_us == 0);
/// // Without an interval it is no measurement.
/// assert!(ImuSample::MISSING.rate_rad_s().x().is_nan());
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct ImuSample {
    /// Integral of the angular rate over the interval in rad: roll right, pitch nose up, yaw nose right
    /// positive.
    pub angle_increment_rad: Vector<Body>,
    /// Integral of the specific force over the interval in m/s: about (0, 0, -g interval) when stationary and
    /// level.
    pub velocity_increment_m_s: Vector<Body>,
    /// Length of the interval in s, greater than 0; usually one tick.
    pub interval_s: f32,
    /// Time in us from the end of the interval to this tick. The age of a sensor that has stopped grows.
    pub age_us: u32,
}

impl ImuSample {
    /// A sensor that is not fitted or has no sample yet: interval 0 and the largest age.
    pub const MISSING: Self = Self {
        angle_increment_rad: Vector::ZERO,
        velocity_increment_m_s: Vector::ZERO,
        interval_s: 0.0,
        age_us: u32::MAX,
    };

    /// From an angular rate in rad/s and a specific force in m/s2 that hold over `interval_s`, of age 0.
    #[inline]
    #[must_use]
    pub fn from_rates(rate_rad_s: Vector<Body>, specific_force_m_s2: Vector<Body>, interval_s: f32) -> Self {
        Self {
            angle_increment_rad: rate_rad_s * interval_s,
            velocity_increment_m_s: specific_force_m_s2 * interval_s,
            interval_s,
            age_us: 0,
        }
    }

    /// Mean angular rate in rad/s over the interval; not finite without an interval.
    #[inline]
    #[must_use]
    pub fn rate_rad_s(&self) -> Vector<Body> {
        self.angle_increment_rad * (1.0 / self.interval_s)
    }

    /// Mean specific force in m/s2 over the interval; not finite without an interval.
    #[inline]
    #[must_use]
    pub fn specific_force_m_s2(&self) -> Vector<Body> {
        self.velocity_increment_m_s * (1.0 / self.interval_s)
    }
}

/// Battery measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Battery {
    /// Voltage in V under the present load.
    pub voltage_v: f32,
    /// Current drawn in A.
    pub current_a: f32,
}

/// Position and velocity from a GNSS receiver, north-east-down in m from home (a latitude in `f32` resolves
/// only 0.4 m). Accuracies are those that the receiver states, one standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct GnssFix {
    /// Position in m from home.
    pub position_m: Vector<World>,
    /// Doppler velocity in m/s.
    pub velocity_m_s: Vector<World>,
    /// Accuracy of the position's north and east parts in m.
    pub horizontal_accuracy_m: f32,
    /// Accuracy of the position's down part in m.
    pub vertical_accuracy_m: f32,
    /// Accuracy of the velocity's north and east parts in m/s.
    pub horizontal_velocity_accuracy_m_s: f32,
    /// Accuracy of the velocity's down part in m/s.
    pub vertical_velocity_accuracy_m_s: f32,
}

/// All samples of one tick, from `N` (1 to 3) inertial sensors and `P` barometers.
///
/// All but the inertial samples may be absent permanently. Without pressure the height follows GNSS and the
/// air density is the configured one; without GNSS position and velocity are not valid and the position is
/// not held; without the magnetic field the heading drifts with the gyro; without rotor speeds the notches
/// follow the thrust curve; without the battery the thrust curve assumes its reference voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Sensors<const N: usize = 1, const P: usize = 1> {
    /// Inertial samples.
    #[cfg_attr(feature = "serde", serde(with = "crate::serde_array"))]
    pub imu: [ImuSample; N],
    /// Rotor speeds in rad/s, where the speed controllers report them.
    pub rotor_speed_rad_s: Option<Rotors<f32>>,
    /// Battery voltage and current.
    pub battery: Option<Battery>,
    /// Static pressure in Pa of each barometer that has a new sample.
    #[cfg_attr(feature = "serde", serde(with = "crate::serde_array"))]
    pub pressure_pa: [Option<Sample<f32>>; P],
    /// GNSS position and velocity.
    pub gnss: Option<Sample<GnssFix>>,
    /// Magnetic field in uT.
    pub magnetic_field_ut: Option<Sample<Vector<Body>>>,
}

impl<const N: usize, const P: usize> Sensors<N, P> {
    /// The same inertial sample for all `N` sensors and nothing else.
    #[must_use]
    pub const fn from_imu(imu: ImuSample) -> Self {
        Self {
            imu: [imu; N],
            rotor_speed_rad_s: None,
            battery: None,
            pressure_pa: [None; P],
            gnss: None,
            magnetic_field_ut: None,
        }
    }
}
