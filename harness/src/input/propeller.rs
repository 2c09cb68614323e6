//! `[propeller]` of `craft.toml`: the designation, and optional data of thrust and torque.

use aplomb_craft::propeller::{Designation, Measured, Planform, Row};
use aplomb_craft::{Reason, rotor};
use schemars::JsonSchema;
use serde::Deserialize;

use super::document::Document;
use super::refusal::refuse_as;
use aplomb_study::craft::INCH_M;

#[derive(Deserialize, JsonSchema)]
pub(super) struct PropellerTable {
    pub(super) diameter_in: f64,
    pub(super) pitch_in: f64,
    pub(super) blades: u32,
    planform: Option<PlanformWord>,
    thrust_coefficient: Option<f64>,
    power_coefficient: Option<f64>,
    thrust_n_s2: Option<f64>,
    torque_nm_s2: Option<f64>,
    measured: Option<Vec<MeasuredRow>>,
    pub(super) thrust_ripple_percent: Option<f64>,
}

#[derive(Deserialize, JsonSchema)]
struct MeasuredRow {
    rpm: f64,
    advance_ratio: Option<f64>,
    thrust_coefficient: f64,
    power_coefficient: f64,
}

#[derive(Clone, Copy, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
enum PlanformWord {
    Wide,
    Thin,
}

impl PropellerTable {
    /// Refuses all values outside of what a propeller can have at once. The plant checks the rest.
    pub(super) fn check(&self, document: &Document<'_>) {
        document.require_ranges([
            ("propeller.diameter_in", self.diameter_in, 0.5, 200.0),
            ("propeller.pitch_in", self.pitch_in, 0.1, 200.0),
            ("propeller.blades", f64::from(self.blades), 1.0, 8.0),
            ("propeller.thrust_coefficient", self.thrust_coefficient.unwrap_or(0.1), 1e-4, 1.0),
            ("propeller.power_coefficient", self.power_coefficient.unwrap_or(0.1), 1e-4, 1.0),
            ("propeller.thrust_n_s2", self.thrust_n_s2.unwrap_or(1e-5), 1e-15, 10.0),
            ("propeller.torque_nm_s2", self.torque_nm_s2.unwrap_or(1e-5), 1e-18, 10.0),
            ("propeller.thrust_ripple_percent", self.thrust_ripple_percent.unwrap_or(0.0), 0.0, 100.0),
        ]);
    }

    /// kT, kQ and their dependence on the flow: from measured rows, from two constants, or from the
    /// designation.
    pub(super) fn convert(&self, document: &Document<'_>) -> (f64, f64, rotor::Inflow) {
        let designation = Designation {
            diameter_m: self.diameter_in * INCH_M,
            pitch_m: self.pitch_in * INCH_M,
            blades: self.blades,
            planform: match self.planform {
                Some(PlanformWord::Wide) => Planform::Wide,
                Some(PlanformWord::Thin) => Planform::Thin,
                None => Planform::Unknown,
            },
        };
        let coefficients = pair(
            document,
            ("thrust_coefficient", self.thrust_coefficient),
            ("power_coefficient", self.power_coefficient),
        );
        let per_square =
            pair(document, ("thrust_n_s2", self.thrust_n_s2), ("torque_nm_s2", self.torque_nm_s2));
        let measured = self.measured.as_deref().and_then(|rows| measured(rows, document));
        let ways = [coefficients.is_some(), per_square.is_some(), self.measured.is_some()];
        if ways.into_iter().filter(|&is| is).count() > 1 {
            document.refuse_at("propeller", "thrust is given in two ways", Some(ONE_WAY));
        }
        if let Some(measured) = measured {
            let (thrust, torque) = rotor::from_measured(&designation, &measured);
            return (thrust, torque, rotor::Inflow::Measured(designation, measured));
        }
        if let Some([thrust, power]) = coefficients {
            let (thrust_n_s2, torque_nm_s2) = rotor::from_coefficients(thrust, power, designation.diameter_m);
            return (thrust_n_s2, torque_nm_s2, rotor::Inflow::Constant);
        }
        if let Some([thrust_n_s2, torque_nm_s2]) = per_square {
            return (thrust_n_s2, torque_nm_s2, rotor::Inflow::Constant);
        }
        let (thrust_n_s2, torque_nm_s2) = rotor::from_designation(&designation);
        (thrust_n_s2, torque_nm_s2, rotor::Inflow::Designated(designation))
    }
}

