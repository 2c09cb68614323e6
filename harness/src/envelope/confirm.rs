//! The flights that bear the figures out.

use aplomb_craft::{AirConfig, Config, Plant, Rotors, Start, glam::DVec3, sensors};

use super::EnvelopeError;
use super::figures::Conditions;
use crate::controller_model;
use crate::fly::{Tick, fly_watched};
use crate::input::{Craft, FlightPlan};
use crate::trace::Trace;

/// Height in m of every flight: clear of the ground's effect.
pub const HEIGHT_M: f64 = 30.0;
const TICK_S: f64 = 0.001;
const SEED: u64 = 1;

/// The craft of the figures, and a controller that knows it.
///
/// It is flown with sensors that do not err, since the figures are the craft's: with noise on its tilt a controller cannot use
/// the last degree before its limit. But for the endurance its battery keeps its charge and does not
/// sag slowly, since a figure holds at one charge and at once.
pub struct Trial<'a> {
    craft: &'a Craft,
    lasting: Config,
    pub conditions: &'a Conditions,
    pub controller: aplomb::flight::Config,
}

impl<'a> Trial<'a> {
    pub fn new(craft: &'a Craft, conditions: &'a Conditions) -> Result<Self, EnvelopeError> {
        let controller = controller_model::controller(craft).map_err(EnvelopeError::Controller)?;
        let density = conditions.density_kg_m3() as f32;
        let mut lasting = craft.config;
        lasting.battery.capacity_ah *= 1e4;
        lasting.battery.transients = false;
        lasting.sensors = sensors::Config::ideal();
        Ok(Self {
            craft,
            lasting,
            conditions,
            controller: aplomb::flight::Config { air_density_kg_m3: density, ..controller },
        })
    }

    fn plan(&self, text: &str) -> Result<FlightPlan, EnvelopeError> {
        let mut plan =
            FlightPlan::from_unjudged_text("envelope", "envelope", text).map_err(EnvelopeError::Flight)?;
        plan.air.elevation_m = self.conditions.elevation_m;
        plan.air.temperature_offset_k = self.conditions.temperature_offset_k;
        Ok(plan)
    }

