//! The lexicographic optimum by a general linear-programming solver (`microlp`), stage by stage, in `f64`.
//!
//! The variables are the four thrusts; nothing of the mixer's own inverse or elimination is used.

extern crate std;

use std::vec::Vec;

use microlp::{ComparisonOp, OptimizationDirection, Problem, SolveOutcome, Variable};

use crate::ROTORS;
use crate::mix::{Arm, Config, Wrench};

/// What the stages fix: share of roll and pitch, total thrust in N, yaw torque in N m.
#[derive(Clone, Copy, Debug)]
pub struct Optimum {
    pub share: f64,
    pub thrust: f64,
    pub yaw: f64,
}

/// A linear program over the thrusts of the rotors.
struct Program<'a> {
    problem: Problem,
    thrusts: [Variable; ROTORS],
    config: &'a Config,
}

type Row = Vec<(Variable, f64)>;

impl<'a> Program<'a> {
    fn new(config: &'a Config, ceiling_n: f32, direction: OptimizationDirection, weight: f64) -> Self {
        let mut problem = Problem::new(direction);
        let limits = (f64::from(config.min_thrust_n), f64::from(ceiling_n));
        let thrusts = [(); ROTORS].map(|()| problem.add_var(weight, limits));
        Self { problem, thrusts, config }
    }

    fn row(&self, gain: impl Fn(&Arm) -> f64) -> Row {
        let arms = self.config.geometry.arms.into_array();
        self.thrusts.iter().zip(&arms).map(|(thrust, arm)| (*thrust, gain(arm))).collect()
    }

    /// Rows of total thrust and of roll, pitch and yaw torque.
    fn rows(&self) -> [Row; 4] {
        let kappa = f64::from(self.config.geometry.torque_to_thrust_m);
        [
            self.row(|_| 1.0),
            self.row(|arm| -f64::from(arm.y_m)),
            self.row(|arm| f64::from(arm.x_m)),
            self.row(|arm| kappa * f64::from(arm.spin.reaction())),
        ]
    }

    fn require(&mut self, row: &Row, op: ComparisonOp, value: f64) {
        self.problem.add_constraint(row, op, value);
    }

    fn solve(&self) -> microlp::Solution {
        match self.problem.solve() {
            Ok(SolveOutcome::Solution(solution)) => solution,
            other => panic!("{other:?} of {:?}", self.config),
        }
    }
}

fn with(row: &Row, variable: Variable, gain: f64) -> Row {
    let mut row = row.clone();
    row.push((variable, gain));
    row
}

fn value(row: &Row, solution: &microlp::Solution) -> f64 {
    row.iter().map(|(variable, gain)| solution[*variable] * gain).sum()
}

/// Smallest and largest total thrust without torque, in closed form: the thrusts that make no torque are the
/// multiples of one vector, of which each component is a minor of the three rows of torque (Cramer's rule).
pub fn level(config: &Config, ceiling_n: f32) -> (f64, f64) {
    let [a, b, c, d] = config.geometry.arms.into_array().map(|arm| {
        let [x, y, s] = [arm.x_m, arm.y_m, arm.spin.reaction()].map(f64::from);
        [y, x, s]
    });
    let minor = |[p, q, r]: [[f64; 3]; 3]| {
        p[0] * (q[1] * r[2] - q[2] * r[1])
            + p[1] * (q[2] * r[0] - q[0] * r[2])
            + p[2] * (q[0] * r[1] - q[1] * r[0])
    };
    let multiples = [minor([b, c, d]), -minor([a, c, d]), minor([a, b, d]), -minor([a, b, c])];
    let whole: f64 = multiples.iter().sum();
    multiples.iter().fold((f64::NEG_INFINITY, f64::INFINITY), |(low, high), multiple| {
        let share = multiple / whole;
        (low.max(f64::from(config.min_thrust_n) / share), high.min(f64::from(ceiling_n) / share))
    })
}

/// The optimum for a demand, with the range of thrusts that need no torque.
pub fn optimum(config: &Config, ceiling_n: f32, level: (f64, f64), demand: &Wrench) -> Optimum {
    use ComparisonOp::{Eq, Ge, Le};
    use OptimizationDirection::{Maximize, Minimize};
    let [roll, pitch, yaw] = demand.torque_nm.to_array().map(f64::from);
    let thrust = f64::from(demand.thrust_n);
    let window = (
        thrust.min(level.1) - f64::from(config.allowance_down_n),
        thrust.max(level.0) + f64::from(config.allowance_up_n),
    );
    let start = |direction| {
        let mut program = Program::new(config, ceiling_n, direction, 0.0);
        let rows = program.rows();
        program.require(&rows[0], Ge, window.0);
        program.require(&rows[0], Le, window.1);
        (program, rows)
    };

    // What of the reserved share of yaw torque is to be left by roll and pitch.
    let reserved = if config.reserved_yaw_share > 0.0 {
        let (mut program, [_, rolls, pitches, yaws]) = start(Maximize);
        let most = program.problem.add_var(1.0, (0.0, f64::INFINITY));
        program.require(&rolls, Eq, 0.0);
        program.require(&pitches, Eq, 0.0);
        program.require(&with(&yaws, most, -1f64.copysign(yaw)), Eq, 0.0);
        let reachable = program.solve()[most];
        yaw.signum() * yaw.abs().min(f64::from(config.reserved_yaw_share) * reachable)
    } else {
        0.0
    };
    let start = |direction| {
        let (mut program, rows) = start(direction);
        program.require(&rows[3], Ge, yaw.min(reserved));
        program.require(&rows[3], Le, yaw.max(reserved));
        (program, rows)
    };

    let (mut program, [_, rolls, pitches, _]) = start(Maximize);
    let share = program.problem.add_var(1.0, (0.0, 1.0));
    program.require(&with(&rolls, share, -roll), Eq, 0.0);
    program.require(&with(&pitches, share, -pitch), Eq, 0.0);
    let share = program.solve()[share].clamp(0.0, 1.0);

    // The row's value nearest to a target, with the share fixed slightly lower, so that round-off does not
    // make it infeasible.
    let nearest = |index: usize, target: f64, thrust: Option<f64>| {
        let (mut program, rows) = start(Minimize);
        let k = share * (1.0 - 1e-9);
        program.require(&rows[1], Eq, k * roll);
        program.require(&rows[2], Eq, k * pitch);
        if let Some(thrust) = thrust {
            program.require(&rows[0], Ge, thrust - 1e-9);
            program.require(&rows[0], Le, thrust + 1e-9);
        }
        let distance = program.problem.add_var(1.0, (0.0, f64::INFINITY));
        program.require(&with(&rows[index], distance, -1.0), Le, target);
        program.require(&with(&rows[index], distance, 1.0), Ge, target);
        value(&rows[index], &program.solve())
    };
    let thrust = nearest(0, thrust, None);
    Optimum { share, thrust, yaw: nearest(3, yaw, Some(thrust)) }
}
