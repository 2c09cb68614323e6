//! Figures of a response: rise time, damping ratio from successive peaks, bandwidth from phases.

use std::f64::consts::{PI, TAU};

/// Rise time in s: from 10 to 90 % of the step from `before` to `target`. Infinite when 90 % is not reached;
/// NaN for an empty series or a step of size 0.
#[must_use]
pub fn rise_time(times_s: &[f64], values: &[f64], before: f64, target: f64) -> f64 {
    if times_s.is_empty() || before == target {
        return f64::NAN;
    }
    let normalised: Vec<f64> = values.iter().map(|value| (value - before) / (target - before)).collect();
    let crossing = |level: f64| {
        let at = normalised.iter().position(|&share| share >= level)?;
        let Some(last) = at.checked_sub(1) else { return Some(times_s[0]) };
        let part = (level - normalised[last]) / (normalised[at] - normalised[last]);
        Some(times_s[last] + part * (times_s[at] - times_s[last]))
    };
    match (crossing(0.1), crossing(0.9)) {
        (Some(from), Some(to)) => to - from,
        _ => f64::INFINITY,
    }
}

/// The peaks of an oscillation about zero: the extreme value between successive changes of sign.
#[must_use]
pub fn peaks(values: &[f64]) -> Vec<f64> {
    let mut peaks = Vec::new();
    let mut peak = 0.0_f64;
    for &value in values {
        if value * peak < 0.0 {
            peaks.push(peak);
            peak = 0.0;
        }
        if value.is_nan() || value.abs() > peak.abs() {
            peak = value;
        }
    }
    if !values.is_empty() {
        peaks.push(peak);
    }
    peaks
}

/// Damping ratio from successive peaks (logarithmic decrement): with r the ratio of a peak to the one before,
/// ln r = -pi z / sqrt(1 - z^2) (closed form of the second-order oscillator). The result is the least over
/// all pairs of peaks above `floor`. With one such peak the next is taken as `floor`, which gives a lower
/// bound. Without one the result is 1. NaN for an empty series and for NaN.
#[must_use]
pub fn damping(peaks: &[f64], floor: f64) -> f64 {
    if peaks.is_empty() || floor.is_nan() || peaks.iter().any(|peak| peak.is_nan()) {
        return f64::NAN;
    }
    let ratio = |before: f64, after: f64| {
        let decrement = libm::log(before.abs() / after.abs());
        if decrement > 0.0 { decrement / libm::sqrt(PI * PI + decrement * decrement) } else { 0.0 }
    };
    let standing = peaks.iter().take_while(|peak| peak.abs() > floor).count();
    match standing {
        0 => 1.0,
        1 => ratio(peaks[0], floor),
        _ => peaks[..standing].windows(2).map(|pair| ratio(pair[0], pair[1])).fold(f64::INFINITY, f64::min),
    }
}

/// Phase in rad of `values` relative to `inputs` at a frequency with `turns` periods in the record.
#[must_use]
pub fn phase_rad(inputs: &[f64], values: &[f64], turns: f64) -> f64 {
    let (input, output) = (component(inputs, turns), component(values, turns));
    // The argument of output times the conjugate of input.
    libm::atan2(output.1 * input.0 - output.0 * input.1, output.0 * input.0 + output.1 * input.1)
}

fn component(values: &[f64], turns: f64) -> (f64, f64) {
    let count = values.len() as f64;
    values.iter().enumerate().fold((0.0, 0.0), |(real, imaginary), (i, value)| {
        let (sine, cosine) = libm::sincos(TAU * turns * i as f64 / count);
        (real + value * cosine, imaginary - value * sine)
    })
}

