//! Measured coefficients of one propeller, which correct the theory.
//!
//! `C(J, U) = C'(J, U) + a(U) + b(J)`, C' of the theory for the designation, and U as in [`super::map`]. a is
//! the difference of the static rows from the theory, b that of the rows in axial flow from both. Each is
//! linear between its rows and constant beyond them; b is zero in a descent. So each row is reproduced, and
//! beyond the rows the theory extrapolates.

use super::Designation;
use super::map::{Map, REFERENCE_TIP_M_S, SHARES, SPEEDS, VISCOSITY_M2_S};
use crate::error::{ConfigError, Reason, fail, not_negative, positive, within};
use std::sync::Mutex;

const FIELD: &str = "rotor.measured";
/// Refinement of the table of a measured propeller over s and over U: rows between its nodes are then
/// reproduced to 0.3 %.
const FINER: [usize; 2] = [4, 8];
/// Largest number of rows.
const MOST: usize = 1000;

/// One measurement.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Row {
    /// Rotor speed (rad/s).
    pub speed_rad_s: f64,
    /// Advance ratio J = V/(n D), 0 if static, to 3.
    pub advance_ratio: f64,
    /// `CT = T/(rho n^2 D^4)`.
    pub thrust: f64,
    /// `CP = P/(rho n^3 D^5)`.
    pub power: f64,
}

/// Rows of the measurement of one propeller, static and optionally in axial flow.
///
/// A `Copy` value: the rows are stored once per process and never freed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Measured {
    rows: &'static [Row],
}

impl Measured {
    /// Takes rows in any order: at least one static row, and no two static rows of the same speed or other
    /// rows of the same advance ratio.
    ///
    /// ```
    /// use aplomb_craft::propeller::{Measured, Row};
    /// let row = Row { speed_rad_s: 628.3, advance_ratio: 0.0, thrust: 0.1033, power: 0.0393 };
    /// assert!(Measured::new(&[row]).is_ok());
    /// assert!(Measured::new(&[Row { advance_ratio: 0.4, ..row }]).is_err());
    /// ```
    ///
    /// # Errors
    /// `rotor.measured` with the reason.
    pub fn new(rows: &[Row]) -> Result<Measured, ConfigError> {
        static KNOWN: Mutex<Vec<&'static [Row]>> = Mutex::new(Vec::new());
        if rows.len() > MOST {
            return fail(FIELD, Reason::OutOfRange(1.0, MOST as f64));
        }
        for row in rows {
            positive("rotor.measured.speed_rad_s", row.speed_rad_s)?;
            within("rotor.measured.advance_ratio", row.advance_ratio, 0.0, 3.0)?;
            within("rotor.measured.thrust", row.thrust, -1.0, 1.0)?;
            within("rotor.measured.power", row.power, -1.0, 1.0)?;
            if row.advance_ratio == 0.0 {
                not_negative("rotor.measured.thrust", row.thrust)?;
                positive("rotor.measured.power", row.power)?;
            }
        }
        let mut sorted = rows.to_vec();
        sorted.sort_by(|a, b| key(a).0.total_cmp(&key(b).0).then(key(a).1.total_cmp(&key(b).1)));
        if sorted.first().is_none_or(|row| row.advance_ratio > 0.0) {
            return fail(FIELD, Reason::NoStaticRow);
        }
        if sorted.windows(2).any(|pair| key(&pair[0]) == key(&pair[1])) {
            return fail(FIELD, Reason::Duplicate);
        }
        let mut known = KNOWN.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let rows = match known.iter().find(|other| ***other == *sorted) {
            Some(rows) => rows,
            None => {
                let rows: &'static [Row] = Vec::leak(sorted);
                known.push(rows);
                rows
            }
        };
        Ok(Measured { rows })
    }

    fn still_rows(&self) -> usize {
        self.rows.partition_point(|row| row.advance_ratio == 0.0)
    }

    /// Table of a propeller of this designation, from that of the theory.
    pub(super) fn map(&self, designation: &Designation, theory: &Map) -> Map {
        let above = Above::new(self, designation, theory);
        let (reference, radius) = (above.reference(), theory.radius_m());
        let ratio = [above.unit[0] / reference[0], above.unit[1] / reference[1]];
        let still = |share: f64, speed_m_s: f64| {
            let [f, g] = theory.shares_at(share, speed_m_s, 0.0);
            let off = above.at(share, speed_m_s);
            [f * ratio[0] + off[0] / reference[0], g * ratio[1] + off[1] / reference[1]]
        };
        let edgewise = |share: f64| {
            let still = theory.shares_at(share, REFERENCE_TIP_M_S, 0.0);
            move |edgewise: f64| {
                let swept = theory.shares_at(share, REFERENCE_TIP_M_S, edgewise);
                [(swept[0] - still[0]) * ratio[0], (swept[1] - still[1]) * ratio[1]]
            }
        };
        let nodes = [(SHARES - 1) * FINER[0] + 1, (SPEEDS - 1) * FINER[1] + 1];
        Map::filled(radius, nodes, still, edgewise)
    }

    /// Static CT and CP at the reference tip speed.
    pub(crate) fn reference(&self, designation: &Designation) -> [f64; 2] {
        Above::new(self, designation, &Map::of(designation, 1.0)).reference()
    }
}

