//! Everything that pushes and turns the craft, summed up.

use crate::body::{Body, State, Wrench};
use crate::drag::Drag;
use crate::ground::Ground;
use crate::mount::Rope;
use crate::propulsion::{Inflow, Load};
use glam::{DMat3, DVec3};

/// Everything but the rotors that makes force and torque.
#[derive(Clone, Debug)]
pub(crate) struct Forces {
    pub(crate) body: Body,
    pub(crate) drag: Drag,
    pub(crate) ground: Ground,
    pub(crate) rope: Option<Rope>,
    pub(crate) push_n: DVec3,
    pub(crate) push_nm: DVec3,
}

/// Air at one instant.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Flow {
    pub(crate) wind_m_s: DVec3,
    pub(crate) density_kg_m3: f64,
}

impl Forces {
    /// Force and torque in `state` under the rotors' `load`, which `inflow` corrects for the motion since it was found.
    #[inline(always)]
    pub(crate) fn wrench(&self, state: &State, load: &Load, inflow: &Inflow, flow: &Flow) -> Wrench {
        let rotation = DMat3::from_quat(state.attitude);
        let air = state.velocity_m_s - flow.wind_m_s;
        let airspeed = libm::sqrt(air.length_squared());
        let in_body = rotation.transpose() * air;
        let change = inflow.change(in_body.z, state.rate_rad_s);
        let thrust = load.thrust_n + change.x;
        let mut force = self.drag.force(in_body, airspeed, flow.density_kg_m3, thrust);
        force.z -= thrust;
        let mut wrench = Wrench {
            force_n: rotation * force + self.push_n,
            torque_nm: load.torque_nm
                + DVec3::new(change.y, change.z, 0.0)
                + self.drag.torque(state.rate_rad_s)
                + self.push_nm,
            rotor_momentum: load.momentum,
        };
        if self.ground.near(state.position_m.z) {
            let contact =
                self.ground.wrench(state.position_m, state.velocity_m_s, &rotation, state.rate_rad_s);
            wrench.force_n += contact.0;
            wrench.torque_nm += contact.1;
        }
        if let Some(rope) = &self.rope {
            let pull = rope.wrench(state, &rotation);
            wrench.force_n += pull.0;
            wrench.torque_nm += pull.1;
        }
        wrench
    }
}
