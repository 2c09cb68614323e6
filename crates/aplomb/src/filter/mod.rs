//! Digital filters at a fixed rate: [`LowPass`] (first order), [`Biquad`] (second-order low-pass, notch) and
//! [`NotchBank`], a set of notches at the speeds of the rotors.
//!
//! Coefficients of low-pass and biquad are separate from the state, so one set filters several signals. A
//! sample that is not finite holds the last output. The state stays finite for every input and converges
//! afterwards. A decaying state ends at a normal number below 1e-20, since some processors compute slowly
//! with denormal numbers.

mod biquad;
mod low_pass;
mod notch_bank;

pub use biquad::{Biquad, BiquadState};
pub use low_pass::{LowPass, LowPassState};
pub use notch_bank::{NotchBank, NotchBankConfig, NotchBankState};

use crate::error::{ConfigError, Problem, require_positive};

/// A frequency in Hz that lies between 0 and half the sampling rate.
fn require_below_nyquist(field: &'static str, frequency_hz: f32, period_s: f32) -> Result<f32, ConfigError> {
    let frequency_hz = require_positive(field, frequency_hz)?;
    if frequency_hz * period_s < 0.5 {
        Ok(frequency_hz)
    } else {
        Err(ConfigError::new(field, Problem::OutOfRange { low: 0.0, high: 0.5 / period_s }))
    }
}

/// Added to a state on each step, so that a decaying one ends at a normal number: far below any signal, far
/// above the denormal numbers (below 1.2e-38).
pub(crate) const FLOOR: f32 = 1e-27;
