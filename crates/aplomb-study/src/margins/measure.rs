//! Loop transfer functions by injection.
//!
//! A multisine d is added at the break. With the returned signal s_c and the total s = s_c + d at each of its
//! frequencies, `L = -s_c/s`. The coherence of a signal x over the periods, |mean X|^2/mean |X|^2, is the
//! share of its power that is periodic with the injection (J. S. Bendat, A. G. Piersol, Random Data, 4th
//! edition 2010, chapter 6, for an injection without noise). A frequency is evaluated if the coherences of
//! s_c and s reach 0.95.

use aplomb::flight;
use aplomb::record::Record;
use aplomb_craft::Config;

use super::curve::Curve;
use super::figures::Figures;
use super::multisine::Multisine;
use super::point::Point;
use super::steady_flight::{Injected, SteadyFlight};
use super::{Linear, MarginsError};
use crate::linear::{Break, C64, Mode, controller_allocation};

/// Smallest coherence of an evaluated frequency.
pub const COHERENT: f64 = 0.95;
/// Number of measured periods, after one to settle.
const PERIODS: usize = 6;

/// Scales of the excitation, tried in this order.
const EXCITATION_SCALES: [f64; 3] = [1.0, 2.0, 4.0];

/// Signal to which the excitation is added.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Probe {
    /// Roll torque demand.
    Roll,
    /// Pitch torque demand.
    Pitch,
    /// Yaw torque demand.
    Yaw,
    /// Thrust demand.
    Thrust,
    /// Position or velocity set-point, north.
    North,
    /// Position or velocity set-point, east.
    East,
    /// Height set-point.
    Height,
}

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

impl Probe {
    /// All probes of a mode.
    #[must_use]
    pub fn of(mode: Mode) -> &'static [Self] {
        use Probe::{East, Height, North, Pitch, Roll, Thrust, Yaw};
        match mode {
            Mode::Tilt => &[Roll, Pitch, Yaw, Thrust, Height],
            Mode::Velocity | Mode::Position => &[Roll, Pitch, Yaw, Thrust, Height, North, East],
        }
    }

    /// The torque demands.
    pub const TORQUES: [Self; 3] = [Self::Roll, Self::Pitch, Self::Yaw];

    /// The breaks whose loops are measured with it.
    #[must_use]
    pub fn breaks(self, mode: Mode) -> &'static [Break] {
        match (self, mode) {
            (Self::Roll, _) => &[Break::RollTorque, Break::RollRate],
            (Self::Pitch, _) => &[Break::PitchTorque, Break::PitchRate],
            (Self::Yaw, _) => &[Break::YawTorque, Break::YawRate],
            (Self::Thrust, _) => &[Break::Thrust],
            (Self::Height, _) => &[Break::Climb],
            (Self::North, Mode::Position) => &[Break::NorthAcceleration, Break::NorthVelocity],
            (Self::East, Mode::Position) => &[Break::EastAcceleration, Break::EastVelocity],
            (Self::North, _) => &[Break::NorthAcceleration],
            (Self::East, _) => &[Break::EastAcceleration],
        }
    }

    /// Number of cycles of the lowest frequency in a period: a larger number gives a finer resolution and
    /// less noise per frequency, a smaller one a shorter flight.
    fn first(self) -> usize {
        match self {
            Self::Roll | Self::Pitch | Self::Yaw => 6,
            Self::Thrust => 12,
            Self::North | Self::East | Self::Height => 3,
        }
    }

    fn index(self) -> usize {
        match self {
            Self::Roll | Self::North => 0,
            Self::Pitch | Self::East => 1,
            Self::Yaw | Self::Height => 2,
            Self::Thrust => 3,
        }
    }

    fn is_demand(self) -> bool {
        matches!(self, Self::Roll | Self::Pitch | Self::Yaw | Self::Thrust)
    }

    fn added(self, value: f64) -> Injected {
        let mut added = Injected::default();
        if self.is_demand() {
            added.wrench[self.index()] = value;
        } else {
            added.setpoint[self.index()] = value;
        }
        added
    }

    /// The signals from which its loops are computed.
    fn signals(self, record: &Record) -> [f64; 3] {
        let i = self.index();
        let wrench = &record.wrench;
        let estimate = &record.estimate;
        let signals = match self {
            Self::Thrust => [wrench.thrust_n, 0.0, 0.0],
            Self::Roll | Self::Pitch | Self::Yaw => {
                [wrench.torque_nm.to_array()[i], record.attitude.rate_setpoint.rate_rad_s.to_array()[i], 0.0]
            }
            Self::North | Self::East => [
                estimate.position_m.to_array()[i],
                estimate.velocity_m_s.to_array()[i],
                [record.outer.wind_feed_forward_m_s2.north, record.outer.wind_feed_forward_m_s2.east][i],
            ],
            Self::Height => [-estimate.position_m.z(), 0.0, 0.0],
        };
        signals.map(f64::from)
    }
}

