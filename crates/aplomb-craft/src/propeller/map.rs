//! Thrust and torque of one propeller over axial flow and speed, as a precomputed table.
//!
//! With the rotor speed w, the tip radius R, the axial flow V, `U = |w| R + pi |V|` and `s = pi V/U`, -1 to 1
//! (`s = J/(1 + |J|)`), one table covers everything from static operation to a stopped propeller in a wind:
//! `T = kT rho/rho0 (U/R)^2 f(s, U)`, `Q = kQ rho/rho0 (U/R)^2 g(s, U)`, with f = g = 1 in static operation
//! at the reference tip speed. Interpolation is linear in s and in `U/(U + 50 m/s)`; a higher viscosity is
//! equivalent to a lower U. The contribution of an edgewise flow is computed at the reference speed. A
//! measured propeller has a finer table, computed from the theory and the rows. From a descent at J = -0.37
//! to a climb at 0.74 the table is within 0.8 % of the static value of the theory, and within 2.5 % in a
//! faster descent, where annuli change from one wake state to another.

use super::blade::{Designation, GENERIC};
use super::element::{Blade, Flow};
use crate::lanes::{LAST_BIT_IS_ONE, each_of as each};
use core::f64::consts::PI;

/// Nodes over s, one of them at 0, and over U.
pub(super) const SHARES: usize = 65;
pub(super) const SPEEDS: usize = 15;
/// Speed at the centre of the scale of U (m/s).
const MIDDLE_M_S: f64 = 50.0;
/// Scale of U at its first and last node: 5.6 and 283 m/s.
const SCALE: [f64; 2] = [0.1, 0.85];
/// Nodes over the edgewise flow e, by `e^2/(e^2 + (0.12 U)^2)` up to 0.9 (e = 0.36 U).
const EDGES: usize = 10;
const EDGE: f64 = 0.12;
const PER_EDGE: f64 = (EDGES - 1) as f64 / 0.9;
/// Reference tip speed of the coefficients of a rotor (m/s).
pub(crate) const REFERENCE_TIP_M_S: f64 = 70.0;
/// Kinematic viscosity of the standard atmosphere at sea level (m2/s): 1.7894e-5 Pa s over 1.225 kg/m3 (ISO
/// 2533).
pub(crate) const VISCOSITY_M2_S: f64 = 1.7894e-5 / 1.225;

/// Table of one propeller.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Map {
    radius_m: f64,
    per_radius: f64,
    /// Nodes over s and over U, and nodes per unit of s and of the scale of U.
    shares: usize,
    speeds: usize,
    per_share: f64,
    per_speed: f64,
    /// f and g at one s, then at the next; speeds of one s are adjacent.
    nodes: Vec<[f64; 4]>,
    /// Contribution of an edgewise flow to both at the reference speed; flows of one s are adjacent.
    edgewise: Vec<[f64; 4]>,
}

/// Thrust and torque over kT and kQ of N rotors, each at one speed and axial flow, with derivatives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Local<const N: usize> {
    /// T/kT and Q/kQ (rad2/s2).
    pub(crate) thrust: [f64; N],
    pub(crate) torque: [f64; N],
    /// Derivative by speed (rad/s), and half the second derivative.
    pub(crate) thrust_per_speed: [f64; N],
    pub(crate) torque_per_speed: [f64; N],
    pub(crate) thrust_curve: [f64; N],
    pub(crate) torque_curve: [f64; N],
    /// Derivative of T/kT by axial flow (rad2/s2 per m/s).
    pub(crate) thrust_per_axial: [f64; N],
}

impl<const N: usize> Local<N> {
    /// Stopped rotors in still air.
    pub(crate) const REST: Self = Local {
        thrust: [0.0; N],
        torque: [0.0; N],
        thrust_per_speed: [0.0; N],
        torque_per_speed: [0.0; N],
        thrust_curve: [0.0; N],
        torque_curve: [0.0; N],
        thrust_per_axial: [0.0; N],
    };

