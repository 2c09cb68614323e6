//! Sum of forces and torques on the craft.

use crate::body::{Body, BodyLoad, State, Wrench};
use crate::drag::Drag;
use crate::ground::Ground;
use crate::mount::Rope;
use crate::propulsion::Load;
use glam::{DMat3, DVec3};

/// Sources of force and torque other than the rotors.
#[derive(Clone, Debug)]
pub(crate) struct Forces {
    pub(crate) body: Body,
    pub(crate) drag: Drag,
    pub(crate) ground: Ground,
    pub(crate) rope: Option<Rope>,
    pub(crate) push_n: DVec3,
    pub(crate) push_nm: DVec3,
}

impl Forces {
    /// Load at the velocity `air` (body axes, m/s) through air of the given density, with the rotors' `load`.
    #[inline(always)]
    pub(crate) fn body_load(
        &self,
        rate_rad_s: DVec3,
        rotation: &DMat3,
        air: DVec3,
        density_kg_m3: f64,
        load: &Load,
    ) -> BodyLoad {
        let airspeed = libm::sqrt(air.length_squared());
        let mut force_n = self.drag.force(air, airspeed, density_kg_m3, load.thrust_n);
        force_n.z -= load.thrust_n;
        if self.push_n != DVec3::ZERO {
            force_n += rotation.transpose() * self.push_n;
        }
        BodyLoad {
            force_n,
            torque_nm: load.torque_nm + self.drag.torque(rate_rad_s) + self.push_nm,
            rotor_momentum: load.momentum,
        }
    }

    /// Whether ground contact or tether can act within a tick in which the craft moves by at most `reach_m`.
    #[inline(always)]
    pub(crate) fn may_hold(&self, state: &State, reach_m: f64) -> bool {
        self.rope.is_some() || self.ground.near(state.position_m.z + reach_m)
    }

    /// Total force and torque in `state`: body load, ground contact and tether.
    #[inline(always)]
    pub(crate) fn wrench(&self, state: &State, rotation: &DMat3, body_load: &BodyLoad) -> Wrench {
        let mut wrench = Wrench {
            force_n: *rotation * body_load.force_n,
            torque_nm: body_load.torque_nm,
            rotor_momentum: body_load.rotor_momentum,
        };
        if self.ground.near(state.position_m.z) {
            let contact =
                self.ground.wrench(state.position_m, state.velocity_m_s, rotation, state.rate_rad_s);
            wrench.force_n += contact.0;
            wrench.torque_nm += contact.1;
        }
        if let Some(rope) = &self.rope {
            let pull = rope.wrench(state, rotation);
            wrench.force_n += pull.0;
            wrench.torque_nm += pull.1;
        }
        wrench
    }
}
