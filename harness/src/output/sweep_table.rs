//! A sweep as a table with one line per point.

use std::io;

use super::parquet::Column;
use crate::input::axis::Axis;
use aplomb_flight::FlightPlan;
use aplomb_study::margins::figures::Figures;
use aplomb_study::sweep::Tried;

type Of = fn(&Figures) -> f64;

/// Columns of the table: swept values, flags for feasible and stable, worst linear margins, figures of the
/// flight; NaN where there is none.
#[must_use]
pub fn columns(axes: &[Axis], tried: &[Tried], plan: Option<&FlightPlan>) -> Vec<Column> {
    let column = |name: String, of: &dyn Fn(&Tried) -> f64| (name, tried.iter().map(of).collect());
    let mut columns: Vec<Column> =
        axes.iter().enumerate().map(|(i, axis)| column(axis.name(), &|tried| tried.values[i])).collect();
    let flag = |is: bool| f64::from(u8::from(is));
    columns.push(column("feasible".to_owned(), &|tried| flag(tried.is_feasible())));
    columns
        .push(column("stable".to_owned(), &|tried| flag(tried.loops.first().is_some_and(|one| one.stable))));
    columns.push(column("margin_ratio".to_owned(), &Tried::margin_ratio));
    let worst = |tried: &Tried, of: Of, choose: fn(f64, f64) -> f64| {
        tried.loops.iter().map(|one| of(&one.figures)).fold(f64::NAN, choose)
    };
    let margins: [(&str, Of); 4] = [
        ("upper_gain_margin_db", |figures| figures.upper_gain_margin_db),
        ("lower_gain_margin_db", |figures| figures.lower_gain_margin_db),
        ("phase_margin_deg", |figures| figures.phase_margin_deg),
        ("delay_margin_s", |figures| figures.delay_margin_s),
    ];
    for (name, of) in margins {
        columns.push(column(name.to_owned(), &|tried| worst(tried, of, f64::min)));
    }
    let peak = |tried: &Tried| worst(tried, |figures| figures.peak_sensitivity, f64::max);
    columns.push(column("peak_sensitivity".to_owned(), &peak));
    for (i, check) in plan.iter().flat_map(|plan| &plan.checks).enumerate() {
        let name = format!("{} ({})", check.words(), check.unit());
        let measured = |tried: &Tried| tried.verdicts.get(i).map_or(f64::NAN, |verdict| verdict.measured);
        columns.push(column(name, &measured));
    }
    columns
}

/// The columns as CSV with seven digits; the last column is the reason of a refusal.
///
/// # Errors
/// An error of the CSV library.
pub fn csv(columns: &[Column], tried: &[Tried]) -> io::Result<Vec<u8>> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(columns.iter().map(|(name, _)| name.as_str()).chain(["refused"]))?;
    for (line, tried) in tried.iter().enumerate() {
        let numbers = columns.iter().map(|(_, numbers)| short(numbers[line]));
        writer.write_record(numbers.chain([tried.refused.clone().unwrap_or_default()]))?;
    }
    writer.into_inner().map_err(|error| io::Error::other(error.to_string()))
}

fn short(number: f64) -> String {
    if number.is_nan() {
        return String::new();
    }
    format!("{number:.6e}").parse::<f64>().map_or_else(|_| number.to_string(), |rounded| rounded.to_string())
}