    /// Propellers of constant coefficients.
    #[inline]
    pub(crate) fn quadratic(speed_rad_s: [f64; N]) -> Self {
        let (square, slope) = (each(|i| speed_rad_s[i] * speed_rad_s[i]), each(|i| 2.0 * speed_rad_s[i]));
        Local {
            thrust: square,
            torque: square,
            thrust_per_speed: slope,
            torque_per_speed: slope,
            thrust_curve: [1.0; N],
            torque_curve: [1.0; N],
            thrust_per_axial: [0.0; N],
        }
    }

    /// Multiplies the thrust of rotor `i` by `ratio`.
    #[inline]
    pub(crate) fn lift(&mut self, i: usize, ratio: f64) {
        self.thrust[i] *= ratio;
        self.thrust_per_speed[i] *= ratio;
        self.thrust_curve[i] *= ratio;
        self.thrust_per_axial[i] *= ratio;
    }

    /// Multiplies the torque of rotor `i` by `ratio`.
    pub(crate) fn drag(&mut self, i: usize, ratio: f64) {
        self.torque[i] *= ratio;
        self.torque_per_speed[i] *= ratio;
        self.torque_curve[i] *= ratio;
    }

    /// Replaces rotor `i` by that of `other`.
    pub(crate) fn take(&mut self, i: usize, other: &Self) {
        self.thrust[i] = other.thrust[i];
        self.torque[i] = other.torque[i];
        self.thrust_per_speed[i] = other.thrust_per_speed[i];
        self.torque_per_speed[i] = other.torque_per_speed[i];
        self.thrust_curve[i] = other.thrust_curve[i];
        self.torque_curve[i] = other.torque_curve[i];
        self.thrust_per_axial[i] = other.thrust_per_axial[i];
    }

    /// Thrust at a speed increased by `faster` (rad/s).
    #[inline]
    pub(crate) fn thrust_at(&self, faster: &[f64; N]) -> [f64; N] {
        each(|i| self.thrust[i] + faster[i] * (self.thrust_per_speed[i] + faster[i] * self.thrust_curve[i]))
    }

    /// Torque at a speed increased by `faster` (rad/s).
    #[inline]
    pub(crate) fn torque_at(&self, faster: &[f64; N]) -> [f64; N] {
        each(|i| self.torque[i] + faster[i] * (self.torque_per_speed[i] + faster[i] * self.torque_curve[i]))
    }
}

impl Map {
    /// Table of the given numbers of nodes, from f and g at s and U, and the contribution of an edgewise flow
    /// at s, then at e over U.
    pub(super) fn filled<Swept: Fn(f64) -> [f64; 2]>(
        radius_m: f64,
        [shares, speeds]: [usize; 2],
        still: impl Fn(f64, f64) -> [f64; 2],
        edgewise: impl Fn(f64) -> Swept,
    ) -> Map {
        let per_share = (shares - 1) as f64 / 2.0;
        let per_speed = (speeds - 1) as f64 / (SCALE[1] - SCALE[0]);
        let share = |row: usize| row as f64 / per_share - 1.0;
        let node = |i: usize| {
            let scale = SCALE[0] + (i % speeds) as f64 / per_speed;
            still(share(i / speeds), MIDDLE_M_S * scale / (1.0 - scale))
        };
        let flow = |lane: usize| {
            let scale = lane as f64 / PER_EDGE;
            EDGE * libm::sqrt(scale / (1.0 - scale))
        };
        let swept = (0..shares).flat_map(|row| {
            let at = edgewise(share(row));
            (0..EDGES).map(move |lane| at(flow(lane)))
        });
        Map {
            radius_m,
            per_radius: 1.0 / radius_m,
            shares,
            speeds,
            per_share,
            per_speed,
            nodes: with_next((0..shares * speeds).map(node), speeds),
            edgewise: with_next(swept, EDGES),
        }
    }

