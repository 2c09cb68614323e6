//! Probes: built-in flights that test one property each. Those of the inner loops are flown in still air at
//! 10 m, and their times scale with the craft. Those of position hold are flown at 20 ft, where the wind of a
//! level of turbulence is defined; the air does not scale.

use aplomb::frames::Heading;
use aplomb::{Command, Demand, HeadingDemand, Libm, Tilt, VerticalDemand};

use aplomb_craft::dryden::{FOOT_M, Profile};
use aplomb_craft::gust::{Form, Gust};
use aplomb_craft::{AirConfig, Config, Turbulence};

use super::Size;
use crate::envelope::balance;
use crate::number::fixed;
use aplomb_flight::FlightPlan;
use aplomb_flight::plan::Push;
use aplomb_flight::plan::TimedCommand;

/// A built-in flight.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Probe {
    /// A step of roll and one of pitch.
    TiltSteps,
    /// A torque pulse about each axis.
    TorquePulses,
    /// A multisine of roll, then of pitch.
    TiltSines,
    /// Position hold in light turbulence.
    LightTurbulence,
    /// Position hold in moderate turbulence.
    ModerateTurbulence,
    /// Position hold in severe turbulence.
    SevereTurbulence,
    /// Position hold in a discrete gust.
    Gust,
}

const HEIGHT_M: f32 = 10.0;
/// Height at which the wind of a level of turbulence is defined, in m.
const HOLD_HEIGHT_M: f64 = 20.0 * FOOT_M;
/// Time of position hold in turbulence after settling, in s.
const HOLD_S: f64 = 60.0;
/// Settling time before a position hold is evaluated, before scaling, in s.
pub const HOLD_SETTLING_S: f64 = 10.0;
/// Gust of [`Probe::Gust`]: form of MIL-F-8785C 3.7.1.3, size set by aplomb.
const GUST: Gust = Gust { at_s: 5.0, peak_m_s: 6.0, length_m: 40.0, from_deg: 0.0, form: Form::Held };
/// Mean wind before the gust in m/s, set by aplomb.
const GUST_WIND_M_S: f64 = 3.0;
/// Duration of [`Probe::Gust`] after the gust, before scaling, in s.
const GUST_S: f64 = 20.0;

/// Purpose of a probe in reports.
pub const PURPOSE: &str = "Built-in flight on which requirements are judged.";

/// A tilt step in deg, or two thirds of the tilt limit if that is less.
const TILT_STEP_DEG: f64 = 20.0;
/// Time of the first step or pulse before scaling in s.
pub const FIRST_S: f64 = 2.0;
/// Time from one to the next before scaling in s.
pub const EVERY_S: f64 = 2.0;
/// Length of a torque pulse before scaling, in s.
pub const PULSE_S: f64 = 0.05;
/// Body rate after a torque pulse about roll, pitch and yaw, before scaling, in rad/s.
const PULSE_RAD_S: [f64; 3] = [1.0, 1.0, 0.3];

/// Length of the multisine record before scaling in s. Each sine has a whole number of periods in it.
const SINES_S: f64 = 8.0;
/// Periods in the record of each sine: 0.4 to 9 Hz, before scaling, about evenly on a logarithmic scale.
pub const SINE_TURNS: [u16; 12] = [3, 5, 8, 11, 15, 20, 26, 33, 41, 50, 60, 72];
/// Amplitude of a sine in deg; above 1 Hz it decreases with the frequency.
const SINE_DEG: f64 = 0.8;
/// Time between commands of the sines in s.
const SINE_COMMAND_S: f64 = 0.005;

impl Probe {
    /// All of them.
    pub const ALL: [Self; 7] = [
        Self::TiltSteps,
        Self::TorquePulses,
        Self::TiltSines,
        Self::LightTurbulence,
        Self::ModerateTurbulence,
        Self::SevereTurbulence,
        Self::Gust,
    ];

