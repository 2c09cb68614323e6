//! Rigid body: state, equations of motion, one Runge-Kutta step.
//!
//! World north-east-down, body forward-right-down, attitude q from body to world (Hamilton):
//! `p' = v`, `v' = g + F/m`, `q' = 1/2 q (0, w)`, `I w' = tau - w x (I w + h)`, h the angular momentum of the
//! rotors (ISO 1151-1 axes; Sola 2017, arXiv:1711.02508, eq. 200). Integration is classical Runge-Kutta of
//! fourth order. The quaternion is normalised after each step.

use glam::{DMat3, DQuat, DVec3};

/// Motion state of the body.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// Position of the centre of mass, north-east-down (m).
    pub position_m: DVec3,
    /// Velocity, north-east-down (m/s).
    pub velocity_m_s: DVec3,
    /// Attitude, body to world.
    pub attitude: DQuat,
    /// Body rate, body axes (rad/s).
    pub rate_rad_s: DVec3,
}

impl State {
    /// Stationary, level, nose north, at the origin.
    pub const REST: State = State {
        position_m: DVec3::ZERO,
        velocity_m_s: DVec3::ZERO,
        attitude: DQuat::IDENTITY,
        rate_rad_s: DVec3::ZERO,
    };

    /// State extrapolated by `time` (s) along `slope`.
    #[inline]
    pub(crate) fn extrapolated(&self, slope: &Slope, time: f64) -> State {
        State {
            position_m: self.position_m + slope.velocity * time,
            velocity_m_s: self.velocity_m_s + slope.acceleration * time,
            attitude: self.attitude + slope.attitude * time,
            rate_rad_s: self.rate_rad_s + slope.angular_acceleration * time,
        }
    }
}

/// Load fixed in body axes over a stage of the step: force and torque of rotors, air and push (N, N m), and
/// the angular momentum of the rotors (kg m2/s).
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct BodyLoad {
    pub(crate) force_n: DVec3,
    pub(crate) torque_nm: DVec3,
    pub(crate) rotor_momentum: f64,
}

impl BodyLoad {
    /// With an additional torque about body z (N m).
    #[inline]
    pub(crate) fn with_yaw(mut self, torque_nm: f64) -> BodyLoad {
        self.torque_nm.z += torque_nm;
        self
    }

    /// Linear extrapolation: as far from this as this is from `start`.
    #[inline(always)]
    pub(crate) fn extrapolated_from(&self, start: &BodyLoad) -> BodyLoad {
        BodyLoad {
            force_n: 2.0 * self.force_n - start.force_n,
            torque_nm: 2.0 * self.torque_nm - start.torque_nm,
            rotor_momentum: 2.0 * self.rotor_momentum - start.rotor_momentum,
        }
    }
}

/// Force and torque on the body.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Wrench {
    /// Force without gravity, world axes (N).
    pub force_n: DVec3,
    /// Torque about the centre of mass, body axes (N m).
    pub torque_nm: DVec3,
    /// Angular momentum of the rotors along body z, relative to the body (kg m2/s).
    pub rotor_momentum: f64,
}

/// Stage of the Runge-Kutta step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// Start of the step.
    Start,
    /// Middle of the step (evaluated twice).
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
    pub(crate) angular_acceleration: DVec3,
}