/// Differences of the rows from the theory in CT and CP.
struct Above {
    /// Static CT and CP of the theory at the reference tip speed.
    unit: [f64; 2],
    /// Static rows over U.
    still: Vec<(f64, [f64; 2])>,
    /// Rows in axial flow over J, relative to `still`.
    climbing: Vec<(f64, [f64; 2])>,
}

impl Above {
    fn new(measured: &Measured, designation: &Designation, theory: &Map) -> Self {
        let radius = theory.radius_m();
        let at_reference = designation.coefficients(0.0, REFERENCE_TIP_M_S / radius, VISCOSITY_M2_S);
        let unit = [at_reference.thrust, at_reference.power];
        let above = |row: &Row| {
            let turning = 1.0 / (1.0 + row.advance_ratio);
            let speed_m_s = row.speed_rad_s * radius / turning;
            let [f, g] = theory.shares_at(row.advance_ratio * turning, speed_m_s, 0.0);
            let square = turning * turning;
            (speed_m_s, [row.thrust - f * unit[0] / square, row.power - g * unit[1] / square])
        };
        let (rows, rest) = measured.rows.split_at(measured.still_rows());
        let still: Vec<(f64, [f64; 2])> = rows.iter().map(above).collect();
        let mut climbing = vec![(0.0, [0.0; 2])];
        climbing.extend(rest.iter().map(|row| {
            let (speed_m_s, off) = above(row);
            let known = between(&still, speed_m_s);
            (row.advance_ratio, [off[0] - known[0], off[1] - known[1]])
        }));
        Above { unit, still, climbing }
    }

    fn reference(&self) -> [f64; 2] {
        let off = between(&self.still, REFERENCE_TIP_M_S);
        [self.unit[0] + off[0], self.unit[1] + off[1]]
    }

    /// Differences at s and U, over U squared: C refers to the revolutions, of which U is `1/(1 - |s|)` times
    /// as many.
    fn at(&self, share: f64, speed_m_s: f64) -> [f64; 2] {
        let turning = 1.0 - share.abs();
        if turning <= 0.0 {
            return [0.0; 2];
        }
        let (a, b) = (between(&self.still, speed_m_s), between(&self.climbing, share / turning));
        let square = turning * turning;
        [(a[0] + b[0]) * square, (a[1] + b[1]) * square]
    }
}

/// Sort key of a row: advance ratio, or speed of a static row.
fn key(row: &Row) -> (f64, f64) {
    (row.advance_ratio, if row.advance_ratio == 0.0 { row.speed_rad_s } else { 0.0 })
}

/// Linear interpolation between points of ascending abscissa, constant beyond them; zero without points.
pub(super) fn between(points: &[(f64, [f64; 2])], abscissa: f64) -> [f64; 2] {
    let after = points.partition_point(|(other, _)| *other < abscissa);
    match (points.get(after.wrapping_sub(1)), points.get(after)) {
        (Some((low, a)), Some((high, b))) => {
            let share = (abscissa - low) / (high - low);
            [a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])]
        }
        (Some((_, held)), None) | (None, Some((_, held))) => *held,
        (None, None) => [0.0; 2],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const STILL: Row = Row { speed_rad_s: 600.0, advance_ratio: 0.0, thrust: 0.1, power: 0.04 };

    #[test]
    fn bad_rows_are_refused() {
        let refused = |rows: &[Row]| Measured::new(rows).unwrap_err();
        assert_eq!(refused(&[]).reason, Reason::NoStaticRow);
        assert_eq!(refused(&[Row { advance_ratio: 0.3, ..STILL }]).reason, Reason::NoStaticRow);
        assert_eq!(refused(&[STILL, Row { thrust: 0.2, ..STILL }]).reason, Reason::Duplicate);
        for bad in [f64::NAN, f64::INFINITY, -2.0] {
            assert_eq!(refused(&[Row { speed_rad_s: bad, ..STILL }]).field, "rotor.measured.speed_rad_s");
            assert_eq!(refused(&[Row { advance_ratio: bad, ..STILL }]).field, "rotor.measured.advance_ratio");
            assert_eq!(refused(&[Row { thrust: bad, ..STILL }]).field, "rotor.measured.thrust");
            assert_eq!(refused(&[Row { power: bad, ..STILL }]).field, "rotor.measured.power");
        }
        assert!(Measured::new(&vec![STILL; MOST + 1]).is_err());
    }

    #[test]
    fn rows_in_another_order_are_the_same_table() {
        let climb = |advance_ratio| Row { advance_ratio, ..STILL };
        let one = Measured::new(&[climb(0.4), STILL, climb(0.2)]).unwrap();
        let other = Measured::new(&[STILL, climb(0.2), climb(0.4)]).unwrap();
        assert_eq!(one, other);
        assert!(core::ptr::eq(one.rows, other.rows));
        assert_eq!(one.still_rows(), 1);
    }

    #[test]
    fn points_are_interpolated_linearly() {
        let points = [(1.0, [0.0, 4.0]), (3.0, [2.0, 0.0])];
        assert_eq!(between(&points, 2.0), [1.0, 2.0]);
        assert_eq!(between(&points, 0.0), [0.0, 4.0]);
        assert_eq!(between(&points, 9.0), [2.0, 0.0]);
        assert_eq!(between(&[], 1.0), [0.0; 2]);
    }
}
