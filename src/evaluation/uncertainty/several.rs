//! Functions of one or several numbers in `f64`, and their partial derivatives (JCGM 100:2008, 5.1.3): what the walk along
//! the graph, the prepared formula and the Monte Carlo draws have in common.

/// By squaring, so that the result is the same on every system.
pub(super) fn power(x: f64, n: i64) -> f64 {
    let (mut result, mut square, mut left) = (1.0, x, n.unsigned_abs());
    while left > 0 {
        if left & 1 == 1 {
            result *= square;
        }
        square *= square;
        left >>= 1;
    }
    if n < 0 { 1.0 / result } else { result }
}

fn lesser(a: f64, b: f64) -> f64 {
    match a.partial_cmp(&b) {
        Some(std::cmp::Ordering::Less) => a,
        Some(_) => b,
        None => f64::NAN,
    }
}

fn greater(a: f64, b: f64) -> f64 {
    -lesser(-a, -b)
}

fn mean(x: &[f64]) -> f64 {
    x.iter().sum::<f64>() / x.len() as f64
}

pub(super) fn standard_deviation(x: &[f64]) -> f64 {
    let mean = mean(x);
    (x.iter().map(|x| (x - mean) * (x - mean)).sum::<f64>() / (x.len() as f64 - 1.0)).sqrt()
}

pub(super) fn average_deviation(x: &[f64]) -> f64 {
    let mean = mean(x);
    x.iter().map(|x| (x - mean).abs()).sum::<f64>() / x.len() as f64
}

pub(super) fn smallest(x: &[f64]) -> f64 {
    x.iter().copied().fold(f64::INFINITY, lesser)
}

pub(super) fn largest(x: &[f64]) -> f64 {
    x.iter().copied().fold(f64::NEG_INFINITY, greater)
}

pub(super) fn range(x: &[f64]) -> f64 {
    largest(x) - smallest(x)
}

/// One for the (first) input that the value is, zero for the others.
pub(super) fn indicator(x: &[f64], value: f64) -> Vec<f64> {
    let chosen = x.iter().position(|x| *x == value);
    (0..x.len()).map(|index| f64::from(u8::from(Some(index) == chosen))).collect()
}

/// ∂s/∂xᵢ = (xᵢ − mean) / ((n − 1) s).
pub(super) fn of_standard_deviation(x: &[f64], s: f64) -> Vec<f64> {
    let mean = mean(x);
    let divisor = (x.len() as f64 - 1.0) * s;
    x.iter().map(|x| if divisor == 0.0 { 0.0 } else { (x - mean) / divisor }).collect()
}

pub(super) fn of_range(x: &[f64]) -> Vec<f64> {
    indicator(x, largest(x)).iter().zip(indicator(x, smallest(x))).map(|(up, down)| up - down).collect()
}

/// Of Σ|xⱼ − mean| / n: (sign(xᵢ − mean) − the mean sign) / n.
pub(super) fn of_average_deviation(x: &[f64]) -> Vec<f64> {
    let n = x.len() as f64;
    let mean = mean(x);
    let sign = |x: f64| if x == mean { 0.0 } else { (x - mean).signum() };
    let mean_sign = x.iter().map(|x| sign(*x)).sum::<f64>() / n;
    x.iter().map(|x| (sign(*x) - mean_sign) / n).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_no_number_goes_through_minimum_and_maximum() {
        for (a, b) in [(f64::NAN, 1.0), (1.0, f64::NAN)] {
            assert!(lesser(a, b).is_nan() && greater(a, b).is_nan());
        }
        assert_eq!((lesser(1.0, 2.0), greater(1.0, 2.0)), (1.0, 2.0));
    }

    #[test]
    fn powers_are_exact_where_they_can_be() {
        assert_eq!((power(3.0, 5), power(2.0, -3), power(7.0, 0)), (243.0, 0.125, 1.0));
    }
}
