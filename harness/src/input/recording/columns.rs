//! Names and meanings of the columns of a recording.

use std::fmt::Write;
use std::ops::Range;

use aplomb_craft::gravity::STANDARD_M_S2;

use super::super::Problem;
use super::super::problem::Location;
use super::super::suggest::nearest;
use aplomb_study::estimate::Row;

const DEG: f64 = std::f64::consts::PI / 180.0;

/// Quantity of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Quantity {
    Time,
    Gyro(usize),
    Accel(usize),
    Field(usize),
    Reference(usize),
    Scored,
    MotorsOn,
}

/// A valid column: name with unit, quantity, and factor to the unit of a [`Row`].
#[derive(Debug)]
struct Column {
    name: &'static str,
    quantity: Quantity,
    factor: f64,
    meaning: &'static str,
}

const fn column(name: &'static str, quantity: Quantity, factor: f64, meaning: &'static str) -> Column {
    Column { name, quantity, factor, meaning }
}

use Quantity::{Accel, Field, Gyro, MotorsOn, Reference, Scored, Time};

/// Body axes forward, right, down; world north, east, down.
const OWN: [Column; 32] = [
    column("time_s", Time, 1.0, "time, with a constant step from row to row"),
    column("time_ms", Time, 1e-3, "the same in ms"),
    column(
        "gyro_forward_rad_s",
        Gyro(0),
        1.0,
        "angular rate about the forward axis, roll to the right positive",
    ),
    column("gyro_right_rad_s", Gyro(1), 1.0, "about the right axis, nose up positive"),
    column("gyro_down_rad_s", Gyro(2), 1.0, "about the down axis, nose to the right positive"),
    column("gyro_forward_deg_s", Gyro(0), DEG, "the same in deg/s"),
    column("gyro_right_deg_s", Gyro(1), DEG, "the same in deg/s"),
    column("gyro_down_deg_s", Gyro(2), DEG, "the same in deg/s"),
    column("accel_forward_m_s2", Accel(0), 1.0, "specific force along the forward axis"),
    column("accel_right_m_s2", Accel(1), 1.0, "along the right axis"),
    column("accel_down_m_s2", Accel(2), 1.0, "along the down axis: about -9.8 when stationary and level"),
    column("accel_forward_g", Accel(0), STANDARD_M_S2, "the same in standard gravities"),
    column("accel_right_g", Accel(1), STANDARD_M_S2, "the same in standard gravities"),
    column("accel_down_g", Accel(2), STANDARD_M_S2, "the same in standard gravities"),
    column(
        "field_forward_ut",
        Field(0),
        1.0,
        "magnetic field along the forward axis; empty without a new sample",
    ),
    column("field_right_ut", Field(1), 1.0, "along the right axis"),
    column("field_down_ut", Field(2), 1.0, "along the down axis"),
    column("field_forward_nt", Field(0), 1e-3, "the same in nT"),
    column("field_right_nt", Field(1), 1e-3, "the same in nT"),
    column("field_down_nt", Field(2), 1e-3, "the same in nT"),
    column("field_forward_gauss", Field(0), 100.0, "the same in gauss"),
    column("field_right_gauss", Field(1), 100.0, "the same in gauss"),
    column("field_down_gauss", Field(2), 100.0, "the same in gauss"),
    column("field_forward_mgauss", Field(0), 0.1, "the same in milligauss"),
    column("field_right_mgauss", Field(1), 0.1, "the same in milligauss"),
    column("field_down_mgauss", Field(2), 0.1, "the same in milligauss"),
    column(
        "reference_w",
        Reference(0),
        1.0,
        "reference attitude, body to world, scalar part; empty where unknown",
    ),
    column("reference_x", Reference(1), 1.0, "its vector part"),
    column("reference_y", Reference(2), 1.0, "its vector part"),
    column("reference_z", Reference(3), 1.0, "its vector part"),
    column(
        "scored",
        Scored,
        1.0,
        "1 where the error is evaluated, else 0; without the column it is evaluated everywhere",
    ),
    column(
        "motors_on",
        MotorsOn,
        1.0,
        "1 where the motors run, which disables the stationary detection; else 0",
    ),
];

