//! Loop transfers by injection.
//!
//! A multisine d is added at the break. With the loop's own part s_c and the total s = s_c + d at each of its frequencies,
//! `L = -s_c/s`. The coherence of a signal x over the periods, |mean X|^2/mean |X|^2, is the share of its power that repeats
//! with the injection (J. S. Bendat, A. G. Piersol, Random Data, 4th edition 2010, chapter 6, for an injection without
//! noise). A frequency counts when both s_c and s reach 0.95.

use aplomb::flight;
use aplomb::record::Record;
use aplomb_craft::Config;

use super::curve::Curve;
use super::figures::Figures;
use super::multisine::Multisine;
use super::point::Point;
use super::stand::{Added, Stand};
use super::{Linear, MarginsError};
use crate::linear::{Break, C64, Mode, believed_mix};

/// Coherence from which on a frequency counts.
pub const COHERENT: f64 = 0.95;
/// Periods that are measured, after one to settle.
const PERIODS: usize = 6;

/// How strongly is probed, one after the other.
const LOUDNESS: [f64; 3] = [1.0, 2.0, 4.0];

/// Where something is added.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Probe {
    /// To the roll torque demand.
    Roll,
    /// To the pitch torque demand.
    Pitch,
    /// To the yaw torque demand.
    Yaw,
    /// To the thrust demand.
    Thrust,
    /// To the commanded place or velocity, north.
    North,
    /// To the commanded place or velocity, east.
    East,
    /// To the commanded height.
    Height,
}

/// One frequency of a measured loop.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Frequency in rad/s.
    pub rad_s: f64,
    /// Loop transfer.
    pub transfer: C64,
    /// Coherence, 0 to 1.
    pub coherence: f64,
}

/// Why a loop has no figures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum NotMeasured {
    /// A motor or the mixer met a limit.
    Saturated,
    /// The craft did not stay in its steady flight.
    Lost,
    /// Too little of the signal comes from the injection where the figures are.
    Incoherent,
}

/// A measured loop.
#[derive(Clone, Debug, PartialEq)]
pub struct Measured {
    /// Where it is broken.
    pub broken: Break,
    /// Every frequency, those that do not count included.
    pub lines: Vec<Line>,
    /// The curve through the frequencies that count about the crossover.
    pub curve: Curve,
    /// Its figures; what lies beyond the curve is unknown.
    pub figures: Figures,
    /// Why there are none.
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

    /// The breaks whose loops it tells.
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

    /// How often the lowest frequency fits into a period: often, so that its neighbours are near and noise spreads over many
    /// frequencies; seldom, so that it does not take long.
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

    fn added(self, value: f64) -> Added {
        let mut added = Added::default();
        if self.is_demand() {
            added.wrench[self.index()] = value;
        } else {
            added.setpoint[self.index()] = value;
        }
        added
    }

    /// The signals that its loops are made from.
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

/// Craft in steady flight, ready to be probed any number of times from the same state.
#[derive(Clone, Debug)]
pub struct Bench<'a> {
    craft: Config,
    controller: &'a flight::Config,
    mode: Mode,
    stand: Stand,
}

impl<'a> Bench<'a> {
    /// Takes off and settles at a point.
    ///
    /// # Errors
    /// A craft or controller that cannot be built.
    pub fn new(
        craft: &Config,
        controller: &'a flight::Config,
        point: &Point,
        seed: u64,
    ) -> Result<Self, MarginsError> {
        let stand = Stand::at(craft, controller, point, seed)?;
        Ok(Self { craft: point.craft(craft), controller, mode: point.mode, stand })
    }

    /// Measures the loops that `probe` tells. The linear loops (those of [`Probe::breaks`], in that order) say at which
    /// frequencies and how strongly to probe, nothing else. While noise hides a figure they are probed again,
    /// more strongly.
    #[must_use]
    pub fn probe(&self, probe: Probe, linear: &[Linear]) -> Vec<Measured> {
        let mut best = self.probe_at(probe, linear, LOUDNESS[0]);
        for &loudness in &LOUDNESS[1..] {
            let done = best.iter().all(Measured::is_complete);
            if !probe.is_demand() || done || best[0].not_measured == Some(NotMeasured::Saturated) {
                break;
            }
            // What is complete stays as the gentlest probing found it.
            for (best, louder) in best.iter_mut().zip(self.probe_at(probe, linear, loudness)) {
                if !best.is_complete() && louder.curve.len() >= best.curve.len() {
                    *best = louder;
                }
            }
        }
        best
    }