    /// Name in results.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::TiltSteps => "probe-tilt-steps",
            Self::TorquePulses => "probe-torque-pulses",
            Self::TiltSines => "probe-tilt-sines",
            Self::LightTurbulence => "probe-light-turbulence",
            Self::ModerateTurbulence => "probe-moderate-turbulence",
            Self::SevereTurbulence => "probe-severe-turbulence",
            Self::Gust => "probe-gust",
        }
    }

    /// Title in reports.
    #[must_use]
    pub const fn title(self) -> &'static str {
        match self {
            Self::TiltSteps => "Steps of roll and pitch",
            Self::TorquePulses => "Pulses of torque about each axis",
            Self::TiltSines => "Multisines of roll and pitch",
            Self::LightTurbulence => "Position hold in light turbulence",
            Self::ModerateTurbulence => "Position hold in moderate turbulence",
            Self::SevereTurbulence => "Position hold in severe turbulence",
            Self::Gust => "Position hold in a gust",
        }
    }

    /// Level of turbulence of a probe of position hold.
    #[must_use]
    pub const fn turbulence(self) -> Option<Turbulence> {
        match self {
            Self::LightTurbulence => Some(Turbulence::light()),
            Self::ModerateTurbulence => Some(Turbulence::moderate()),
            Self::SevereTurbulence => Some(Turbulence::severe()),
            Self::TiltSteps | Self::TorquePulses | Self::TiltSines | Self::Gust => None,
        }
    }

    /// Wind in m/s that the craft has to hold in position hold: the mean plus the standard deviation of the
    /// turbulence (longer gusts are rarer; set by aplomb), or the peak of the gust; 0 for the others.
    fn wind_m_s(self) -> f64 {
        match self.turbulence() {
            Some(Turbulence { u20_m_s }) => u20_m_s + Profile::at(HOLD_HEIGHT_M, u20_m_s).horizontal_m_s,
            None if self == Self::Gust => GUST_WIND_M_S + GUST.peak_m_s,
            None => 0.0,
        }
    }

    /// Reason for which the probe does not apply to a craft with its controller: its wind is stronger
    /// than the force balance allows, or exerts no force.
    #[must_use]
    pub fn obstacle(self, craft: &Config, controller: &aplomb::flight::Config) -> Option<String> {
        let wind_m_s = self.wind_m_s();
        if wind_m_s == 0.0 {
            return None;
        }
        if !balance::has_drag(craft) {
            return Some(format!(
                "not applicable on {}: the craft has no drag, so wind exerts no force on it",
                self.name()
            ));
        }
        let air = AirConfig::default();
        let limits = balance::Limits::of(controller, craft, &air);
        let strongest = balance::strongest_wind_m_s(craft, &air, HOLD_HEIGHT_M, &limits)?;
        (wind_m_s > strongest).then(|| {
            format!(
                "not applicable on {}: its wind with gusts of {} m/s is stronger than the {} m/s that the craft can hold by the force balance",
                self.name(),
                fixed(wind_m_s, 1),
                fixed(strongest, 1)
            )
        })
    }

    /// The flight plan for a craft of this size.
    #[must_use]
    pub fn plan(self, size: &Size) -> FlightPlan {
        let at = |time_s: f64| time_s * size.time_scale;
        let plan = |end_s: f64, commands: Vec<TimedCommand>| FlightPlan {
            title: self.title().to_owned(),
            purpose: PURPOSE.to_owned(),
            commands,
            ..FlightPlan::hover(self.name(), f64::from(HEIGHT_M), end_s)
        };
        match self {
            Self::TiltSteps => {
                let step = tilt_step_deg(size);
                let commands = vec![
                    tilt(0.0, 0.0, 0.0),
                    tilt(at(FIRST_S), step, 0.0),
                    tilt(at(FIRST_S + EVERY_S), 0.0, 0.0),
                    tilt(at(FIRST_S + 2.0 * EVERY_S), 0.0, -step),
                ];
                plan(at(FIRST_S + 3.0 * EVERY_S), commands)
            }
            Self::TorquePulses => {
                let pushes = (0..3).map(|axis| {
                    let at_s = at(FIRST_S + EVERY_S * axis as f64);
                    let mut torque_nm = [0.0; 3];
                    torque_nm[axis] =
                        size.inertia_kg_m2[axis] * PULSE_RAD_S[axis] / size.time_scale / at(PULSE_S);
                    Push { at_s, until_s: at_s + at(PULSE_S), torque_nm, force_n: [0.0; 3] }
                });
                FlightPlan {
                    pushes: pushes.collect(),
                    ..plan(at(FIRST_S + 3.0 * EVERY_S), vec![tilt(0.0, 0.0, 0.0)])
                }
            }
            Self::TiltSines => {
                let end_s = sines(size, 1).1;
                let count = (end_s / SINE_COMMAND_S) as u32;
                let commands = (0..=count).map(|i| {
                    let time_s = f64::from(i) * SINE_COMMAND_S;
                    let rolling = time_s < sines(size, 0).1;
                    let angle = multisine_deg(size, time_s);
                    if rolling { tilt(time_s, angle, 0.0) } else { tilt(time_s, 0.0, angle) }
                });
                plan(end_s, commands.collect())
            }
            Self::LightTurbulence | Self::ModerateTurbulence | Self::SevereTurbulence => {
                let mut plan = self.hold(at(HOLD_SETTLING_S) + HOLD_S);
                plan.air.turbulence = self.turbulence();
                plan.air.u20_m_s = self.turbulence().map(|turbulence| turbulence.u20_m_s);
                plan
            }
            Self::Gust => {
                let mut plan = self.hold(GUST.at_s + at(GUST_S));
                plan.air.u20_m_s = Some(GUST_WIND_M_S);
                plan.air.gusts = vec![GUST];
                plan
            }
        }
    }

    /// Position hold at 20 ft.
    fn hold(self, duration_s: f64) -> FlightPlan {
        FlightPlan {
            title: self.title().to_owned(),
            purpose: PURPOSE.to_owned(),
            ..FlightPlan::hover(self.name(), HOLD_HEIGHT_M, duration_s)
        }
    }
}