    /// Table of the theory. `turned` is -1 for reversed rotation.
    pub(super) fn new(designation: &Designation, turned: f64) -> Self {
        let blade = Blade::new(designation, &GENERIC);
        let load = |share: f64, speed_m_s: f64, turned: f64, edgewise: f64| {
            blade.load(&Flow {
                axial: share / PI,
                edgewise,
                tip: turned * (1.0 - share.abs()),
                speed_m_s,
                viscosity_m2_s: VISCOSITY_M2_S,
            })
        };
        let reference = load(0.0, REFERENCE_TIP_M_S, 1.0, 0.0);
        let still = |share: f64, speed_m_s: f64| {
            let found = load(share, speed_m_s, turned, 0.0);
            [found.0 / reference.0, found.1 / reference.1]
        };
        let swept = |share: f64| {
            let still = load(share, REFERENCE_TIP_M_S, turned, 0.0);
            move |edgewise: f64| {
                let found = load(share, REFERENCE_TIP_M_S, turned, edgewise);
                [(found.0 - still.0) / reference.0, (found.1 - still.1) / reference.1]
            }
        };
        Map::filled(0.5 * designation.diameter_m, [SHARES, SPEEDS], still, swept)
    }

    pub(super) fn radius_m(&self) -> f64 {
        self.radius_m
    }

    /// f and g at s, U and the ratio of edgewise flow to U.
    pub(super) fn shares_at(&self, share: f64, speed_m_s: f64, edgewise: f64) -> [f64; 2] {
        let (turn, flow) = (speed_m_s / self.radius_m, edgewise * speed_m_s);
        let local = self.at([share * speed_m_s / PI], flow * flow, [(1.0 - share.abs()) * turn], 1.0);
        [local.thrust[0] / (turn * turn), local.torque[0] / (turn * turn)]
    }

    /// Values of N rotors at axial flow V (m/s, positive in a climb) and speed w >= 0 (rad/s, in the sense of
    /// the table), all in the same edgewise flow (squared, m2/s2). `reynolds_ratio` is the kinematic
    /// viscosity at sea level over the actual one.
    #[inline]
    pub(crate) fn at<const N: usize>(
        &self,
        axial_m_s: [f64; N],
        edgewise_m2_s2: f64,
        speed_rad_s: [f64; N],
        reynolds_ratio: f64,
    ) -> Local<N> {
        let (radius, per_radius, per_share) = (self.radius_m, self.per_radius, self.per_share);
        let flow: [f64; N] = each(|i| PI * axial_m_s[i]);
        let unit: [f64; N] = each(|i| speed_rad_s[i] * radius + flow[i].abs());
        // The smallest number avoids 0/0 for a stopped rotor in still air.
        let share: [f64; N] = each(|i| flow[i] / (unit[i] + f64::MIN_POSITIVE));
        // Table indices, each below the last node, so that a next node exists.
        let (last, highest) = (before_last(self.shares), before_last(self.speeds));
        let index: [f64; N] = each(|i| ((share[i] + 1.0) * per_share).min(last));
        let effective: [f64; N] = each(|i| unit[i] * reynolds_ratio);
        let level: [f64; N] = each(|i| {
            let level = (effective[i] / (effective[i] + MIDDLE_M_S) - SCALE[0]) * self.per_speed;
            level.max(0.0).min(highest)
        });
        let edge: [f64; N] = each(|i| {
            let whole = edgewise_m2_s2 + (EDGE * EDGE * unit[i] * unit[i] + f64::MIN_POSITIVE);
            (edgewise_m2_s2 / whole * PER_EDGE).min(before_last(EDGES))
        });
        let (row, column, lane) = (before(&index), before(&level), before(&edge));
        let up: [f64; N] = each(|i| index[i] - row.0[i]);
        let along: [f64; N] = each(|i| level[i] - column.0[i]);
        let aside: [f64; N] = each(|i| edge[i] - lane.0[i]);
        let (mut f, mut g, mut steep_f, mut steep_g) = ([0.0; N], [0.0; N], [0.0; N], [0.0; N]);
        for i in 0..N {
            let node = row.1[i] * self.speeds + column.1[i];
            let still = between(&self.nodes[node..node + 2], along[i]);
            let flow = row.1[i] * EDGES + lane.1[i];
            let swept = between(&self.edgewise[flow..flow + 2], aside[i]);
            let [low_f, low_g, high_f, high_g]: [f64; 4] = each(|i| still[i] + swept[i]);
            (steep_f[i], steep_g[i]) = (high_f - low_f, high_g - low_g);
            (f[i], g[i]) = (low_f + up[i] * steep_f[i], low_g + up[i] * steep_g[i]);
        }
        // d/dw of U^2 f(s): R (2 U f - U s f'), d/dV: pi (2 U |.|' f + (1 - |s|) U f'), both over R^2.
        let turn: [f64; N] = each(|i| unit[i] * per_radius);
        let steepness: [f64; N] = each(|i| share[i] * per_share);
        Local {
            thrust: each(|i| turn[i] * turn[i] * f[i]),
            torque: each(|i| turn[i] * turn[i] * g[i]),
            thrust_per_speed: each(|i| turn[i] * (2.0 * f[i] - steepness[i] * steep_f[i])),
            torque_per_speed: each(|i| turn[i] * (2.0 * g[i] - steepness[i] * steep_g[i])),
            thrust_curve: f,
            torque_curve: g,
            thrust_per_axial: each(|i| {
                let side = if axial_m_s[i] < 0.0 { -2.0 } else { 2.0 };
                let left = (1.0 - share[i].abs()) * per_share;
                PI * per_radius * turn[i] * (side * f[i] + left * steep_f[i])
            }),
        }
    }
}