    fn watch(
        &self,
        craft: &Config,
        controller: &aplomb::flight::Config,
        text: &str,
        watch: impl FnMut(&Tick<'_, aplomb::Libm>),
    ) -> Result<(), EnvelopeError> {
        fly_watched(craft, controller, &self.plan(text)?, SEED, watch)?;
        Ok(())
    }

    /// Mean upward force of the rotors in N under full command, tilted by `tilt_rad`, with an outside force holding the craft
    /// in its place: the force is what the figures say is missing, so what is left over shows as acceleration.
    pub fn held_under_full_command(&self, tilt_rad: f64, max_thrust_n: f64) -> Result<f64, EnvelopeError> {
        let air = AirConfig {
            elevation_m: self.conditions.elevation_m,
            temperature_offset_k: self.conditions.temperature_offset_k,
            ..AirConfig::default()
        };
        let start = Start { airborne: true, height_m: HEIGHT_M, pitch_rad: -tilt_rad, ..Start::default() };
        let mut plant = Plant::new(&self.lasting, &air, &start, SEED, TICK_S)?;
        let (mass, gravity) = (self.craft.config.mass_kg, air.gravity_m_s2);
        let (sine, cosine) = libm::sincos(tilt_rad);
        plant
            .push(DVec3::new(-max_thrust_n * sine, 0.0, max_thrust_n * cosine - mass * gravity), DVec3::ZERO);
        // The rotors take up to a second to come up; the tenth after that is read.
        let (settle, end) = (1000, 1100);
        let mut sum = 0.0;
        for tick in 0..end {
            plant.advance(Rotors::splat(1.0));
            if tick >= settle {
                sum += plant.truth().thrust_n.sum() * libm::cos(plant.truth().tilt_rad());
            }
        }
        Ok(sum / f64::from(end - settle))
    }

    /// Mean command and battery current (A) in hover.
    pub fn hover(&self) -> Result<(f64, f64), EnvelopeError> {
        let (mut command, mut current, mut count) = (0.0, 0.0, 0.0);
        let text = format!(
            "title = \"hover\"\npurpose = \"hover\"\nduration_s = 10.0\nstart = \"hover\"\nheight_m = {HEIGHT_M}\n"
        );
        self.watch(&self.lasting, &self.controller, &text, |tick| {
            if tick.from_start >= 0 {
                let truth = tick.plant.truth();
                command += 0.25 * truth.motor_command.sum();
                current += truth.battery.current_a;
                count += 1.0;
            }
        })?;
        Ok((command / count, current / count))
    }

    /// Time in s from a full pack, or whatever the craft starts with, down to `reserve` of its capacity, hovering; at most an
    /// hour.
    pub fn endurance_s(&self, reserve: f64, expected_s: f64) -> Result<f64, EnvelopeError> {
        let mut controller = self.controller;
        // The guard would land first. A low height, so that the lead-in draws little.
        controller.guard.low_battery_v = 0.0;
        let (mut ended_s, mut begun_s) = (f64::INFINITY, f64::NAN);
        let duration_s = (1.05 * expected_s).clamp(10.0, 3600.0);
        let text = format!(
            "title = \"hover\"\npurpose = \"until the battery is down\"\nduration_s = {duration_s:.1}\nstart = \"hover\"\n\
             height_m = 10.0\n"
        );
        let mut charge = f64::NAN;
        self.watch(&self.craft.config, &controller, &text, |tick| {
            let now = tick.plant.truth().battery.state_of_charge;
            if tick.from_start == 0 {
                begun_s = tick.time_s;
                charge = now;
            }
            if now <= reserve && ended_s.is_infinite() {
                ended_s = tick.time_s;
            }
        })?;
        // The lead-in has used some of the charge already: what is left is flown, the rest is added at the same rate.
        let start = self.craft.config.battery.state_of_charge;
        Ok((ended_s - begun_s) * (start - reserve) / (charge - reserve))
    }

    /// Drift downwind in m/s over the last 15 s of a minute in a steady wind, and whether the controller says that it is carried
    /// off.
    pub fn wind(&self, wind_m_s: f64) -> Result<(f64, bool, Trace), EnvelopeError> {
        let text = format!(
            "title = \"wind\"\npurpose = \"hold the place\"\nduration_s = 75.0\nstart = \"hover\"\nheight_m = {HEIGHT_M}\n\
             [[wind]]\nat_s = 1.0\nwind_m_s = {wind_m_s:.4}\nfrom_deg = 0.0\nramp_s = 30.0\n"
        );
        let (mut drift, mut count, mut carried) = (0.0, 0.0, false);
        let mut trace = Trace { period_s: 0.02, rows: Vec::new() };
        self.watch(&self.lasting, &self.controller, &text, |tick| {
            if tick.time_s >= 60.0 {
                let record = tick.controller.record();
                drift -= tick.plant.truth().velocity_m_s.x;
                count += 1.0;
                carried |= record.outer.cannot_hold_position;
                if tick.from_start % 20 == 0 {
                    trace.rows.push(crate::sample::row(tick.time_s, &tick.plant.truth(), &record));
                }
            }
        })?;
        Ok((drift / count, carried, trace))
    }

    /// Mean climb in m/s, and mean height in m, over the last second of 16 s in which the controller is asked for as much as
    /// there is: the speed closes on its limit with a time constant of one to two seconds.
    pub fn climb(&self, expected_m_s: f64) -> Result<(f64, f64), EnvelopeError> {
        let mut controller = self.controller;
        // The guard would land when the sag of full command leaves too little for the way down.
        controller.guard.low_battery_v = 0.0;
        controller.vertical.climb_limit_m_s = 3.0 * expected_m_s as f32;
        // Without the tenth that it keeps to steer by.
        controller.thrust.max_thrust_n /= 0.9;
        let text = format!(
            "title = \"climb\"\npurpose = \"as fast as it can\"\nduration_s = 16.5\nstart = \"hover\"\nheight_m = {HEIGHT_M}\n\
             [[command]]\nat_s = 0.5\nclimb_m_s = {:.2}\n",
            2.5 * expected_m_s
        );
        let (mut climb, mut height, mut count) = (0.0, 0.0, 0.0);
        self.watch(&self.lasting, &controller, &text, |tick| {
            if tick.time_s > 15.5 {
                let truth = tick.plant.truth();
                climb -= truth.velocity_m_s.z;
                height += truth.height_m();
                count += 1.0;
            }
        })?;
        Ok((climb / count, height / count))
    }
}
