//! Figures of the requirements, measured on a flight.

use aplomb::Demand;
use aplomb_craft::Turbulence;

use super::probes::{self, EVERY_S, FIRST_S, HOLD_SETTLING_S, PULSE_S, SINE_TURNS};
use super::{View, response};
use crate::judge::Evidence;
use crate::measure;
use crate::signals;
use aplomb_flight::angle::half_turn;
use aplomb_flight::signal::Signal;
use aplomb_flight::trace::{Motion, Row};

/// Smallest evaluated peak of an oscillation, as a share of the initial one.
const PEAK_SHARE: f64 = 0.05;
/// Relative difference up to which a turbulence is one of the levels.
const LEVEL_TOLERANCE: f64 = 0.05;

fn figure(value: f64) -> Option<Evidence> {
    Some(Evidence::Figure(value))
}

/// The larger of two figures; NaN when either is NaN.
fn larger(a: f64, b: f64) -> f64 {
    measure::largest(&[a, b])
}

/// One tilt step: rows, true values in deg, mean value before the step and in its last quarter. The figures
/// use these means instead of the set-point, so a bias of the estimated tilt does not count as dynamics.
struct Step<'a> {
    rows: &'a [Row],
    times_s: Vec<f64>,
    values: Vec<f64>,
    before: f64,
    after: f64,
}

fn tilt_steps<'a>(view: &View<'a>) -> [Step<'a>; 2] {
    let scale = view.size.time_scale;
    let step = |start: f64, of: fn(&Motion) -> f64| {
        let (from_s, end_s) = (start * scale, (start + EVERY_S) * scale - view.trace.period_s);
        let mean = |from_s: f64, to_s: f64| {
            let values: Vec<f64> = view.trace.window(from_s, to_s).iter().map(|row| of(&row.truth)).collect();
            measure::mean(&values)
        };
        let rows = view.trace.window(from_s, end_s);
        Step {
            rows,
            times_s: rows.iter().map(|row| row.time_s - from_s).collect(),
            values: rows.iter().map(|row| of(&row.truth)).collect(),
            before: mean(from_s - 0.2 * scale, from_s - 0.5 * view.trace.period_s),
            after: mean(end_s - 0.25 * EVERY_S * scale, end_s),
        }
    };
    [step(FIRST_S, |m| m.roll_deg), step(FIRST_S + 2.0 * EVERY_S, |m| m.pitch_deg)]
}

fn of_steps(view: &View<'_>, of: impl Fn(&Step<'_>) -> f64) -> Option<Evidence> {
    let [roll, pitch] = tilt_steps(view);
    figure(larger(of(&roll), of(&pitch)))
}

/// Rise time (10-90 %) in s, slower axis.
pub fn rise(view: &View<'_>) -> Option<Evidence> {
    of_steps(view, |step| response::rise_time(&step.times_s, &step.values, step.before, step.after))
}

/// Overshoot in per cent of the step, worse axis.
pub fn overshoot(view: &View<'_>) -> Option<Evidence> {
    of_steps(view, |step| measure::overshoot_percent(&step.values, step.before, step.after))
}

/// Settling time (10 %) in s, slower axis.
pub fn settling(view: &View<'_>) -> Option<Evidence> {
    of_steps(view, |step| {
        let errors: Vec<f64> = step.values.iter().map(|value| value - step.after).collect();
        measure::settling_time(&step.times_s, &errors, 0.1 * (step.after - step.before).abs())
    })
}

/// Yaw coupling: largest heading deviation during a tilt step, in per cent of the step.
pub fn yaw_coupling(view: &View<'_>) -> Option<Evidence> {
    of_steps(view, |step| {
        let before = step.rows.first().map_or(f64::NAN, |row| row.truth.heading_deg);
        let deviations: Vec<f64> =
            step.rows.iter().map(|row| half_turn(row.truth.heading_deg - before).abs()).collect();
        100.0 * measure::largest(&deviations) / (step.after - step.before).abs()
    })
}

/// Damping ratio of the tilt step response, lesser of both axes.
pub fn damping(view: &View<'_>) -> Option<Evidence> {
    let of_axis = |step: &Step<'_>| {
        let size = (step.after - step.before).abs();
        let errors: Vec<f64> = step.values.iter().map(|value| value - step.after).collect();
        response::damping(&response::peaks(&errors), PEAK_SHARE * size)
    };
    let [roll, pitch] = tilt_steps(view);
    figure(measure::smallest(&[of_axis(&roll), of_axis(&pitch)]))
}

/// Damping ratio of the body rate after a torque pulse, least of all axes.
pub fn push_damping(view: &View<'_>) -> Option<Evidence> {
    let scale = view.size.time_scale;
    let rates: [fn(&Motion) -> f64; 3] =
        [|m| m.roll_rate_deg_s, |m| m.pitch_rate_deg_s, |m| m.yaw_rate_deg_s];
    let of_axis = |(axis, rate): (usize, fn(&Motion) -> f64)| {
        let from_s = (FIRST_S + EVERY_S * axis as f64 + PULSE_S) * scale;
        let rows = view.trace.window(from_s, from_s + (EVERY_S - 2.0 * PULSE_S) * scale);
        let rates: Vec<f64> = rows.iter().map(|row| rate(&row.truth)).collect();
        // The first peak is the pulse itself.
        let peaks = response::peaks(&rates);
        let first = peaks.first().copied().unwrap_or(f64::NAN);
        response::damping(peaks.get(1..).unwrap_or_default(), PEAK_SHARE * first.abs())
    };
    figure(measure::smallest(&rates.into_iter().enumerate().map(of_axis).collect::<Vec<_>>()))
}

