//! Sparse matrices: most numbers of a state only move on by one row.

/// A matrix by rows, without its zeros.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Sparse {
    columns: usize,
    /// First entry of each row, and one past the last.
    starts: Vec<usize>,
    entries: Vec<(usize, f64)>,
}

impl Sparse {
    /// From entries (row, column, value) in any order; each row and column at most once.
    pub(crate) fn new(rows: usize, columns: usize, mut entries: Vec<(usize, usize, f64)>) -> Self {
        entries.sort_unstable_by_key(|&(row, column, _)| (row, column));
        let mut starts = vec![0; rows + 1];
        entries.iter().for_each(|&(row, ..)| starts[row + 1] += 1);
        (0..rows).for_each(|row| starts[row + 1] += starts[row]);
        Self {
            columns,
            starts,
            entries: entries.into_iter().map(|(_, column, value)| (column, value)).collect(),
        }
    }

    pub(crate) fn rows(&self) -> usize {
        self.starts.len() - 1
    }

    pub(crate) fn columns(&self) -> usize {
        self.columns
    }

    /// Entries (column, value) of a row.
    pub(crate) fn row(&self, row: usize) -> &[(usize, f64)] {
        &self.entries[self.starts[row]..self.starts[row + 1]]
    }

    /// All entries (row, column, value).
    pub(crate) fn entries(&self) -> impl Iterator<Item = (usize, usize, f64)> {
        (0..self.rows())
            .flat_map(|row| self.row(row).iter().map(move |&(column, value)| (row, column, value)))
    }

    /// The rows and columns that are kept, in their order.
    pub(crate) fn restricted(&self, rows: &[usize], columns: &[usize]) -> Self {
        let mut place = vec![None; self.columns];
        columns.iter().enumerate().for_each(|(new, &old)| place[old] = Some(new));
        let entries = rows.iter().enumerate().flat_map(|(new, &old)| {
            let place = &place;
            self.row(old).iter().filter_map(move |&(column, value)| Some((new, place[column]?, value)))
        });
        Self::new(rows.len(), columns.len(), entries.collect())
    }

    /// The product with a block of `width` columns, stored by rows, added to `into`.
    pub(crate) fn add_product(&self, block: &[f64], width: usize, into: &mut [f64]) {
        for (row, sum) in into.chunks_exact_mut(width).enumerate() {
            for &(column, value) in self.row(row) {
                let from = &block[column * width..(column + 1) * width];
                sum.iter_mut().zip(from).for_each(|(sum, x)| *sum += value * x);
            }
        }
    }
}