/// As in the open data set BROAD: the z axis of the sensor points up, with a specific force of +9.8 m/s2 when
/// stationary; world axes east, north, up.
const BROAD: [Column; 15] = [
    column("t", Time, 1.0, "time, s"),
    column("gx", Gyro(0), 1.0, "angular rate, rad/s"),
    column("gy", Gyro(1), 1.0, "angular rate, rad/s"),
    column("gz", Gyro(2), 1.0, "angular rate, rad/s"),
    column("ax", Accel(0), 1.0, "specific force, m/s2, up positive"),
    column("ay", Accel(1), 1.0, "specific force, m/s2"),
    column("az", Accel(2), 1.0, "specific force, m/s2"),
    column("mx", Field(0), 1.0, "magnetic field, uT"),
    column("my", Field(1), 1.0, "magnetic field, uT"),
    column("mz", Field(2), 1.0, "magnetic field, uT"),
    column("qw", Reference(0), 1.0, "reference, sensor to world of east, north, up"),
    column("qx", Reference(1), 1.0, "its vector part"),
    column("qy", Reference(2), 1.0, "its vector part"),
    column("qz", Reference(3), 1.0, "its vector part"),
    column("moving", Scored, 1.0, "1 where the error is evaluated"),
];

/// The columns of one file, in order.
#[derive(Debug)]
pub(super) struct Header {
    columns: Vec<&'static Column>,
    broad: bool,
}

impl Header {
    /// From the names in the first line and their locations; all errors are reported.
    pub(super) fn read(source: &str, names: &[(String, Range<usize>)]) -> Result<Self, Vec<Problem>> {
        let broad = names.iter().any(|(name, _)| name == "t");
        let valid: &'static [Column] = if broad { &BROAD } else { &OWN };
        let words: Vec<&str> = valid.iter().map(|column| column.name).collect();
        let mut problems = Vec::new();
        let mut columns: Vec<&'static Column> = Vec::new();
        let mut refuse = |span: Range<usize>, reason: String, help: Option<String>| {
            problems.push(Problem { location: Some(Location::of(source, span)), reason, help });
        };
        for (name, span) in names {
            let Some(column) = valid.iter().find(|column| column.name == name) else {
                refuse(span.clone(), format!("unknown column `{name}`"), Some(nearest(name, &words).help));
                continue;
            };
            if let Some(twin) = columns.iter().find(|other| other.quantity == column.quantity) {
                refuse(span.clone(), format!("`{name}` is given already, by `{}`", twin.name), None);
            }
            columns.push(column);
        }
        let line = 0..source.find('\n').unwrap_or(source.len());
        let given = |quantity| columns.iter().any(|column| column.quantity == quantity);
        let name_of = |quantity| valid.iter().find(|c| c.quantity == quantity).map_or("", |c| c.name);
        let groups: [(&[Quantity], bool); 5] = [
            (&[Time], true),
            (&[Gyro(0), Gyro(1), Gyro(2)], true),
            (&[Accel(0), Accel(1), Accel(2)], true),
            (&[Field(0), Field(1), Field(2)], false),
            (&[Reference(0), Reference(1), Reference(2), Reference(3)], false),
        ];
        for (group, needed) in groups {
            for &quantity in group {
                if !given(quantity) && (needed || group.iter().any(|&other| given(other))) {
                    let help = "no column is assumed: name each one in the first line".to_owned();
                    refuse(line.clone(), format!("missing column `{}`", name_of(quantity)), Some(help));
                }
            }
        }
        if problems.is_empty() { Ok(Self { columns, broad }) } else { Err(problems) }
    }

    pub(super) fn len(&self) -> usize {
        self.columns.len()
    }