/// Bandwidth of tilt in rad/s: frequency of 135 deg of phase lag from set-point to true tilt, lesser of both
/// axes.
pub fn bandwidth(view: &View<'_>) -> Option<Evidence> {
    let angles: [fn(&Motion) -> f64; 2] = [|m| m.roll_deg, |m| m.pitch_deg];
    let of_axis = |(axis, angle): (usize, fn(&Motion) -> f64)| {
        let (from_s, to_s) = probes::sines(view.size, axis);
        let rows = view.trace.window(from_s, to_s - view.trace.period_s);
        let inputs: Vec<f64> = rows.iter().map(|row| angle(&row.setpoint)).collect();
        let outputs: Vec<f64> = rows.iter().map(|row| angle(&row.truth)).collect();
        let rad_s = SINE_TURNS.map(|turns| std::f64::consts::TAU * f64::from(turns) / (to_s - from_s));
        let phases = SINE_TURNS.map(|turns| response::phase_rad(&inputs, &outputs, f64::from(turns)));
        response::lag_frequency(&rad_s, &phases, 0.75 * std::f64::consts::PI)
    };
    figure(measure::smallest(&angles.into_iter().enumerate().map(of_axis).collect::<Vec<_>>()))
}

fn in_the_air<'a>(view: &View<'a>) -> Vec<&'a Row> {
    view.trace.rows.iter().filter(|row| row.flags.armed && !row.flags.on_ground).collect()
}

/// Roll/pitch saturation: per row in the air 100 when saturated, else 0. The mean is the share of the time in
/// per cent.
pub fn saturation(view: &View<'_>) -> Option<Evidence> {
    let saturated =
        in_the_air(view).into_iter().map(|row| if row.flags.roll_pitch_saturated { 100.0 } else { 0.0 });
    let saturated: Vec<f64> = saturated.collect();
    (!saturated.is_empty()).then_some(Evidence::Samples(saturated))
}

fn beyond_tilt_limit(view: &View<'_>, of: impl Fn(&Row) -> f64) -> Option<Evidence> {
    let tilts: Vec<f64> = in_the_air(view).into_iter().map(of).collect();
    (!tilts.is_empty()).then(|| Evidence::Figure(measure::largest(&tilts) - view.size.tilt_limit_deg))
}

/// Largest estimated tilt minus the tilt limit in deg.
pub fn estimated_tilt(view: &View<'_>) -> Option<Evidence> {
    beyond_tilt_limit(view, |row| row.estimate.tilt_deg)
}

/// Largest true tilt minus the tilt limit in deg.
pub fn true_tilt(view: &View<'_>) -> Option<Evidence> {
    beyond_tilt_limit(view, |row| row.truth.tilt_deg)
}

/// Intervals in s of position hold, without settling.
fn hold_intervals(view: &View<'_>) -> Vec<(f64, f64)> {
    let ends = view.plan.commands.iter().skip(1).map(|next| next.at_s).chain([view.plan.duration_s]);
    let intervals = view.plan.commands.iter().zip(ends).filter_map(|(timed, end_s)| {
        let from_s = timed.at_s + HOLD_SETTLING_S * view.size.time_scale;
        let hold = matches!(timed.command.demand, Demand::Position { .. }) && timed.command.arm;
        (hold && from_s < end_s).then_some((from_s, end_s))
    });
    intervals.collect()
}

/// Position errors relative to GNSS during position hold, in flights whose turbulence is that of this level.
fn hold(view: &View<'_>, level: Turbulence) -> Option<Evidence> {
    let u20_m_s = view.plan.air.turbulence?.u20_m_s;
    if (u20_m_s / level.u20_m_s - 1.0).abs() > LEVEL_TOLERANCE {
        return None;
    }
    let rows = hold_intervals(view).into_iter().flat_map(|(from_s, to_s)| view.trace.window(from_s, to_s));
    let rows: Vec<Row> = rows.copied().collect();
    let errors = signals::values(Signal::PositionErrorToGnss, &rows, &view.size.spin);
    (!errors.is_empty()).then_some(Evidence::Samples(errors))
}

/// Position errors relative to GNSS in m during position hold in light turbulence.
pub fn hold_light(view: &View<'_>) -> Option<Evidence> {
    hold(view, Turbulence::light())
}

/// Position errors relative to GNSS in m during position hold in moderate turbulence.
pub fn hold_moderate(view: &View<'_>) -> Option<Evidence> {
    hold(view, Turbulence::moderate())
}

/// Position errors relative to GNSS in m during position hold in severe turbulence.
pub fn hold_severe(view: &View<'_>) -> Option<Evidence> {
    hold(view, Turbulence::severe())
}

/// Peak position error relative to GNSS after the first gust, over the peak of the gust: in s. Only for
/// flights with position hold from the gust to the end.
pub fn gust(view: &View<'_>) -> Option<Evidence> {
    let gust = view.plan.air.gusts.first().filter(|gust| gust.peak_m_s > 0.0)?;
    let last = view.plan.commands.last()?;
    let hold = last.at_s <= gust.at_s && matches!(last.command.demand, Demand::Position { .. });
    let errors = signals::values(
        Signal::PositionErrorToGnss,
        view.trace.window(gust.at_s, view.plan.duration_s),
        &view.size.spin,
    );
    hold.then(|| Evidence::Figure(measure::largest(&errors) / gust.peak_m_s))
}

/// Touchdown sink rate in m/s, from the last row before ground contact.
pub fn touchdown(view: &View<'_>) -> Option<Evidence> {
    let rows = &view.trace.rows;
    let touch = rows.windows(2).find(|pair| !pair[0].flags.on_ground && pair[1].flags.on_ground)?;
    figure(-touch[0].truth.climb_m_s)
}