/// Both of two keys; one without the other is refused.
fn pair(
    document: &Document<'_>,
    first: (&str, Option<f64>),
    second: (&str, Option<f64>),
) -> Option<[f64; 2]> {
    let (given, missing) = match (first.1, second.1) {
        (Some(first), Some(second)) => return Some([first, second]),
        (None, None) => return None,
        (Some(_), None) => (first.0, second.0),
        (None, Some(_)) => (second.0, first.0),
    };
    document.refuse_at(&format!("propeller.{given}"), format!("without {missing}"), Some(ONE_WAY));
    None
}

const ONE_WAY: &str = "give thrust_coefficient with power_coefficient, or thrust_n_s2 with torque_nm_s2, or rows of measured; \
                       without them the thrust follows from the designation";

/// Rows of a measurement; an invalid row is refused at its position.
fn measured(rows: &[MeasuredRow], document: &Document<'_>) -> Option<Measured> {
    let rows: Vec<Row> = rows
        .iter()
        .map(|row| Row {
            speed_rad_s: row.rpm * std::f64::consts::PI / 30.0,
            advance_ratio: row.advance_ratio.unwrap_or(0.0),
            thrust: row.thrust_coefficient,
            power: row.power_coefficient,
        })
        .collect();
    let error = match Measured::new(&rows) {
        Ok(measured) => return Some(measured),
        Err(error) => error,
    };
    // First row with which the table is refused; a missing static row concerns the whole table.
    let upto = |count: usize| Measured::new(&rows[..count]).is_err_and(|other| other == error);
    let place = match (1..=rows.len()).find(|&count| upto(count)) {
        Some(count) if error.reason != Reason::NoStaticRow => format!("propeller.measured[{}]", count - 1),
        _ => "propeller.measured".to_owned(),
    };
    refuse_as(document, &place, error, None);
    None
}

#[cfg(test)]
mod tests {
    use aplomb_craft::rotor::Inflow;

    use crate::input::demo::CRAFT;

    /// The demo craft with these lines in its propeller table.
    fn with(lines: &str) -> Result<aplomb_study::craft::Craft, String> {
        let text = CRAFT.text.replace("[propeller]\n", &format!("[propeller]\n{lines}\n"));
        crate::input::craft("craft.toml", &text).map_err(|error| error.to_string())
    }

    #[test]
    fn measured_rows_are_reproduced() {
        let craft = with(
            "measured = [\n{ rpm = 3000, thrust_coefficient = 0.1, power_coefficient = 0.04 },\n\
                          { rpm = 6000, thrust_coefficient = 0.11, power_coefficient = 0.041 },\n]",
        )
        .unwrap();
        let rotor = craft.config.rotor;
        assert!(matches!(rotor.inflow, Inflow::Measured(..)));
        // CT rho n^2 D^4.
        let expected = 0.11 * 1.225 * 100.0 * 100.0 * 0.2286_f64.powi(4);
        let found = rotor.static_thrust_n(6000.0 * std::f64::consts::PI / 30.0, 1.0);
        assert!((found / expected - 1.0).abs() < 5e-3, "{found} {expected}");
        // The twin: the designation alone has a larger error.
        let marked = with("").unwrap().config.rotor;
        let found = marked.static_thrust_n(6000.0 * std::f64::consts::PI / 30.0, 1.0);
        assert!((found / expected - 1.0).abs() > 0.02, "{found} {expected}");
    }

    #[test]
    fn invalid_rows_and_incomplete_pairs_are_refused_at_their_position() {
        let row = "{ rpm = 3000, thrust_coefficient = 0.1, power_coefficient = 0.04 }";
        for (lines, line, words) in [
            (format!("measured = [\n{row},\n{row}]"), 3, "two static rows at the same speed"),
            (format!("measured = [\n{row},\n{}]", row.replace("3000", "-1")), 3, "must be above zero"),
            ("measured = []".to_owned(), 1, "no static row"),
            (format!("measured = [{row}]\nthrust_n_s2 = 1e-5\ntorque_nm_s2 = 1e-7"), 0, "in two ways"),
            ("thrust_n_s2 = 1e-5".to_owned(), 1, "without torque_nm_s2"),
            ("power_coefficient = 0.04".to_owned(), 1, "without thrust_coefficient"),
        ] {
            let error = with(&lines).unwrap_err();
            let head = CRAFT.text.lines().position(|line| line == "[propeller]").unwrap() + 1;
            assert!(error.contains(words), "{error}");
            assert!(error.contains(&format!("craft.toml:{}:", head + line)), "{} {error}", head + line);
        }
    }
}
