//! The slow loops wired: demand to where the thrust leans.

use super::{Config, Plan};
use crate::control::position::{self, PositionLoop};
use crate::control::thrust_vector::ThrustVector;
use crate::control::velocity::{self, VelocityLoop};
use crate::control::vertical::{self, VerticalLoop};
use crate::frames::{Heading, Vector, World};
use crate::math::Math;
use crate::pilot::{self, Pilot};
use crate::record::Record;
use crate::{ConfigError, Demand, Lean, STANDARD_GRAVITY_M_S2, VerticalDemand, estimate};

/// Distance in m from which the craft may count as carried off.
const CARRIED_FROM_M: f32 = 2.0;
/// Carried by the ground while landing: thrust below this share of the weight, climb within this, for this many steps.
const CARRIED_BY_GROUND_SHARE: f32 = 0.9;
const CARRIED_BY_GROUND_CLIMB_M_S: f32 = 0.3;
const CARRIED_BY_GROUND_STEPS: u16 = 6;
/// Speed in m/s away from the place that counts as carried off.
const CARRIED_SPEED_M_S: f32 = 0.2;

#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Outer<M> {
    pilot: Pilot<M>,
    pilot_state: pilot::State,
    position: PositionLoop<M>,
    velocity: VelocityLoop<M>,
    velocity_state: velocity::State,
    vertical: VerticalLoop<M>,
    vertical_state: vertical::State,
    /// Lowest and highest climb turned into an open-loop acceleration, 1/s.
    open_loop_per_s: f32,
    /// Steps in a row (up) in which the craft was carried off; it takes as many good ones to say it is over.
    carried_steps: u16,
    carried_after: u16,
    /// Steps in a row in which the ground seemed to carry a craft that is to land.
    ground_steps: u16,
}

/// A lean with the vertical part that makes it a unit vector.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Leaning {
    lean: Lean,
    up: f32,
}

impl Leaning {
    const UPRIGHT: Self = Self { lean: Lean::UPRIGHT, up: 1.0 };

    /// For a lean shorter than 1.
    fn new<M: Math>(lean: Lean) -> Self {
        let l2 = lean.forward * lean.forward + lean.right * lean.right;
        Self { lean, up: if l2 < 1.0 { M::sqrt(1.0 - l2) } else { 0.0 } }
    }

    /// Body down axis in the world, in the axes of a heading.
    pub(super) fn down(self, heading: Heading) -> Vector<World> {
        heading.to_world(-self.lean.forward, -self.lean.right, self.up)
    }
}

impl<M: Math> Outer<M> {
    pub(super) fn new(config: &Config, thrust: &ThrustVector<M>) -> Result<Self, ConfigError> {
        let period_s = f32::from(config.velocity_every) / config.tick_hz;
        Ok(Self {
            pilot: Pilot::new(&config.pilot).map_err(|error| error.within("pilot"))?,
            pilot_state: pilot::State::default(),
            position: PositionLoop::new(&config.position).map_err(|error| error.within("position"))?,
            velocity: VelocityLoop::new(&config.velocity, period_s)
                .map_err(|error| error.within("velocity"))?,
            velocity_state: velocity::State::new(),
            vertical: VerticalLoop::new(&config.vertical, thrust.vertical_range_m_s2(), period_s)
                .map_err(|error| error.within("vertical"))?,
            vertical_state: vertical::State::new(),
            open_loop_per_s: 0.25 * config.vertical.climb_crossover_rad_s,
            carried_steps: 0,
            ground_steps: 0,
            carried_after: (1.0 / period_s) as u16,
        })
    }

    pub(super) fn restart(&mut self) {
        self.pilot_state = pilot::State::default();
        self.velocity_state = velocity::State::new();
        self.vertical_state = vertical::State::new();
        self.carried_steps = 0;
        self.ground_steps = 0;
    }

    pub(super) fn step(
        &mut self,
        demand: &Demand,
        motion: &estimate::State,
        thrust: &ThrustVector<M>,
        plan: &mut Plan,
        record: &mut Record,
    ) {
        let on_ground = self.carried_by_ground(demand, motion, thrust, record);
        let demand = match *demand {
            Demand::Sticks(sticks) => self.pilot.fly(&mut self.pilot_state, sticks, motion),
            Demand::Land => self.pilot.land(&mut self.pilot_state, motion),
            other => {
                self.pilot_state = pilot::State::default();
                other
            }
        };
        record.demand = demand;
        record.position_setpoint_m = None;
        record.achieved.limited.speed = false;
        record.achieved.limited.tilt = false;
        record.achieved.limited.climb = false;
        plan.lean = None;
        let (horizontal, vertical) = match demand {
            Demand::Tilt { lean, heading, vertical } => {
                plan.heading = heading;
                plan.lean = Some(Leaning::new::<M>(self.limited(lean, thrust, record)));
                self.velocity_state.pause();
                (Vector::ZERO, vertical)
            }
            Demand::Velocity { velocity_m_s, heading, vertical } => {
                plan.heading = heading;
                (self.horizontal(velocity_m_s, Vector::ZERO, motion, plan, record), vertical)
            }
            Demand::Position { position_m, heading, vertical } => {
                plan.heading = heading;
                record.position_setpoint_m = Some(position_m);
                let position::Output { velocity_m_s, acceleration_m_s2, limited } =
                    self.position.step(position_m, motion.position_m, motion.velocity_m_s);
                record.achieved.limited.speed |= limited;
                if on_ground {
                    (self.upright(plan, record), vertical)
                } else {
                    (self.horizontal(velocity_m_s, acceleration_m_s2, motion, plan, record), vertical)
                }
            }
            // A rate demand carries its own thrust; the pilot has turned the others into one of the above.
            Demand::Rates { .. } | Demand::Sticks(_) | Demand::Land => {
                self.velocity_state.pause();
                self.vertical_state = vertical::State::new();
                record.height_setpoint_m = None;
                record.velocity_setpoint_m_s = Vector::ZERO;
                return;
            }
        };
        let up = self.climb(vertical, motion, record);
        plan.aim = thrust.aim(Vector::new(horizontal.x(), horizontal.y(), -up));
        if plan.lean.is_none() {
            record.achieved.limited.tilt = plan.aim.tilt_limited;
        }
        self.velocity.achieved(&mut self.velocity_state, plan.aim.acceleration_m_s2);
        // What the mixer could not give is not climb either.
        let up = if record.achieved.limited.thrust {
            let given = record.achieved.thrust_n * motion.attitude.cos_tilt() / thrust.mass_kg();
            given - STANDARD_GRAVITY_M_S2
        } else {
            -plan.aim.acceleration_m_s2.z()
        };
        self.vertical.achieved(&mut self.vertical_state, up);
        record.carried_off = self.carried_off(record, motion);
    }

