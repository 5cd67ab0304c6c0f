//! The vectors that a matrix of fractions takes to zero, exactly: what balancing an equation comes down to.
//!
//! Vectors and rows are plain lists. Every row of a matrix and every vector of a basis has one place per column,
//! and columns are only counted from that same length, so indexing by column cannot fail.

use dashu_int::ops::Gcd;
use dashu_int::{IBig, UBig};
use dashu_ratio::RBig;

/// Most subsets of columns looked at for the edges of a cone.
const MOST_SUBSETS: usize = 4000;

/// A basis of the vectors that every row takes to zero, one per free column (Gauss–Jordan, exact).
pub(super) fn null_space(rows: &[Vec<RBig>], columns: usize) -> Vec<Vec<RBig>> {
    let (reduced, pivots) = reduce(rows.to_vec(), columns);
    let free = (0..columns).filter(|column| !pivots.contains(column));
    free.map(|free| {
        let mut vector = vec![RBig::ZERO; columns];
        vector[free] = RBig::ONE;
        for (row, pivot) in reduced.iter().zip(&pivots) {
            vector[*pivot] = -row[free].clone();
        }
        vector
    })
    .collect()
}

/// Row-reduced rows and the column of each one's leading one. All rows have `columns` places.
fn reduce(mut rows: Vec<Vec<RBig>>, columns: usize) -> (Vec<Vec<RBig>>, Vec<usize>) {
    let mut pivots = Vec::new();
    for column in 0..columns {
        let rank = pivots.len();
        let Some(found) = (rank..rows.len()).find(|row| !rows[*row][column].is_zero()) else { continue };
        rows.swap(rank, found);
        let leading = rows[rank][column].clone();
        rows[rank].iter_mut().for_each(|value| *value /= &leading);
        let pivot_row = rows[rank].clone();
        for (_, row) in rows.iter_mut().enumerate().filter(|(at, row)| *at != rank && !row[column].is_zero())
        {
            subtract_multiple(row, &pivot_row, column);
        }
        pivots.push(column);
    }
    (rows, pivots)
}

fn subtract_multiple(row: &mut [RBig], pivot_row: &[RBig], column: usize) {
    let factor = row[column].clone();
    for (value, pivot) in row.iter_mut().zip(pivot_row).filter(|(_, pivot)| !pivot.is_zero()) {
        *value -= &factor * pivot;
    }
}

/// The smallest whole multiple of a vector, its sign such that most entries are above zero (of equally many,
/// the first one).
pub(super) fn smallest_whole(vector: &[RBig]) -> Vec<IBig> {
    let common = vector.iter().fold(UBig::ONE, |common, value| {
        let divisor = (&common).gcd(value.denominator());
        common / divisor * value.denominator()
    });
    let scaled = vector.iter().map(|value| value.numerator() * IBig::from(&common / value.denominator()));
    let scaled: Vec<IBig> = scaled.collect();
    let nonzero = scaled.iter().filter(|value| **value != IBig::ZERO);
    // Of no value but zeros there is no divisor; one leaves them as they are.
    let divisor = nonzero.clone().map(magnitude).reduce(|a, b| a.gcd(&b)).unwrap_or(UBig::ONE);
    let divisor = IBig::from(divisor);
    let sign = if mostly_below_zero(&scaled) { -IBig::ONE } else { IBig::ONE };
    scaled.iter().map(|value| value / &divisor * &sign).collect()
}

fn magnitude(value: &IBig) -> UBig {
    value.clone().into_parts().1
}

fn mostly_below_zero(values: &[IBig]) -> bool {
    let below = values.iter().filter(|value| **value < IBig::ZERO).count();
    let above = values.iter().filter(|value| **value > IBig::ZERO).count();
    let first_below =
        values.iter().find(|value| **value != IBig::ZERO).is_some_and(|value| *value < IBig::ZERO);
    below > above || (below == above && first_below)
}

/// The edges of the cone of solutions without negative coefficients; `None` where there are too many
/// subsets to look at.
pub(super) fn edges(basis: &[Vec<RBig>]) -> Option<Vec<Vec<RBig>>> {
    let columns = basis.first().map_or(0, Vec::len);
    let mut edges: Vec<Vec<RBig>> = Vec::new();
    for zeros in subsets(columns, basis.len().saturating_sub(1))? {
        let Some(edge) = solution_with_zeros(basis, &zeros) else { continue };
        if edge.iter().all(|value| *value >= RBig::ZERO) && !edges.contains(&edge) {
            edges.push(edge);
        }
    }
    Some(edges)
}

