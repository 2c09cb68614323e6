//! Everything that pushes and turns the craft, summed up.

use crate::body::{Body, State, Wrench};
use crate::drag::Drag;
use crate::ground::Ground;
use glam::{DMat3, DVec3};

/// Everything that makes force and torque.
#[derive(Clone, Debug)]
pub(crate) struct Forces {
    pub(crate) body: Body,
    pub(crate) drag: Drag,
    pub(crate) ground: Ground,
    pub(crate) arms: [DVec3; 4],
    pub(crate) spin: [f64; 4],
    pub(crate) thrust_n_s2: f64,
    pub(crate) torque_nm_s2: f64,
    pub(crate) inertia_kg_m2: f64,
    pub(crate) push_n: DVec3,
    pub(crate) push_nm: DVec3,
}

/// The four rotors' share in force and torque at one instant.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Load {
    pub(crate) thrust_n: f64,
    pub(crate) torque_nm: DVec3,
    pub(crate) momentum: f64,
}

/// Air at one instant.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Flow {
    pub(crate) wind_m_s: DVec3,
    pub(crate) density_kg_m3: f64,
}

impl Forces {
    /// Loads at speeds `speeds` (rad/s) that change by `change` (rad/s2).
    #[inline]
    pub(crate) fn load(&self, speeds: &[f64; 4], change: &[f64; 4], density_ratio: f64) -> Load {
        let (kt, kq) = (self.thrust_n_s2 * density_ratio, self.torque_nm_s2 * density_ratio);
        let mut load = Load::default();
        for i in 0..4 {
            let squared = speeds[i] * speeds[i];
            let thrust = kt * squared;
            load.thrust_n += thrust;
            load.torque_nm.x -= self.arms[i].y * thrust;
            load.torque_nm.y += self.arms[i].x * thrust;
            load.torque_nm.z += self.spin[i] * (kq * squared + self.inertia_kg_m2 * change[i]);
            // A counter-clockwise rotor (s = +1) turns against body z.
            load.momentum -= self.spin[i] * self.inertia_kg_m2 * speeds[i];
        }
        load
    }

    #[inline(always)]
    pub(crate) fn wrench(&self, state: &State, load: &Load, flow: &Flow) -> Wrench {
        let rotation = DMat3::from_quat(state.attitude);
        let air = state.velocity_m_s - flow.wind_m_s;
        let airspeed = libm::sqrt(air.length_squared());
        let mut in_body =
            self.drag.force(rotation.transpose() * air, airspeed, flow.density_kg_m3, load.thrust_n);
        in_body.z -= load.thrust_n;
        let mut wrench = Wrench {
            force_n: rotation * in_body + self.push_n,
            torque_nm: load.torque_nm + self.drag.torque(state.rate_rad_s) + self.push_nm,
            rotor_momentum: load.momentum,
        };
        if self.ground.near(state.position_m.z) {
            let contact =
                self.ground.wrench(state.position_m, state.velocity_m_s, &rotation, state.rate_rad_s);
            wrench.force_n += contact.0;
            wrench.torque_nm += contact.1;
        }
        wrench
    }
}