/// Craft in steady flight, from which any number of measurements start in the same state.
#[derive(Clone, Debug)]
pub struct Bench<'a> {
    craft: Config,
    controller: &'a flight::Config,
    mode: Mode,
    flight: SteadyFlight,
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
        Ok(Self { craft: point.craft(craft), controller, mode: point.mode, flight })
    }

    /// Measures the loops of `probe`. The linear loops (those of [`Probe::breaks`], in that order) determine
    /// the frequencies and amplitudes of the excitation only. While a figure is missing because of noise, the
    /// measurement is repeated with a larger excitation.
    #[must_use]
    pub fn probe(&self, probe: Probe, linear: &[Linear]) -> Vec<Measured> {
        let mut best = self.probe_at(probe, linear, EXCITATION_SCALES[0]);
        for &excitation in &EXCITATION_SCALES[1..] {
            let done = best.iter().all(Measured::is_complete);
            if !probe.is_demand() || done || best[0].not_measured == Some(NotMeasured::Saturated) {
                break;
            }
            // A complete loop is kept from the smallest excitation.
            for (best, stronger) in best.iter_mut().zip(self.probe_at(probe, linear, excitation)) {
                if !best.is_complete() && stronger.curve.len() >= best.curve.len() {
                    *best = stronger;
                }
            }
        }
        best
    }

    fn probe_at(&self, probe: Probe, linear: &[Linear], excitation: f64) -> Vec<Measured> {
        let breaks = probe.breaks(self.mode);
        let tick_s = 1.0 / f64::from(self.controller.tick_hz);
        let signal = self.signal(probe, linear, tick_s, excitation);
        let mut flight = self.flight.clone();
        let mut samples = [const { Vec::new() }; 3];
        for tick in 0..signal.period() * (PERIODS + 1) {
            let record = flight.step(&probe.added(signal.at(tick)));
            if tick >= signal.period() {
                let now = probe.signals(&record);
                samples.iter_mut().zip(now).for_each(|(all, sample)| all.push(sample));
            }
        }
        let spectra = samples.map(|samples| {
            samples.chunks(signal.period()).map(|period| signal.amplitudes_in(period)).collect::<Vec<_>>()
        });
        let not_measured = if !flight.is_steady() {
            Some(NotMeasured::NotSteady)
        } else if flight.saturated() {
            Some(NotMeasured::Saturated)
        } else {
            None
        };
        let rad_s = signal.rad_s(tick_s);
        let lines = rad_s.iter().enumerate().map(|(j, &rad_s)| {
            let periods = |k: usize| spectra[k].iter().map(|period| period[j]).collect::<Vec<_>>();
            self.transfers(probe, rad_s, signal.amplitudes()[j], &[periods(0), periods(1), periods(2)])
        });
        let lines: Vec<Vec<Line>> = lines.collect();
        breaks
            .iter()
            .zip(linear)
            .enumerate()
            .map(|(i, (&broken, linear))| {
                Measured::new(broken, lines.iter().map(|line| line[i]).collect(), linear, not_measured)
            })
            .collect()
    }

    /// Loop transfer functions at one frequency from the amplitudes of each period.
    fn transfers(&self, probe: Probe, rad_s: f64, injected: C64, signals: &[Vec<C64>; 3]) -> Vec<Line> {
        let line = |own: &dyn Fn([C64; 3]) -> C64, total: &dyn Fn([C64; 3]) -> C64| {
            let each = |of: &dyn Fn([C64; 3]) -> C64| {
                let [first, second, third] = signals;
                let values: Vec<C64> =
                    first.iter().zip(second).zip(third).map(|((&a, &b), &c)| of([a, b, c])).collect();
                mean_and_coherence(&values)
            };
            let ((own, own_coherence), (total, total_coherence)) = (each(own), each(total));
            Line { rad_s, transfer: -own / total, coherence: own_coherence.min(total_coherence) }
        };
        match probe {
            Probe::Thrust => vec![line(&|[own, ..]| own, &|[own, ..]| own + injected)],
            Probe::Roll | Probe::Pitch | Probe::Yaw => {
                let gain = self.torque_per_rate(probe, rad_s);
                let torque = line(&|[own, ..]| own, &|[own, ..]| own + injected);
                // With the part a of L through the rate set-point and the rest b, the loop broken at that
                // set-point has the transfer function a/(1 + b).
                let by_rate = |rate: C64| gain * rate;
                let rate =
                    line(&|[_, rate, _]| by_rate(rate), &|[own, rate, _]| injected + own - by_rate(rate));
                // b = -(own - by_rate)/total, so 1 + b = (total - own + by_rate)/total = (injected +
                // by_rate)/total.
                let transfer =
                    line(&|[_, rate, _]| by_rate(rate), &|[_, rate, _]| injected + by_rate(rate)).transfer;
                vec![torque, Line { transfer, ..rate }]
            }
            Probe::Height => vec![line(&|[height, ..]| -height, &|[height, ..]| injected - height)],
            Probe::North | Probe::East => {
                let OuterLoops { position, velocity, hold } = self.outer_loops(rad_s);
                let holds = self.mode == Mode::Position;
                let (position, velocity, setpoint) = if holds {
                    (velocity * position, velocity + position, velocity * position)
                } else {
                    (C64::default(), velocity, velocity)
                };
                let own = move |[x, v, wind]: [C64; 3]| wind / hold - position * x - velocity * v;
                let acceleration = line(&own, &move |signals| own(signals) + setpoint * injected);
                if holds {
                    vec![acceleration, line(&|[x, ..]| -x, &|[x, ..]| injected - x)]
                } else {
                    vec![acceleration]
                }
            }
        }
    }

    /// Torque per rate set-point.
    fn torque_per_rate(&self, probe: Probe, rad_s: f64) -> C64 {
        let tick_s = 1.0 / f64::from(self.controller.tick_hz);
        let rate = &self.controller.rate;
        let torque = |axis: &aplomb::control::rate::Axis, inertia: f32| {
            f64::from(inertia) * pi(axis.crossover_rad_s, axis.integral_time_s, tick_s, rad_s)
        };
        match probe {
            Probe::Roll => torque(&rate.roll, rate.inertia.roll_kg_m2),
            Probe::Pitch => torque(&rate.pitch, rate.inertia.pitch_kg_m2),
            _ => {
                let lead_s = f64::from(rate.reaction_time_constant_s);
                let share = if lead_s > 0.0 { -libm::expm1(-tick_s / lead_s) } else { 1.0 };
                let lag = share / (1.0 - (1.0 - share) * delay(rad_s * tick_s));
                torque(&rate.yaw, rate.inertia.yaw_kg_m2) * lag
            }
        }
    }

    fn outer_loops(&self, rad_s: f64) -> OuterLoops {
        let tick_s = 1.0 / f64::from(self.controller.tick_hz);
        let every = self.controller.velocity_divider;
        let velocity = &self.controller.velocity;
        let slow_s = tick_s * f64::from(every);
        let hold = (0..every).map(|k| delay(rad_s * tick_s * f64::from(k))).sum::<C64>() / f64::from(every);
        OuterLoops {
            position: f64::from(self.controller.position.crossover_rad_s).into(),
            velocity: pi(velocity.crossover_rad_s, velocity.integral_time_s, slow_s, rad_s),
            hold,
        }
    }

    /// The excitation: larger where the loop gain is small or large, limited by the motors and to a small
    /// motion.
    fn signal(&self, probe: Probe, linear: &[Linear], tick_s: f64, excitation: f64) -> Multisine {
        let range = range(linear, 0.4 * std::f64::consts::PI / tick_s);
        let loop_ = &linear[0].curve;
        let amplitude = |w: f64| self.amplitude(probe, w, loop_.at(w));
        let power: f64 = Multisine::new(range, probe.first(), tick_s, |w| amplitude(w).0)
            .amplitudes()
            .iter()
            .map(C64::norm_sqr)
            .sum();
        let scale = match self.authority(probe) {
            Some(most) => (most / libm::sqrt(0.5 * power)).min(1.0),
            None => 1.0,
        };
        Multisine::new(range, probe.first(), tick_s, |w| {
            let (total, added) = amplitude(w);
            excitation * scale * total * added
        })
    }

    /// Amplitude of the total signal at one frequency, and the injection per unit of it.
    fn amplitude(&self, probe: Probe, w: f64, loop_: C64) -> (f64, f64) {
        /// Largest rotation in rad, displacement in m and velocity in m/s at one frequency.
        const ROTATION_RAD: f64 = 0.025;
        const DISPLACEMENT_M: f64 = 0.3;
        const VELOCITY_M_S: f64 = 0.2;
        let even = 1.0 / libm::sqrt(loop_.norm());
        let inertia = |axis: usize| self.craft.inertia_kg_m2[axis][axis];
        let added = (1.0 + loop_).norm();
        // Set-points stay slower than their ramps.
        let slower = (1.0 / w).min(1.0);
        match probe {
            Probe::Roll | Probe::Pitch | Probe::Yaw => {
                let most = self.authority(probe).unwrap_or(f64::INFINITY);
                ((inertia(probe.index()) * w * w * ROTATION_RAD).min(most * even), added)
            }
            Probe::Thrust => {
                let most = self.authority(probe).unwrap_or(f64::INFINITY);
                ((self.craft.mass_kg * w * w * DISPLACEMENT_M).min(most * even), added)
            }
            Probe::Height => (0.5 * DISPLACEMENT_M * slower, 1.0),
            Probe::North | Probe::East if self.mode == Mode::Position => (1.2 * DISPLACEMENT_M * slower, 1.0),
            Probe::North | Probe::East => (VELOCITY_M_S * slower, 1.0),
        }
    }

    /// Largest root mean square of the total demand: a share of the thrust range of a rotor about hover.
    fn authority(&self, probe: Probe) -> Option<f64> {
        const SHARE: f64 = 0.06;
        let mix = &self.controller.mix;
        let hover = 0.25 * self.craft.mass_kg * aplomb_craft::gravity::STANDARD_M_S2;
        let ceiling = mix.max_thrust_n.min(self.controller.thrust_curve.max_thrust_n);
        let range_n = (hover - f64::from(mix.min_thrust_n)).min(f64::from(ceiling) - hover);
        let shares = controller_allocation(self.controller).map(|row| row[probe.index()].abs());
        let most = shares.into_iter().fold(0.0, f64::max);
        probe.is_demand().then_some(SHARE * range_n / most)
    }
}

