//! Confidence interval of a probability, and rank statistics of causes.

use statrs::distribution::{Beta, ContinuousCDF, Normal};

/// Two-sided 95 % interval of a probability from `successes` of `trials` (Clopper and Pearson 1934,
/// Biometrika 26(4)). NaN for no trials.
#[must_use]
pub fn clopper_pearson(successes: u64, trials: u64) -> (f64, f64) {
    const TAIL: f64 = 0.025;
    if trials == 0 {
        return (f64::NAN, f64::NAN);
    }
    let (k, n) = (successes as f64, trials as f64);
    let quantile =
        |a: f64, b: f64, share: f64| Beta::new(a, b).map_or(f64::NAN, |beta| beta.inverse_cdf(share));
    let low = if successes == 0 { 0.0 } else { quantile(k, n - k + 1.0, TAIL) };
    let high = if successes == trials { 1.0 } else { quantile(k + 1.0, n - k, 1.0 - TAIL) };
    (low, high)
}

/// Ranks from 1; ties share their mean rank.
#[must_use]
pub fn ranks(values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..values.len()).collect();
    order.sort_by(|&a, &b| values[a].total_cmp(&values[b]));
    let mut ranks = vec![0.0; values.len()];
    let mut start = 0;
    while start < order.len() {
        let alike = order[start..].iter().take_while(|&&i| values[i] == values[order[start]]).count().max(1);
        let mean = start as f64 + 0.5 * (alike as f64 + 1.0);
        order[start..start + alike].iter().for_each(|&i| ranks[i] = mean);
        start += alike;
    }
    ranks
}

/// Rank-biserial correlation of a group with a quantity: 1 when all of its values are above all others, -1
/// below, 0 without difference ( Mann and Whitney 1947, Ann. Math. Stat. 18(1)), with its two-sided p-value
/// by the normal approximation. `None` when either group is empty.
#[must_use]
pub fn group_difference(values: &[f64], in_group: &[bool]) -> Option<(f64, f64)> {
    let inside = in_group.iter().filter(|&&inside| inside).count();
    let outside = in_group.len() - inside;
    if inside == 0 || outside == 0 {
        return None;
    }
    let (n, m) = (inside as f64, outside as f64);
    let sum: f64 =
        ranks(values).iter().zip(in_group).filter(|(_, inside)| **inside).map(|(rank, _)| rank).sum();
    let wins = sum - 0.5 * n * (n + 1.0);
    let deviation = libm::sqrt(n * m * (n + m + 1.0) / 12.0);
    let distance = ((wins - 0.5 * n * m).abs() - 0.5).max(0.0) / deviation;
    Some((2.0 * wins / (n * m) - 1.0, two_sided(distance)))
}

/// Spearman's rank correlation with its two-sided p-value by the normal approximation; `None` for fewer than
/// three pairs or when one side does not vary.
#[must_use]
pub fn rank_correlation(a: &[f64], b: &[f64]) -> Option<(f64, f64)> {
    let n = a.len() as f64;
    if a.len() < 3 {
        return None;
    }
    let (a, b) = (ranks(a), ranks(b));
    let mean = 0.5 * (n + 1.0);
    let product = |x: &[f64], y: &[f64]| x.iter().zip(y).map(|(x, y)| (x - mean) * (y - mean)).sum::<f64>();
    let size = libm::sqrt(product(&a, &a) * product(&b, &b));
    (size > 0.0).then(|| {
        let correlation = product(&a, &b) / size;
        (correlation, two_sided(correlation.abs() * libm::sqrt(n - 1.0)))
    })
}

fn two_sided(distance: f64) -> f64 {
    2.0 * Normal::standard().sf(distance)
}

