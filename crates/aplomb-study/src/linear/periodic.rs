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

use nalgebra::{DMatrix, DMatrixView};

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

    /// For each tick, whether each state matters at its start: outputs from then on depend on it.
    fn live(&self) -> Vec<Vec<bool>> {
        let mut live = vec![vec![true; self.states()]; self.order.len() + 1];
        // Twice round, since what matters at the end of a period depends on the next one.
        for _ in 0..2 {
            for (k, tick) in self.ticks().enumerate().rev() {
                let mut before = vec![false; self.states()];
                tick.c.entries().for_each(|(_, column, _)| before[column] = true);
                let passed_on = tick.a.entries().filter(|&(row, ..)| live[k + 1][row]);
                passed_on.for_each(|(_, column, _)| before[column] = true);
                live[k] = before;
            }
            let first = live[0].clone();
            live[self.order.len()] = first;
        }
        live
    }

    /// The same system from the tick on at which the fewest states matter.
    fn turned(&self) -> Self {
        let live = self.live();
        let first = (0..self.order.len()).min_by_key(|&k| count(&live[k])).unwrap_or(0);
        let mut order = self.order.clone();
        order.rotate_left(first);
        Self { sets: self.sets.clone(), order }
    }

    /// The period in segments of up to [`SEGMENT`] ticks, each from a tick on at which few states matter.
    fn segments(&self) -> Vec<Segment> {
        let live = self.live();
        let states = |k: usize| (0..self.states()).filter(|&state| live[k][state]).collect::<Vec<_>>();
        let mut first = 0;
        let mut segments = Vec::new();
        while first < self.order.len() {
            let latest = (first + SEGMENT).min(self.order.len());
            let end = if latest == self.order.len() {
                latest
            } else {
                (first + SEGMENT / 2..=latest).min_by_key(|&k| count(&live[k])).unwrap_or(latest)
            };
            segments.push(self.segment(first, end, &states(first), &states(end)));
            first = end;
        }
        segments
    }

    /// The ticks from `first` to before `end`.
    fn segment(&self, first: usize, end: usize, from: &[usize], to: &[usize]) -> Segment {
        let (inputs, outputs) = (self.sets[0].b.columns(), self.sets[0].c.rows());
        let ticks = || self.order[first..end].iter().map(|&set| &self.sets[set]);
        let length = end - first;
        let mut reading = DMatrix::zeros(outputs * from.len(), length);
        let mut driving = DMatrix::zeros(to.len() * inputs, length);
        let mut lags = DMatrix::zeros(outputs * inputs, length);
        // Adds a block, stored by rows, to a column that holds it by columns.
        let add = |matrix: &mut DMatrix<f64>, column: usize, block: &[f64], width: usize| {
            let rows = block.len() / width;
            for (i, value) in block.iter().enumerate() {
                matrix[(i % width * rows + i / width, column)] += value;
            }
        };
        let mut next = Vec::new();
        let mut step = |tick: &Tick, block: &mut Vec<f64>, width: usize| {
            next.clear();
            next.resize(block.len(), 0.0);
            tick.a.add_product(block, width, &mut next);
            std::mem::swap(block, &mut next);
        };
        let read = |tick: &Tick, block: &[f64], width: usize| {
            let mut rows = vec![0.0; outputs * width];
            tick.c.add_product(block, width, &mut rows);
            rows
        };
        let mut block = vec![0.0; self.states() * from.len()];
        from.iter().enumerate().for_each(|(column, &state)| block[state * from.len() + column] = 1.0);
        for (k, tick) in ticks().enumerate() {
            add(&mut reading, k, &read(tick, &block, from.len()), from.len());
            step(tick, &mut block, from.len());
        }
        let passing =
            DMatrix::from_fn(to.len(), from.len(), |row, column| block[to[row] * from.len() + column]);
        for (k, tick) in ticks().enumerate() {
            tick.d.entries().for_each(|(row, column, value)| lags[(column * outputs + row, 0)] += value);
            let mut block = vec![0.0; self.states() * inputs];
            tick.b.entries().for_each(|(row, column, value)| block[row * inputs + column] = value);
            for (lag, tick) in ticks().skip(k + 1).enumerate() {
                add(&mut lags, lag + 1, &read(tick, &block, inputs), inputs);
                step(tick, &mut block, inputs);
            }
            let kept: Vec<f64> =
                to.iter().flat_map(|&state| block[state * inputs..][..inputs].to_vec()).collect();
            add(&mut driving, k, &kept, inputs);
        }
        Segment { first, passing, reading, driving, lags }
    }

    /// Eigenvalues over one period, without the zeros of numbers that do not carry over.
    pub(crate) fn multipliers(&self) -> Vec<C64> {
        let turned = self.turned();
        let live = turned.live();
        let states: Vec<usize> = (0..turned.states()).filter(|&state| live[0][state]).collect();
        let width = states.len();
        let mut block = vec![0.0; turned.states() * width];
        states.iter().enumerate().for_each(|(column, &state)| block[state * width + column] = 1.0);
        let mut next = vec![0.0; block.len()];
        for tick in turned.ticks() {
            next.fill(0.0);
            tick.a.add_product(&block, width, &mut next);
            std::mem::swap(&mut block, &mut next);
        }
        let matrix = DMatrix::from_fn(width, width, |row, column| block[states[row] * width + column]);
        matrix.complex_eigenvalues().iter().copied().collect()
    }

    /// Prepares frequency responses.
    pub(crate) fn responses(&self) -> Responses {
        let turned = self.turned();
        let segments = turned.segments();
        let states = segments[0].passing.ncols();
        let outputs = self.sets[0].c.rows();
        let mut over_period = DMatrix::identity(states, states);
        let mut reading = DMatrix::zeros(outputs * states, self.order.len());
        for one in &segments {
            for (k, column) in one.reading.column_iter().enumerate() {
                let column = DMatrixView::from_slice(column.as_slice(), outputs, over_period.nrows());
                reading.column_mut(one.first + k).copy_from_slice((column * &over_period).as_slice());
            }
            over_period = &one.passing * over_period;
        }
        let (q, h) = over_period.hessenberg().unpack();
        Responses { period: self.order.len(), inputs: self.sets[0].b.columns(), segments, reading, q, h }
    }
}