    fn probe_at(&self, probe: Probe, linear: &[Linear], loudness: f64) -> Vec<Measured> {
        let breaks = probe.breaks(self.mode);
        let tick_s = 1.0 / f64::from(self.controller.tick_hz);
        let signal = self.signal(probe, linear, tick_s, loudness);
        let mut stand = self.stand.clone();
        let mut samples = [const { Vec::new() }; 3];
        for tick in 0..signal.period() * (PERIODS + 1) {
            let record = stand.step(&probe.added(signal.at(tick)));
            if tick >= signal.period() {
                let now = probe.signals(&record);
                samples.iter_mut().zip(now).for_each(|(all, sample)| all.push(sample));
            }
        }
        let spectra = samples.map(|samples| {
            samples.chunks(signal.period()).map(|period| signal.amplitudes_in(period)).collect::<Vec<_>>()
        });
        let spoilt = if !stand.flies() {
            Some(NotMeasured::Lost)
        } else if stand.saturated() {
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
                Measured::new(broken, lines.iter().map(|line| line[i]).collect(), linear, spoilt)
            })
            .collect()
    }

    /// Loop transfers at one frequency from the amplitudes of each period.
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
                // With the part a of the loop that comes by the rate set-point and the rest b, a loop broken at that set-point
                // has the transfer a/(1 + b); 1 + b is what is left of the total.
                let by_rate = |rate: C64| gain * rate;
                let rate =
                    line(&|[_, rate, _]| by_rate(rate), &|[own, rate, _]| injected + own - by_rate(rate));
                // b = -(own - by_rate)/total, so 1 + b = (total - own + by_rate)/total = (injected + by_rate)/total.
                let transfer =
                    line(&|[_, rate, _]| by_rate(rate), &|[_, rate, _]| injected + by_rate(rate)).transfer;
                vec![torque, Line { transfer, ..rate }]
            }
            Probe::Height => vec![line(&|[height, ..]| -height, &|[height, ..]| injected - height)],
            Probe::North | Probe::East => {
                let Slow { place, velocity, kept } = self.slow(rad_s);
                let holds = self.mode == Mode::Position;
                let (place, velocity, setpoint) = if holds {
                    (velocity * place, velocity + place, velocity * place)
                } else {
                    (C64::default(), velocity, velocity)
                };
                let own = move |[x, v, wind]: [C64; 3]| wind / kept - place * x - velocity * v;
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

    fn slow(&self, rad_s: f64) -> Slow {
        let tick_s = 1.0 / f64::from(self.controller.tick_hz);
        let every = self.controller.velocity_divider;
        let velocity = &self.controller.velocity;
        let slow_s = tick_s * f64::from(every);
        let kept = (0..every).map(|k| delay(rad_s * tick_s * f64::from(k))).sum::<C64>() / f64::from(every);
        Slow {
            place: f64::from(self.controller.position.crossover_rad_s).into(),
            velocity: pi(velocity.crossover_rad_s, velocity.integral_time_s, slow_s, rad_s),
            kept,
        }
    }

    /// What is added: strong where the loop is weak or stiff, within what the motors and a small motion allow.
    fn signal(&self, probe: Probe, linear: &[Linear], tick_s: f64, loudness: f64) -> Multisine {
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
            loudness * scale * total * added
        })
    }

    /// Size of the total signal at one frequency, and the injection for each unit of it.
    fn amplitude(&self, probe: Probe, w: f64, loop_: C64) -> (f64, f64) {
        /// Turn in rad, displacement in m, velocity in m/s that one frequency may cause.
        const TURN_RAD: f64 = 0.025;
        const SHIFT_M: f64 = 0.3;
        const VELOCITY_M_S: f64 = 0.2;
        let even = 1.0 / libm::sqrt(loop_.norm());
        let inertia = |axis: usize| self.craft.inertia_kg_m2[axis][axis];
        let added = (1.0 + loop_).norm();
        // Set-points must not change faster than their ramps.
        let slower = (1.0 / w).min(1.0);
        match probe {
            Probe::Roll | Probe::Pitch | Probe::Yaw => {
                let most = self.authority(probe).unwrap_or(f64::INFINITY);
                ((inertia(probe.index()) * w * w * TURN_RAD).min(most * even), added)
            }
            Probe::Thrust => {
                let most = self.authority(probe).unwrap_or(f64::INFINITY);
                ((self.craft.mass_kg * w * w * SHIFT_M).min(most * even), added)
            }
            Probe::Height => (0.5 * SHIFT_M * slower, 1.0),
            Probe::North | Probe::East if self.mode == Mode::Position => (1.2 * SHIFT_M * slower, 1.0),
            Probe::North | Probe::East => (VELOCITY_M_S * slower, 1.0),
        }
    }

    /// Root mean square that the total demand may have: a share of what is left to a rotor in hover.
    fn authority(&self, probe: Probe) -> Option<f64> {
        const SHARE: f64 = 0.06;
        let mix = &self.controller.mix;
        let hover = 0.25 * self.craft.mass_kg * aplomb_craft::gravity::STANDARD_M_S2;
        let ceiling = mix.max_thrust_n.min(self.controller.thrust_curve.max_thrust_n);
        let room = (hover - f64::from(mix.min_thrust_n)).min(f64::from(ceiling) - hover);
        let shares = believed_mix(self.controller).map(|row| row[probe.index()].abs());
        let most = shares.into_iter().fold(0.0, f64::max);
        probe.is_demand().then_some(SHARE * room / most)
    }
}

