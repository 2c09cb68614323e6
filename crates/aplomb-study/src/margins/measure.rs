//! Loop transfer functions by injection.
//!
//! A multisine d is added at the break. With the signal y that returns and the total s = y + d at each of its
//! frequencies, `L = -y/s`. The coherence of a signal x over the periods, |mean X|^2/mean |X|^2, is the share
//! of its power that is periodic with the injection (J. S. Bendat, A. G. Piersol, Random Data, 4th edition
//! 2010, chapter 6, for an injection without noise). A frequency is evaluated if the coherences of y and s
//! reach 0.95.

use aplomb::{FlightController, flight};
use aplomb_craft::Config;

use super::curve::Curve;
use super::figures::Figures;
use super::multisine::Multisine;
use super::point::Point;
use super::steady_flight::{SteadyFlight, signals};
use super::{Linear, MarginsError};
use crate::linear::{BREAKS, Break, C64, held};

/// Smallest coherence of an evaluated frequency.
pub const COHERENT: f64 = 0.95;
/// Number of measured periods, after one to settle.
const PERIODS: usize = 6;
/// Simulated time in s that the measurement of one loop may take, over all its excitations.
pub const LONGEST_S: f64 = 1500.0;

/// Gain margins beyond this in dB need not be measured.
const FAR_DB: f64 = 15.0;

/// Scales of the excitation, tried in this order.
const EXCITATION_SCALES: [f64; 3] = [1.0, 2.0, 4.0];

/// One frequency of a measured loop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Frequency in rad/s.
    pub rad_s: f64,
    /// Loop transfer function.
    pub transfer: C64,
    /// Coherence, 0 to 1.
    pub coherence: f64,
}

/// Reason for a loop without figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotMeasured {
    /// A motor or the mixer saturated.
    Saturated,
    /// The flight was not steady.
    NotSteady,
    /// The coherence is too low at the frequencies of the figures.
    Incoherent,
}

/// A measured loop.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Break of the loop.
    pub broken: Break,
    /// All frequencies, also those that are not evaluated.
    pub lines: Vec<Line>,
    /// The curve through the evaluated frequencies about the crossover.
    pub curve: Curve,
    /// Its figures; NaN outside the curve.
    pub figures: Figures,
    /// Reason for no figures.
    pub not_measured: Option<NotMeasured>,
}

/// Craft in steady flight, from which any number of measurements start in the same state.
#[derive(Clone, Debug)]
pub struct Bench<'a> {
    craft: Config,
    controller: &'a flight::Config,
    flight: SteadyFlight<FlightController>,
}

impl<'a> Bench<'a> {
    /// Takes off and settles at an operating point.
    ///
    /// # Errors
    /// An invalid craft or controller.
    pub fn new(
        craft: &Config,
        controller: &'a flight::Config,
        point: &Point,
        seed: u64,
    ) -> Result<Self, MarginsError> {
        let flight = SteadyFlight::at(craft, controller, point, seed)?;
        Ok(Self { craft: point.craft(craft), controller, flight })
    }

    /// Measures a loop. The linear one determines the frequencies and amplitudes of the excitation only.
    /// While a figure is missing because of noise, the measurement is repeated with a larger excitation,
    /// within 1500 s of simulated time.
    #[must_use]
    pub fn measure(&self, linear: &Linear) -> Measured {
        let (mut best, took_s) = self.measure_at(linear, EXCITATION_SCALES[0]);
        let mut left_s = LONGEST_S - took_s;
        for &excitation in &EXCITATION_SCALES[1..] {
            let is_limited = !linear.broken.is_inner() || best.not_measured == Some(NotMeasured::Saturated);
            if is_limited || best.is_complete(linear) || left_s < took_s {
                break;
            }
            // A complete loop is kept from the smallest excitation.
            let (stronger, took_s) = self.measure_at(linear, excitation);
            left_s -= took_s;
            if stronger.curve.len() >= best.curve.len() {
                best = stronger;
            }
        }
        best
    }

