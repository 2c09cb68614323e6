//! The slow loops wired: demand to where the thrust leans.
//!
//! In two links, so that they can fall on different ticks: [`Outer::climb`] takes the demand in and controls the vertical,
//! [`Outer::lean`] controls the horizontal and aims the thrust.

use super::Config;
use crate::control::position::{self, PositionController};
use crate::control::thrust_vector::ThrustVector;
use crate::control::velocity::{self, VelocityController};
use crate::control::vertical::{self, VerticalController};
use crate::control::wind::{self, WindFeedForward};
use crate::error::Part;
use crate::frames::{Heading, Vector, World};
use crate::math::{Math, saturate_symmetric};
use crate::mix::Allocation;
use crate::pilot::{Pilot, PilotParameters};
use crate::{
    ConfigError, Demand, HeadingDemand, Limited, STANDARD_GRAVITY_M_S2, Tilt, VerticalDemand, estimate,
};

/// Distance in m from which the craft may count as carried off.
const CARRIED_FROM_M: f32 = 2.0;
/// Share of the horizontal acceleration within the tilt limit from which on the craft is at the limit.
const AT_LIMIT_SHARE: f32 = 0.99;
/// Speed in m/s away from the place that counts as carried off.
const CARRIED_SPEED_M_S: f32 = 0.2;
/// Carried by the ground while landing: thrust below this share of the weight, climb within this, for this many steps.
const CARRIED_BY_GROUND_SHARE: f32 = 0.9;
const CARRIED_BY_GROUND_CLIMB_M_S: f32 = 0.3;
const CARRIED_BY_GROUND_STEPS: u16 = 6;

/// The body's down axis that is wanted.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Down {
    /// In the world.
    World(Vector<World>),
    /// Such that the body leans so in the axes of the heading; `down` makes it a unit vector.
    Leaning { lean: Tilt, down: f32 },
}

impl Down {
    const UPRIGHT: Self = Self::Leaning { lean: Tilt::LEVEL, down: 1.0 };

    /// For a lean shorter than 1.
    fn leaning<M: Math>(lean: Tilt) -> Self {
        let l2 = lean.forward * lean.forward + lean.right * lean.right;
        Self::Leaning { lean, down: if l2 < 1.0 { M::sqrt(1.0 - l2) } else { 0.0 } }
    }
}

/// What the horizontal loops, or a demand in their place, ask for.
enum Wanted {
    /// In m/s2.
    Acceleration(Vector<World>),
    Tilt(Down),
}

