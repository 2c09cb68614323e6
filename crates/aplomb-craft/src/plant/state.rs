//! The state of the plant as a list of numbers, for linearisation.

use super::Plant;
use crate::ROTORS;
use crate::visit::visit_vector;
use glam::DQuat;

impl Plant {
    /// Visits all numbers that carry over from tick to tick and that a motion changes, always in the same
    /// order: motion of the body, rotor speeds, speed controllers, battery, filters and queues of the
    /// sensors, and the readings of this tick. A changed attitude is normalised, then the loads and the
    /// accelerations are computed anew; the readings stay. Wind, noise, bias and faults are not visited.
    ///
    /// The arguments are name, index within the name, and number; `None` for an empty slot of a queue.
    ///
    /// ```
    /// use aplomb_craft::{AirConfig, Config, Plant, Rotors, Start};
    /// let start = Start { airborne: true, height_m: 6.0, ..Start::default() };
    /// let mut plant = Plant::new(&Config::weir_gauge(), &AirConfig::default(), &start, 1, 0.001)?;
    /// plant.visit_state(&mut |name, index, number| match (name, index, number) {
    ///     ("velocity_m_s", 0, Some(north_m_s)) => *north_m_s = 2.0,
    ///     _ => {}
    /// });
    /// let truth = plant.truth();
    /// assert_eq!(truth.velocity_m_s.x, 2.0);
    /// // The drag is that of the new velocity.
    /// assert!(truth.acceleration_m_s2.x < -0.1);
    /// # Ok::<(), aplomb_craft::ConfigError>(())
    /// ```
    pub fn visit_state(&mut self, visit: &mut dyn FnMut(&'static str, usize, Option<&mut f64>)) {
        let state = &mut self.state;
        visit_vector(visit, "position_m", 0, &mut state.position_m);
        visit_vector(visit, "velocity_m_s", 0, &mut state.velocity_m_s);
        let q = &mut state.attitude;
        let mut wxyz = [q.w, q.x, q.y, q.z];
        wxyz.iter_mut().enumerate().for_each(|(i, part)| visit("attitude", i, Some(part)));
        let [w, x, y, z] = wxyz;
        if wxyz != [q.w, q.x, q.y, q.z] {
            *q = DQuat::from_xyzw(x, y, z, w).normalize();
        }
        visit_vector(visit, "rate_rad_s", 0, &mut state.rate_rad_s);
        let mut speeds = *self.propulsion.speeds();
        speeds.iter_mut().enumerate().for_each(|(i, speed)| visit("rotor_speed_rad_s", i, Some(speed)));
        self.propulsion.set_speeds(speeds);
        self.controllers.visit(visit);
        self.battery.visit(visit);
        let fitted = &mut self.fitted;
        if let Some((imu, _)) = &mut fitted.imu {
            imu.visit(visit);
        }
        if let Some(barometer) = &mut fitted.barometer {
            barometer.visit(visit);
        }
        if let Some(gnss) = &mut fitted.gnss {
            gnss.visit(visit);
        }
        if let Some(magnetometer) = &mut fitted.magnetometer {
            magnetometer.visit(visit);
        }
        self.readings.visit(visit);
        // The angular acceleration of the rotors of the last tick cancels in the next.
        self.update_derivatives(&[0.0; ROTORS]);
    }
}
