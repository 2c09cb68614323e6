//! The rigid body: state, equations of motion, one Runge-Kutta step.
//!
//! World north-east-down, body forward-right-down, attitude q from body to world (Hamilton):
//! `p' = v`, `v' = g + F/m`, `q' = 1/2 q (0, w)`, `I w' = tau - w x (I w + h)`, h the angular momentum of the rotors
//! (ISO 1151-1 axes; Sola 2017, arXiv:1711.02508, eq. 200). Classical fourth order; the quaternion is brought back to unit
//! length after each step.

use glam::{DMat3, DQuat, DVec3};

/// Motion of the body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// Place of the centre of mass, north-east-down (m).
    pub position_m: DVec3,
    /// Velocity, north-east-down (m/s).
    pub velocity_m_s: DVec3,
    /// Attitude, body to world.
    pub attitude: DQuat,
    /// Body rate, body axes (rad/s).
    pub rate_rad_s: DVec3,
}

impl State {
    /// At rest, level, nose north, at the origin.
    pub const REST: State = State {
        position_m: DVec3::ZERO,
        velocity_m_s: DVec3::ZERO,
        attitude: DQuat::IDENTITY,
        rate_rad_s: DVec3::ZERO,
    };

    #[inline]
    fn moved(&self, slope: &Slope, time: f64) -> State {
        State {
            position_m: self.position_m + slope.velocity * time,
            velocity_m_s: self.velocity_m_s + slope.acceleration * time,
            attitude: self.attitude + slope.attitude * time,
            rate_rad_s: self.rate_rad_s + slope.turn * time,
        }
    }
}

/// What acts on the body.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wrench {
    /// Force without gravity, world axes (N).
    pub force_n: DVec3,
    /// Torque about the centre of mass, body axes (N m).
    pub torque_nm: DVec3,
    /// Angular momentum of the rotors along body z, relative to the body (kg m2/s).
    pub rotor_momentum: f64,
}

/// Point of the step at which a wrench is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Start of the step.
    Start,
    /// Middle of the step (asked twice).
    Middle,
    /// End of the step.
    End,
}

/// Time derivative of [`State`].
#[derive(Clone, Copy, Debug)]
pub(crate) struct Slope {
    velocity: DVec3,
    pub(crate) acceleration: DVec3,
    attitude: DQuat,
    pub(crate) turn: DVec3,
}

impl Slope {
    /// With these velocity and acceleration, and an attitude that turns at `rate_rad_s`, which changes by `turn`.
    pub(crate) fn of(
        velocity: DVec3,
        acceleration: DVec3,
        attitude: DQuat,
        rate_rad_s: DVec3,
        turn: DVec3,
    ) -> Self {
        Slope { velocity, acceleration, attitude: turning(attitude, 0.5 * rate_rad_s), turn }
    }
}

/// Mass, inertia and gravity.
#[derive(Clone, Copy, Debug)]
pub struct Body {
    per_mass: f64,
    inertia: DMat3,
    inverse: DMat3,
    gravity: DVec3,
}

impl Body {
    /// A body of `mass_kg` with the inertia tensor about its centre of mass, in body axes. Both are taken as they are: the
    /// checks are those of [`crate::Config`].
    pub fn new(mass_kg: f64, inertia_kg_m2: DMat3, gravity_m_s2: f64) -> Self {
        Body {
            per_mass: 1.0 / mass_kg,
            inertia: inertia_kg_m2,
            inverse: inertia_kg_m2.inverse(),
            gravity: DVec3::new(0.0, 0.0, gravity_m_s2),
        }
    }

    /// Change of angular acceleration by a further torque about body z (N m).
    #[inline]
    pub(crate) fn turn_by_yaw(&self, torque_nm: f64) -> DVec3 {
        self.inverse.z_axis * torque_nm
    }

