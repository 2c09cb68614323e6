//! Torque and thrust to four thrusts within their limits, half of the demands beyond them.
//!
//! `clarabel` is an interior-point solver for any convex quadratic programme, in `f64`, and iterates until it
//! has converged. It is given the nearest one: the weighted squares of what is missed, least. That is no
//! order: it trades roll and pitch for thrust where ours never turns their direction. It allocates, so it
//! cannot run in a tick at all; it is here for the scale.

use aplomb::frames::Vector;
use aplomb::mix::{Arm, Config, Geometry, QuadMixer, Wrench};
use aplomb::{Rotors, Spin};
use clarabel::algebra::CscMatrix;
use clarabel::solver::{DefaultSettings, DefaultSolver, IPSolver, NonnegativeConeT};
use criterion::Criterion;

use super::inputs::{group, measure, rows};

const LOW_N: f32 = 0.3;
const HIGH_N: f32 = 6.5;
const ARM_M: f64 = 0.16;
const TORQUE_TO_THRUST_M: f64 = 0.014;
/// Weights of thrust, roll, pitch and yaw.
const WEIGHTS: [f64; 4] = [10.0, 100.0, 100.0, 1.0];

mod kernel {
    use super::*;
    use crate::inputs::{Rows, each};

    #[inline(never)]
    pub fn mix_symmetric_aplomb(mixer: &mut QuadMixer, rows: &Rows<Wrench>) -> f32 {
        each(rows, |demand| mixer.allocate(demand, HIGH_N).thrust_n.front_left)
    }

    #[inline(never)]
    pub fn mix_general_aplomb(mixer: &mut QuadMixer, rows: &Rows<Wrench>) -> f32 {
        each(rows, |demand| mixer.allocate(demand, HIGH_N).thrust_n.rear_right)
    }

    #[inline(never)]
    pub fn mix_peer_clarabel(solver: &mut DefaultSolver<f64>, rows: &Rows<Wrench>) -> f32 {
        each(rows, |demand| {
            let [roll, pitch, yaw] = demand.torque_nm.to_array().map(f64::from);
            let wanted = [f64::from(demand.thrust_n), roll, pitch, yaw];
            let linear = effects()
                .map(|effect| -(0..4).map(|i| WEIGHTS[i] * WEIGHTS[i] * effect[i] * wanted[i]).sum::<f64>());
            solver.update_q(&linear.to_vec()).expect("the same size");
            solver.solve();
            solver.solution.x[0] as f32
        })
    }
}

/// Thrust, roll, pitch and yaw of a newton of each rotor.
fn effects() -> [[f64; 4]; 4] {
    [(1.0, -1.0, 1.0), (1.0, 1.0, -1.0), (-1.0, -1.0, -1.0), (-1.0, 1.0, 1.0)]
        .map(|(x, y, s)| [1.0, -y * ARM_M, x * ARM_M, s * TORQUE_TO_THRUST_M])
}

fn solver() -> DefaultSolver<f64> {
    let effects = effects();
    let square = |i: usize, j: usize| {
        (0..4).map(|k| WEIGHTS[k] * WEIGHTS[k] * effects[i][k] * effects[j][k]).sum::<f64>()
    };
    let quadratic: [[f64; 4]; 4] =
        std::array::from_fn(|i| std::array::from_fn(|j| if j >= i { square(i, j) } else { 0.0 }));
    let limits: [[f64; 4]; 8] = std::array::from_fn(|row| {
        std::array::from_fn(|rotor| if rotor == row % 4 { if row < 4 { 1.0 } else { -1.0 } } else { 0.0 })
    });
    let bounds: [f64; 8] =
        std::array::from_fn(|row| if row < 4 { f64::from(HIGH_N) } else { -f64::from(LOW_N) });
    let settings = DefaultSettings { verbose: false, presolve_enable: false, ..DefaultSettings::default() };
    let (quadratic, limits) = (CscMatrix::from(&quadratic), CscMatrix::from(&limits));
    DefaultSolver::new(&quadratic, &[0.0; 4], &limits, &bounds, &[NonnegativeConeT(8)], settings)
        .expect("a valid problem")
}

fn demand(row: usize, [roll, pitch, yaw, thrust]: [f32; 4]) -> Wrench {
    let size = 0.02 * (1 << (row % 8)) as f32;
    let torque_nm = Vector::new(roll * size, pitch * size, 0.3 * yaw * size);
    Wrench { torque_nm, thrust_n: 13.0 + 15.0 * thrust }
}

pub fn mix(c: &mut Criterion) {
    let arm = ARM_M as f32;
    let symmetric = Geometry::symmetric_x(arm, arm, Spin::CounterClockwise, TORQUE_TO_THRUST_M as f32);
    let general = Geometry {
        arms: Rotors { front_left: Arm { x_m: 0.18, ..symmetric.arms.front_left }, ..symmetric.arms },
        ..symmetric
    };
    let mixer = |geometry| {
        let config = Config {
            geometry,
            min_thrust_n: LOW_N,
            max_thrust_n: HIGH_N,
            allowance_down_n: 4.0 * HIGH_N,
            allowance_up_n: 4.0 * HIGH_N,
            reserved_yaw_share: 0.0,
        };
        QuadMixer::new(&config).expect("valid")
    };
    let inputs = rows(demand);
    let mut group = group(c, "mix");
    measure(&mut group, "symmetric_aplomb", mixer(symmetric), &inputs, kernel::mix_symmetric_aplomb);
    measure(&mut group, "general_aplomb", mixer(general), &inputs, kernel::mix_general_aplomb);
    measure(&mut group, "peer_clarabel", solver(), &inputs, kernel::mix_peer_clarabel);
    group.finish();
}