/// The tilt step in deg for a craft of this size.
#[must_use]
pub fn tilt_step_deg(size: &Size) -> f64 {
    TILT_STEP_DEG.min(size.tilt_limit_deg * 2.0 / 3.0)
}

/// Start and end in s of the multisine record of roll (0) or pitch (1), each after a settling time.
#[must_use]
pub fn sines(size: &Size, axis: usize) -> (f64, f64) {
    let start = FIRST_S + axis as f64 * (FIRST_S + SINES_S);
    (start * size.time_scale, (start + SINES_S) * size.time_scale)
}

fn multisine_deg(size: &Size, time_s: f64) -> f64 {
    let record_s = SINES_S * size.time_scale;
    let count = SINE_TURNS.len() as f64;
    let waves = SINE_TURNS.iter().enumerate().map(|(i, &turns)| {
        let turns = f64::from(turns);
        // Phases for a low crest factor (Schroeder 1970, IEEE Trans. Inf. Theory 16(1)).
        let phase = -std::f64::consts::PI * (i * (i + 1)) as f64 / count;
        let amplitude = SINE_DEG * (SINES_S / turns).min(1.0);
        amplitude * libm::cos(std::f64::consts::TAU * turns * time_s / record_s + phase)
    });
    waves.sum()
}

fn tilt(at_s: f64, roll_deg: f64, pitch_deg: f64) -> TimedCommand {
    let tilt = Tilt::from_roll_pitch::<Libm>(roll_deg.to_radians() as f32, pitch_deg.to_radians() as f32);
    let heading = HeadingDemand::Hold(Heading::from_rad::<Libm>(0.0));
    let vertical = VerticalDemand::Height(HEIGHT_M);
    TimedCommand { at_s, command: Command::fly(Demand::Tilt { tilt, heading, vertical }) }
}