    #[inline(always)]
    pub(crate) fn slope(&self, state: &State, wrench: &Wrench) -> Slope {
        let rate = state.rate_rad_s;
        let mut momentum = self.inertia * rate;
        momentum.z += wrench.rotor_momentum;
        Slope {
            velocity: state.velocity_m_s,
            acceleration: self.gravity + wrench.force_n * self.per_mass,
            attitude: turning(state.attitude, 0.5 * rate),
            turn: self.inverse * (wrench.torque_nm - rate.cross(momentum)),
        }
    }

    /// The state `step_s` later under the wrench that `wrench(stage, state)` gives.
    ///
    /// ```
    /// use aplomb_craft::body::{Body, State, Wrench};
    /// use glam::{DMat3, DVec3};
    /// let body = Body::new(1.0, DMat3::IDENTITY, 9.80665);
    /// let after = body.step(&State::REST, 2.0, |_, _| Wrench::default());
    /// assert!((after.position_m.z - 0.5 * 9.80665 * 4.0).abs() < 1e-12);
    /// ```
    #[inline]
    pub fn step(&self, state: &State, step_s: f64, mut wrench: impl FnMut(Stage, &State) -> Wrench) -> State {
        let first = self.slope(state, &wrench(Stage::Start, state));
        self.step_from(state, first, step_s, wrench)
    }

    /// [`Body::step`] with the slope at its start already known.
    #[inline]
    pub(crate) fn step_from(
        &self,
        state: &State,
        a: Slope,
        step_s: f64,
        mut wrench: impl FnMut(Stage, &State) -> Wrench,
    ) -> State {
        Body::integrate(state, a, step_s, |stage, state| self.slope(state, &wrench(stage, state)))
    }

    /// One Runge-Kutta step over the slopes that `slope(stage, state)` gives.
    #[inline(always)]
    pub(crate) fn integrate(
        state: &State,
        a: Slope,
        step_s: f64,
        mut slope: impl FnMut(Stage, &State) -> Slope,
    ) -> State {
        let half = 0.5 * step_s;
        let second = state.moved(&a, half);
        let b = slope(Stage::Middle, &second);
        let third = state.moved(&b, half);
        let c = slope(Stage::Middle, &third);
        let fourth = state.moved(&c, step_s);
        let d = slope(Stage::End, &fourth);
        let mean = Slope {
            velocity: a.velocity + 2.0 * (b.velocity + c.velocity) + d.velocity,
            acceleration: a.acceleration + 2.0 * (b.acceleration + c.acceleration) + d.acceleration,
            attitude: a.attitude + (b.attitude + c.attitude) * 2.0 + d.attitude,
            turn: a.turn + 2.0 * (b.turn + c.turn) + d.turn,
        };
        let mut after = state.moved(&mean, step_s / 6.0);
        after.attitude = unit(after.attitude);
        after
    }

    /// Gravity, world axes (m/s2).
    #[inline]
    pub fn gravity(&self) -> DVec3 {
        self.gravity
    }

    /// Kinetic energy (J), without the rotors' own spin.
    pub fn kinetic_energy_j(&self, state: &State) -> f64 {
        let v = state.velocity_m_s;
        let w = state.rate_rad_s;
        0.5 * v.dot(v) / self.per_mass + 0.5 * w.dot(self.inertia * w)
    }

    /// Angular momentum about the centre of mass in world axes (kg m2/s).
    pub fn angular_momentum(&self, state: &State) -> DVec3 {
        state.attitude * (self.inertia * state.rate_rad_s)
    }
}

/// The product of a quaternion with the vector `v` as a quaternion without scalar part.
#[inline]
fn turning(q: DQuat, v: DVec3) -> DQuat {
    DQuat::from_xyzw(
        q.w * v.x + q.y * v.z - q.z * v.y,
        q.w * v.y + q.z * v.x - q.x * v.z,
        q.w * v.z + q.x * v.y - q.y * v.x,
        -(q.x * v.x + q.y * v.y + q.z * v.z),
    )
}

/// Brings a nearly unit quaternion back to unit length.
#[inline]
fn unit(q: DQuat) -> DQuat {
    let squared = q.x * q.x + q.y * q.y + q.z * q.z + q.w * q.w;
    q * (1.0 / libm::sqrt(squared))
}
