//! Statistics of series of values: mean, rms, quantiles, settling time, overshoot.

/// Arithmetic mean; NaN for an empty series.
#[must_use]
pub fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Mean of the finite values; NaN without one.
#[must_use]
pub fn mean_of_finite(values: impl IntoIterator<Item = f64>) -> f64 {
    let (count, sum) = values
        .into_iter()
        .filter(|value| value.is_finite())
        .fold((0.0, 0.0), |(count, sum), value| (count + 1.0, sum + value));
    sum / count
}

/// Root mean square; NaN for an empty series.
#[must_use]
pub fn rms(values: &[f64]) -> f64 {
    libm::sqrt(values.iter().map(|v| v * v).sum::<f64>() / values.len() as f64)
}

/// Standard deviation about the mean (division by n); NaN for an empty series.
#[must_use]
pub fn deviation(values: &[f64]) -> f64 {
    let centre = mean(values);
    libm::sqrt(values.iter().map(|v| (v - centre) * (v - centre)).sum::<f64>() / values.len() as f64)
}

/// Largest value; NaN for an empty series or when any value is NaN.
#[must_use]
pub fn largest(values: &[f64]) -> f64 {
    values.iter().copied().reduce(|a, b| if a.is_nan() || a > b { a } else { b }).unwrap_or(f64::NAN)
}

/// Smallest value; NaN for an empty series or when any value is NaN.
#[must_use]
pub fn smallest(values: &[f64]) -> f64 {
    -largest(&values.iter().map(|v| -v).collect::<Vec<_>>())
}

/// The value below which the given share (0 to 1) of the values lies, by linear interpolation between order
/// statistics (Hyndman & Fan 1996, The American Statistician 50(4), definition 7). NaN for an empty series or
/// when any value is NaN.
#[must_use]
pub fn quantile(values: &[f64], share: f64) -> f64 {
    if values.is_empty() || values.iter().any(|v| v.is_nan()) {
        return f64::NAN;
    }
    let mut sorted = values.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let rank = share.clamp(0.0, 1.0) * (sorted.len() - 1) as f64;
    let below = libm::floor(rank) as usize;
    let above = (below + 1).min(sorted.len() - 1);
    sorted[below] + (rank - below as f64) * (sorted[above] - sorted[below])
}

/// Settling time: time from the first sample until the error stays within `band` of zero. Infinite when the
/// last error is outside the band; NaN for an empty series.
#[must_use]
pub fn settling_time(times_s: &[f64], errors: &[f64], band: f64) -> f64 {
    let Some(&start) = times_s.first() else { return f64::NAN };
    let within = |error: &f64| error.abs() <= band;
    match errors.iter().rposition(|e| !within(e)) {
        None => 0.0,
        Some(last) if last + 1 == errors.len() => f64::INFINITY,
        Some(last) => times_s[last + 1] - start,
    }
}

/// Overshoot beyond `target` in per cent of the step from `before` to `target`. 0 without overshoot; NaN for
/// an empty series or a step of size 0.
#[must_use]
pub fn overshoot_percent(values: &[f64], before: f64, target: f64) -> f64 {
    let step = target - before;
    if step == 0.0 {
        return f64::NAN;
    }
    let past: Vec<f64> = values.iter().map(|v| (v - target) / step * 100.0).collect();
    let most = largest(&past);
    if most < 0.0 { 0.0 } else { most }
}

