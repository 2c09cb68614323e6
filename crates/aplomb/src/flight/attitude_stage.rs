//! The attitude stage: thrust direction to body rates and total thrust, on every `attitude_divider`-th tick.
//!
//! ```text
//! heading demand -> rate limiter -> heading set-point -+
//!                                                      +-> attitude set-point -> attitude controller -> body rates
//! thrust direction ------------------------------------+
//! vertical specific force, present tilt --------------------------------------------------------------> total thrust
//! ```
//!
//! The inertial sensor's own filter delays its rates by d, so their integral is the attitude of d ago. The
//! attitude that is controlled is predicted over d with the present rate: `q exp(w d/2)`.

use super::Config;
use super::outer_loops::OuterOutput;
use crate::control::attitude::{self, AttitudeController};
use crate::control::heading::{self, HeadingRateLimiter};
use crate::control::rate::RateSetpoint;
use crate::control::thrust_vector::ThrustVector;
use crate::error::Part;
use crate::frames::{Attitude, Body, Vector};
use crate::math::{Libm, Math};
use crate::{ConfigError, Limited, estimate};

/// Output of an [`AttitudeStage`], and the demand on the rate controller.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct AttitudeOutput {
    /// Attitude set-point.
    pub attitude_setpoint: Attitude,
    /// Attitude of the reference, which moves to the set-point.
    pub attitude_reference: Attitude,
    /// Set-point of the rate controller.
    pub rate_setpoint: RateSetpoint,
    /// Total thrust in N.
    pub thrust_n: f32,
    /// `heading_rate` and `body_rate` are set here.
    pub limited: Limited,
}

impl AttitudeOutput {
    /// Constant body rates in rad/s and total thrust in N, without an attitude set-point: it is the `present`
    /// attitude.
    #[must_use]
    pub fn rates(rate_rad_s: Vector<Body>, thrust_n: f32, present: Attitude) -> Self {
        Self {
            attitude_setpoint: present,
            attitude_reference: present,
            rate_setpoint: RateSetpoint::constant(rate_rad_s),
            thrust_n,
            limited: Limited::NONE,
        }
    }
}

/// Heading rate limiter and attitude controller, with the prediction over the delay of the inertial sensor
/// and the compensation of the thrust for the tilt.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AttitudeStage<M = Libm> {
    heading: HeadingRateLimiter<M>,
    controller: AttitudeController<M>,
    thrust: ThrustVector<M>,
    imu_delay_s: f32,
}

/// State of an [`AttitudeStage`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct AttitudeStageState {
    heading: heading::State,
    controller: attitude::State,
}

impl<M: Math> AttitudeStage<M> {
    /// From the whole configuration; the period is that of `attitude_divider` ticks.
    ///
    /// # Errors
    /// Names the field and the part.
    pub fn new(config: &Config) -> Result<Self, ConfigError> {
        let period_s = f32::from(config.attitude_divider) / config.tick_hz;
        let within = |error: ConfigError| error.within(Part::Attitude);
        let controller = AttitudeController::new(&config.attitude, period_s).map_err(within)?;
        let limiter = heading::Config { rate_limit_rad_s: config.attitude.heading.rate_limit_rad_s };
        Ok(Self {
            heading: HeadingRateLimiter::new(&limiter, period_s).map_err(within)?,
            controller,
            thrust: ThrustVector::new(&config.thrust).map_err(|error| error.within(Part::Thrust))?,
            imu_delay_s: config.imu_delay_s,
        })
    }

    /// One period, with the filtered body rate in rad/s.
    #[must_use]
    pub fn step(
        &mut self,
        outer: &OuterOutput,
        motion: &estimate::State,
        rate_rad_s: Vector<Body>,
    ) -> AttitudeOutput {
        let attitude = motion.attitude.rotated(motion.rate_rad_s * self.imu_delay_s);
        let heading = self.heading.step(outer.heading, attitude);
        let down = outer.direction.down::<M>(heading.heading);
        // The attitude is undetermined when the down axis is horizontal and perpendicular to the heading: the
        // reference is kept.
        let attitude_setpoint = Attitude::from_down_and_heading::<M>(down, heading.heading)
            .unwrap_or_else(|| self.controller.reference().unwrap_or(attitude));
        let output = self.controller.step(attitude_setpoint, attitude, rate_rad_s);
        AttitudeOutput {
            attitude_setpoint,
            attitude_reference: output.reference,
            rate_setpoint: output.rate_setpoint,
            thrust_n: self.thrust.total_n(outer.up_m_s2, attitude.cos_tilt()),
            limited: Limited { heading_rate: heading.limited, body_rate: output.limited, ..Limited::NONE },
        }
    }

    /// Heading set-point and reference start at the attitude of the next step.
    pub fn reset(&mut self) {
        self.set_state(AttitudeStageState::default());
    }

    /// The state, to be saved.
    #[must_use]
    pub const fn state(&self) -> AttitudeStageState {
        AttitudeStageState { heading: self.heading.state(), controller: self.controller.state() }
    }

    /// Continues from a saved state.
    pub const fn set_state(&mut self, state: AttitudeStageState) {
        self.heading.set_state(state.heading);
        self.controller.set_state(state.controller);
    }
}
