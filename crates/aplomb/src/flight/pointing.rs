//! The attitude loop wired: where the thrust leans to body rates, in three links that can fall on different ticks.

use super::Config;
use super::outer::Outer;
use crate::control::attitude::{self, AttitudeController, Turn};
use crate::control::rate::SetPoint;
use crate::error::Part;
use crate::frames::{Attitude, Body, Vector};
use crate::math::Math;
use crate::{ConfigError, Demand, Limited, estimate};

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pointing<M> {
    attitude: AttitudeController<M>,
    state: attitude::State,
    target: Attitude,
    heading_rate_limited: bool,
    body_rate_limited: bool,
}

impl<M: Math> Pointing<M> {
    pub(super) fn new(config: &Config) -> Result<Self, ConfigError> {
        let period_s = f32::from(config.attitude_divider) / config.tick_hz;
        Ok(Self {
            attitude: AttitudeController::new(&config.attitude, period_s)
                .map_err(|error| error.within(Part::Attitude))?,
            state: attitude::State::new(),
            target: Attitude::LEVEL,
            heading_rate_limited: false,
            body_rate_limited: false,
        })
    }

    /// Forgets the past; until the loops run, the attitude asked for is the `present` one.
    #[inline(never)]
    pub(super) fn restart(&mut self, present: Attitude) {
        self.state = attitude::State::new();
        self.target = present;
        (self.heading_rate_limited, self.body_rate_limited) = (false, false);
    }

    /// First link: the attitude set-point.
    pub(super) fn aim(&mut self, outer: &Outer<M>, motion: &estimate::State) {
        let Turn { heading, limited } = self.attitude.turn(&mut self.state, outer.heading(), motion.attitude);
        self.heading_rate_limited = limited;
        self.target = self.attitude.target(&self.state, outer.down(heading), heading);
    }

    /// Second link: the reference moves on.
    pub(super) fn lead(&mut self, motion: &estimate::State, rate_rad_s: Vector<Body>) {
        self.attitude.lead(&mut self.state, self.target, motion.attitude, rate_rad_s);
    }

    /// Third link: body rate set-point and total thrust in N. A rate demand goes past the loop; the `latest` one counts,
    /// once the slow loops have taken the first one in.
    pub(super) fn follow(
        &mut self,
        outer: &Outer<M>,
        latest: &Demand,
        motion: &estimate::State,
        rate_rad_s: Vector<Body>,
    ) -> (SetPoint, f32) {
        if let Demand::Rates { .. } = outer.demand() {
            let demand = if let Demand::Rates { .. } = latest { latest } else { outer.demand() };
            if let Demand::Rates { rate_rad_s, thrust_n } = *demand {
                self.restart(motion.attitude);
                return (SetPoint { rate_rad_s, ..SetPoint::default() }, thrust_n);
            }
        }
        let output = self.attitude.follow(&mut self.state, motion.attitude, rate_rad_s);
        self.body_rate_limited = output.limited;
        (output.setpoint, outer.thrust_n(motion.attitude.cos_tilt()))
    }

    /// `limited` with what the limits of heading rate and body rate cut.
    pub(super) const fn limited(&self, limited: Limited) -> Limited {
        Limited { heading_rate: self.heading_rate_limited, body_rate: self.body_rate_limited, ..limited }
    }

    /// The attitude asked for.
    pub(super) const fn target(&self) -> Attitude {
        self.target
    }

    /// The attitude of the reference on its way there.
    pub(super) fn reference(&self) -> Attitude {
        self.state.reference().unwrap_or(self.target)
    }
}