impl Slope {
    /// Slope of the given velocity and acceleration, of an attitude rotating at `rate_rad_s`, and of the
    /// angular acceleration.
    pub(crate) fn of(
        velocity: DVec3,
        acceleration: DVec3,
        attitude: DQuat,
        rate_rad_s: DVec3,
        angular_acceleration: DVec3,
    ) -> Self {
        Slope { velocity, acceleration, attitude: product(attitude, 0.5 * rate_rad_s), angular_acceleration }
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
    /// A body of `mass_kg` with the inertia tensor about its centre of mass in body axes. The arguments are
    /// not checked; [`crate::Config`] checks them.
    pub fn new(mass_kg: f64, inertia_kg_m2: DMat3, gravity_m_s2: f64) -> Self {
        Body {
            per_mass: 1.0 / mass_kg,
            inertia: inertia_kg_m2,
            inverse: inertia_kg_m2.inverse(),
            gravity: DVec3::new(0.0, 0.0, gravity_m_s2),
        }
    }

    /// Angular acceleration due to an additional torque about body z (N m).
    #[inline]
    pub(crate) fn yaw_acceleration(&self, torque_nm: f64) -> DVec3 {
        self.inverse.z_axis * torque_nm
    }

    #[inline(always)]
    pub(crate) fn slope(&self, state: &State, wrench: &Wrench) -> Slope {
        let rate = state.rate_rad_s;
        Slope {
            velocity: state.velocity_m_s,
            acceleration: self.gravity + wrench.force_n * self.per_mass,
            attitude: product(state.attitude, 0.5 * rate),
            angular_acceleration: self.angular_acceleration(rate, wrench.torque_nm, wrench.rotor_momentum),
        }
    }

    /// Angular acceleration (rad/s2), including the angular momentum of the rotors about body z.
    #[inline(always)]
    fn angular_acceleration(&self, rate: DVec3, torque_nm: DVec3, rotor_momentum: f64) -> DVec3 {
        let mut momentum = self.inertia * rate;
        momentum.z += rotor_momentum;
        self.inverse * (torque_nm - rate.cross(momentum))
    }

    /// State after `step_s` under the wrench `wrench(stage, state)`.
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

    /// [`Body::step`] with a given slope at its start.
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

    /// [`Body::step_from`] under loads that are fixed in body axes, with no contact: `start` and `middle` at
    /// those points of the step, linear in between. These loads do not depend on the state, so the step
    /// reduces to one of the attitude and two sums.
    #[inline]
    pub(crate) fn step_without_contact(
        &self,
        state: &State,
        a: &Slope,
        step_s: f64,
        start: &BodyLoad,
        middle: &BodyLoad,
    ) -> State {
        let (half, sixth) = (0.5 * step_s, step_s / 6.0);
        let turned = |slope: &Slope, time: f64| {
            (state.attitude + slope.attitude * time, state.rate_rad_s + slope.angular_acceleration * time)
        };
        let slope = |(attitude, rate): (DQuat, DVec3), body_load: &BodyLoad| Slope {
            velocity: DVec3::ZERO,
            acceleration: self.gravity + DMat3::from_quat(attitude) * body_load.force_n * self.per_mass,
            attitude: product(attitude, 0.5 * rate),
            angular_acceleration: self.angular_acceleration(
                rate,
                body_load.torque_nm,
                body_load.rotor_momentum,
            ),
        };
        let b = slope(turned(a, half), middle);
        let c = slope(turned(&b, half), middle);
        let d = slope(turned(&c, step_s), &middle.extrapolated_from(start));
        let inner = a.acceleration + b.acceleration + c.acceleration;
        State {
            position_m: state.position_m + step_s * (state.velocity_m_s + sixth * inner),
            velocity_m_s: state.velocity_m_s
                + sixth * (inner + b.acceleration + c.acceleration + d.acceleration),
            attitude: unit(
                state.attitude + (a.attitude + (b.attitude + c.attitude) * 2.0 + d.attitude) * sixth,
            ),
            rate_rad_s: state.rate_rad_s
                + sixth
                    * (a.angular_acceleration
                        + 2.0 * (b.angular_acceleration + c.angular_acceleration)
                        + d.angular_acceleration),
        }
    }

    /// One Runge-Kutta step with the slopes `slope(stage, state)`.
    #[inline(always)]
    pub(crate) fn integrate(
        state: &State,
        a: Slope,
        step_s: f64,
        mut slope: impl FnMut(Stage, &State) -> Slope,
    ) -> State {
        let half = 0.5 * step_s;
        let second = state.extrapolated(&a, half);
        let b = slope(Stage::Middle, &second);
        let third = state.extrapolated(&b, half);
        let c = slope(Stage::Middle, &third);
        let fourth = state.extrapolated(&c, step_s);
        let d = slope(Stage::End, &fourth);
        let mean = Slope {
            velocity: a.velocity + 2.0 * (b.velocity + c.velocity) + d.velocity,
            acceleration: a.acceleration + 2.0 * (b.acceleration + c.acceleration) + d.acceleration,
            attitude: a.attitude + (b.attitude + c.attitude) * 2.0 + d.attitude,
            angular_acceleration: a.angular_acceleration
                + 2.0 * (b.angular_acceleration + c.angular_acceleration)
                + d.angular_acceleration,
        };
        let mut after = state.extrapolated(&mean, step_s / 6.0);
        after.attitude = unit(after.attitude);
        after
    }

    /// Gravity, world axes (m/s2).
    #[inline]
    pub fn gravity(&self) -> DVec3 {
        self.gravity
    }

    /// Kinetic energy (J), without that of the rotors' rotation.
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

/// Product of a quaternion with the pure quaternion of `v`.
#[inline]
fn product(q: DQuat, v: DVec3) -> DQuat {
    DQuat::from_xyzw(
        q.w * v.x + q.y * v.z - q.z * v.y,
        q.w * v.y + q.z * v.x - q.x * v.z,
        q.w * v.z + q.x * v.y - q.y * v.x,
        -(q.x * v.x + q.y * v.y + q.z * v.z),
    )
}

/// Normalises a nearly unit quaternion.
#[inline]
fn unit(q: DQuat) -> DQuat {
    let squared = q.x * q.x + q.y * q.y + q.z * q.z + q.w * q.w;
    q * (1.0 / libm::sqrt(squared))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn step_without_contact_equals_the_general_step() {
        let inertia =
            DMat3::from_cols_array_2d(&[[0.011, -0.001, 0.0005], [-0.001, 0.012, 0.0], [0.0005, 0.0, 0.021]]);
        let body = Body::new(1.2, inertia, 9.80665);
        let body_load = |z: f64| BodyLoad {
            force_n: DVec3::new(0.3, -0.2, -12.0 + z),
            torque_nm: DVec3::new(0.1, -0.2 * z, 0.05),
            rotor_momentum: 0.01 * z,
        };
        let (start, middle) = (body_load(0.0), body_load(1.0));
        let under = |state: &State, body_load: &BodyLoad| {
            let force_n = DMat3::from_quat(state.attitude) * body_load.force_n;
            Wrench { force_n, torque_nm: body_load.torque_nm, rotor_momentum: body_load.rotor_momentum }
        };
        let mut states = [State { rate_rad_s: DVec3::new(5.0, -3.0, 2.0), ..State::REST }; 2];
        for _ in 0..100 {
            let first = states.map(|state| body.slope(&state, &under(&state, &start)));
            let general = body.step_from(&states[0], first[0], 0.005, |stage, state| match stage {
                Stage::Start | Stage::Middle => under(state, &middle),
                Stage::End => under(state, &middle.extrapolated_from(&start)),
            });
            states = [general, body.step_without_contact(&states[1], &first[1], 0.005, &start, &middle)];
        }
        let [general, free] = states;
        assert!((general.position_m - free.position_m).length() < 1e-12);
        assert!((general.velocity_m_s - free.velocity_m_s).length() < 1e-12);
        assert!((general.rate_rad_s - free.rate_rad_s).length() < 1e-12);
        assert!((general.attitude - free.attitude).length() < 1e-12 && general.position_m.length() > 0.1);
    }
}