    /// The lean within the tilt limit; NaN is upright.
    fn limited(&self, lean: Lean, thrust: &ThrustVector<M>, record: &mut Record) -> Lean {
        let wanted = Vector::<World>::new(lean.forward, lean.right, 0.0);
        let kept = wanted.limited::<M>(thrust.sin_limit());
        record.achieved.limited.tilt = kept != wanted;
        record.velocity_setpoint_m_s = Vector::ZERO;
        Lean { forward: kept.x(), right: kept.y() }
    }

    /// Acceleration for a velocity; without a known place the craft levels.
    fn horizontal(
        &mut self,
        velocity_m_s: Vector<World>,
        forward_m_s2: Vector<World>,
        motion: &estimate::State,
        plan: &mut Plan,
        record: &mut Record,
    ) -> Vector<World> {
        if !motion.position_known {
            return self.upright(plan, record);
        }
        let output =
            self.velocity.step(&mut self.velocity_state, velocity_m_s, forward_m_s2, motion.velocity_m_s);
        record.achieved.limited.speed |= output.limited;
        record.velocity_setpoint_m_s = output.velocity_m_s;
        output.acceleration_m_s2
    }

    /// No lean, no horizontal acceleration.
    fn upright(&mut self, plan: &mut Plan, record: &mut Record) -> Vector<World> {
        plan.lean = Some(Leaning::UPRIGHT);
        record.velocity_setpoint_m_s = Vector::ZERO;
        self.velocity_state.pause();
        Vector::ZERO
    }

    /// True while the ground seems to carry a craft that is to land: it must not lean then, since its feet hold it.
    fn carried_by_ground(
        &mut self,
        demand: &Demand,
        motion: &estimate::State,
        thrust: &ThrustVector<M>,
        record: &Record,
    ) -> bool {
        let weight_n = thrust.mass_kg() * STANDARD_GRAVITY_M_S2;
        let climb = motion.velocity_m_s.z();
        let carried = matches!(demand, Demand::Land)
            && record.achieved.thrust_n < CARRIED_BY_GROUND_SHARE * weight_n
            && climb > -CARRIED_BY_GROUND_CLIMB_M_S
            && climb < CARRIED_BY_GROUND_CLIMB_M_S;
        self.ground_steps = if carried { self.ground_steps.saturating_add(1) } else { 0 };
        self.ground_steps >= CARRIED_BY_GROUND_STEPS
    }

    /// Vertical acceleration, up positive, for a height or climb.
    fn climb(&mut self, demand: VerticalDemand, motion: &estimate::State, record: &mut Record) -> f32 {
        if !motion.height_known {
            self.vertical_state = vertical::State::new();
            record.height_setpoint_m = None;
            return match demand {
                VerticalDemand::Climb(climb) => {
                    crate::math::saturate_symmetric(climb * self.open_loop_per_s, 2.0)
                }
                VerticalDemand::Height(_) => 0.0,
            };
        }
        let (height, climb) = (-motion.position_m.z(), -motion.velocity_m_s.z());
        let output = self.vertical.step(&mut self.vertical_state, demand, height, climb);
        record.height_setpoint_m = output.height_m;
        record.achieved.limited.climb = output.limited;
        let [north, east, _] = record.velocity_setpoint_m_s.to_array();
        record.velocity_setpoint_m_s = Vector::new(north, east, -output.climb_m_s);
        output.up_m_s2
    }

    /// True after a second at the tilt limit while the distance grew; false again after a second without.
    fn carried_off(&mut self, record: &Record, motion: &estimate::State) -> bool {
        let away = record.position_setpoint_m.is_some_and(|target| {
            let error = target - motion.position_m;
            let (north, east) = (error.x(), error.y());
            let d2 = north * north + east * east;
            let outward = -(north * motion.velocity_m_s.x() + east * motion.velocity_m_s.y());
            let threshold = CARRIED_SPEED_M_S * CARRIED_SPEED_M_S * d2;
            record.achieved.limited.tilt
                && d2 > CARRIED_FROM_M * CARRIED_FROM_M
                && outward > 0.0
                && outward * outward > threshold
        });
        let after = self.carried_after;
        self.carried_steps = if away {
            self.carried_steps.saturating_add(1).min(after.saturating_mul(2))
        } else {
            self.carried_steps.saturating_sub(1)
        };
        if record.carried_off { self.carried_steps > 0 } else { self.carried_steps >= after }
    }
}
