//! A linear system whose matrices repeat after some ticks.
//!
//! ```text
//! x(k+1) = A(k) x(k) + B(k) u(k),   y(k) = C(k) x(k) + D(k) u(k),   A(k+N) = A(k), ...
//! ```
//!
//! It is stable if all eigenvalues of A(N-1) ... A(0) are within the unit circle (S. Bittanti, P. Colaneri,
//! Periodic Systems, Springer 2009, section 1.2). For the input `e^(j w k)` the steady state is `e^(j w k)`
//! times something periodic; the response is the mean of `y(k) e^(-j w k)`, as a measurement finds it that
//! compares the amplitudes at the frequency of the input.

use nalgebra::DMatrix;

use super::C64;
use super::sparse::Sparse;

/// The matrices of one tick.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Tick {
    pub a: Sparse,
    pub b: Sparse,
    pub c: Sparse,
    pub d: Sparse,
}

/// The system over a period.
#[derive(Clone, Debug)]
pub(crate) struct Periodic {
    /// Different sets of matrices, and the one of each tick.
    pub sets: Vec<Tick>,
    pub order: Vec<usize>,
}

impl Periodic {
    /// Matrices tick by tick.
    pub(crate) fn ticks(&self) -> impl DoubleEndedIterator<Item = &Tick> + ExactSizeIterator {
        self.order.iter().map(|&set| &self.sets[set])
    }

    pub(crate) fn states(&self) -> usize {
        self.sets[0].a.rows()
    }

    /// The states that the inputs reach and the outputs read, on any tick.
    pub(crate) fn coupled(&self) -> Vec<usize> {
        let reached =
            self.closure(|tick| tick.b.entries().map(|(row, ..)| row).collect(), |row, column| (column, row));
        let read = self.closure(
            |tick| tick.c.entries().map(|(_, column, _)| column).collect(),
            |row, column| (row, column),
        );
        (0..self.states()).filter(|&state| reached[state] && read[state]).collect()
    }

    /// States to which a chain of entries (from, to) of the matrices A leads from the first ones.
    fn closure(
        &self,
        first: impl Fn(&Tick) -> Vec<usize>,
        step: impl Fn(usize, usize) -> (usize, usize),
    ) -> Vec<bool> {
        let mut found = vec![false; self.states()];
        self.sets.iter().flat_map(first).for_each(|state| found[state] = true);
        let links: Vec<(usize, usize)> = self
            .sets
            .iter()
            .flat_map(|tick| tick.a.entries().map(|(row, column, _)| step(row, column)))
            .collect();
        loop {
            let before = found.iter().filter(|&&is| is).count();
            links.iter().for_each(|&(from, to)| found[to] |= found[from]);
            if found.iter().filter(|&&is| is).count() == before {
                return found;
            }
        }
    }

    /// The system with these states only.
    pub(crate) fn restricted(&self, states: &[usize]) -> Self {
        let sets = self.sets.iter().map(|tick| {
            let inputs: Vec<usize> = (0..tick.b.columns()).collect();
            let outputs: Vec<usize> = (0..tick.c.rows()).collect();
            Tick {
                a: tick.a.restricted(states, states),
                b: tick.b.restricted(states, &inputs),
                c: tick.c.restricted(&outputs, states),
                d: tick.d.clone(),
            }
        });
        Self { sets: sets.collect(), order: self.order.clone() }
    }

    /// The system with the input `i` chosen so that output plus input `i` is zero: the loop is open there.
    pub(crate) fn opened(&self, i: usize) -> Self {
        let sets = self.sets.iter().map(|tick| {
            let mut entries: Vec<(usize, usize, f64)> = tick.a.entries().collect();
            for (row, _, b) in tick.b.entries().filter(|&(_, column, _)| column == i) {
                for &(column, c) in tick.c.row(i) {
                    match entries.iter_mut().find(|entry| (entry.0, entry.1) == (row, column)) {
                        Some(entry) => entry.2 -= b * c,
                        None => entries.push((row, column, -b * c)),
                    }
                }
            }
            Tick { a: Sparse::new(self.states(), self.states(), entries), ..tick.clone() }
        });
        Self { sets: sets.collect(), order: self.order.clone() }
    }

    /// The same system from the tick on at which the fewest numbers matter, and these.
    fn turned(&self) -> (Self, Vec<usize>) {
        let mut live = vec![true; self.states()];
        let mut least: Option<(usize, Vec<bool>)> = None;
        // Twice round, since what matters at the end of a period depends on the next one.
        for (k, tick) in self.ticks().enumerate().rev().chain(self.ticks().enumerate().rev()) {
            let mut before = vec![false; live.len()];
            tick.c.entries().for_each(|(_, column, _)| before[column] = true);
            tick.a.entries().filter(|&(row, ..)| live[row]).for_each(|(_, column, _)| before[column] = true);
            live = before;
            let count = |live: &[bool]| live.iter().filter(|&&is| is).count();
            if least.as_ref().is_none_or(|(_, least)| count(&live) < count(least)) {
                least = Some((k, live.clone()));
            }
        }
        let (first, live) = least.unwrap_or((0, live));
        let mut order = self.order.clone();
        order.rotate_left(first);
        let states = (0..live.len()).filter(|&state| live[state]).collect();
        (Self { sets: self.sets.clone(), order }, states)
    }

