//! Small matrices of complex numbers.

/// A complex number.
pub type C64 = num_complex::Complex<f64>;

/// Rows of columns.
pub(super) type Matrix<const R: usize, const C: usize> = [[C64; C]; R];

/// Zero.
pub(super) const ZERO: C64 = C64::new(0.0, 0.0);

/// All zero.
pub(super) const fn zeros<const R: usize, const C: usize>() -> Matrix<R, C> {
    [[ZERO; C]; R]
}

/// Ones on the diagonal.
pub(super) fn identity<const N: usize>() -> Matrix<N, N> {
    diagonal([C64::new(1.0, 0.0); N])
}

/// A diagonal matrix.
pub(super) fn diagonal<const N: usize>(values: [C64; N]) -> Matrix<N, N> {
    let mut matrix = zeros();
    (0..N).for_each(|i| matrix[i][i] = values[i]);
    matrix
}

/// `a b`.
pub(super) fn product<const R: usize, const K: usize, const C: usize>(
    a: &Matrix<R, K>,
    b: &Matrix<K, C>,
) -> Matrix<R, C> {
    std::array::from_fn(|i| std::array::from_fn(|j| (0..K).map(|k| a[i][k] * b[k][j]).sum()))
}

/// `a + b`.
pub(super) fn sum<const R: usize, const C: usize>(a: &Matrix<R, C>, b: &Matrix<R, C>) -> Matrix<R, C> {
    std::array::from_fn(|i| std::array::from_fn(|j| a[i][j] + b[i][j]))
}

/// `a` times a number.
pub(super) fn scaled<const R: usize, const C: usize>(a: &Matrix<R, C>, by: C64) -> Matrix<R, C> {
    a.map(|row| row.map(|x| x * by))
}

/// A real matrix of `glam` as a complex one.
pub(super) fn complex(m: aplomb_craft::glam::DMat3) -> Matrix<3, 3> {
    std::array::from_fn(|i| std::array::from_fn(|j| C64::new(m.col(j)[i], 0.0)))
}

/// Determinant of `a`, by elimination with row exchange.
pub(super) fn determinant<const N: usize>(mut a: Matrix<N, N>) -> C64 {
    let mut value = C64::new(1.0, 0.0);
    for column in 0..N {
        let largest =
            (column..N).max_by(|&i, &j| a[i][column].norm_sqr().total_cmp(&a[j][column].norm_sqr()));
        if let Some(largest) = largest.filter(|&largest| largest != column) {
            a.swap(column, largest);
            value = -value;
        }
        let pivot = a[column];
        value *= pivot[column];
        for row in a.iter_mut().skip(column + 1) {
            let share = row[column] / pivot[column];
            (column..N).for_each(|k| row[k] -= share * pivot[k]);
        }
    }
    value
}

/// x of `a x = b`, by elimination with row exchange. Where `a` is singular the result is not finite.
pub(super) fn solve<const N: usize>(mut a: Matrix<N, N>, mut b: [C64; N]) -> [C64; N] {
    for column in 0..N {
        let largest =
            (column..N).max_by(|&i, &j| a[i][column].norm_sqr().total_cmp(&a[j][column].norm_sqr()));
        if let Some(largest) = largest {
            a.swap(column, largest);
            b.swap(column, largest);
        }
        let pivot = a[column];
        for row in (column + 1)..N {
            let share = a[row][column] / pivot[column];
            (column..N).for_each(|k| a[row][k] -= share * pivot[k]);
            let eliminated = share * b[column];
            b[row] -= eliminated;
        }
    }
    for row in (0..N).rev() {
        let known: C64 = ((row + 1)..N).map(|k| a[row][k] * b[k]).sum();
        b[row] = (b[row] - known) / a[row][row];
    }
    b
}

/// Inverse of `a`.
pub(super) fn inverse<const N: usize>(a: Matrix<N, N>) -> Matrix<N, N> {
    let columns: [[C64; N]; N] = std::array::from_fn(|j| solve(a, identity()[j]));
    std::array::from_fn(|i| std::array::from_fn(|j| columns[j][i]))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn determinant_of_a_row_exchange_is_minus_one() {
        let swap: Matrix<3, 3> =
            [[0.0, 2.0, 0.0], [1.0, 0.0, 0.0], [5.0, 7.0, 3.0]].map(|row| row.map(C64::from));
        assert!((determinant(swap) + 6.0).norm() < 1e-14);
    }

    #[test]
    fn inverse_times_matrix_is_one_even_where_the_first_pivot_vanishes() {
        let a: Matrix<3, 3> = [
            [ZERO, C64::new(2.0, 1.0), C64::new(-1.0, 0.0)],
            [C64::new(1.0, -3.0), C64::new(0.5, 0.0), ZERO],
            [C64::new(0.0, 1.0), C64::new(4.0, 0.0), C64::new(2.0, 2.0)],
        ];
        let one = product(&a, &inverse(a));
        for (i, row) in one.iter().enumerate() {
            for (j, x) in row.iter().enumerate() {
                assert!((x - if i == j { 1.0 } else { 0.0 }).norm() < 1e-14);
            }
        }
    }
}
