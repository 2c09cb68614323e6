//! The state of the whole controller, to be saved and restored.

use super::{AttitudeStageState, FlightController, GyroFiltersState, OuterState};
use crate::control::rate;
use crate::estimate::EstimatorState;
use crate::math::Math;
use crate::mix::ThrustCurveState;
use crate::record::Record;
use crate::{guard, pilot};

/// State of a [`FlightController`]: a controller of the same configuration that restores it continues bit for
/// bit. It holds no configuration.
///
/// Uses: a warm restart after a reset of the processor (kept in memory that the reset does not clear, with a
/// checksum), and simulations that branch from one state.
///
/// ```
/// # use aplomb::{Command, FlightController, ImuSample, Sensors, Spin, flight::{Airframe, Config}, frames::Vector, mix::Geometry};
/// # let geometry = Geometry::symmetric_x(0.16, 0.16, Spin::CounterClockwise, 0.012);
/// # let config = Config::for_airframe(&Airframe::new(1.2, [0.011, 0.012, 0.021], geometry, 6.5))?;
/// # let imu = ImuSample::from_rates(Vector::ZERO, Vector::new(0.0, 0.0, -9.8), 1e-3);
/// let mut first: FlightController = FlightController::new(&config)?;
/// first.step(&Sensors::from_imu(imu), &Command::IDLE);
/// let mut second: FlightController = FlightController::new(&config)?;
/// second.restore(&first.save());
/// first.step(&Sensors::from_imu(imu), &Command::IDLE);
/// second.step(&Sensors::from_imu(imu), &Command::IDLE);
/// assert_eq!(first.record(), second.record());
/// # Ok::<(), aplomb::ConfigError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct ControllerState<const N: usize = 1, const P: usize = 1> {
    estimator: EstimatorState<N, P>,
    guard: guard::State,
    pilot: pilot::State,
    velocity_ticks_left: u16,
    outer_loops: OuterState,
    attitude_ticks_left: u16,
    attitude: AttitudeStageState,
    gyro_filters: GyroFiltersState,
    rate: rate::State,
    thrust_curve: ThrustCurveState,
    imu_age_us: u32,
    record: Record,
}

impl<M: Math, const N: usize, const P: usize> FlightController<M, N, P> {
    /// The state after the last tick.
    #[must_use]
    pub fn save(&self) -> ControllerState<N, P> {
        ControllerState {
            estimator: self.estimator.save(),
            guard: self.guard.state(),
            pilot: self.pilot.state(),
            velocity_ticks_left: self.velocity_divider.ticks_left(),
            outer_loops: self.outer_loops.state(),
            attitude_ticks_left: self.attitude_divider.ticks_left(),
            attitude: self.attitude.state(),
            gyro_filters: self.gyro_filters.state(),
            rate: self.rate.state(),
            thrust_curve: self.thrust_curve.state(),
            imu_age_us: self.imu_age_us,
            record: self.record,
        }
    }

    /// Continues from a saved state of a controller with the same configuration.
    pub fn restore(&mut self, saved: &ControllerState<N, P>) {
        self.estimator.restore(&saved.estimator);
        self.guard.set_state(saved.guard);
        self.pilot.set_state(saved.pilot);
        self.velocity_divider.set_ticks_left(saved.velocity_ticks_left);
        self.outer_loops.set_state(saved.outer_loops);
        self.attitude_divider.set_ticks_left(saved.attitude_ticks_left);
        self.attitude.set_state(saved.attitude);
        self.gyro_filters.set_state(saved.gyro_filters);
        self.rate.set_state(saved.rate);
        self.thrust_curve.set_state(saved.thrust_curve);
        self.imu_age_us = saved.imu_age_us;
        self.record = saved.record;
    }
}
