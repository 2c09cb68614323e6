//! Leave-one-family-out cross-validation of the generic blade.
//!
//! `cargo test -p aplomb-craft cross_validation -- --nocapture` prints the table. Eight coefficients of the
//! blade are fitted by least squares of the relative errors of CT and CP (Levenberg-Marquardt); the others
//! are kept. The data file names the source of the measurements.

use super::blade::{GENERIC, Generic, Planform};
use super::map::VISCOSITY_M2_S;
use super::{CROSS_VALIDATED_ERROR, Designation, MEASURED_PROPELLERS};
use core::f64::consts::PI;

struct Row {
    family: char,
    designation: Designation,
    speed_rad_s: f64,
    measured: [f64; 2],
}

fn rows() -> Vec<Row> {
    let lines = include_str!("../../tests/data/propeller_static.csv").lines();
    lines
        .filter(|line| !line.starts_with(['#', 'f']))
        .map(|line| {
            let cells: Vec<&str> = line.split(',').collect();
            let number = |i: usize| cells[i].parse::<f64>().unwrap();
            Row {
                family: cells[0].chars().next().unwrap(),
                designation: Designation {
                    diameter_m: number(1) * 0.0254,
                    pitch_m: number(2) * 0.0254,
                    blades: 2,
                    planform: Planform::Unknown,
                },
                speed_rad_s: number(4) * PI / 30.0,
                measured: [number(5), number(6)],
            }
        })
        .collect()
}

/// Number of fitted coefficients.
const CHOSEN: usize = 8;

/// The blade with modified coefficients: by a factor e^x, or by x for a coefficient of either sign.
fn moved(x: &[f64; CHOSEN]) -> Generic {
    let mut blade = GENERIC;
    blade.chord *= x[0].exp();
    blade.chord_diameter_power += x[1];
    blade.chord_pitch_power += x[2];
    let section = &mut blade.section;
    section.zero_lift_rad *= x[3].exp();
    section.slope *= x[4].exp();
    section.largest_lift *= x[5].exp();
    section.drag *= x[6].exp();
    section.drag_power += x[7];
    blade
}

/// Relative errors of CT and CP, row by row.
fn errors(rows: &[&Row], blade: &Generic) -> Vec<f64> {
    let of = |row: &&Row| {
        let found = row.designation.coefficients_of(blade, 0.0, row.speed_rad_s, VISCOSITY_M2_S);
        [found.thrust / row.measured[0] - 1.0, found.power / row.measured[1] - 1.0]
    };
    rows.iter().flat_map(of).collect()
}

fn square(errors: &[f64]) -> f64 {
    errors.iter().map(|error| error * error).sum()
}

/// Least-squares blade over every third row of `rows`; neighbouring rows are similar.
fn chosen(rows: &[&Row]) -> Generic {
    let thinned: Vec<&Row> = rows.iter().copied().step_by(3).collect();
    let rows = &thinned[..];
    let (mut x, mut damping) = ([0.0; CHOSEN], 1e-2);
    let mut now = errors(rows, &moved(&x));
    for _ in 0..8 {
        let slopes: [Vec<f64>; CHOSEN] = core::array::from_fn(|i| {
            let mut beside = x;
            beside[i] += 1e-4;
            errors(rows, &moved(&beside)).iter().zip(&now).map(|(a, b)| (a - b) / 1e-4).collect()
        });
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let system = core::array::from_fn(|i| {
            let mut row: [f64; CHOSEN + 1] = core::array::from_fn(|j| {
                if j < CHOSEN { dot(&slopes[i], &slopes[j]) } else { -dot(&slopes[i], &now) }
            });
            row[i] *= 1.0 + damping;
            row
        });
        let step: [f64; CHOSEN] = crate::config::solve(system).expect("the normal equations are regular");
        let next: [f64; CHOSEN] = core::array::from_fn(|i| x[i] + step[i]);
        let then = errors(rows, &moved(&next));
        if square(&then) < square(&now) {
            (x, now, damping) = (next, then, 0.3 * damping);
        } else {
            damping *= 10.0;
        }
    }
    moved(&x)
}

/// Mean absolute errors of CT and CP.
fn mean(errors: &[f64]) -> [f64; 2] {
    core::array::from_fn(|part| {
        errors.iter().skip(part).step_by(2).map(|error| error.abs()).sum::<f64>() / (errors.len() / 2) as f64
    })
}

#[test]
fn validate_fit_without_one_family() {
    let rows = rows();
    let all: Vec<&Row> = rows.iter().collect();
    let together = chosen(&all);
    let print = |name: &str, [ct, cp]: [f64; 2]| {
        println!("{name:<48} CT {:5.1} %   CP {:5.1} %", 100.0 * ct, 100.0 * cp)
    };
    print("chosen over all rows", mean(&errors(&all, &together)));
    let (mut left_out, mut constant) = (Vec::new(), Vec::new());
    for family in 'A'..='H' {
        let (own, others): (Vec<&Row>, Vec<&Row>) = rows.iter().partition(|row| row.family == family);
        let found = errors(&own, &chosen(&others));
        print(
            &format!("family {family}, {} rows, chosen with it", own.len()),
            mean(&errors(&own, &together)),
        );
        print("    chosen without it", mean(&found));
        left_out.extend(found);
        // The twin: the mean of the others, for every propeller.
        let level: [f64; 2] = core::array::from_fn(|part| {
            others.iter().map(|row| row.measured[part]).sum::<f64>() / others.len() as f64
        });
        constant.extend(
            own.iter().flat_map(|row| [level[0] / row.measured[0] - 1.0, level[1] / row.measured[1] - 1.0]),
        );
    }
    let (left_out, constant) = (mean(&left_out), mean(&constant));
    print("each family chosen without it", left_out);
    print("a constant chosen without it", constant);
    for (found, stated) in left_out.into_iter().zip(CROSS_VALIDATED_ERROR) {
        assert!((found - stated).abs() < 0.005, "{left_out:?}");
    }
    let key =
        |row: &Row| (row.family, (row.designation.diameter_m.to_bits(), row.designation.pitch_m.to_bits()));
    let propellers: std::collections::BTreeSet<_> = rows.iter().map(key).collect();
    assert_eq!(propellers.len(), MEASURED_PROPELLERS);
    // The twin has larger errors.
    assert!(constant[0] > left_out[0] && constant[1] > 1.2 * left_out[1], "{constant:?}");
}