/// The one solution (whole, up to a factor) that is zero in these columns; `None` if there are more.
fn solution_with_zeros(basis: &[Vec<RBig>], zeros: &[usize]) -> Option<Vec<RBig>> {
    let conditions: Vec<Vec<RBig>> =
        zeros.iter().map(|column| basis.iter().map(|vector| vector[*column].clone()).collect()).collect();
    let weights = null_space(&conditions, basis.len());
    let [weights] = weights.as_slice() else { return None };
    let columns = basis.first().map_or(0, Vec::len);
    let value = |column: usize| {
        let parts = basis.iter().zip(weights).map(|(vector, weight)| &vector[column] * weight);
        parts.fold(RBig::ZERO, |sum, part| sum + part)
    };
    let vector: Vec<RBig> = (0..columns).map(value).collect();
    Some(smallest_whole(&vector).into_iter().map(RBig::from).collect())
}

/// All subsets of `size` of the numbers below `count`, or `None` if there are more than the limit.
fn subsets(count: usize, size: usize) -> Option<Vec<Vec<usize>>> {
    let mut subsets = vec![Vec::new()];
    for _ in 0..size {
        let longer = |subset: &Vec<usize>| {
            let next = subset.last().map_or(0, |last| last + 1);
            let subset = subset.clone();
            (next..count).map(move |member| subset.iter().copied().chain([member]).collect())
        };
        subsets = subsets.iter().flat_map(longer).take(MOST_SUBSETS + 1).collect();
        if subsets.len() > MOST_SUBSETS {
            return None;
        }
    }
    Some(subsets)
}

/// The first `wanted` vectors none of which is a combination of those before it.
pub(super) fn independent(vectors: &[Vec<RBig>], wanted: usize) -> Vec<Vec<RBig>> {
    let mut chosen: Vec<Vec<RBig>> = Vec::new();
    for vector in vectors {
        let tried: Vec<Vec<RBig>> = chosen.iter().chain([vector]).cloned().collect();
        let (_, pivots) = reduce(tried, vector.len());
        if pivots.len() > chosen.len() && chosen.len() < wanted {
            chosen.push(vector.clone());
        }
    }
    chosen
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn fractions(values: &[i32]) -> Vec<RBig> {
        values.iter().map(|value| RBig::from(*value)).collect()
    }

    fn whole(values: &[i32]) -> Vec<IBig> {
        values.iter().map(|value| IBig::from(*value)).collect()
    }

    fn product(row: &[RBig], vector: &[RBig]) -> RBig {
        row.iter().zip(vector).fold(RBig::ZERO, |sum, (a, b)| sum + a * b)
    }

    #[test]
    fn the_smallest_whole_multiple_has_mostly_positive_entries() {
        let halves: Vec<RBig> = fractions(&[-2, -3, 6]).iter().map(|value| value / RBig::from(6)).collect();
        assert_eq!(smallest_whole(&halves), whole(&[2, 3, -6]));
        assert_eq!(smallest_whole(&fractions(&[-4, 6])), whole(&[2, -3]));
        assert_eq!(smallest_whole(&fractions(&[0, 0])), whole(&[0, 0]));
    }

    /// The plane x + y = z + w in the positive quadrant has four edges.
    #[test]
    fn edges_of_a_cone() {
        let basis = null_space(&[fractions(&[1, 1, -1, -1])], 4);
        let mut edges = edges(&basis).expect("few subsets");
        edges.sort();
        let expected = [[0, 1, 0, 1], [0, 1, 1, 0], [1, 0, 0, 1], [1, 0, 1, 0]];
        assert_eq!(edges, expected.map(|edge| fractions(&edge)));
    }

    #[test]
    fn too_many_subsets_are_not_looked_at() {
        assert_eq!(subsets(4, 2).map(|subsets| subsets.len()), Some(6));
        assert_eq!(subsets(64, 30), None);
    }

    proptest! {
        /// Every basis vector goes to zero, and rank and nullity add up to the columns.
        #[test]
        fn a_null_space_is_one(matrix in prop::collection::vec(prop::collection::vec(-3i32..4, 5), 1..5)) {
            let rows: Vec<Vec<RBig>> = matrix.iter().map(|row| fractions(row)).collect();
            let basis = null_space(&rows, 5);
            for (row, vector) in rows.iter().flat_map(|row| basis.iter().map(move |vector| (row, vector))) {
                prop_assert!(product(row, vector).is_zero());
            }
            let (_, pivots) = reduce(rows, 5);
            prop_assert_eq!(pivots.len() + basis.len(), 5);
            prop_assert_eq!(independent(&basis, 5).len(), basis.len());
        }
    }
}