/// High-pass filtered series: a second-order Butterworth filter with the corner at `cycles` per sample (0 to
/// 0.5) by the bilinear transform, `w = tan(pi cycles)`, run forwards and then backwards for zero phase.
#[must_use]
pub fn above(values: &[f64], cycles: f64) -> Vec<f64> {
    let w = libm::tan(std::f64::consts::PI * cycles);
    let scale = 1.0 / (1.0 + std::f64::consts::SQRT_2 * w + w * w);
    let (a1, a2) = (2.0 * (w * w - 1.0) * scale, (1.0 - std::f64::consts::SQRT_2 * w + w * w) * scale);
    let pass = |values: &mut dyn Iterator<Item = f64>| -> Vec<f64> {
        let (mut state, mut first) = ([0.0; 2], None);
        // The first value is subtracted, so that a constant gives 0.
        values
            .map(|value| {
                let input = value - *first.get_or_insert(value);
                let output = scale * input + state[0];
                state = [-2.0 * scale * input - a1 * output + state[1], scale * input - a2 * output];
                output
            })
            .collect()
    };
    let mut forwards = pass(&mut values.iter().copied());
    forwards.reverse();
    let mut both = pass(&mut forwards.into_iter());
    both.reverse();
    both
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn statistics_of_a_small_series_are_the_textbook_ones() {
        let v = [3.0, -1.0, 4.0, 2.0];
        assert_eq!(mean(&v), 2.0);
        assert_eq!(rms(&v), 7.5f64.sqrt());
        assert_eq!(deviation(&v), 3.5f64.sqrt());
        assert_eq!((largest(&v), smallest(&v)), (4.0, -1.0));
        // numpy.quantile([3, -1, 4, 2], 0.4) and 0.95, linear
        assert!((quantile(&v, 0.4) - 2.2).abs() < 1e-12);
        assert!((quantile(&v, 0.95) - 3.85).abs() < 1e-12);
    }

    #[test]
    fn high_pass_is_a_butterworth_response_twice_without_phase() {
        // |H|^2 = (f/fc)^4/(1 + (f/fc)^4) of an analogue second-order Butterworth high-pass, passed twice.
        let wave = |cycles: f64| {
            (0..40_000).map(|i| (std::f64::consts::TAU * cycles * f64::from(i)).sin()).collect::<Vec<_>>()
        };
        for (ratio, gain) in [(0.5, 1.0 / 17.0), (1.0, 0.5), (4.0, 256.0 / 257.0)] {
            let input = wave(0.001 * ratio);
            let output = above(&input, 0.001);
            let middle = 10_000..30_000;
            let product = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
            let found = product(&output[middle.clone()], &input[middle.clone()])
                / product(&input[middle.clone()], &input[middle]);
            assert!((found - gain).abs() < 1e-3, "{ratio}: {found}");
        }
        assert!(above(&[3.0; 100], 0.01).iter().all(|v| v.abs() < 1e-12));
    }

    #[test]
    fn empty_series_and_nan_give_nan() {
        assert!(mean(&[]).is_nan() && largest(&[]).is_nan() && quantile(&[], 0.5).is_nan());
        assert!(largest(&[1.0, f64::NAN]).is_nan() && largest(&[f64::NAN, 1.0]).is_nan());
        assert!(quantile(&[1.0, f64::NAN], 0.0).is_nan());
    }

    #[test]
    fn settling_and_overshoot_of_a_damped_second_order_step() {
        // 1/(s^2 + 2 z s + 1), z = 0.5: overshoot 16.303 %, 2 % settling 8.076 (computed from the closed
        // form).
        let (z, wd) = (0.5f64, 0.75f64.sqrt());
        let times: Vec<f64> = (0..20_000).map(|i| f64::from(i) * 1e-3).collect();
        let y: Vec<f64> =
            times.iter().map(|t| 1.0 - (-z * t).exp() * ((wd * t).cos() + z / wd * (wd * t).sin())).collect();
        let errors: Vec<f64> = y.iter().map(|y| y - 1.0).collect();
        assert!((settling_time(&times, &errors, 0.02) - 8.076).abs() < 2e-3);
        assert!((overshoot_percent(&y, 0.0, 1.0) - 16.303).abs() < 2e-3);
        assert!(settling_time(&times, &errors, 1e-6).is_infinite());
        let mirrored: Vec<f64> = y.iter().map(|y| -y).collect();
        assert!((overshoot_percent(&mirrored, 0.0, -1.0) - 16.303).abs() < 2e-3);
    }
}
