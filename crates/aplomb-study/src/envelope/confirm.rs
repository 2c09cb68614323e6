//! The flights that confirm the figures.

use aplomb::frames::Heading;
use aplomb::{Command, Demand, HeadingDemand, PositionSetpoint, VerticalDemand};
use aplomb_craft::air::WindStep;
use aplomb_craft::{Config, Plant, Rotors, Start, sensors};

use super::EnvelopeError;
use super::figures::Conditions;
use crate::controller_model;
use crate::craft::{Craft, idealised};
use aplomb_flight::FlightPlan;
use aplomb_flight::fly::{Tick, fly_watched};
use aplomb_flight::plan::TimedCommand;
use aplomb_flight::trace::Trace;

/// Height of the flights in m, outside the ground effect.
pub const HEIGHT_M: f64 = 30.0;
/// Longest flight of the endurance, in s.
pub const LONGEST_FLIGHT_S: f64 = 3600.0;
const TICK_S: f64 = 0.001;
const SEED: u64 = 1;

/// The craft of the figures, and a controller derived for it.
///
/// The sensors are ideal, since the figures are properties of the craft. Except for the endurance, the
/// battery is as well: see [`idealised`].
pub struct Trial<'a> {
    craft: &'a Craft,
    ideal: Config,
    pub conditions: &'a Conditions,
    pub controller: aplomb::flight::Config,
}

impl<'a> Trial<'a> {
    pub fn new(craft: &'a Craft, conditions: &'a Conditions) -> Result<Self, EnvelopeError> {
        let mut controller = controller_model::controller(craft).map_err(EnvelopeError::Controller)?;
        controller.estimate.vertical.home_temperature_k = conditions.home_temperature_k() as f32;
        controller.air_density_kg_m3 = conditions.density_kg_m3() as f32;
        Ok(Self { craft, ideal: idealised(&craft.config), conditions, controller })
    }

    /// A hover under the conditions.
    fn plan(&self, height_m: f64, duration_s: f64) -> FlightPlan {
        let mut plan = FlightPlan::hover("envelope", height_m, duration_s);
        plan.air = self.conditions.air();
        plan
    }

