//! Counts of values in bins of equal width, for the picture of a section's results.

/// A histogram; values far out are counted at its ends.
#[derive(Clone, Debug, PartialEq)]
pub struct Histogram {
    /// The lower edge of the first bin: a whole number of widths.
    pub low: f64,
    /// The width of a bin: 1, 2 or 5 times a power of ten.
    pub width: f64,
    /// How many values each bin holds; its lower edge belongs to it.
    pub counts: Vec<usize>,
    /// How many lie below the first bin.
    pub below: usize,
    /// How many lie above the last.
    pub above: usize,
}

/// Most bins.
const MOST_BINS: usize = 60;
/// Values so many standard deviations from the middle are far out.
const FAR: f64 = 4.0;

impl Histogram {
    /// A histogram of values around `middle` with the scatter `s`, its bins as wide as D. W. Scott's rule says for `n` values
    /// (Biometrika 66 (1979) 605: 3.49 s n^(−1/3)) or `finer` times narrower, rounded to a handy number. `None` without
    /// a value or scatter.
    pub fn around(values: &[f64], middle: f64, s: f64, finer: f64) -> Option<Self> {
        if values.is_empty() || !(s.is_finite() && s > 0.0 && middle.is_finite()) {
            return None;
        }
        let n = values.len() as f64;
        let width = handy(3.49 * s / libm::cbrt(n) / finer);
        if !(width.is_finite() && width > 0.0) {
            return None;
        }
        let within = values.iter().copied().filter(|value| (value - middle).abs() <= FAR * s);
        let (least, most) = within.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), v| (l.min(v), m.max(v)));
        if least > most {
            return None;
        }
        let first = (least / width).floor();
        let bins = ((most / width).floor() - first) as usize + 1;
        let mut histogram =
            Histogram { low: first * width, width, counts: vec![0; bins.min(MOST_BINS)], below: 0, above: 0 };
        values.iter().for_each(|value| histogram.count(*value, first));
        Some(histogram)
    }

    fn count(&mut self, value: f64, first: f64) {
        match (value / self.width).floor() - first {
            bin if bin < 0.0 => self.below += 1,
            bin if bin >= self.counts.len() as f64 => self.above += 1,
            bin => self.counts[bin as usize] += 1,
        }
    }

    /// The same bins for other values.
    pub fn again(&self, values: &[f64]) -> Self {
        let first = (self.low / self.width).round();
        let mut other = Histogram { counts: vec![0; self.counts.len()], below: 0, above: 0, ..self.clone() };
        values.iter().for_each(|value| other.count(*value, first));
        other
    }

    /// The lower edge of a bin.
    pub fn edge(&self, bin: usize) -> f64 {
        self.low + bin as f64 * self.width
    }
}

/// The largest of 1, 2, 5 × 10ⁿ that is not above a width (one above it within rounding).
fn handy(width: f64) -> f64 {
    let power = libm::pow(10.0, libm::floor(libm::log10(width)));
    let factor = width / power;
    let handy = [5.0, 2.0, 1.0].into_iter().find(|handy| factor >= handy * (1.0 - 1e-9));
    handy.unwrap_or(1.0) * power
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bins_are_handy_and_hold_every_value() {
        let values: Vec<f64> = (0..100).map(|i| 36.0 + f64::from(i) * 0.001).collect();
        // Scott: 3.49 × 0.03/100^(1/3) = 0.0226, so 0.02.
        let histogram = Histogram::around(&values, 36.05, 0.03, 1.0).unwrap();
        assert!((histogram.width - 0.02).abs() < 1e-12, "{histogram:?}");
        assert_eq!(histogram.counts.iter().sum::<usize>(), 100);
        assert_eq!(histogram.counts.len(), 5);
    }

    #[test]
    fn far_values_stand_at_the_ends() {
        let values = [1.0, 1.1, 1.2, 50.0, -70.0, 1.1];
        let histogram = Histogram::around(&values, 1.1, 0.1, 1.0).unwrap();
        assert_eq!((histogram.below, histogram.above), (1, 1));
        assert_eq!(histogram.counts.iter().sum::<usize>(), 4);
        assert_eq!(histogram.again(&[1.1]).counts.iter().sum::<usize>(), 1);
    }

    #[test]
    fn without_scatter_there_is_none() {
        assert_eq!(Histogram::around(&[], 0.0, 1.0, 1.0), None);
        assert_eq!(Histogram::around(&[1.0], 1.0, 0.0, 1.0), None);
    }
}
