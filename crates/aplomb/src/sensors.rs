//! Samples in: what the controller may know, in SI units, each slow one with its age.

use crate::Rotors;
use crate::frames::{Body, Vector, World};

/// A value that was true `age_ticks` control ticks ago.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Sample<T> {
    /// What was measured.
    pub value: T,
    /// Control ticks since it was true.
    pub age_ticks: u16,
}

/// One inertial sample, turned into body axes.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct ImuSample {
    /// Angular rate in rad/s: roll right, pitch nose up, yaw nose right positive.
    pub gyro_rad_s: Vector<Body>,
    /// Specific force in m/s2: about (0, 0, -9.8) at rest and level.
    pub accel_m_s2: Vector<Body>,
    /// Control ticks since it was true; 0 for a sample of this tick. A sample that grows old has stopped arriving.
    pub age_ticks: u16,
}

/// Supply at the motors.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Battery {
    /// Voltage in V under the present load.
    pub voltage_v: f32,
    /// Current drawn in A.
    pub current_a: f32,
}

/// A satellite receiver's fix, in north-east-down metres from home (a latitude in `f32` resolves only 0.4 m).
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Receiver {
    /// Position in m from home.
    pub position_m: Vector<World>,
    /// Doppler velocity in m/s.
    pub velocity_m_s: Vector<World>,
    /// Stated horizontal accuracy of the position in m, one standard deviation.
    pub position_accuracy_m: f32,
    /// Stated accuracy of the velocity in m/s, one standard deviation.
    pub velocity_accuracy_m_s: f32,
}

/// Everything sensed for one tick, with `N` (1 to 3) inertial sensors.
///
/// All but the inertial samples may be absent for good. Without pressure the height follows the receiver; without
/// the receiver the place is not held and the velocity is not known; without the field the heading drifts with the
/// gyro; without rotor speeds the notches follow the thrust curve; without the battery the thrust curve assumes its
/// reference voltage.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sensors<const N: usize = 1> {
    /// Inertial samples.
    pub imu: [ImuSample; N],
    /// Rotor speeds in rad/s, where the speed controllers report them.
    pub rotor_speed_rad_s: Option<Rotors<f32>>,
    /// Battery voltage and current.
    pub battery: Option<Battery>,
    /// Static pressure in Pa, on the tick a new sample arrives.
    pub pressure_pa: Option<Sample<f32>>,
    /// Satellite receiver, on the tick a new fix arrives.
    pub receiver: Option<Sample<Receiver>>,
    /// Magnetic field in uT, on the tick a new sample arrives.
    pub field_ut: Option<Sample<Vector<Body>>>,
}

impl<const N: usize> Sensors<N> {
    /// The same inertial sample for all `N` sensors and nothing else.
    #[must_use]
    pub const fn from_imu(imu: ImuSample) -> Self {
        Self {
            imu: [imu; N],
            rotor_speed_rad_s: None,
            battery: None,
            pressure_pa: None,
            receiver: None,
            field_ut: None,
        }
    }
}
