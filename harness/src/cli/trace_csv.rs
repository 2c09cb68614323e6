//! Trace of a flight as CSV, with the documentation of its columns.

use std::fmt::Write as _;
use std::io;

use aplomb_flight::trace::{Motion, Row, Trace};

use super::results::ResultsFolder;

/// One column: name with its unit, meaning, value.
struct Column {
    name: String,
    meaning: String,
    value: Box<dyn Fn(&Row) -> f64>,
}

/// Writes the trace: a line of column names, then one line per row. A missing value is empty.
///
/// # Errors
/// Errors of `out`.
pub fn write(trace: &Trace, out: &mut impl io::Write) -> io::Result<()> {
    let columns = columns();
    let names = columns.iter().map(|column| column.name.as_str()).collect::<Vec<_>>().join(",");
    writeln!(out, "{names}")?;
    for row in &trace.rows {
        for (i, column) in columns.iter().enumerate() {
            if i > 0 {
                out.write_all(b",")?;
            }
            let value = (column.value)(row);
            if value.is_finite() {
                // Six decimals: a micrometre, a microdegree; adding 0 turns -0 into 0.
                let rounded = (value * 1e6).round() / 1e6 + 0.0;
                write!(out, "{rounded}")?;
            }
        }
        out.write_all(b"\n")?;
    }
    Ok(())
}

/// Writes the trace of a flight into a results folder.
pub(super) fn save(folder: &ResultsFolder, flight: &str, trace: &Trace) -> io::Result<()> {
    let mut file = folder.create(&format!("{flight}.csv"))?;
    write(trace, &mut file)?;
    io::Write::flush(&mut file)
}

/// Documentation of the columns as a Markdown table.
#[must_use]
pub fn columns_explained() -> String {
    let mut text = "# Columns of the traces\n\nAn empty field: not controlled, or not valid. Rows have the time of the samples.\n\n| column | meaning |\n| --- | --- |\n"
        .to_owned();
    for column in columns() {
        let _ = writeln!(text, "| {} | {} |", column.name, column.meaning);
    }
    text
}