    /// Eigenvalues over one period, without the zeros of numbers that do not carry over.
    pub(crate) fn multipliers(&self) -> Vec<C64> {
        let (turned, states) = self.turned();
        let (over_period, _) = turned.over_period(&states);
        over_period.complex_eigenvalues().iter().copied().collect()
    }

    /// The matrix over one period between these states, and the rows C(k) A(k-1) ... A(0) by tick and output.
    fn over_period(&self, states: &[usize]) -> (DMatrix<f64>, Vec<Vec<f64>>) {
        let (width, outputs) = (states.len(), self.sets[0].c.rows());
        let mut block = vec![0.0; self.states() * width];
        states.iter().enumerate().for_each(|(column, &state)| block[state * width + column] = 1.0);
        let mut next = vec![0.0; block.len()];
        let mut rows = Vec::with_capacity(self.order.len());
        for tick in self.ticks() {
            let mut row = vec![0.0; outputs * width];
            tick.c.add_product(&block, width, &mut row);
            rows.push(row);
            next.fill(0.0);
            tick.a.add_product(&block, width, &mut next);
            std::mem::swap(&mut block, &mut next);
        }
        let matrix = DMatrix::from_fn(width, width, |row, column| block[states[row] * width + column]);
        (matrix, rows)
    }

    /// Prepares frequency responses.
    pub(crate) fn responses(&self) -> Responses {
        let (system, states) = self.turned();
        let (over_period, rows) = system.over_period(&states);
        let (q, h) = over_period.hessenberg().unpack();
        Responses { system, states, rows, q, h }
    }
}

/// Frequency responses of a periodic system.
#[derive(Clone, Debug)]
pub(crate) struct Responses {
    system: Periodic,
    /// The states that matter at the first tick.
    states: Vec<usize>,
    /// C(k) A(k-1) ... A(0) by tick and output.
    rows: Vec<Vec<f64>>,
    /// Orthogonal and Hessenberg factor of the matrix over one period.
    q: DMatrix<f64>,
    h: DMatrix<f64>,
}

impl Responses {
    /// Responses of `outputs` to `inputs` at an angle w in rad per tick; one row for each output.
    pub(crate) fn at(&self, angle: f64, inputs: &[usize], outputs: &[usize]) -> DMatrix<C64> {
        let system = &self.system;
        let (n, count, all) = (system.states(), inputs.len(), system.sets[0].c.rows());
        // Real and imaginary parts side by side. The state is kept turned back by e^(-j w k).
        let width = 2 * count;
        let turn = C64::from_polar(1.0, -angle);
        let mut x = vec![0.0; n * width];
        let mut next = vec![0.0; n * width];
        let mut sums = vec![0.0; all * width];
        let through = |matrix: &Sparse, into: &mut [f64]| {
            for (i, &input) in inputs.iter().enumerate() {
                for row in 0..matrix.rows() {
                    if let Ok(at) = matrix.row(row).binary_search_by_key(&input, |&(column, _)| column) {
                        into[row * width + i] += matrix.row(row)[at].1;
                    }
                }
            }
        };
        for tick in system.ticks() {
            tick.c.add_product(&x, width, &mut sums);
            through(&tick.d, &mut sums);
            next.fill(0.0);
            tick.a.add_product(&x, width, &mut next);
            through(&tick.b, &mut next);
            for row in next.chunks_exact_mut(width) {
                let (re, im) = row.split_at_mut(count);
                for (re, im) in re.iter_mut().zip(im) {
                    (*re, *im) = (*re * turn.re - *im * turn.im, *re * turn.im + *im * turn.re);
                }
            }
            std::mem::swap(&mut x, &mut next);
        }
        let end = DMatrix::from_fn(self.states.len(), count, |row, i| {
            let at = self.states[row] * width + i;
            C64::new(x[at], x[at + count])
        });
        let period = system.order.len();
        let start = self.steady(C64::from_polar(1.0, -angle * period as f64), end);
        DMatrix::from_fn(outputs.len(), count, |o, i| {
            let at = outputs[o] * width + i;
            let mut sum = C64::new(sums[at], sums[at + count]);
            let mut back = C64::new(1.0, 0.0);
            for row in &self.rows {
                let row = &row[outputs[o] * self.states.len()..(outputs[o] + 1) * self.states.len()];
                let part: C64 = row.iter().zip(start.column(i).iter()).map(|(c, x)| x * *c).sum();
                sum += back * part;
                back *= turn;
            }
            sum / period as f64
        })
    }