    /// The loop with one excitation, and the simulated time in s.
    fn measure_at(&self, linear: &Linear, excitation: f64) -> (Measured, f64) {
        let broken = linear.broken;
        let tick_s = self.flight.tick_s;
        let signal = self.signal(linear, excitation);
        let ticks = signal.period() * (PERIODS + 1);
        let mut flight = self.flight.clone();
        let mut samples = Vec::with_capacity(signal.period() * PERIODS);
        for tick in 0..ticks {
            let mut added = [0.0; BREAKS];
            added[broken.index()] = signal.at(tick);
            let record = flight.step(&added);
            if tick >= signal.period() {
                samples.push(signals(&record)[broken.index()]);
            }
        }
        let not_measured = if !flight.is_steady() {
            Some(NotMeasured::NotSteady)
        } else if flight.saturated() {
            Some(NotMeasured::Saturated)
        } else {
            None
        };
        let spectra: Vec<Vec<C64>> =
            samples.chunks(signal.period()).map(|period| signal.amplitudes_in(period)).collect();
        let lines = signal.rad_s(tick_s).into_iter().enumerate().map(|(j, rad_s)| {
            let injected = signal.amplitudes()[j];
            let found: Vec<C64> = spectra.iter().map(|period| period[j]).collect();
            // The acceleration demand contains its addition, which the velocity controller holds.
            let (returned, total): (Vec<C64>, Vec<C64>) = if broken.is_held() {
                let added = injected * held(rad_s * tick_s, usize::from(self.controller.velocity_divider));
                found.into_iter().map(|total| (total - added, total)).unzip()
            } else {
                found.into_iter().map(|returned| (returned, returned + injected)).unzip()
            };
            let ((returned, a), (total, b)) = (mean_and_coherence(&returned), mean_and_coherence(&total));
            Line { rad_s, transfer: -returned / total, coherence: a.min(b) }
        });
        (Measured::new(broken, lines.collect(), linear, not_measured), ticks as f64 * tick_s)
    }

    /// The excitation: larger where the loop gain is small or large, limited by the motors and to a small
    /// motion.
    fn signal(&self, linear: &Linear, excitation: f64) -> Multisine {
        let (broken, tick_s) = (linear.broken, self.flight.tick_s);
        let range = range(linear, 0.4 * std::f64::consts::PI / tick_s);
        let amplitude = |w: f64| self.amplitude(broken, w, linear.curve.at(w));
        let power: f64 = Multisine::new(range, cycles(broken), tick_s, |w| amplitude(w).0)
            .amplitudes()
            .iter()
            .map(C64::norm_sqr)
            .sum();
        let scale = match self.authority(broken) {
            Some(most) => (most / libm::sqrt(0.5 * power)).min(1.0),
            None => 1.0,
        };
        Multisine::new(range, cycles(broken), tick_s, |w| {
            let (total, added) = amplitude(w);
            excitation * scale * total * added
        })
    }

    /// Amplitude of the total signal at one frequency, and the injection per unit of it.
    fn amplitude(&self, broken: Break, w: f64, loop_: C64) -> (f64, f64) {
        /// Largest rotation in rad and displacement in m at one frequency.
        const ROTATION_RAD: f64 = 0.025;
        const DISPLACEMENT_M: f64 = 0.3;
        let even = 1.0 / libm::sqrt(loop_.norm());
        let added = (1.0 + loop_).norm();
        let inertia = |axis: usize| self.craft.inertia_kg_m2[axis][axis];
        let most = self.authority(broken).unwrap_or(f64::INFINITY);
        // Set-points stay slower than their ramps.
        let slower = (1.0 / w).min(1.0);
        match broken {
            Break::RollTorque | Break::PitchTorque | Break::YawTorque => {
                ((inertia(broken.index()) * w * w * ROTATION_RAD).min(most * even), added)
            }
            Break::Thrust => ((self.craft.mass_kg * w * w * DISPLACEMENT_M).min(most * even), added),
            Break::RollRate | Break::PitchRate | Break::YawRate => {
                ((w * ROTATION_RAD).min(most * even), added)
            }
            Break::NorthAcceleration | Break::EastAcceleration => {
                ((w * w * DISPLACEMENT_M).min(most * even), added)
            }
            Break::NorthVelocity | Break::EastVelocity => (1.2 * DISPLACEMENT_M * slower, 1.0),
            Break::Climb => (0.5 * DISPLACEMENT_M * slower, 1.0),
        }
    }