/// P-values after Holm's step-down correction (Holm 1979, Scand. J. Stat. 6(2)).
#[must_use]
pub fn holm(p_values: &[f64]) -> Vec<f64> {
    let mut order: Vec<usize> = (0..p_values.len()).collect();
    order.sort_by(|&a, &b| p_values[a].total_cmp(&p_values[b]));
    let mut adjusted = vec![1.0; p_values.len()];
    let mut largest = 0.0_f64;
    for (rank, &i) in order.iter().enumerate() {
        largest = largest.max(p_values[i] * (p_values.len() - rank) as f64).min(1.0);
        adjusted[i] = largest;
    }
    adjusted
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Probability of at most `k` successes of `n`, by summation.
    fn at_most(k: u64, n: u64, p: f64) -> f64 {
        let mut term = (1.0 - p).powi(n as i32);
        let mut sum = term;
        for i in 0..k {
            term *= (n - i) as f64 / (i + 1) as f64 * p / (1.0 - p);
            sum += term;
        }
        sum
    }

    #[test]
    fn interval_ends_where_each_tail_has_2_5_percent() {
        for (k, n) in [(8_u64, 10_u64), (1, 20), (95, 100)] {
            let (low, high) = clopper_pearson(k, n);
            assert!((1.0 - at_most(k - 1, n, low) - 0.025).abs() < 1e-8, "{k} of {n}: {low}");
            assert!((at_most(k, n, high) - 0.025).abs() < 1e-8, "{k} of {n}: {high}");
        }
        // Closed form without a failure: the n-th root of 0.025.
        let (low, high) = clopper_pearson(1000, 1000);
        assert!((low - 0.025_f64.powf(1e-3)).abs() < 1e-9 && high == 1.0);
        assert_eq!(clopper_pearson(0, 50).0, 0.0);
        assert!(clopper_pearson(0, 0).0.is_nan());
    }

    #[test]
    fn interval_covers_the_true_probability_often_enough() {
        // Exact coverage at p: the sum of the probabilities of all counts whose interval contains p. At least
        // 95 %.
        for p in [0.02, 0.3, 0.9] {
            let n = 60;
            let covered: f64 = (0..=n)
                .filter(|&k| {
                    let (low, high) = clopper_pearson(k, n);
                    low <= p && p <= high
                })
                .map(|k| at_most(k, n, p) - if k == 0 { 0.0 } else { at_most(k - 1, n, p) })
                .sum();
            assert!((0.95..1.0).contains(&covered), "{p}: {covered}");
        }
    }

    #[test]
    fn ranks_share_ties() {
        assert_eq!(ranks(&[3.0, 1.0, 3.0, 2.0]), [3.5, 1.0, 3.5, 2.0]);
    }

    #[test]
    fn group_that_lies_above_differs_and_a_mixed_one_does_not() {
        let values: Vec<f64> = (0..40).map(f64::from).collect();
        let above: Vec<bool> = (0..40).map(|i| i >= 30).collect();
        let (difference, p) = group_difference(&values, &above).unwrap();
        assert!((difference - 1.0).abs() < 1e-12 && p < 1e-5);
        let mixed: Vec<bool> = (0..40).map(|i| i % 4 == 1 || i % 4 == 2).collect();
        let (difference, p) = group_difference(&values, &mixed).unwrap();
        assert!(difference.abs() < 0.01 && p > 0.9, "{difference} {p}");
        assert!(group_difference(&values, &[false; 40]).is_none());
    }

    #[test]
    fn rank_correlation_detects_any_monotone_relation() {
        let a: Vec<f64> = (0..30).map(f64::from).collect();
        let b: Vec<f64> = a.iter().map(|x| -(x * x * x)).collect();
        let (correlation, p) = rank_correlation(&a, &b).unwrap();
        assert!((correlation + 1.0).abs() < 1e-12 && p < 1e-5);
        assert!(rank_correlation(&a, &[1.0; 30]).is_none());
    }

    #[test]
    fn holm_is_the_textbook_one() {
        // 0.01, 0.04, 0.03 and 0.005 of four: 0.03, 0.06, 0.06, 0.02 (R's p.adjust gives the same).
        let adjusted = holm(&[0.01, 0.04, 0.03, 0.005]);
        for (found, expected) in adjusted.iter().zip([0.03, 0.06, 0.06, 0.02]) {
            assert!((found - expected).abs() < 1e-12, "{adjusted:?}");
        }
    }
}