fn columns() -> Vec<Column> {
    let mut columns = Vec::new();
    let mut add = |name: &str, meaning: &str, value: Box<dyn Fn(&Row) -> f64>| {
        columns.push(Column { name: name.to_owned(), meaning: meaning.to_owned(), value });
    };
    add("time_s", "time from the start of the flight", Box::new(|row| row.time_s));
    type Part = fn(&Row) -> &Motion;
    let parts: [(&str, &str, Part); 3] = [
        ("true", "truth", |row| &row.truth),
        ("estimated", "estimate of the controller", |row| &row.estimate),
        ("setpoint", "set-point of the controller", |row| &row.setpoint),
    ];
    type Quantity = fn(&Motion) -> f64;
    let quantities: [(&str, &str, Quantity); 13] = [
        ("north_m", "position north of home", |m| m.north_m),
        ("east_m", "position east of home", |m| m.east_m),
        ("height_m", "height above home", |m| m.height_m),
        ("velocity_north_m_s", "velocity to the north", |m| m.velocity_north_m_s),
        ("velocity_east_m_s", "velocity to the east", |m| m.velocity_east_m_s),
        ("climb_m_s", "climb rate, up positive", |m| m.climb_m_s),
        ("roll_deg", "roll, right positive", |m| m.roll_deg),
        ("pitch_deg", "pitch, nose up positive", |m| m.pitch_deg),
        ("heading_deg", "heading, clockwise from north", |m| m.heading_deg),
        ("tilt_deg", "angle of the thrust axis from the vertical", |m| m.tilt_deg),
        ("roll_rate_deg_s", "roll rate", |m| m.roll_rate_deg_s),
        ("pitch_rate_deg_s", "pitch rate", |m| m.pitch_rate_deg_s),
        ("yaw_rate_deg_s", "yaw rate, nose right positive", |m| m.yaw_rate_deg_s),
    ];
    for (part, whose, motion) in parts {
        for (name, meaning, quantity) in quantities {
            let value = Box::new(move |row: &Row| quantity(motion(row)));
            add(&format!("{part}_{name}"), &format!("{meaning}: {whose}"), value);
        }
    }
    type Corner = fn(&aplomb_craft::Rotors<f64>) -> f64;
    let corners: [(&str, Corner); 4] = [
        ("front_left", |r| r.front_left),
        ("front_right", |r| r.front_right),
        ("rear_left", |r| r.rear_left),
        ("rear_right", |r| r.rear_right),
    ];
    for (corner, of) in corners {
        let words = corner.replace('_', " ");
        add(
            &format!("{corner}_command"),
            &format!("motor command, {words}: share of the battery voltage, 0 to 1"),
            Box::new(move |row| of(&row.command)),
        );
        add(
            &format!("{corner}_thrust_n"),
            &format!("thrust, {words}"),
            Box::new(move |row| of(&row.thrust_n)),
        );
        add(
            &format!("{corner}_rpm"),
            &format!("rotor speed, {words}"),
            Box::new(move |row| of(&row.rotor_rpm)),
        );
    }
    for (axis, name) in ["north", "east", "up"].into_iter().enumerate() {
        add(
            &format!("wind_{name}_m_s"),
            &format!("wind at the craft, part that blows {name}"),
            Box::new(move |row| row.wind_m_s[axis]),
        );
        add(
            &format!("gnss_correlated_noise_{name}_m"),
            &format!("correlated noise of the GNSS position, {name}"),
            Box::new(move |row| row.gnss_correlated_noise_m[axis]),
        );
    }
    add("battery_v", "battery voltage", Box::new(|row| row.battery_v));
    add("battery_a", "battery current", Box::new(|row| row.battery_a));
    type Flag = fn(&Row) -> bool;
    let flags: [(&str, &str, Flag); 7] = [
        ("armed", "1: the motors are armed", |row| row.flags.armed),
        ("on_ground", "1: the feet touch the ground", |row| row.flags.on_ground),
        ("at_tilt_limit", "1: the tilt limit is active", |row| row.flags.at_tilt_limit),
        ("roll_pitch_saturated", "1: roll/pitch saturation of the mixer", |row| {
            row.flags.roll_pitch_saturated
        }),
        ("thrust_saturated", "1: thrust saturation of the mixer", |row| row.flags.thrust_saturated),
        ("yaw_saturated", "1: yaw saturation of the mixer", |row| row.flags.yaw_saturated),
        ("cannot_hold_position", "1: the controller cannot hold position", |row| {
            row.flags.cannot_hold_position
        }),
    ];
    for (name, meaning, flag) in flags {
        add(name, meaning, Box::new(move |row| f64::from(u8::from(flag(row)))));
    }
    columns
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_row_has_every_column_and_nan_is_empty() {
        let mut row = Row { time_s: 0.1, battery_v: -0.0, ..Row::default() };
        row.setpoint.roll_deg = f64::NAN;
        row.flags.armed = true;
        row.truth.north_m = 1.0 / 3.0;
        let mut csv = Vec::new();
        write(&Trace { period_s: 0.1, rows: vec![row] }, &mut csv).unwrap();
        let csv = String::from_utf8(csv).unwrap();
        let lines: Vec<Vec<&str>> = csv.lines().map(|line| line.split(',').collect()).collect();
        let value = |name: &str| lines[1][lines[0].iter().position(|column| *column == name).unwrap()];
        assert_eq!(lines.len(), 2);
        assert_eq!(lines[0].len(), lines[1].len());
        assert_eq!((value("time_s"), value("true_north_m")), ("0.1", "0.333333"));
        assert_eq!((value("setpoint_roll_deg"), value("armed"), value("battery_v")), ("", "1", "0"));
        assert_eq!(columns_explained().lines().count(), 6 + lines[0].len());
    }
}
