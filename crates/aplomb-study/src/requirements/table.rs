//! The table of requirements.
//!
//! Limits are those of a craft with 9 in rotors. Times scale with the square root of the diameter,
//! frequencies with its inverse (Froude scaling).

use std::borrow::Cow;

use super::{Breaks, Figure, JudgedOn, Probe, Requirement, Size, figures};
use aplomb_flight::check::{Pooling, Statistic};
use aplomb_flight::limit::Limit::{self, AtLeast, AtMost};

/// Scaling of a limit with the size of the craft.
#[derive(Clone, Copy)]
enum Scale {
    Fixed,
    Time,
    Frequency,
}

const LINEAR: &str = "none: linear model about the steady flight";
const MARGINS: &str =
    "SAE AS94900, from MIL-F-9490D table III: above 0.06 Hz and below the first structural mode";
const DISK: &str = "project's own criterion: 6 dB and 37 deg at the same time; disk by Seiler, Packard and Gahinet \
                    2020, IEEE Control Systems Magazine 40(5)";
const DISK_AT_ONCE: &str = "project's own criterion: 3.5 dB and 23 deg in each at the same time; disk by Seiler, \
                            Packard and Gahinet 2020, IEEE Control Systems Magazine 40(5)";
const SENSITIVITY: &str =
    "Astrom and Murray 2008, Feedback Systems: usual range 1.2 to 2; value not checked against the text";
const SENSORS: &str = "the craft's own sensors";
const AIR: &str = "the craft's own sensors, and the air of the flight; without the correlated GNSS error";