fn count(live: &[bool]) -> usize {
    live.iter().filter(|&&is| is).count()
}

/// Most ticks of a segment.
const SEGMENT: usize = 32;

/// Some ticks in a row, by the states x that matter at their start and the inputs u.
#[derive(Clone, Debug)]
struct Segment {
    /// Its first tick.
    first: usize,
    /// From the states at the start to those at the end.
    passing: DMatrix<f64>,
    /// From the states at the start to the outputs, a tick a column: a matrix of a row for each output, by
    /// columns.
    reading: DMatrix<f64>,
    /// From the inputs to the states at the end, a tick a column: a matrix of a row for each state.
    driving: DMatrix<f64>,
    /// From the inputs to the outputs within the segment, a lag a column: a matrix of a row for each output.
    lags: DMatrix<f64>,
}

/// Frequency responses of a periodic system.
#[derive(Clone, Debug)]
pub(crate) struct Responses {
    period: usize,
    inputs: usize,
    segments: Vec<Segment>,
    /// From the states at the start of the period to the outputs, as that of a segment.
    reading: DMatrix<f64>,
    /// Orthogonal and Hessenberg factor of the matrix over one period.
    q: DMatrix<f64>,
    h: DMatrix<f64>,
}

/// Sums of the columns, the k-th times `e^(j angle (first + k))`: for each angle the real and the imaginary
/// part as two columns.
fn turned_sums(columns: &DMatrix<f64>, first: usize, angles: &[f64], sign: f64) -> DMatrix<f64> {
    let turns = DMatrix::from_fn(columns.ncols(), 2 * angles.len(), |k, part| {
        let (sin, cos) = libm::sincos(sign * angles[part / 2] * (first + k) as f64);
        if part % 2 == 0 { cos } else { sin }
    });
    columns * turns
}

/// The outputs of the states x at the f-th angle, with the sums of a reading.
fn reading(sums: &DMatrix<f64>, f: usize, outputs: usize, x: &DMatrix<C64>) -> DMatrix<C64> {
    let part = |part: usize, x: &DMatrix<f64>| {
        let column = sums.column(2 * f + part);
        DMatrixView::from_slice(column.as_slice(), outputs, x.nrows()) * x
    };
    let (re, im) = (x.map(|z| z.re), x.map(|z| z.im));
    (part(0, &re) - part(1, &im)).zip_map(&(part(0, &im) + part(1, &re)), C64::new)
}

