//! The linear model as numbers, to go on with it in another tool.

use serde::Serialize;

use super::closed_loop::{IGNORED, Linearised};
use super::sparse::Sparse;
use super::{Break, Growth, Model};

/// The linear model at one operating point, but for its matrices.
#[derive(Clone, Debug, Serialize)]
pub struct Description {
    /// What the matrices mean.
    pub model: &'static str,
    /// Period of a tick in s.
    pub tick_s: f64,
    /// Index in the arrays A, B, C, D of each tick of the period.
    pub order: Vec<usize>,
    /// Largest relative error of the rate of a sensor or loop over this period: 0 if all repeat exactly.
    pub rate_error: f64,
    /// Names of the states, in SI units as the code holds them.
    pub states: Vec<String>,
    /// The breaks: input i is what is added at break i, output i the signal that returns there.
    pub breaks: Vec<&'static str>,
    /// Breaks whose output contains the addition, held for `hold_ticks`.
    pub held: Vec<&'static str>,
    /// Ticks of a step of the velocity controller.
    pub hold_ticks: usize,
    /// Numbers that are no states: no addition moves them, or no break depends on them.
    pub left_out: Vec<String>,
    /// Numbers that are held constant, with the reason.
    pub ignored: Vec<(&'static str, &'static str)>,
    /// Poles that grow with all loops closed.
    pub growths: Vec<Growth>,
    /// Largest relative change of a difference over a shorter step.
    pub disagreement: f64,
}

/// An array of real numbers with its shape, last index fastest.
#[derive(Clone, Debug, PartialEq)]
pub struct Array {
    /// Its name: A, B, C or D.
    pub name: &'static str,
    /// Sets, rows and columns.
    pub shape: [u64; 3],
    /// Its numbers.
    pub numbers: Vec<f64>,
}

impl Model {
    /// All but the matrices.
    #[must_use]
    pub fn description(&self) -> Description {
        let Linearised { system, states, left_out, rate_error, worst } = &self.linearised;
        let held = Break::ALL.into_iter().filter(|broken| broken.is_held());
        Description {
            model: "x(k+1) = A x(k) + B d(k), y(k) = C x(k) + D d(k) with the set of matrices of the tick k; \
                    loop transfer function L = -Y/(Y + d), Y the mean of y(k) e^(-j w k) for d(k) = e^(j w k)",
            tick_s: self.tick_s,
            order: system.order.clone(),
            rate_error: *rate_error,
            states: states.clone(),
            breaks: Break::ALL.map(Break::name).to_vec(),
            held: held.map(Break::name).collect(),
            hold_ticks: self.hold_ticks,
            left_out: left_out.clone(),
            ignored: IGNORED.to_vec(),
            growths: self.growths.clone(),
            disagreement: worst.0,
        }
    }

    /// The arrays A, B, C and D, one matrix for each set.
    #[must_use]
    pub fn arrays(&self) -> [Array; 4] {
        let sets = &self.linearised.system.sets;
        let array = |name, of: &dyn Fn(usize) -> Sparse| {
            let mut numbers = Vec::new();
            let mut shape = [sets.len() as u64, 0, 0];
            for set in 0..sets.len() {
                let matrix = of(set);
                (shape[1], shape[2]) = (matrix.rows() as u64, matrix.columns() as u64);
                let mut dense = vec![0.0; matrix.rows() * matrix.columns()];
                matrix
                    .entries()
                    .for_each(|(row, column, value)| dense[row * matrix.columns() + column] = value);
                numbers.append(&mut dense);
            }
            Array { name, shape, numbers }
        };
        [
            array("A", &|set| sets[set].a.clone()),
            array("B", &|set| sets[set].b.clone()),
            array("C", &|set| sets[set].c.clone()),
            array("D", &|set| sets[set].d.clone()),
        ]
    }
}