    /// Largest root mean square of the total signal. A demand on the mixer: a share of the thrust range of a
    /// rotor about hover, at the shortest arm of the controller's geometry; a rate: what gives that torque;
    /// an acceleration: a share of the largest one of the velocity controller.
    fn authority(&self, broken: Break) -> Option<f64> {
        const SHARE: f64 = 0.06;
        let rate = |torque: Break, axis: &aplomb::control::rate::Axis| {
            let inertia = self.craft.inertia_kg_m2[torque.index()][torque.index()];
            Some(self.authority(torque)? / (inertia * f64::from(axis.crossover_rad_s)))
        };
        let (axes, velocity) = (&self.controller.rate, &self.controller.velocity);
        let mix = &self.controller.mix;
        let hover = 0.25 * self.craft.mass_kg * aplomb_craft::gravity::STANDARD_M_S2;
        let ceiling = mix.max_thrust_n.min(self.controller.thrust_curve.max_thrust_n);
        let range_n = (hover - f64::from(mix.min_thrust_n)).min(f64::from(ceiling) - hover);
        let arms = mix.geometry.arms.into_array();
        let shortest = |of: &dyn Fn(usize) -> f32| {
            f64::from((0..4).map(of).fold(f32::INFINITY, |least, arm| least.min(arm.abs())))
        };
        // Torque or thrust per newton of each of the four rotors.
        let per_n = match broken {
            Break::RollTorque => shortest(&|i| arms[i].y_m),
            Break::PitchTorque => shortest(&|i| arms[i].x_m),
            Break::YawTorque => f64::from(mix.geometry.torque_to_thrust_m),
            Break::Thrust => 1.0,
            Break::RollRate => return rate(Break::RollTorque, &axes.roll),
            Break::PitchRate => return rate(Break::PitchTorque, &axes.pitch),
            Break::YawRate => return rate(Break::YawTorque, &axes.yaw),
            Break::NorthAcceleration | Break::EastAcceleration => {
                return Some(SHARE * f64::from(velocity.acceleration_m_s2));
            }
            Break::NorthVelocity | Break::EastVelocity | Break::Climb => return None,
        };
        Some(SHARE * range_n * 4.0 * per_n)
    }
}

/// Number of cycles of the lowest frequency in a period: a larger number gives a finer resolution and less
/// noise per frequency, a smaller one a shorter flight.
fn cycles(broken: Break) -> usize {
    match broken {
        Break::Thrust => 12,
        Break::NorthAcceleration | Break::EastAcceleration => 12,
        _ if broken.is_inner() => 6,
        _ => 3,
    }
}

/// Range of the excited frequencies: the crossover, and at a demand on the mixer both phase crossovers.
fn range(linear: &Linear, highest: f64) -> [f64; 2] {
    let or = |w: f64, otherwise: f64| if w.is_finite() { w } else { otherwise };
    let figures = &linear.figures;
    let crossover = or(figures.crossover_rad_s, 1.0);
    let down = if linear.broken.is_demand() && figures.lower_gain_margin_db < FAR_DB {
        or(figures.lower_gain_margin_rad_s, crossover)
    } else {
        crossover
    };
    let low = (0.4 * crossover).min(0.6 * down);
    let high = (3.0 * crossover)
        .max(1.5 * or(figures.upper_gain_margin_rad_s, crossover))
        .max(1.3 * or(figures.bandwidth_rad_s, crossover));
    [low, high.min(highest)]
}