/// A real matrix times a complex one.
fn product(real: &DMatrix<f64>, complex: &DMatrix<C64>) -> DMatrix<C64> {
    (real * complex.map(|z| z.re)).zip_map(&(real * complex.map(|z| z.im)), C64::new)
}

impl Responses {
    /// Response of each output, a row, to each input, a column, at each angle w in rad per tick.
    ///
    /// The states at all angles are columns of one real matrix: by angle, real and imaginary part, and input.
    pub(crate) fn at(&self, angles: &[f64]) -> Vec<DMatrix<C64>> {
        let (inputs, states) = (self.inputs, self.h.nrows());
        let outputs = self.segments[0].lags.nrows() / inputs;
        let width = 2 * inputs * angles.len();
        let pass = |x: &DMatrix<f64>, one: &Segment| {
            let driven = turned_sums(&one.driving, one.first, angles, 1.0);
            let mut next = DMatrix::from_vec(one.passing.nrows(), width, driven.data.into());
            next.gemm(1.0, &one.passing, x, 1.0);
            next
        };
        let mut sums = vec![DMatrix::<C64>::zeros(outputs, inputs); angles.len()];
        // From rest, for one period.
        let mut x = DMatrix::zeros(states, width);
        for one in &self.segments {
            let read = turned_sums(&one.reading, one.first, angles, -1.0);
            let lags = turned_sums(&one.lags, 0, angles, -1.0);
            for (f, sum) in sums.iter_mut().enumerate() {
                let column = |part: usize| C64::new(lags[(part, 2 * f)], lags[(part, 2 * f + 1)]);
                let x = x.columns(2 * f * inputs, 2 * inputs);
                let x = DMatrix::from_fn(x.nrows(), inputs, |i, j| C64::new(x[(i, j)], x[(i, j + inputs)]));
                *sum += reading(&read, f, outputs, &x);
                *sum += DMatrix::from_fn(outputs, inputs, |i, j| column(i + j * outputs));
            }
            x = pass(&x, one);
        }
        // After a period the steady state is itself, turned: x e^(j w N) = M x + end.
        let read = turned_sums(&self.reading, 0, angles, -1.0);
        for (f, (sum, angle)) in sums.iter_mut().zip(angles).enumerate() {
            let end = x.columns(2 * f * inputs, 2 * inputs);
            let end = DMatrix::from_fn(states, inputs, |i, j| C64::new(end[(i, j)], end[(i, j + inputs)]));
            let back = C64::from_polar(1.0, -angle * self.period as f64);
            *sum += reading(&read, f, outputs, &self.steady(back, end * back));
        }
        sums.into_iter().map(|sum| sum / C64::from(self.period as f64)).collect()
    }

    /// Solves (1 - z M) X = B with the matrix M over one period: Gaussian elimination of its Hessenberg form.
    fn steady(&self, z: C64, right: DMatrix<C64>) -> DMatrix<C64> {
        let n = self.h.nrows();
        let mut right = product(&self.q.transpose(), &right);
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
        product(&self.q, &right)
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
            let found = responses.at(&[angle])[0][(0, 0)];
            let exact = 1.0 / (C64::from_polar(1.0, angle) - 0.9) + 0.5;
            assert!((found - exact).norm() < 1e-12, "{found} {exact}");
        }
    }

    #[test]
    fn gain_that_alternates_has_the_multiplier_and_the_mean_of_its_closed_form() {
        // x1 = 0.5 x0 + 1, x0 = 0.8 x1 + 1: settled x0 = 3, x1 = 2.5; mean 2.75.
        let system = system(&[0.5, 0.8]);
        assert!((system.multipliers()[0] - 0.4).norm() < 1e-12);
        let found = system.responses().at(&[0.0])[0][(0, 0)];
        assert!((found - 3.25).norm() < 1e-12, "{found}");
        // Opened, with u = -x: the gains are -0.5 and -0.2.
        assert!((system.opened(0).multipliers()[0] - 0.1).norm() < 1e-12);
    }
}