    /// Solves (1 - z M) X = B with the matrix M over one period: Gaussian elimination of its Hessenberg form.
    fn steady(&self, z: C64, right: DMatrix<C64>) -> DMatrix<C64> {
        let n = self.h.nrows();
        let q = self.q.map(C64::from);
        let mut right = q.transpose() * right;
        let mut left = DMatrix::from_fn(n, n, |i, j| {
            let one = if i == j { C64::new(1.0, 0.0) } else { C64::new(0.0, 0.0) };
            one - z * self.h[(i, j)]
        });
        for k in 0..n.saturating_sub(1) {
            if left[(k + 1, k)].norm_sqr() > left[(k, k)].norm_sqr() {
                left.swap_rows(k, k + 1);
                right.swap_rows(k, k + 1);
            }
            let factor = left[(k + 1, k)] / left[(k, k)];
            if factor == C64::new(0.0, 0.0) {
                continue;
            }
            for j in k..n {
                let above = left[(k, j)];
                left[(k + 1, j)] -= factor * above;
            }
            for j in 0..right.ncols() {
                let above = right[(k, j)];
                right[(k + 1, j)] -= factor * above;
            }
        }
        for j in 0..right.ncols() {
            for i in (0..n).rev() {
                let known: C64 = (i + 1..n).map(|k| left[(i, k)] * right[(k, j)]).sum();
                right[(i, j)] = (right[(i, j)] - known) / left[(i, i)];
            }
        }
        q * right
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn one(value: f64) -> Sparse {
        Sparse::new(1, 1, vec![(0, 0, value)])
    }

    fn system(gains: &[f64]) -> Periodic {
        let sets = gains.iter().map(|&a| Tick { a: one(a), b: one(1.0), c: one(1.0), d: one(0.5) });
        Periodic { sets: sets.collect(), order: (0..gains.len()).collect() }
    }

    #[test]
    fn constant_system_has_the_response_of_its_transfer_function_whatever_the_period() {
        // y = (1/(z - 0.9) + 0.5) u.
        let responses = system(&[0.9; 7]).responses();
        for angle in [0.01, 0.3, 2.0] {
            let found = responses.at(angle, &[0], &[0])[(0, 0)];
            let exact = 1.0 / (C64::from_polar(1.0, angle) - 0.9) + 0.5;
            assert!((found - exact).norm() < 1e-12, "{found} {exact}");
        }
    }

    #[test]
    fn gain_that_alternates_has_the_multiplier_and_the_mean_of_its_closed_form() {
        // x1 = 0.5 x0 + 1, x0 = 0.8 x1 + 1: settled x0 = 3, x1 = 2.5; mean 2.75.
        let system = system(&[0.5, 0.8]);
        assert!((system.multipliers()[0] - 0.4).norm() < 1e-12);
        let found = system.responses().at(0.0, &[0], &[0])[(0, 0)];
        assert!((found - 3.25).norm() < 1e-12, "{found}");
        // Opened, with u = -x: the gains are -0.5 and -0.2.
        assert!((system.opened(0).multipliers()[0] - 0.1).norm() < 1e-12);
    }
}
// DEBUG-BEGIN
impl Periodic {
    #[allow(clippy::all, missing_docs)]
    pub(crate) fn debug(&self, names: &[String], tick_s: f64) {
        let (turned, states) = self.turned();
        let (m, _) = turned.over_period(&states);
        let n = states.len();
        let period = self.order.len() as f64 * tick_s;
        let mut values: Vec<C64> = m.complex_eigenvalues().iter().copied().collect();
        values.sort_by(|a, b| b.norm().total_cmp(&a.norm()));
        for value in values.iter().take(12) {
            println!("  |l|={:.8} doubling {:.2} s, {:.3} rad/s", value.norm(),
                std::f64::consts::LN_2 * period / value.norm().ln(), value.arg() / period);
            if value.norm() < 1.0 - 1e-4 || value.im < 0.0 { continue; }
            let shift = *value * (1.0 + 1e-7) + C64::new(1e-9, 1e-9);
            let a = DMatrix::from_fn(n, n, |i, j| C64::from(m[(i, j)]) - if i == j { shift } else { C64::new(0.0, 0.0) });
            let lu = a.lu();
            let mut v = DMatrix::from_element(n, 1, C64::new(1.0, 0.3));
            for _ in 0..4 { if let Some(w) = lu.solve(&v) { let s = w.norm(); v = w / C64::from(s); } }
            let mut order: Vec<usize> = (0..n).collect();
            order.sort_by(|&i, &j| v[j].norm().total_cmp(&v[i].norm()));
            for &i in order.iter().take(14) { println!("      {:.4}  {}", v[i], names[states[i]]); }
        }
    }
}
// DEBUG-END