fn mean_and_coherence(values: &[C64]) -> (C64, f64) {
    let count = values.len() as f64;
    let mean = values.iter().sum::<C64>() / count;
    let power = values.iter().map(C64::norm_sqr).sum::<f64>() / count;
    (mean, if power > 0.0 { mean.norm_sqr() / power } else { 0.0 })
}

impl Measured {
    fn new(broken: Break, lines: Vec<Line>, linear: &Linear, not_measured: Option<NotMeasured>) -> Self {
        let mut measured =
            Self { broken, lines, curve: Curve::default(), figures: Figures::UNKNOWN, not_measured };
        if not_measured.is_some() {
            return measured;
        }
        let points: Vec<_> = measured.coherent_run().iter().map(|line| (line.rad_s, line.transfer)).collect();
        if points.len() < 4 {
            measured.not_measured = Some(NotMeasured::Incoherent);
            return measured;
        }
        measured.curve = Curve::new(&points);
        measured.figures = within(Figures::of(&measured.curve), &linear.figures, &measured.curve);
        measured
    }

    /// The figures that are judged were measured, but for gain margins that are far from the limit by the
    /// linear model.
    #[must_use]
    pub fn is_complete(&self, linear: &Linear) -> bool {
        let (figures, expected) = (&self.figures, &linear.figures);
        let gain = |found: f64, expected: f64| !found.is_nan() || expected > FAR_DB;
        let gains = !self.broken.is_demand()
            || gain(figures.upper_gain_margin_db, expected.upper_gain_margin_db)
                && gain(figures.lower_gain_margin_db, expected.lower_gain_margin_db);
        self.not_measured.is_none()
            && gains
            && !figures.phase_margin_deg.is_nan()
            && !figures.peak_sensitivity.is_nan()
    }

    /// Half of the 95 % interval of the loop transfer function at a frequency in rad/s, as a share of its
    /// size: `1.96 sqrt((1 - c)/(2 c n))` with the coherence c of the nearest frequency over n periods (J. S.
    /// Bendat, A. G. Piersol, Random Data, 4th edition 2010, table 9.6).
    #[must_use]
    pub fn interval(&self, rad_s: f64) -> f64 {
        let off = |line: &&Line| libm::log(line.rad_s / rad_s).abs();
        let nearest = self.lines.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
        nearest.map_or(f64::NAN, |line| {
            1.96 * libm::sqrt((1.0 - line.coherence).max(0.0) / (2.0 * line.coherence * PERIODS as f64))
        })
    }

    /// The longest run of evaluated frequencies.
    fn coherent_run(&self) -> &[Line] {
        let runs = self.lines.split(|line| line.coherence < COHERENT);
        runs.max_by_key(|run| run.len()).unwrap_or(&[])
    }
}

/// A margin that is infinite on the curve is NaN if the linear model has a finite one, possibly outside the
/// curve. A peak at the end of the curve is NaN.
fn within(found: Figures, linear: &Figures, curve: &Curve) -> Figures {
    let Some((low, high)) = curve.range() else { return Figures::UNKNOWN };
    let absent =
        |found: f64, linear: f64| if found.is_infinite() && !linear.is_infinite() { f64::NAN } else { found };
    let inside = found.peak_sensitivity_rad_s > 1.02 * low && found.peak_sensitivity_rad_s < 0.98 * high;
    Figures {
        upper_gain_margin_db: absent(found.upper_gain_margin_db, linear.upper_gain_margin_db),
        lower_gain_margin_db: absent(found.lower_gain_margin_db, linear.lower_gain_margin_db),
        phase_margin_deg: absent(found.phase_margin_deg, linear.phase_margin_deg),
        delay_margin_s: absent(found.delay_margin_s, linear.delay_margin_s),
        peak_sensitivity: if inside { found.peak_sensitivity } else { f64::NAN },
        ..found
    }
}