/// The slow loops at one frequency: velocity per place, acceleration per velocity, and what the staircase of a signal that is
/// kept from one of their steps to the next leaves of it.
struct Slow {
    place: C64,
    velocity: C64,
    kept: C64,
}

/// Delay by an angle in rad.
fn delay(angle: f64) -> C64 {
    C64::new(libm::cos(angle), -libm::sin(angle))
}

/// Gain and a sum that counts from the next step on.
fn pi(gain: f32, time_s: f32, period_s: f64, rad_s: f64) -> C64 {
    let delay = delay(rad_s * period_s);
    f64::from(gain) * (1.0 + period_s / f64::from(time_s) * delay / (1.0 - delay))
}

/// Frequencies to probe: about every crossover; of the loop that is broken at the probe itself, also down to where less
/// gain would be unstable and up to where more would be.
fn range(linear: &[Linear], highest: f64) -> [f64; 2] {
    let known = |w: f64, otherwise: f64| if w.is_finite() { w } else { otherwise };
    let at_demand = linear[0].broken.is_demand();
    let mut found = [f64::INFINITY, 0.0];
    for (i, figures) in linear.iter().map(|linear| &linear.figures).enumerate() {
        let crossover = known(figures.crossover_rad_s, 1.0);
        let down = if i == 0 && at_demand { known(figures.gain_down_rad_s, crossover) } else { crossover };
        let low = (0.4 * crossover).min(0.6 * down);
        let high = (3.0 * crossover)
            .max(1.5 * known(figures.gain_up_rad_s, crossover))
            .max(1.3 * known(figures.bandwidth_rad_s, crossover));
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
    fn new(broken: Break, lines: Vec<Line>, linear: &Linear, spoilt: Option<NotMeasured>) -> Self {
        let mut measured =
            Self { broken, lines, curve: Curve::default(), figures: Figures::UNKNOWN, not_measured: spoilt };
        if spoilt.is_some() {
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

    /// Every figure that the loop has was measured.
    #[must_use]
    pub fn is_complete(&self) -> bool {
        let figures = &self.figures;
        let needed = [figures.gain_up_db, figures.gain_down_db, figures.phase_deg, figures.peak_sensitivity];
        self.not_measured.is_none() && !needed.iter().any(|figure| figure.is_nan())
    }

    /// The longest row of frequencies that count.
    fn coherent_run(&self) -> &[Line] {
        let runs = self.lines.split(|line| line.coherence < COHERENT);
        runs.max_by_key(|run| run.len()).unwrap_or(&[])
    }
}

/// What was not found within the curve counts as not there only if the linear model has it nowhere either; a peak at the
/// curve's end is no peak.
fn within(found: Figures, linear: &Figures, curve: &Curve) -> Figures {
    let Some((low, high)) = curve.range() else { return Figures::UNKNOWN };
    let absent =
        |found: f64, linear: f64| if found.is_infinite() && linear.is_finite() { f64::NAN } else { found };
    let inside = found.peak_rad_s > 1.02 * low && found.peak_rad_s < 0.98 * high;
    Figures {
        gain_up_db: absent(found.gain_up_db, linear.gain_up_db),
        gain_down_db: absent(found.gain_down_db, linear.gain_down_db),
        phase_deg: absent(found.phase_deg, linear.phase_deg),
        delay_s: absent(found.delay_s, linear.delay_s),
        peak_sensitivity: if inside { found.peak_sensitivity } else { f64::NAN },
        ..found
    }
}