/// Frequency at which the phase lag reaches `lag_rad`, interpolated over the logarithm of the frequency; the
/// last one when it is not reached, the first one when it is exceeded there. `phases_rad` may be wrapped. NaN
/// for an empty series.
#[must_use]
pub fn lag_frequency(frequencies: &[f64], phases_rad: &[f64], lag_rad: f64) -> f64 {
    let mut before: Option<(f64, f64)> = None;
    for (&frequency, &phase) in frequencies.iter().zip(phases_rad) {
        let lag = match before {
            // Unwrapping: the lag increases, or decreases by less than a quarter turn.
            Some((_, last)) => last + (-phase - last + TAU / 4.0).rem_euclid(TAU) - TAU / 4.0,
            None => -phase,
        };
        if lag.is_nan() {
            return f64::NAN;
        }
        if lag >= lag_rad {
            let Some((low, last)) = before else { return frequency };
            let part = (lag_rad - last) / (lag - last);
            return low * libm::pow(frequency / low, part);
        }
        before = Some((frequency, lag));
    }
    before.map_or(f64::NAN, |(frequency, _)| frequency)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Step response and impulse response (of the rate) of 1/(s^2 + 2 z s + 1).
    fn second_order(z: f64) -> (Vec<f64>, Vec<f64>, Vec<f64>) {
        let wd = (1.0 - z * z).sqrt();
        let times: Vec<f64> = (0..30_000).map(|i| f64::from(i) * 1e-3).collect();
        let step = |t: &f64| 1.0 - (-z * t).exp() * ((wd * t).cos() + z / wd * (wd * t).sin());
        // Angle e^(-z t) sin(wd t) / wd after an impulse; its derivative.
        let rate = |t: &f64| (-z * t).exp() * ((wd * t).cos() - z / wd * (wd * t).sin());
        (times.clone(), times.iter().map(step).collect(), times.iter().map(rate).collect())
    }

    #[test]
    fn rise_time_of_second_order_steps_is_the_textbook_one() {
        // 10 to 90 % in units of 1/wn, computed from the closed form.
        for (z, rise) in [(0.35, 1.389), (0.5, 1.638), (std::f64::consts::FRAC_1_SQRT_2, 2.148)] {
            let (times, step, _) = second_order(z);
            assert!((rise_time(&times, &step, 0.0, 1.0) - rise).abs() < 1e-3, "{z}");
        }
        assert!(rise_time(&[0.0, 1.0], &[0.0, 0.5], 0.0, 1.0).is_infinite());
        assert!(rise_time(&[], &[], 0.0, 1.0).is_nan());
    }

    #[test]
    fn damping_ratio_follows_from_successive_peaks() {
        for z in [0.1, 0.2, 0.35, 0.5] {
            let (_, step, rate) = second_order(z);
            let pushed = damping(&peaks(&rate)[1..], 0.003);
            assert!((pushed - z).abs() < 0.01, "{z}: {pushed}");
            let errors: Vec<f64> = step.iter().map(|y| y - 1.0).collect();
            let stepped = damping(&peaks(&errors), 0.003);
            assert!((stepped - z).abs() < 0.01, "{z}: {stepped}");
        }
        // Beyond the resolution of the floor: a lower bound.
        let (_, step, _) = second_order(0.9);
        let errors: Vec<f64> = step.iter().map(|y| y - 1.0).collect();
        let bound = damping(&peaks(&errors), 0.05);
        assert!((bound - 0.690).abs() < 0.001, "{bound}");
        // A growing oscillation has no damping; an empty series gives NaN.
        assert_eq!(damping(&[-1.0, 1.5, -2.0], 0.1), 0.0);
        assert_eq!(damping(&[0.05, -0.02], 0.1), 1.0);
        assert!(damping(&peaks(&[]), 0.1).is_nan() && damping(&peaks(&[1.0, f64::NAN]), 0.1).is_nan());
    }

    #[test]
    fn phase_lag_of_a_delayed_second_order_system_is_found() {
        // Phase of 1/(s^2 + 1.4142 s + 1) with a delay of 0.2: 135 deg at w with atan2(1.4142 w, 1 - w^2) +
        // 0.2 w = 2.356.
        let frequencies: Vec<f64> = (1..60).map(|i| 0.1 * f64::from(i)).collect();
        let lag = |w: f64| (std::f64::consts::SQRT_2 * w).atan2(1.0 - w * w) + 0.2 * w;
        let wrapped: Vec<f64> = frequencies.iter().map(|&w| (-lag(w)).sin().atan2((-lag(w)).cos())).collect();
        let found = lag_frequency(&frequencies, &wrapped, 0.75 * PI);
        assert!((lag(found) - 0.75 * PI).abs() < 0.01, "{found}");
        // The twin without the delay reaches it at a higher frequency.
        let plain: Vec<f64> =
            frequencies.iter().map(|&w| -(std::f64::consts::SQRT_2 * w).atan2(1.0 - w * w)).collect();
        assert!(lag_frequency(&frequencies, &plain, 0.75 * PI) > 1.2 * found);
        assert_eq!(lag_frequency(&[1.0, 2.0], &[-0.1, -0.2], 1.0), 2.0);
    }

    #[test]
    fn phase_of_a_delayed_sine_is_its_delay() {
        let wave = |delay: f64| -> Vec<f64> {
            (0..800).map(|i| (TAU * 7.0 * (f64::from(i) / 800.0 - delay)).sin() + 0.3).collect()
        };
        let phase = phase_rad(&wave(0.0), &wave(0.01), 7.0);
        assert!((phase + TAU * 7.0 * 0.01).abs() < 1e-9, "{phase}");
    }
}
