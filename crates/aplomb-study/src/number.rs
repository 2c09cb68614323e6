//! Formatting of numbers: few digits, a true minus sign, no "-0".

use aplomb_flight::limit::Limit;

/// A number with fixed decimals; a dash when it is not finite.
#[must_use]
pub fn fixed(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.bytes().all(|b| matches!(b, b'0' | b'.')) => rest.to_owned(),
        Some(rest) => format!("−{rest}"),
        None => text,
    }
}

/// A number with about `digits` significant digits and no more than `digits` decimals beyond the first
/// non-zero one.
#[must_use]
pub fn significant(value: f64, digits: i32) -> String {
    fixed(value, decimals_for(value, digits))
}

/// A limit in words: "at most 1.2 m".
#[must_use]
pub fn limit(limit: Limit, unit: &str) -> String {
    let with_unit = |text: String| if unit.is_empty() { text } else { format!("{text} {unit}") };
    match limit {
        Limit::AtMost(high) => format!("at most {}", with_unit(plain(high))),
        Limit::AtLeast(low) => format!("at least {}", with_unit(plain(low))),
        Limit::Between(low, high) => format!("{} to {}", plain(low), with_unit(plain(high))),
    }
}

/// A measured figure with enough digits to differ from each bound of its limit.
#[must_use]
pub fn measured(value: f64, limit: Limit) -> String {
    let bounds = match limit {
        Limit::AtMost(bound) | Limit::AtLeast(bound) => [bound, bound],
        Limit::Between(low, high) => [low, high],
    };
    let first = decimals_for(value, 3);
    let is_ambiguous = |decimals: usize| {
        bounds.iter().any(|&bound| value != bound && fixed(value, decimals) == fixed(bound, decimals))
    };
    let decimals = (first..first + 6).find(|&decimals| !is_ambiguous(decimals)).unwrap_or(first + 6);
    fixed(value, decimals)
}

/// A figure with three significant digits, or whole from 100 on.
#[must_use]
pub fn figure(value: f64) -> String {
    if value.is_nan() {
        return "-".to_owned();
    }
    let size = value.abs();
    let decimals = if size >= 99.95 || size == 0.0 {
        0
    } else if size >= 9.995 {
        1
    } else if size >= 0.9995 {
        2
    } else {
        3
    };
    let text = format!("{value:.decimals$}");
    // No minus sign before a figure that is rounded to 0.
    if text.trim_matches(['-', '0', '.']).is_empty() { text.trim_start_matches('-').to_owned() } else { text }
}

/// The shortest text of the number rounded to five significant digits.
fn plain(value: f64) -> String {
    if !value.is_finite() {
        return "–".to_owned();
    }
    let rounded: f64 = format!("{value:.4e}").parse().unwrap_or(value);
    format!("{rounded}").replace('-', "−")
}

fn decimals_for(value: f64, digits: i32) -> usize {
    if !value.is_finite() || value == 0.0 {
        return usize::from(value == 0.0 && digits > 1);
    }
    let leading = libm::floor(libm::log10(value.abs())) as i32;
    (digits - 1 - leading).clamp(0, digits + 2) as usize
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fixed_has_true_minus_and_no_negative_zero() {
        assert_eq!(fixed(-1.25, 1), "−1.2");
        assert_eq!(fixed(-0.04, 1), "0.0");
        assert_eq!(fixed(f64::NAN, 1), "–");
        assert_eq!(fixed(f64::NEG_INFINITY, 1), "–");
    }

    #[test]
    fn significant_digits_follow_the_size() {
        assert_eq!(significant(1234.5, 3), "1234");
        assert_eq!(significant(12.345, 3), "12.3");
        assert_eq!(significant(0.012345, 3), "0.0123");
        assert_eq!(significant(0.0, 3), "0.0");
    }

    #[test]
    fn measured_figure_just_beyond_its_limit_differs_from_the_limit() {
        assert_eq!(measured(1.2004, Limit::AtMost(1.2)), "1.2004");
        assert_eq!(measured(0.731, Limit::AtMost(1.2)), "0.731");
        assert_eq!(measured(89.999, Limit::Between(90.0, 92.0)), "89.999");
        assert_eq!(measured(1.2, Limit::AtMost(1.2)), "1.20");
    }

    #[test]
    fn limits_are_printed_in_words() {
        assert_eq!(limit(Limit::AtMost(1.2), "m"), "at most 1.2 m");
        assert_eq!(limit(Limit::AtLeast(-3.0), ""), "at least −3");
        assert_eq!(limit(Limit::AtMost(4.15 / 16.7), "s"), "at most 0.2485 s");
        assert_eq!(limit(Limit::Between(88.0, 92.5), "deg"), "88 to 92.5 deg");
    }
}
