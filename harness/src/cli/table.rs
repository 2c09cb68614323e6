//! Table of checks on standard output: plain text, aligned, one row per check.

use aplomb_flight::limit::{Limit, Outcome};
use aplomb_study::number::figure;
use aplomb_study::verdict::Verdict;

/// Verdicts of one flight.
#[derive(Clone, Copy, Debug)]
pub struct FlightVerdicts<'a> {
    /// Name of the flight.
    pub flight: &'a str,
    /// Its verdicts.
    pub verdicts: &'a [Verdict],
}

const HEADINGS: [&str; 6] = ["flight", "check", "measured", "limit", "unit", "outcome"];
/// Columns aligned to the right.
const RIGHT: [bool; 6] = [false, false, true, true, false, false];

/// Renders the table. With `coloured`, failed and inconclusive rows are in colour.
#[must_use]
pub fn render(flights: &[FlightVerdicts<'_>], coloured: bool) -> String {
    let mut rows = vec![HEADINGS.map(str::to_owned)];
    let mut outcomes = vec![Outcome::Pass];
    for flight in flights {
        for (i, verdict) in flight.verdicts.iter().enumerate() {
            let name = if i == 0 { flight.flight } else { "" };
            rows.push([
                name.to_owned(),
                verdict.text.clone(),
                figure(verdict.measured),
                limit(verdict.limit),
                verdict.unit.to_owned(),
                outcome(verdict.outcome).to_owned(),
            ]);
            outcomes.push(verdict.outcome);
        }
    }
    let widths: [usize; 6] =
        std::array::from_fn(|column| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0));
    let mut text = String::new();
    for (i, (row, outcome)) in rows.iter().zip(&outcomes).enumerate() {
        let line = line(row, &widths);
        let colour = match outcome {
            Outcome::Fail => "\u{1b}[31m",
            Outcome::Inconclusive => "\u{1b}[33m",
            Outcome::Pass => "",
        };
        if coloured && !colour.is_empty() {
            text += &format!("{colour}{line}\u{1b}[0m\n");
        } else {
            text += &line;
            text.push('\n');
        }
        if i == 0 {
            text += &widths.map(|width| "-".repeat(width)).join("  ");
            text.push('\n');
        }
    }
    text
}

fn line(row: &[String; 6], widths: &[usize; 6]) -> String {
    let cells: [String; 6] = std::array::from_fn(|column| {
        let padding = " ".repeat(widths[column] - row[column].chars().count());
        if RIGHT[column] { padding + &row[column] } else { row[column].clone() + &padding }
    });
    cells.join("  ").trim_end().to_owned()
}

fn outcome(outcome: Outcome) -> &'static str {
    match outcome {
        Outcome::Pass => "pass",
        Outcome::Fail => "fail",
        Outcome::Inconclusive => "inconclusive",
    }
}

fn limit(limit: Limit) -> String {
    match limit {
        Limit::AtMost(high) => format!("at most {}", figure(high)),
        Limit::AtLeast(low) => format!("at least {}", figure(low)),
        Limit::Between(low, high) => format!("{} to {}", figure(low), figure(high)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn verdict(text: &str, measured: f64, limit: Limit, unit: &'static str) -> Verdict {
        let outcome = limit.judge(measured);
        Verdict { text: text.to_owned(), measured, limit, unit, outcome, source: None }
    }

    #[test]
    fn columns_are_aligned_and_every_outcome_is_named() {
        let hover = [
            verdict("height error, 95 %", 0.2345, Limit::AtMost(0.3), "m"),
            verdict("roll", -123.4, Limit::Between(-1.0, 1.0), "deg"),
        ];
        let land = [verdict("armed", f64::NAN, Limit::AtLeast(0.0), "%")];
        let flights = [
            FlightVerdicts { flight: "hover", verdicts: &hover },
            FlightVerdicts { flight: "land", verdicts: &land },
        ];
        let expected = "\
flight  check               measured          limit  unit  outcome
------  ------------------  --------  -------------  ----  ------------
hover   height error, 95 %     0.234  at most 0.300  m     pass
        roll                    -123  -1.00 to 1.00  deg   fail
land    armed                      -     at least 0  %     inconclusive
";
        assert_eq!(render(&flights, false), expected);
        assert!(render(&flights, true).contains("\u{1b}[31m        roll"));
    }

    #[test]
    fn figures_keep_three_digits() {
        for (value, text) in [
            (0.0, "0"),
            (-0.0001, "0.000"),
            (0.0123, "0.012"),
            (0.99949, "0.999"),
            (0.99951, "1.00"),
            (9.996, "10.0"),
            (99.96, "100"),
            (-45.67, "-45.7"),
            (12345.6, "12346"),
            (f64::NAN, "-"),
        ] {
            assert_eq!(figure(value), text);
        }
    }
}