    fn watch(
        &self,
        craft: &Config,
        controller: &aplomb::flight::Config,
        plan: &FlightPlan,
        watch: impl FnMut(&Tick<'_>),
    ) -> Result<(), EnvelopeError> {
        fly_watched(craft, controller, plan, SEED, watch)?;
        Ok(())
    }

    /// Mean vertical force of the rotors in N at full command and a tilt of `tilt_rad`. Position and attitude
    /// are held, so that neither a slow speed controller nor unequal rotors move the craft.
    pub fn thrust_at_full_command(&self, tilt_rad: f64) -> Result<f64, EnvelopeError> {
        let air = self.conditions.air();
        let start = Start { airborne: true, height_m: HEIGHT_M, pitch_rad: -tilt_rad, ..Start::default() };
        let mut plant = Plant::new(&self.ideal, &air, &start, SEED, TICK_S)?;
        let held = motion(&mut plant);
        // The rotors settle within 1 s of full command; the next 0.1 s is evaluated.
        let slew_s = self.ideal.speed_controller.slew_per_s.map_or(0.0, |slew| 1.0 / slew);
        let settle = ((1.0 + slew_s) / TICK_S) as u32;
        let end = settle + 100;
        let mut sum = 0.0;
        for tick in 0..end {
            plant.advance(Rotors::splat(1.0));
            hold(&mut plant, &held);
            if tick >= settle {
                sum += plant.truth().thrust_n.sum() * libm::cos(plant.truth().tilt_rad());
            }
        }
        Ok(sum / f64::from(end - settle))
    }

    /// Mean command and battery current (A) in hover.
    pub fn hover(&self) -> Result<(f64, f64), EnvelopeError> {
        let (mut command, mut current, mut count) = (0.0, 0.0, 0.0);
        let plan = self.plan(HEIGHT_M, 10.0);
        self.watch(&self.ideal, &self.controller, &plan, |tick| {
            if tick.from_start >= 0 {
                let truth = tick.plant.truth();
                command += 0.25 * truth.motor_command.sum();
                current += truth.battery.current_a;
                count += 1.0;
            }
        })?;
        Ok((command / count, current / count))
    }

    /// Time in s in hover from the initial state of charge to `reserve`; at most [`LONGEST_FLIGHT_S`].
    pub fn endurance_s(&self, reserve: f64, expected_s: f64) -> Result<f64, EnvelopeError> {
        let mut controller = self.controller;
        // The guard would land first. The height is low, so that the warm-up uses little charge.
        controller.guard.low_battery_v = 0.0;
        let (mut ended_s, mut begun_s) = (f64::INFINITY, f64::NAN);
        let duration_s = (1.05 * expected_s).clamp(10.0, LONGEST_FLIGHT_S);
        let plan = self.plan(10.0, duration_s);
        let mut charge = f64::NAN;
        let craft = Config { sensors: sensors::Config::ideal(), ..self.craft.config };
        self.watch(&craft, &controller, &plan, |tick| {
            let now = tick.plant.truth().battery.state_of_charge;
            if tick.from_start == 0 {
                begun_s = tick.time_s;
                charge = now;
            }
            if now <= reserve && ended_s.is_infinite() {
                ended_s = tick.time_s;
            }
        })?;
        // The warm-up uses some charge. The rest is flown, and the used part is added at the same rate.
        let start = self.craft.config.battery.state_of_charge;
        Ok((ended_s - begun_s) * (start - reserve) / (charge - reserve))
    }

    /// Drift downwind in m/s over the last 15 s of 75 s in a steady wind, whether the controller reports that
    /// it cannot hold its position, and the trace of these 15 s.
    pub fn wind(&self, wind_m_s: f64) -> Result<(f64, bool, Trace), EnvelopeError> {
        let mut plan = self.plan(HEIGHT_M, 75.0);
        plan.air.winds.push(WindStep { at_s: 1.0, from_deg: 0.0, speed_m_s: wind_m_s, ramp_s: 30.0 });
        let (mut drift, mut count, mut cannot_hold) = (0.0, 0.0, false);
        let mut trace = Trace { period_s: 0.02, rows: Vec::new() };
        self.watch(&self.ideal, &self.controller, &plan, |tick| {
            if tick.time_s >= 60.0 {
                let record = tick.controller.record();
                drift -= tick.plant.truth().velocity_m_s.x;
                count += 1.0;
                cannot_hold |= record.outer.cannot_hold_position;
                if tick.from_start % 20 == 0 {
                    trace.rows.push(aplomb_flight::sample::row(tick.time_s, &tick.plant.truth(), record));
                }
            }
        })?;
        Ok((drift / count, cannot_hold, trace))
    }

    /// Mean climb in m/s and mean height in m over the last second of 16 s at the largest climb demand. The
    /// speed approaches its limit with a time constant of one to two seconds.
    pub fn climb(&self, expected_m_s: f64) -> Result<(f64, f64), EnvelopeError> {
        let mut controller = self.controller;
        // The guard would land because of the voltage sag at full command.
        controller.guard.low_battery_v = 0.0;
        controller.vertical.climb_limit_m_s = 3.0 * expected_m_s as f32;
        // The ramp of the climb demand passes the expected climb after half of the time.
        let ramp_m_s2 = &mut controller.vertical.acceleration_m_s2;
        *ramp_m_s2 = ramp_m_s2.max(expected_m_s as f32 / 8.0);
        // Without the thrust reserve of 10 % for control.
        controller.thrust.max_thrust_n /= 0.9;
        let mut plan = self.plan(HEIGHT_M, 16.5);
        let climb = Demand::Position {
            setpoint: PositionSetpoint::default(),
            heading: HeadingDemand::Hold(Heading::NORTH),
            vertical: VerticalDemand::Climb(2.5 * expected_m_s as f32),
        };
        plan.commands.push(TimedCommand { at_s: 0.5, command: Command::fly(climb) });
        let (mut climb, mut height, mut count) = (0.0, 0.0, 0.0);
        self.watch(&self.ideal, &controller, &plan, |tick| {
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

/// States of the body among those of a plant.
const MOTION: [&str; 4] = ["position_m", "velocity_m_s", "attitude", "rate_rad_s"];

fn motion(plant: &mut Plant) -> Vec<f64> {
    let mut states = Vec::new();
    plant.visit_state(&mut |name, _, state| states.extend(state.filter(|_| MOTION.contains(&name)).copied()));
    states
}

/// Sets the states of the body.
fn hold(plant: &mut Plant, held: &[f64]) {
    let mut held = held.iter();
    plant.visit_state(&mut |name, _, state| {
        let of_body = state.filter(|_| MOTION.contains(&name));
        if let Some((state, value)) = of_body.and_then(|state| Some((state, held.next()?))) {
            *state = *value;
        }
    });
}