/// The requirements for a craft of this size.
#[must_use]
pub fn requirements(size: &Size) -> Vec<Requirement> {
    use Pooling::{Median, Pooled, Worst};
    use Scale::{Fixed, Frequency, Time};
    let flights = JudgedOn::Flights;
    let steps = |figure: Figure| JudgedOn::Probe(Probe::TiltSteps, figure);
    let row = |id, text, limit, scale, unit, source, error_model, pooling, judged_on| {
        let limit = scaled(limit, scale, size.time_scale);
        let (AtMost(bound) | AtLeast(bound) | Limit::Between(_, bound)) = limit;
        Requirement {
            id: Cow::Borrowed(id),
            text: Cow::Borrowed(text),
            limit,
            unit,
            source: Cow::Borrowed(source),
            error_model: Cow::Borrowed(error_model),
            statistic: Statistic::Share(0.95),
            pooling,
            tolerance: 0.1 * bound.abs(),
            judged_on,
        }
    };
    let loops = |id, text, limit, unit, source, breaks, figure| {
        row(id, text, limit, Fixed, unit, source, LINEAR, Worst, JudgedOn::Loops(breaks, figure))
    };
    vec![
        loops(
            "upper-gain-margin",
            "upper gain margin, loop broken at each demand on the mixer, worst",
            AtLeast(6.0),
            "dB",
            MARGINS,
            Breaks::Demands,
            |figures| figures.upper_gain_margin_db,
        ),
        loops(
            "lower-gain-margin",
            "lower gain margin, loop broken at each demand on the mixer, worst",
            AtLeast(6.0),
            "dB",
            MARGINS,
            Breaks::Demands,
            |figures| figures.lower_gain_margin_db,
        ),
        loops(
            "phase-margin",
            "phase margin, loop broken at each demand on the mixer, worst",
            AtLeast(45.0),
            "deg",
            MARGINS,
            Breaks::Demands,
            |figures| figures.phase_margin_deg,
        ),
        loops(
            "disk-margin",
            "disk margin, loop broken at each demand on the mixer, worst",
            AtLeast(0.67),
            "",
            DISK,
            Breaks::Demands,
            |figures| figures.disk_size,
        ),
        loops(
            "disk-margin-at-once",
            "disk margin of all demands on the mixer at once",
            AtLeast(0.4),
            "",
            DISK_AT_ONCE,
            Breaks::DemandsAtOnce,
            |figures| figures.disk_size,
        ),
        loops(
            "sensitivity",
            "peak sensitivity Ms, loop broken at each demand on the mixer, worst",
            AtMost(2.0),
            "",
            SENSITIVITY,
            Breaks::Demands,
            |figures| figures.peak_sensitivity,
        ),
        loops(
            "sensitivity-outer",
            "peak sensitivity Ms, loop broken at each set-point, worst",
            AtMost(2.0),
            "",
            SENSITIVITY,
            Breaks::Setpoints,
            |figures| figures.peak_sensitivity,
        ),
        row(
            "tilt-damping",
            "damping ratio of the tilt step response, worse axis",
            AtLeast(0.35),
            Fixed,
            "",
            "ADS-33E-PRF 3.3.2.3: oscillations above 0.5 rad/s after an input of the pilot",
            SENSORS,
            Median,
            steps(figures::damping),
        ),
        row(
            "push-damping",
            "damping ratio of the body rate after a torque pulse, worst axis",
            AtLeast(0.215),
            Fixed,
            "",
            "quarter-amplitude decay (Ziegler and Nichols 1942, Trans. ASME 64): ln 4 = 2 pi z / sqrt(1 - z^2)",
            SENSORS,
            Median,
            JudgedOn::Probe(Probe::TorquePulses, figures::push_damping),
        ),
        row(
            "tilt-bandwidth",
            "small-amplitude bandwidth of tilt, worse axis: 135 deg of phase lag",
            AtLeast(BANDWIDTH_RAD_S),
            Frequency,
            "rad/s",
            "ADS-33E-PRF 3.3.2.1, roll in divided attention: 2 rad/s for a rotor of 16 m, by Froude scaling with the rotor \
             diameter (Ivler and Geyer 2024, VFS); value not checked against the text",
            SENSORS,
            Median,
            JudgedOn::Probe(Probe::TiltSines, figures::bandwidth),
        ),
        row(
            "tilt-rise",
            "rise time (10-90 %) of a tilt step, worse axis",
            AtMost(RISE_BY_BANDWIDTH / BANDWIDTH_RAD_S),
            Time,
            "s",
            "4.15 over the required bandwidth: second order with damping ratio 0.71, bandwidth at 135 deg of phase lag as in \
             ADS-33E-PRF (closed form)",
            SENSORS,
            Median,
            steps(figures::rise),
        ),
        row(
            "tilt-overshoot",
            "overshoot of a tilt step, worse axis",
            AtMost(10.0),
            Fixed,
            "%",
            "second order with damping ratio 0.6: 9.5 % (closed form)",
            SENSORS,
            Median,
            steps(figures::overshoot),
        ),
        row(
            "tilt-settling",
            "settling time (10 %) of a tilt step, worse axis",
            AtMost(0.25),
            Time,
            "s",
            "limit set by aplomb, no source",
            SENSORS,
            Median,
            steps(figures::settling),
        ),
        row(
            "yaw-coupling",
            "yaw coupling: heading deviation during a tilt step, of the step",
            AtMost(25.0),
            Fixed,
            "%",
            "ADS-33E-PRF 3.3.9, level 1: off-axis over on-axis response 0.25; value not checked against the text",
            SENSORS,
            Median,
            steps(figures::yaw_coupling),
        ),
        Requirement {
            statistic: Statistic::Mean,
            ..row(
                "saturation",
                "roll/pitch saturation, of the time in the air",
                AtMost(2.0),
                Fixed,
                "%",
                "limit set by aplomb, no source: a saturated loop has no margins",
                AIR,
                Pooled,
                flights(figures::saturation),
            )
        },
        row(
            "tilt-estimated",
            "estimated tilt beyond the tilt limit",
            AtMost(2.0),
            Fixed,
            "deg",
            "limit set by aplomb, no source: the limit applies to the estimate",
            AIR,
            Worst,
            flights(figures::estimated_tilt),
        ),
        row(
            "tilt-true",
            "true tilt beyond the tilt limit",
            AtMost(3.5),
            Fixed,
            "deg",
            "2 deg of the estimated tilt plus 1.5 deg of estimate error",
            AIR,
            Worst,
            flights(figures::true_tilt),
        ),
        row(
            "hold-light",
            "position error relative to GNSS in light turbulence, 95 % of the time",
            AtMost(1.2),
            Fixed,
            "m",
            "level of turbulence: MIL-F-8785C 3.7; limit set by aplomb",
            AIR,
            Pooled,
            JudgedOn::ProbeAndFlights(Probe::LightTurbulence, figures::hold_light),
        ),
        row(
            "hold-moderate",
            "position error relative to GNSS in moderate turbulence, 95 % of the time",
            AtMost(2.4),
            Fixed,
            "m",
            "level of turbulence: MIL-F-8785C 3.7; limit: twice that of half the turbulence",
            AIR,
            Pooled,
            JudgedOn::ProbeAndFlights(Probe::ModerateTurbulence, figures::hold_moderate),
        ),
        row(
            "hold-severe",
            "position error relative to GNSS in severe turbulence, 95 % of the time",
            AtMost(3.6),
            Fixed,
            "m",
            "level of turbulence: MIL-F-8785C 3.7; limit: three times that of a third of the turbulence",
            AIR,
            Pooled,
            JudgedOn::ProbeAndFlights(Probe::SevereTurbulence, figures::hold_severe),
        ),
        row(
            "gust",
            "peak position error relative to GNSS after a gust, over the peak of the gust",
            AtMost(0.5),
            Fixed,
            "s",
            "form of the gust: MIL-F-8785C 3.7.1.3; limit set by aplomb",
            AIR,
            Worst,
            JudgedOn::ProbeAndFlights(Probe::Gust, figures::gust),
        ),
        row(
            "touchdown",
            "touchdown sink rate",
            AtMost(1.0),
            Fixed,
            "m/s",
            "a drop of 5 cm; common practice, no source",
            AIR,
            Worst,
            flights(figures::touchdown),
        ),
        row(
            "tick-cost",
            "instructions of the worst tick on the target",
            AtMost(10_000.0),
            Fixed,
            "",
            "6 % of a core of 168 MHz at 1 kHz; limit set by aplomb",
            "exact",
            Worst,
            JudgedOn::Elsewhere("examples/cortex-m/run.sh cost"),
        ),
    ]
}

/// Rise time (10-90 %) times bandwidth of a second-order response with a damping ratio of `sqrt(1/2)`: 2.148
/// over the natural frequency, which lags by 135 deg at `(sqrt(1/2) + sqrt(3/2))` = 1.932 times the natural
/// frequency. ADS-33 defines the bandwidth of an attitude command by this phase lag (45 deg of phase margin);
/// with the natural frequency instead, the product would be 2.15 and the limit 0.129 s at 9 in.
const RISE_BY_BANDWIDTH: f64 = 4.15;
/// 2 rad/s at a rotor of 16 m, scaled to 9 in: 2 sqrt(16 / 0.2286).
const BANDWIDTH_RAD_S: f64 = 16.7;

fn scaled(limit: Limit, scale: Scale, time_scale: f64) -> Limit {
    let factor = match scale {
        Scale::Fixed => return limit,
        Scale::Time => time_scale,
        Scale::Frequency => 1.0 / time_scale,
    };
    match limit {
        AtMost(high) => AtMost(factor * high),
        AtLeast(low) => AtLeast(factor * low),
        Limit::Between(low, high) => Limit::Between(factor * low, factor * high),
    }
}