/// The feed-forward of the wind, if it is wanted and the wind is estimated.
fn against_wind(config: &Config, period_s: f32) -> Result<WindFeedForward, ConfigError> {
    match config.estimate.rotor_drag_per_s {
        Some(drag_per_s) if config.wind_share > 0.0 => {
            let pole_rad_s = config.wind_share * config.velocity.crossover_rad_s;
            WindFeedForward::new(&wind::Config { drag_per_s, pole_rad_s }, period_s)
                .map_err(|error| ConfigError { field: "wind_share", ..error })
        }
        _ => Ok(WindFeedForward::NONE),
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Outer<M> {
    pilot: Pilot<M>,
    position: PositionController<M>,
    velocity: VelocityController<M>,
    velocity_state: velocity::State,
    wind: WindFeedForward,
    wind_state: wind::State,
    vertical: VerticalController<M>,
    vertical_state: vertical::State,
    thrust: ThrustVector<M>,
    /// Climb demand turned into an open-loop acceleration, 1/s.
    open_loop_per_s: f32,
    /// Steps in a row (up) in which the craft was carried off; it takes as many good ones to say it is over.
    carried_steps: u16,
    carried_after: u16,
    cannot_hold_position: bool,
    /// Steps in a row in which the ground seemed to carry a craft that is to land.
    ground_steps: u16,
    /// The demand after guard and sticks.
    demand: Demand,
    /// Vertical acceleration that the first link left for the second, up positive.
    up_m_s2: f32,
    down: Down,
    /// Vertical specific force and acceleration that the limits of tilt and thrust left.
    vertical_m_s2: f32,
    acceleration_m_s2: Vector<World>,
    /// What the limits of tilt, speed and climb cut.
    tilt_limited: bool,
    speed_limited: bool,
    climb_limited: bool,
}

impl<M: Math> Outer<M> {
    pub(super) fn new(config: &Config) -> Result<Self, ConfigError> {
        let period_s = f32::from(config.velocity_divider) / config.tick_hz;
        let thrust = ThrustVector::new(&config.thrust).map_err(|error| error.within(Part::Thrust))?;
        let sticks_range = PilotParameters {
            min_thrust_n: config.thrust.min_thrust_n,
            hover_thrust_n: config.thrust.mass_kg * STANDARD_GRAVITY_M_S2,
            max_thrust_n: config.thrust.max_thrust_n,
        };
        Ok(Self {
            pilot: Pilot::new(&config.pilot, &sticks_range).map_err(|error| error.within(Part::Pilot))?,
            position: PositionController::new(&config.position)
                .map_err(|error| error.within(Part::Position))?,
            velocity: VelocityController::new(&config.velocity, period_s)
                .map_err(|error| error.within(Part::Velocity))?,
            velocity_state: velocity::State::new(),
            wind: against_wind(config, period_s)?,
            wind_state: wind::State::default(),
            vertical: VerticalController::new(&config.vertical, thrust.vertical_range_m_s2(), period_s)
                .map_err(|error| error.within(Part::Vertical))?,
            vertical_state: vertical::State::new(),
            thrust,
            open_loop_per_s: 0.25 * config.vertical.climb_crossover_rad_s,
            carried_steps: 0,
            carried_after: (1.0 / period_s) as u16,
            cannot_hold_position: false,
            ground_steps: 0,
            demand: Demand::Land,
            up_m_s2: 0.0,
            down: Down::UPRIGHT,
            vertical_m_s2: STANDARD_GRAVITY_M_S2,
            acceleration_m_s2: Vector::ZERO,
            tilt_limited: false,
            speed_limited: false,
            climb_limited: false,
        })
    }

    /// Forgets the past: the loops start.
    pub(super) fn restart(&mut self) {
        self.pilot.reset();
        self.velocity_state = velocity::State::new();
        self.wind_state = wind::State::default();
        self.carried_steps = 0;
        self.ground_steps = 0;
        self.rest(Demand::Land);
        self.down = Down::UPRIGHT;
        self.vertical_m_s2 = STANDARD_GRAVITY_M_S2;
    }

    /// Nothing is controlled while the motors do not follow the loops.
    pub(super) fn rest(&mut self, demand: Demand) {
        self.demand = demand;
        self.velocity_state.pause();
        self.vertical_state = vertical::State::new();
        self.acceleration_m_s2 = Vector::ZERO;
        (self.tilt_limited, self.speed_limited, self.climb_limited) = (false, false, false);
        self.cannot_hold_position = false;
    }

    /// Sticks in rate command become body rates and thrust on every tick, not only on those of the outer loops.
    pub(super) fn without_rate_sticks(&self, demand: Demand) -> Demand {
        match demand {
            Demand::RateSticks(sticks) => self.pilot.rate_command(sticks),
            other => other,
        }
    }

    /// First link: takes the demand in and turns height or climb into vertical acceleration.
    pub(super) fn climb(&mut self, demand: &Demand, motion: &estimate::State, given: &Allocation) {
        self.ground_steps = if self.looks_carried_by_ground(demand, motion, given) {
            self.ground_steps.saturating_add(1)
        } else {
            0
        };
        self.demand = self.pilot.step(demand, motion);
        self.climb_limited = false;
        let (Demand::Tilt { vertical, .. }
        | Demand::Velocity { vertical, .. }
        | Demand::Position { vertical, .. }) = self.demand
        else {
            // A rate demand carries its own thrust; the pilot has turned the others into one of the above.
            self.vertical_state = vertical::State::new();
            return;
        };
        if motion.height_valid {
            let (height, climb) = (-motion.position_m.z(), -motion.velocity_m_s.z());
            let output = self.vertical.step(&mut self.vertical_state, vertical, height, climb);
            self.up_m_s2 = output.up_m_s2;
            self.climb_limited = output.limited;
        } else {
            self.vertical_state = vertical::State::new();
            self.up_m_s2 = match vertical {
                VerticalDemand::Climb(climb) => saturate_symmetric(climb * self.open_loop_per_s, 2.0),
                VerticalDemand::Height(_) => 0.0,
            };
        }
    }

    /// Second link: turns place or velocity into horizontal acceleration and aims the thrust.
    pub(super) fn lean(&mut self, motion: &estimate::State, given: &Allocation) {
        (self.tilt_limited, self.speed_limited) = (false, false);
        // The low-pass goes on while the craft is leant by hand, so that it knows the wind when a place is to be held.
        if motion.wind_valid {
            self.wind.step(&mut self.wind_state, motion.wind_m_s);
        }
        let wanted = match self.demand {
            Demand::Tilt { tilt: lean, .. } => {
                let wanted = Vector::<World>::new(lean.forward, lean.right, 0.0);
                // NaN is upright.
                let kept = wanted.limited::<M>(self.thrust.sin_limit());
                self.tilt_limited = kept != wanted;
                Wanted::Tilt(Down::leaning::<M>(Tilt { forward: kept.x(), right: kept.y() }))
            }
            Demand::Velocity { velocity_m_s, .. } => self.velocity(velocity_m_s, Vector::ZERO, motion),
            // Its feet hold a craft that the ground carries: it must not lean.
            Demand::Position { .. } if self.ground_steps >= CARRIED_BY_GROUND_STEPS => {
                Wanted::Tilt(Down::UPRIGHT)
            }
            Demand::Position { position_m, .. } => {
                let position::Output { velocity_m_s, acceleration_m_s2, limited } =
                    self.position.step(position_m, motion.position_m, motion.velocity_m_s);
                self.speed_limited |= limited;
                self.velocity(velocity_m_s, acceleration_m_s2, motion)
            }
            Demand::Rates { .. } | Demand::Sticks(_) | Demand::RateSticks(_) | Demand::Land => {
                self.velocity_state.pause();
                return;
            }
        };
        let horizontal_m_s2 = match wanted {
            Wanted::Acceleration(horizontal_m_s2) => horizontal_m_s2,
            Wanted::Tilt(_) => Vector::ZERO,
        };
        let aim = self.thrust.aim(Vector::new(horizontal_m_s2.x(), horizontal_m_s2.y(), -self.up_m_s2));
        (self.vertical_m_s2, self.acceleration_m_s2) = (aim.up_m_s2, aim.acceleration_m_s2);
        self.down = match wanted {
            Wanted::Acceleration(_) => {
                // Where the thrust is believed larger than it is, the velocity loop meets its limit before the cone does.
                let limit = self.thrust.horizontal_limit_m_s2() * AT_LIMIT_SHARE;
                self.tilt_limited = aim.tilt_limited || horizontal_m_s2.norm_squared() >= limit * limit;
                // What stands against the wind goes past the velocity loop.
                let given = aim.acceleration_m_s2 - self.wind_state.acceleration_m_s2();
                self.velocity.achieved(&mut self.velocity_state, given);
                Down::World(aim.down)
            }
            Wanted::Tilt(down) => {
                self.velocity_state.pause();
                down
            }
        };
        // What the mixer could not give is not climb either.
        let up = if given.limited.thrust {
            given.achieved.thrust_n * motion.attitude.cos_tilt() / self.thrust.mass_kg()
                - STANDARD_GRAVITY_M_S2
        } else {
            -self.acceleration_m_s2.z()
        };
        self.vertical.achieved(&mut self.vertical_state, up);
        self.cannot_hold_position = self.cannot_hold_position(motion);
    }

    /// Acceleration for a velocity; without a known place the craft levels.
    fn velocity(
        &mut self,
        velocity_m_s: Vector<World>,
        forward_m_s2: Vector<World>,
        motion: &estimate::State,
    ) -> Wanted {
        if !motion.position_valid {
            return Wanted::Tilt(Down::UPRIGHT);
        }
        let output =
            self.velocity.step(&mut self.velocity_state, velocity_m_s, forward_m_s2, motion.velocity_m_s);
        self.speed_limited |= output.limited;
        Wanted::Acceleration(output.acceleration_m_s2 + self.wind_state.acceleration_m_s2())
    }

    fn looks_carried_by_ground(&self, demand: &Demand, motion: &estimate::State, given: &Allocation) -> bool {
        let weight_n = self.thrust.mass_kg() * STANDARD_GRAVITY_M_S2;
        let climb = motion.velocity_m_s.z();
        matches!(demand, Demand::Land)
            && given.achieved.thrust_n < CARRIED_BY_GROUND_SHARE * weight_n
            && climb > -CARRIED_BY_GROUND_CLIMB_M_S
            && climb < CARRIED_BY_GROUND_CLIMB_M_S
    }

    /// True after a second at the tilt limit while the distance grew; false again after a second without.
    fn cannot_hold_position(&mut self, motion: &estimate::State) -> bool {
        let away = self.tilt_limited
            && self.position_m().is_some_and(|target| {
                let error = target - motion.position_m;
                let (north, east) = (error.x(), error.y());
                let d2 = north * north + east * east;
                let outward = -(north * motion.velocity_m_s.x() + east * motion.velocity_m_s.y());
                d2 > CARRIED_FROM_M * CARRIED_FROM_M
                    && outward > 0.0
                    && outward * outward > CARRIED_SPEED_M_S * CARRIED_SPEED_M_S * d2
            });
        let after = self.carried_after;
        self.carried_steps = if away {
            self.carried_steps.saturating_add(1).min(after.saturating_mul(2))
        } else {
            self.carried_steps.saturating_sub(1)
        };
        if self.cannot_hold_position { self.carried_steps > 0 } else { self.carried_steps >= after }
    }

    /// Body down axis wanted in the world, for the present heading set-point.
    #[inline]
    pub(super) fn down(&self, heading: Heading) -> Vector<World> {
        match self.down {
            Down::World(down) => down,
            Down::Leaning { lean, down } => heading.to_world(-lean.forward, -lean.right).with_down(down),
        }
    }

    /// Total thrust in N for the vertical acceleration wanted, at the present tilt.
    #[inline]
    pub(super) fn thrust_n(&self, cos_tilt: f32) -> f32 {
        self.thrust.total_n(self.vertical_m_s2, cos_tilt)
    }

    /// Where the nose is to go.
    #[inline]
    pub(super) const fn heading(&self) -> HeadingDemand {
        match self.demand {
            Demand::Tilt { heading, .. }
            | Demand::Velocity { heading, .. }
            | Demand::Position { heading, .. } => heading,
            Demand::Rates { .. } | Demand::Sticks(_) | Demand::RateSticks(_) | Demand::Land => {
                HeadingDemand::Rate(0.0)
            }
        }
    }

    /// The demand after guard and sticks.
    pub(super) const fn demand(&self) -> &Demand {
        &self.demand
    }

    /// Place to hold in m from home, while a place is held.
    pub(super) const fn position_m(&self) -> Option<Vector<World>> {
        match self.demand {
            Demand::Position { position_m, .. } => Some(position_m),
            _ => None,
        }
    }

    /// Height to hold in m above home, while a height is held.
    pub(super) const fn height_m(&self) -> Option<f32> {
        self.vertical_state.held_m()
    }

    /// Of the velocity and of the vertical loop.
    pub(super) const fn integral_m_s2(&self) -> Vector<World> {
        let horizontal = self.velocity_state.integral_m_s2();
        Vector::new(horizontal.x(), horizontal.y(), -self.vertical_state.integral_m_s2())
    }

    /// Acceleration in m/s2 fed forward against the wind.
    pub(super) const fn wind_feed_forward_m_s2(&self) -> Vector<World> {
        self.wind_state.acceleration_m_s2()
    }

    /// Velocity wanted in m/s.
    pub(super) const fn velocity_m_s(&self) -> Vector<World> {
        let horizontal = self.velocity_state.setpoint_m_s();
        Vector::new(horizontal.x(), horizontal.y(), -self.vertical_state.setpoint_m_s())
    }

    /// Acceleration in m/s2 that the tilt and thrust limits left.
    pub(super) const fn acceleration_m_s2(&self) -> Vector<World> {
        self.acceleration_m_s2
    }

    /// What the limits of tilt, speed and climb cut.
    pub(super) fn limited(&self) -> Limited {
        Limited {
            tilt: self.tilt_limited,
            speed: self.speed_limited,
            climb: self.climb_limited,
            ..Limited::default()
        }
    }

    /// The place cannot be held: at the tilt limit while the distance grows.
    pub(super) const fn is_carried_off(&self) -> bool {
        self.cannot_hold_position
    }
}