/// Linear interpolation between two nodes.
#[inline(always)]
fn between(nodes: &[[f64; 4]], share: f64) -> [f64; 4] {
    each(|i| nodes[0][i] + share * (nodes[1][i] - nodes[0][i]))
}

/// Just below the last of that many nodes.
#[inline(always)]
fn before_last(nodes: usize) -> f64 {
    (nodes - 1) as f64 * (1.0 - 1e-12)
}

/// Each pair with the one `row` indices ahead, if that exists.
fn with_next(pairs: impl Iterator<Item = [f64; 2]>, row: usize) -> Vec<[f64; 4]> {
    let pairs: Vec<[f64; 2]> = pairs.collect();
    pairs.iter().zip(&pairs[row..]).map(|(&[f, g], &[next_f, next_g])| [f, g, next_f, next_g]).collect()
}

/// Integer parts of numbers >= 0, from the low bits of a sum whose unit is its last bit. At an integer it may
/// be the one before, with a fraction of 1.
#[inline(always)]
fn before<const N: usize>(index: &[f64; N]) -> ([f64; N], [usize; N]) {
    let sum: [f64; N] = each(|i| index[i] - 0.5 + LAST_BIT_IS_ONE);
    (each(|i| sum[i] - LAST_BIT_IS_ONE), sum.map(|sum| (sum.to_bits() & 0xffff) as usize))
}

#[cfg(test)]
mod tests {
    use super::super::Planform;
    use super::*;

    const NINE_BY_FIVE: Designation =
        Designation { diameter_m: 0.2286, pitch_m: 0.127, blades: 2, planform: Planform::Unknown };

    #[test]
    fn table_reproduces_the_theory() {
        // Stated errors of the table, over the static thrust and torque: climb, hover and slow descent; fast
        // descent, where annuli change from one wake state to another.
        let map = Map::of(&NINE_BY_FIVE, 1.0);
        let coefficients =
            |advance: f64, speed: f64| NINE_BY_FIVE.coefficients(advance, speed, VISCOSITY_M2_S);
        let reference = coefficients(0.0, REFERENCE_TIP_M_S / 0.1143);
        let largest = |range: std::ops::RangeInclusive<i32>| {
            let mut largest: f64 = 0.0;
            for step in 0..40 {
                let speed = 250.0 + 17.3 * f64::from(step);
                for step in range.clone() {
                    let advance = 0.0371 * f64::from(step);
                    let axial = advance * speed / (2.0 * PI) * 0.2286;
                    let (local, exact) = (map.at([axial], 0.0, [speed], 1.0), coefficients(advance, speed));
                    let square = speed * speed;
                    let thrust = local.thrust[0] / square - exact.thrust / reference.thrust;
                    let torque = local.torque[0] / square - exact.power / reference.power;
                    largest = largest.max(thrust.abs()).max(torque.abs());
                }
            }
            largest
        };
        let (climb, descent) = (largest(-10..=20), largest(-20..=-11));
        println!(
            "largest error of the lookup over the static value: {climb:.5}, in fast descent {descent:.5}"
        );
        assert!(climb < 8e-3 && descent < 0.025, "{climb} {descent}");
    }