    pub(super) fn name(&self, index: usize) -> &'static str {
        self.columns.get(index).map_or("", |column| column.name)
    }

    /// True where an empty field or `nan` is a missing sample.
    pub(super) fn may_be_absent(&self, index: usize) -> bool {
        !matches!(self.columns.get(index).map(|column| column.quantity), Some(Time | Scored | MotorsOn))
    }

    /// True for a column of 0 and 1.
    pub(super) fn is_flag(&self, index: usize) -> bool {
        matches!(self.columns.get(index).map(|column| column.quantity), Some(Scored | MotorsOn))
    }

    /// A row from the numbers of a line, in body axes forward, right, down and world axes north, east, down.
    pub(super) fn row(&self, numbers: &[f64]) -> Row {
        let (mut gyro, mut accel, mut field) = ([f64::NAN; 3], [f64::NAN; 3], [f64::NAN; 3]);
        let mut reference = [f64::NAN; 4];
        let mut row = Row { scored: true, ..Row::default() };
        for (column, &number) in self.columns.iter().zip(numbers) {
            let value = number * column.factor;
            match column.quantity {
                Time => row.time_s = value,
                Gyro(axis) => gyro[axis] = value,
                Accel(axis) => accel[axis] = value,
                Field(axis) => field[axis] = value,
                Reference(part) => reference[part] = value,
                Scored => row.scored = value != 0.0,
                MotorsOn => row.motors_on = value != 0.0,
            }
        }
        if self.broad {
            let rotated = |[x, y, z]: [f64; 3]| [x, -y, -z];
            (gyro, accel, field) = (rotated(gyro), rotated(accel), rotated(field));
            reference = from_east_north_up(reference);
        }
        row.gyro_rad_s = gyro.map(|x| x as f32);
        row.accel_m_s2 = accel.map(|x| x as f32);
        row.field_ut = field.iter().all(|x| x.is_finite()).then(|| field.map(|x| x as f32));
        let length = reference.iter().map(|x| x * x).sum::<f64>().sqrt();
        row.reference = (length > 0.5 && length < 2.0).then(|| reference.map(|x| x / length));
        row
    }
}

/// `q_NED,FRD = t q b` with t = (0, 1, 1, 0)/sqrt 2, from east, north, up to north, east, down, and b = (0,
/// 1, 0, 0), from forward, left, up to forward, right, down.
fn from_east_north_up([w, x, y, z]: [f64; 4]) -> [f64; 4] {
    // (0, 1, 1, 0) (w, x, y, z)
    let t = [-x - y, w + z, w - z, y - x];
    // t (0, 1, 0, 0)
    let half = std::f64::consts::FRAC_1_SQRT_2;
    [-t[1] * half, t[0] * half, t[3] * half, -t[2] * half]
}

/// The columns as a table in Markdown.
#[must_use]
pub fn columns_explained() -> String {
    let mut text =
        "# Columns of a recording\n\nThe first line names the columns, in any order. Body axes are forward, \
                    right, down; world axes are north, east, down.\n\n| column | meaning |\n| --- | --- |\n"
            .to_owned();
    for column in &OWN {
        let _ = writeln!(text, "| {} | {} |", column.name, column.meaning);
    }
    text += "\nAlternatively the short names of the open data set BROAD (D. Laidig et al., Data 6(7):72, 2021): z axis of the \
             sensor up, world axes east, north, up.\n\n| column | meaning |\n| --- | --- |\n";
    for column in &BROAD {
        let _ = writeln!(text, "| {} | {} |", column.name, column.meaning);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rotate([w, x, y, z]: [f64; 4], v: [f64; 3]) -> [f64; 3] {
        // v + 2 w (u x v) + 2 u x (u x v)
        let cross = |a: [f64; 3], b: [f64; 3]| {
            [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
        };
        let u = [x, y, z];
        let (once, twice) = (cross(u, v), cross(u, cross(u, v)));
        std::array::from_fn(|i| v[i] + 2.0 * (w * once[i] + twice[i]))
    }

    #[test]
    fn east_north_up_reference_rotates_a_vector_identically() {
        let length = |q: [f64; 4]| q.iter().map(|x| x * x).sum::<f64>();
        let q = [0.5, -0.1, 0.7, 0.5];
        let unit = q.map(|x| x / length(q).sqrt());
        let [east, north, up] = rotate(unit, [0.3, -0.8, 0.52]);
        let ours = rotate(from_east_north_up(unit), [0.3, 0.8, -0.52]);
        for (found, expected) in ours.iter().zip([north, east, -up]) {
            assert!((found - expected).abs() < 1e-12, "{ours:?} {north} {east} {up}");
        }
    }

    #[test]
    fn every_valid_name_is_explained_once() {
        let text = columns_explained();
        for column in OWN.iter().chain(&BROAD) {
            assert_eq!(text.matches(&format!("| {} |", column.name)).count(), 1, "{}", column.name);
        }
    }
}
