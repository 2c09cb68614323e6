//! One check as a picture: the allowed range as a band, the measured figure as a mark on it.

use super::axis::Axis;
use super::fill::Fill;
use super::svg::{Align, Path, Svg};
use aplomb_flight::limit::{Limit, Outcome};
use aplomb_study::number;
use aplomb_study::verdict::Verdict;

const WIDTH: f64 = 180.0;
const HEIGHT: f64 = 22.0;
const MIDDLE: f64 = 11.0;

/// Draws the picture.
pub fn draw(verdict: &Verdict, id: &str) -> String {
    let title = format!("{} {}", number::measured(verdict.measured, verdict.limit), verdict.unit);
    let limit = number::limit(verdict.limit, verdict.unit);
    let mut svg = Svg::new(id, WIDTH, HEIGHT, &title, &format!("Limit: {limit}."));
    let Some((low, high)) = shown(verdict.limit, verdict.measured) else {
        svg.text("note", (6.0, 15.0), Align::Start, "not measured");
        return svg.finish();
    };
    let axis = Axis { low, high, from: 6.0, to: WIDTH - 6.0 };
    let (from, to) = match verdict.limit {
        Limit::AtMost(bound) => (low, bound),
        Limit::AtLeast(bound) => (bound, high),
        Limit::Between(first, last) => (first, last),
    };
    svg.rect(Fill::Allowed.class(), axis.at(from), 3.0, axis.at(to) - axis.at(from), 16.0);
    svg.line("grid", (axis.from, MIDDLE), (axis.to, MIDDLE));
    let mut bounds = Path::default();
    for bound in [from, to].into_iter().filter(|&bound| bound != low && bound != high) {
        bounds.move_to((axis.at(bound), 1.0));
        bounds.line_to((axis.at(bound), 21.0));
    }
    svg.path("bound", &bounds);
    draw_mark(&mut svg, verdict, &axis);
    svg.finish()
}

/// A disc for a pass, a cross for a fail, an arrow for a figure outside the picture.
fn draw_mark(svg: &mut Svg, verdict: &Verdict, axis: &Axis) {
    let value = verdict.measured;
    let mark = if verdict.outcome == Outcome::Pass { "pass" } else { "fail" };
    if value > axis.high {
        svg.arrow(mark, (axis.to - 22.0, MIDDLE), (axis.to + 5.0, MIDDLE), 9.0);
    } else if value < axis.low {
        svg.arrow(mark, (axis.from + 22.0, MIDDLE), (axis.from - 5.0, MIDDLE), 9.0);
    } else if verdict.outcome == Outcome::Pass {
        svg.circle("pass solid", (axis.at(value), MIDDLE), 5.0);
    } else {
        let x = axis.at(value);
        let mut cross = Path::default();
        for side in [-5.0, 5.0] {
            cross.move_to((x - side, MIDDLE - 5.0));
            cross.line_to((x + side, MIDDLE + 5.0));
        }
        svg.path("fail", &cross);
    }
}

/// The range shown: zero and the bounds, extended so that the distance of a failed figure from its limit is
/// visible; `None` without a figure or a bound.
fn shown(limit: Limit, measured: f64) -> Option<(f64, f64)> {
    let (low, high) = match limit {
        Limit::AtMost(bound) | Limit::AtLeast(bound) if bound == 0.0 => (-1.0, 1.0),
        Limit::AtMost(bound) if bound > 0.0 => (0.0, 1.5 * bound),
        Limit::AtMost(bound) => (3.0 * bound, 0.0),
        Limit::AtLeast(bound) if bound > 0.0 => (0.0, 2.0 * bound),
        Limit::AtLeast(bound) => (1.5 * bound, 0.0),
        Limit::Between(first, last) => {
            let beyond = if last > first { 0.5 * (last - first) } else { last.abs().max(1.0) };
            (first - beyond, last + beyond)
        }
    };
    let reach = 1.2 * (high - low);
    let near = |value: f64| value.is_finite() && (low - reach..=high + reach).contains(&value);
    if measured.is_nan() || !(low.is_finite() && high.is_finite()) {
        None
    } else if near(measured) {
        Some((low.min(measured), high.max(measured)))
    } else {
        Some((low, high))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(measured: f64, limit: Limit) -> Verdict {
        let outcome = limit.judge(measured);
        Verdict { text: "x".into(), measured, limit, unit: "m", outcome, source: None }
    }

    #[test]
    fn pass_fail_and_inconclusive_differ_in_shape() {
        let passed = draw(&verdict(0.7, Limit::AtMost(1.2)), "a");
        let failed = draw(&verdict(1.3, Limit::AtMost(1.2)), "b");
        let unmeasured = draw(&verdict(f64::NAN, Limit::AtMost(1.2)), "c");
        assert!(passed.contains("<circle") && !failed.contains("<circle") && failed.contains("\"fail\""));
        assert!(unmeasured.contains("not measured") && !unmeasured.contains("pass"));
    }

    #[test]
    fn figure_outside_the_picture_is_an_arrow() {
        assert!(draw(&verdict(1e6, Limit::Between(1.0, 2.0)), "a").contains("fail solid"));
        assert!(draw(&verdict(f64::NEG_INFINITY, Limit::AtLeast(1.0)), "a").contains("fail solid"));
    }

    #[test]
    fn shown_range_contains_limit_and_near_figure() {
        assert_eq!(shown(Limit::AtMost(2.0), 1.0), Some((0.0, 3.0)));
        assert_eq!(shown(Limit::AtMost(2.0), 4.0), Some((0.0, 4.0)));
        assert_eq!(shown(Limit::AtLeast(-2.0), -1.0), Some((-3.0, 0.0)));
        assert_eq!(shown(Limit::Between(88.0, 92.0), 90.0), Some((86.0, 94.0)));
        assert_eq!(shown(Limit::AtMost(f64::NAN), 90.0), None);
    }
}