    #[test]
    fn index_is_the_integer_part() {
        for position in [0.2, 0.5, 0.9, 1.1, 7.5, 63.999, 256.3] {
            assert_eq!(before(&[position]), ([position.floor()], [position as usize]), "{position}");
        }
        for whole in 0..300_usize {
            let found = before(&[whole as f64]).1[0];
            assert!(found == whole || found + 1 == whole, "{whole}: {found}");
        }
        assert!(before(&[f64::NAN]).1[0] < 0x1_0000);
    }

    #[test]
    fn derivatives_are_those_of_the_values() {
        let map = Map::of(&NINE_BY_FIVE, 1.0);
        for (axial, speed) in [(0.5, 600.0), (4.0, 500.0), (-3.0, 700.0), (9.0, 300.0)] {
            let (local, step) = (map.at([axial], 0.0, [speed], 1.0), 1e-4);
            let thrust = |axial: f64, speed: f64| map.at([axial], 0.0, [speed], 1.0).thrust[0];
            let by_speed = (thrust(axial, speed + step) - thrust(axial, speed - step)) / (2.0 * step);
            let by_axial = (thrust(axial + step, speed) - thrust(axial - step, speed)) / (2.0 * step);
            // The effect of the Reynolds number, a few percent, is left out.
            assert!((local.thrust_per_speed[0] - by_speed).abs() < 0.1 * speed, "{axial} {speed}");
            assert!((local.thrust_per_axial[0] - by_axial).abs() < 0.01 * speed * speed, "{axial} {speed}");
        }
    }

    #[test]
    fn stopped_rotor_in_still_air_has_no_load() {
        let map = Map::of(&NINE_BY_FIVE, 1.0);
        let still = map.at([0.0], 0.0, [0.0], 1.0);
        assert_eq!((still.thrust, still.torque), ([0.0], [0.0]));
        assert_eq!((still.thrust_per_speed, still.torque_per_speed), ([0.0], [0.0]));
        // A stopped propeller in a wind from above has negative thrust.
        let winds = map.at([8.0, -8.0], 0.0, [0.0, 0.0], 1.0).thrust;
        assert!(winds[0] < 0.0 && winds[1] > 0.0);
    }

    #[test]
    fn edgewise_flow_increases_the_thrust() {
        // At 8 m/s edgewise flow a rotor has higher thrust at the same speed, for little more torque.
        let map = Map::of(&NINE_BY_FIVE, 1.0);
        let (still, swept) = (map.at([0.0], 0.0, [600.0], 1.0), map.at([0.0], 64.0, [600.0], 1.0));
        let (more_thrust, more_torque) =
            (swept.thrust[0] / still.thrust[0], swept.torque[0] / still.torque[0]);
        assert!(more_thrust > 1.03 && more_thrust < 1.4, "{more_thrust}");
        assert!(more_torque < more_thrust);
    }

    #[test]
    fn reversed_rotation_gives_lower_negative_thrust() {
        let (forwards, backwards) = (Map::of(&NINE_BY_FIVE, 1.0), Map::of(&NINE_BY_FIVE, -1.0));
        let (up, down) = (forwards.at([0.0], 0.0, [600.0], 1.0), backwards.at([0.0], 0.0, [600.0], 1.0));
        let (up_n, down_n) = (up.thrust[0], down.thrust[0]);
        assert!(down_n < 0.0 && down_n > -up_n, "{down_n} {up_n}");
        assert!(down.torque[0] < 0.0);
    }
}
