//! Declared correlations: the inputs they join are drawn together, as a multivariate normal distribution with the
//! stated standard uncertainties (JCGM 101:2008, 6.4.8 and C.5).

use super::super::inputs::Inputs;
use super::super::tape::Drawing;
use super::block::Correlated;
use std::collections::BTreeMap;

/// The groups of correlated inputs among the drawings of a tape, by their registers. `None` where no quantities can
/// have the correlations stated.
pub(super) fn groups(inputs: &Inputs, drawings: &[Drawing]) -> Option<Vec<Correlated>> {
    let place = |source: usize| drawings.iter().position(|drawing| *drawing == Drawing::Source(source));
    let mut pairs = Vec::new();
    for correlation in inputs.correlations() {
        if let (Some(a), Some(b)) = (place(correlation.a), place(correlation.b))
            && correlation.coefficient != 0.0
        {
            pairs.push((a, b, correlation.coefficient));
        }
    }
    let mut group_of: Vec<usize> = (0..drawings.len()).collect();
    for (a, b, _) in &pairs {
        let (into, from) = (group_of[*a].min(group_of[*b]), group_of[*a].max(group_of[*b]));
        group_of.iter_mut().filter(|group| **group == from).for_each(|group| *group = into);
    }
    let mut members: BTreeMap<usize, Vec<usize>> = BTreeMap::new();
    group_of.iter().enumerate().for_each(|(input, group)| members.entry(*group).or_default().push(input));
    let joined = members.into_values().filter(|members| members.len() > 1);
    joined
        .map(|members| {
            let sd = |register: usize| match drawings[register] {
                Drawing::Source(source) => inputs.sources()[source].standard_uncertainty(),
                Drawing::Scatter(scatter) => scatter.standard,
            };
            let deviations: Vec<f64> = members.iter().map(|input| sd(*input)).collect();
            let root = root(&correlations(&members, &pairs))?;
            let scaled = root.into_iter().zip(&deviations);
            Some(Correlated {
                registers: members,
                root: scaled.map(|(row, sd)| row.into_iter().map(|x| x * sd).collect()).collect(),
            })
        })
        .collect()
}

/// The matrix of correlation coefficients of some inputs.
fn correlations(members: &[usize], pairs: &[(usize, usize, f64)]) -> Vec<Vec<f64>> {
    let n = members.len();
    let mut matrix: Vec<Vec<f64>> =
        (0..n).map(|i| (0..n).map(|j| if i == j { 1.0 } else { 0.0 }).collect()).collect();
    for (a, b, coefficient) in pairs {
        let at = |input: &usize| members.iter().position(|member| member == input);
        if let (Some(a), Some(b)) = (at(a), at(b)) {
            matrix[a][b] = *coefficient;
            matrix[b][a] = *coefficient;
        }
    }
    matrix
}

/// The lower triangular root of a matrix of correlations (Cholesky). One of full correlation has zeros on its
/// diagonal; below zero there is none.
fn root(matrix: &[Vec<f64>]) -> Option<Vec<Vec<f64>>> {
    const ROUNDING: f64 = 1e-12;
    let mut root: Vec<Vec<f64>> = Vec::new();
    for (i, row) in matrix.iter().enumerate() {
        let mut new = vec![0.0; i + 1];
        for j in 0..=i {
            let upper = if j == i { &new } else { &root[j] };
            let known: f64 = (0..j).map(|k| new[k] * upper[k]).sum();
            let rest = row[j] - known;
            new[j] = match j == i {
                true if rest < -ROUNDING => return None,
                true => rest.max(0.0).sqrt(),
                false if root[j][j] > ROUNDING.sqrt() => rest / root[j][j],
                false if rest.abs() > ROUNDING.sqrt() => return None,
                false => 0.0,
            };
        }
        root.push(new);
    }
    Some(root)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_root_times_itself_is_the_matrix() {
        let matrix = vec![vec![1.0, 0.9, -0.2], vec![0.9, 1.0, 0.1], vec![-0.2, 0.1, 1.0]];
        let root = root(&matrix).unwrap();
        let at = |row: usize, k: usize| root[row].get(k).copied().unwrap_or(0.0);
        for (i, row) in matrix.iter().enumerate() {
            for (j, expected) in row.iter().enumerate() {
                let product: f64 = (0..3).map(|k| at(i, k) * at(j, k)).sum();
                assert!((product - expected).abs() < 1e-14);
            }
        }
    }

    #[test]
    fn full_correlation_has_a_root_and_an_impossible_one_has_none() {
        assert_eq!(root(&[vec![1.0, -1.0], vec![-1.0, 1.0]]).unwrap(), vec![vec![1.0], vec![-1.0, 0.0]]);
        let impossible = [vec![1.0, 0.9, 0.9], vec![0.9, 1.0, -0.9], vec![0.9, -0.9, 1.0]];
        assert_eq!(root(&impossible), None);
    }
}
