//! Trade-off between disturbance rejection and noise, by a common scale of the fast gains.

use super::evaluator::{Evaluator, Scope};
use super::parameter::{FAST, Factors};
use crate::requirements::{Probe, Size};
use crate::signals;
use aplomb_flight::FlightPlan;
use aplomb_flight::fly::fly;
use aplomb_flight::signal::Signal;

/// Gain scales of the trade-off curve: factors on the gains of the fast loops.
const GAIN_SCALES: [f64; 9] = [0.5, 0.6, 0.7, 0.85, 1.0, 1.2, 1.4, 1.7, 2.0];
/// Height and length of the hover in which the noise of the motor commands is measured.
const HOVER: (f64, f64) = (6.0, 6.0);

/// A point of the trade-off between disturbance rejection and noise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trade {
    /// Factor on the fast gains.
    pub gain_scale: f64,
    /// Largest tilt after the probe's pulses of torque, in deg.
    pub tilt_deg: f64,
    /// Noise of the motor commands in hover, root mean square, in % of full command.
    pub noise_percent: f64,
    /// True when margins and probes of the inner loops pass.
    pub passes: bool,
}

/// The curve, from the smallest to the largest valid gain scale.
pub(super) fn curve(evaluator: &Evaluator<'_>, factors: &Factors) -> Vec<Trade> {
    GAIN_SCALES.iter().filter_map(|&gain_scale| point(evaluator, factors, gain_scale)).collect()
}

/// Trade-off at a gain scale; `None` where the controller is invalid.
fn point(evaluator: &Evaluator<'_>, factors: &Factors, gain_scale: f64) -> Option<Trade> {
    let mut scaled = *factors;
    scaled[..FAST].iter_mut().for_each(|factor| *factor *= gain_scale);
    let controller = evaluator.controller(&scaled).ok()?;
    let passes = evaluator.judge(&scaled, Scope::Quick, 1).ok()?.passes();
    let config = &evaluator.craft.config;
    let size = Size::of(&evaluator.craft, &controller);
    let spin = config.arms.map(|arm| arm.spin);
    // The camera does not act on the craft.
    let craft = aplomb_craft::Config { gimbal: None, ..*config };
    let flown = |plan: &FlightPlan| fly(&craft, &controller, plan, 1).ok();
    let pulses = flown(&Probe::TorquePulses.plan(&size))?;
    let tilts = signals::values(Signal::Tilt, &pulses.trace.rows, &spin);
    let hover = flown(&FlightPlan::hover("hover", HOVER.0, HOVER.1))?;
    let noise = signals::values(Signal::MotorCommandNoise, &hover.trace.rows, &spin);
    let mean_square = noise.iter().map(|value| value * value).sum::<f64>() / noise.len() as f64;
    Some(Trade {
        gain_scale,
        tilt_deg: tilts.into_iter().fold(0.0, f64::max),
        noise_percent: libm::sqrt(mean_square),
        passes,
    })
}