/// Frequency responses of the outer loops: velocity per position, acceleration per velocity, and the hold
/// between their steps.
struct OuterLoops {
    position: C64,
    velocity: C64,
    hold: C64,
}

/// Delay by an angle in rad.
fn delay(angle: f64) -> C64 {
    C64::new(libm::cos(angle), -libm::sin(angle))
}

/// PI controller whose integral acts from the next step on.
fn pi(gain: f32, time_s: f32, period_s: f64, rad_s: f64) -> C64 {
    let delay = delay(rad_s * period_s);
    f64::from(gain) * (1.0 + period_s / f64::from(time_s) * delay / (1.0 - delay))
}

/// Range of the excited frequencies: all crossovers; for the loop broken at the excited signal also both
/// phase crossovers.
fn range(linear: &[Linear], highest: f64) -> [f64; 2] {
    let or = |w: f64, otherwise: f64| if w.is_finite() { w } else { otherwise };
    let at_demand = linear[0].broken.is_demand();
    let mut found = [f64::INFINITY, 0.0];
    for (i, figures) in linear.iter().map(|linear| &linear.figures).enumerate() {
        let crossover = or(figures.crossover_rad_s, 1.0);
        let down =
            if i == 0 && at_demand { or(figures.lower_gain_margin_rad_s, crossover) } else { crossover };
        let low = (0.4 * crossover).min(0.6 * down);
        let high = (3.0 * crossover)
            .max(1.5 * or(figures.upper_gain_margin_rad_s, crossover))
            .max(1.3 * or(figures.bandwidth_rad_s, crossover));
        found = [found[0].min(low), found[1].max(high)];
    }
    [found[0], found[1].min(highest)]
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

    /// All figures of the loop were measured.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        let figures = &self.figures;
        let needed = [
            figures.upper_gain_margin_db,
            figures.lower_gain_margin_db,
            figures.phase_margin_deg,
            figures.peak_sensitivity,
        ];
        self.not_measured.is_none() && !needed.iter().any(|figure| figure.is_nan())
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
        |found: f64, linear: f64| if found.is_infinite() && linear.is_finite() { f64::NAN } else { found };
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
