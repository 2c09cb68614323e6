//! Disk margins: how much gain and phase of one loop, or of several at the same time, may change.
//!
//! Each loop is multiplied by a factor f of the balanced disk of size a, that with the diameter from 1/g to
//! g = (1 + a/2)/(1 - a/2) on the real axis: all gains within +-20 log10(g) dB and all phases within
//! +-2 atan(a/2), and combinations. The disk margin is the largest size at which the
//! closed loop stays stable (P. Seiler, A. Packard, P. Gahinet, An introduction to disk margins, IEEE Control
//! Systems Magazine 40(5):78-95, 2020, equations 21 and 32, with skew 0):
//!
//! ```text
//! one loop:  a = 2/max |S - T|,      all at once:  a = 1/max mu(S - 1/2),    S = 1/(1 + L),  T = 1 - S
//! ```
//!
//! mu is the structured singular value for an independent complex factor in each loop, here its upper bound
//! min over D of the largest singular value of D (S - 1/2) D^-1, D diagonal (A. Packard, J. Doyle, The
//! complex structured singular value, Automatica 29(1):71-109, 1993): exact for up to three loops.

use nalgebra::Matrix4;

use crate::linear::C64;

/// Gain margin of a disk in dB, of either sign.
#[must_use]
pub fn gain_margin_db(size: f64) -> f64 {
    if size < 2.0 { 20.0 * libm::log10((1.0 + 0.5 * size) / (1.0 - 0.5 * size)) } else { f64::INFINITY }
}

/// Phase margin of a disk in deg, of either sign.
#[must_use]
pub fn phase_margin_deg(size: f64) -> f64 {
    (2.0 * libm::atan(0.5 * size)).to_degrees()
}

/// Largest disk of one loop at one frequency, 2/|S - T|.
#[must_use]
pub fn size_at(transfer: C64) -> f64 {
    2.0 * (1.0 + transfer).norm() / (1.0 - transfer).norm()
}

/// The smallest of the disks at some frequencies, and its index.
#[must_use]
pub fn smallest_of_all(sensitivities: &[Matrix4<C64>]) -> Option<(f64, usize)> {
    let half = Matrix4::identity() * C64::new(0.5, 0.0);
    let mut bounds: Vec<(f64, usize)> = sensitivities
        .iter()
        .enumerate()
        .map(|(i, sensitivity)| {
            let matrix = sensitivity - half;
            (scaled(&matrix, &balanced(&matrix)), i)
        })
        .collect();
    bounds.sort_by(|a, b| b.0.total_cmp(&a.0));
    // The balanced bound is never below the refined one: most frequencies need no refinement.
    let mut worst: Option<(f64, usize)> = None;
    for (bound, i) in bounds {
        if worst.is_some_and(|(worst, _)| worst >= bound) {
            break;
        }
        let refined = structured(sensitivities[i] - half);
        if worst.is_none_or(|(worst, _)| refined > worst) {
            worst = Some((refined, i));
        }
    }
    worst.map(|(worst, i)| (1.0 / worst, i))
}

/// Largest singular value of D M D^-1, D = diag(e^d).
fn scaled(matrix: &Matrix4<C64>, d: &[f64; 4]) -> f64 {
    Matrix4::from_fn(|i, j| matrix[(i, j)] * libm::exp(d[i] - d[j])).singular_values().max()
}

/// Scaling that balances rows and columns (E. E. Osborne, Journal of the ACM 7(4):338-345, 1960).
fn balanced(matrix: &Matrix4<C64>) -> [f64; 4] {
    let mut d = [0.0; 4];
    for _ in 0..40 {
        for i in 0..4 {
            let (mut row, mut column) = (0.0, 0.0);
            for j in (0..4).filter(|&j| j != i) {
                row += matrix[(i, j)].norm_sqr() * libm::exp(2.0 * (d[i] - d[j]));
                column += matrix[(j, i)].norm_sqr() * libm::exp(2.0 * (d[j] - d[i]));
            }
            if row > 0.0 && column > 0.0 {
                d[i] += 0.25 * libm::log(column / row);
            }
        }
    }
    d
}

/// Upper bound of the structured singular value for four scalar complex blocks. The bound is convex in ln D.
fn structured(matrix: Matrix4<C64>) -> f64 {
    let mut d = balanced(&matrix);
    let mut best = scaled(&matrix, &d);
    let mut step = 0.5;
    while step > 1e-3 {
        let mut better = false;
        // Along each axis and each pair of axes: the bound has kinks.
        for direction in 1..64_i32 {
            let signs: [f64; 4] = std::array::from_fn(|i| {
                if i == 3 {
                    0.0
                } else {
                    [0.0, 1.0, -1.0, 0.5][(direction / 4_i32.pow(i as u32) % 4) as usize]
                }
            });
            let tried: [f64; 4] = std::array::from_fn(|i| d[i] + step * signs[i]);
            let found = scaled(&matrix, &tried);
            if found < best * (1.0 - 1e-9) {
                (best, d, better) = (found, tried, true);
            }
        }
        if !better {
            step *= 0.5;
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn disk_of_two_thirds_is_6_db_and_37_deg() {
        // Seiler, Packard, Gahinet 2020, equations 9 and 10 with skew 0.
        assert!((gain_margin_db(2.0 / 3.0) - 6.0206).abs() < 1e-3);
        assert!((phase_margin_deg(2.0 / 3.0) - 36.870).abs() < 1e-3);
        assert!((gain_margin_db(0.4) - 3.5218).abs() < 1e-3 && (phase_margin_deg(0.4) - 22.620).abs() < 1e-3);
    }

    #[test]
    fn published_single_loop_has_its_disk_margin() {
        // The same, example of equation 3: L = 25/(s^3 + 10 s^2 + 10 s + 10), a = 0.46 (value from memory).
        let mut least = f64::INFINITY;
        for i in 0..4000 {
            let w = 0.1 * libm::pow(100.0, f64::from(i) / 4000.0);
            let s = C64::new(0.0, w);
            least = least.min(size_at(25.0 / (s * s * s + 10.0 * s * s + 10.0 * s + 10.0)));
        }
        assert!((least - 0.46).abs() < 0.005, "{least}");
    }

    #[test]
    fn structured_value_lies_between_the_spectral_radius_and_the_largest_singular_value() {
        // Of a diagonal matrix it is the largest entry, of a matrix of rank one the sum of |u_i v_i|.
        let diagonal = Matrix4::from_diagonal(&nalgebra::Vector4::new(0.3, 0.7, 0.2, 0.1).map(C64::from));
        assert!((structured(diagonal) - 0.7).abs() < 1e-9);
        let (u, v) = ([1.0, 20.0, 0.3, 4.0], [2.0, 0.05, 1.0, 0.5]);
        let rank_one = Matrix4::from_fn(|i, j| C64::from_polar(u[i] * v[j], i as f64 - 2.0 * j as f64));
        let sum: f64 = u.iter().zip(v).map(|(u, v)| u * v).sum();
        assert!((structured(rank_one) / sum - 1.0).abs() < 2e-3, "{} {sum}", structured(rank_one));
    }
}
