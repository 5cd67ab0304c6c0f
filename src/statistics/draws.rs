//! Draws from the assigned distributions (JCGM 101:2008, 6.4 and annex C), many at a time.
//!
//! The random words are those of the stream cipher ChaCha with 8 rounds: the key is the seed, and each block of
//! draws has a stream of its own, so blocks can be drawn in any order and on any number of cores. A deviate
//! that needs one random number takes 32 bits of it: the steps of a rectangular distribution are 2⁻³² of its
//! width, which is ten thousand times finer than a million draws can tell.

use super::Distribution;
use super::lanes::{centred, circle, ln, unit, vectorised};
use chacha20::ChaCha8Rng;
use chacha20::rand_core::{Rng, SeedableRng};

/// The name of the generator in results.
pub const GENERATOR: &str = "ChaCha8";

/// The random numbers of one block.
pub struct Stream {
    cipher: ChaCha8Rng,
    bytes: Vec<u8>,
}

/// Four bytes of the cipher.
type Word = [u8; 4];

impl Stream {
    /// The stream of a block. The cipher's key is the seed in its first eight bytes, the lowest first, and zero
    /// after that; the stream number is the block's.
    pub fn of(seed: u64, block: u64) -> Self {
        let mut key = [0; 32];
        key[..8].copy_from_slice(&seed.to_le_bytes());
        let mut cipher = ChaCha8Rng::from_seed(key);
        cipher.set_stream(block);
        Stream { cipher, bytes: Vec::new() }
    }

    /// Draws a deviation from the estimate for each place of `out`.
    pub fn fill(&mut self, distribution: &Distribution, out: &mut [f64]) {
        match *distribution {
            Distribution::Normal { standard_deviation } => self.normal(standard_deviation, out),
            Distribution::Rectangular { half_width } => self.rectangular(half_width, out),
            Distribution::Triangular { half_width } => self.trapezoidal(half_width, 0.0, out),
            Distribution::Trapezoidal { half_width, top } => self.trapezoidal(half_width, top, out),
            Distribution::Arcsine { half_width } => self.arcsine(half_width, out),
            Distribution::StudentT { scale, degrees_of_freedom } => {
                self.student_t(scale, degrees_of_freedom, out);
            }
        }
    }

    /// The next words of the stream, the lowest byte first.
    fn words(&mut self, count: usize) -> &[Word] {
        self.bytes.resize(4 * count, 0);
        self.cipher.fill_bytes(&mut self.bytes);
        self.bytes.as_chunks().0
    }

    /// a (2 r − 1) (6.4.2.4).
    fn rectangular(&mut self, half_width: f64, out: &mut [f64]) {
        let words = self.words(out.len());
        let width = 2.0 * half_width;
        vectorised(
            #[inline(always)]
            || out.iter_mut().zip(words).for_each(|(out, word)| *out = width * centred_of(*word)),
        );
    }

    /// The sum of two rectangular deviates of half-widths a (1 + top)/2 and a (1 − top)/2 (6.4.4.4, 6.4.5.4).
    fn trapezoidal(&mut self, half_width: f64, top: f64, out: &mut [f64]) {
        let count = out.len();
        let (first, second) = self.words(2 * count).split_at(count);
        let (wide, narrow) = (half_width * (1.0 + top), half_width * (1.0 - top));
        vectorised(
            #[inline(always)]
            || {
                for ((out, a), b) in out.iter_mut().zip(first).zip(second) {
                    *out = wide * centred_of(*a) + narrow * centred_of(*b);
                }
            },
        );
    }

    /// The cosine of an angle that may be any (6.4.6.4).
    fn arcsine(&mut self, half_width: f64, out: &mut [f64]) {
        let words = self.words(out.len());
        vectorised(
            #[inline(always)]
            || out.iter_mut().zip(words).for_each(|(out, word)| *out = half_width * circle_of(*word).0),
        );
    }

    /// By Box and Muller, in pairs (C.4): √(−2 ln r) times a point of a circle is two deviates, one for each half
    /// of `out`. Where the places are odd in number, the last second one is not used.
    fn normal(&mut self, standard_deviation: f64, out: &mut [f64]) {
        let (half, odd) = (out.len().div_ceil(2), out.len() % 2 == 1);
        let (radii, places) = self.words(2 * half).split_at(half);
        let (left, right) = out.split_at_mut(half);
        vectorised(
            #[inline(always)]
            || {
                for (x, r) in left.iter_mut().zip(radii) {
                    *x = standard_deviation * (-2.0 * ln(unit_of(*r))).sqrt();
                }
                for ((x, y), place) in left.iter_mut().zip(right).zip(places) {
                    let (radius, (cosine, sine)) = (*x, circle_of(*place));
                    (*x, *y) = (radius * cosine, radius * sine);
                }
            },
        );
        if odd && let (Some(last), Some(place)) = (left.last_mut(), places.last()) {
            *last *= circle_of(*place).0;
        }
    }

    /// By Bailey's form of the same (Mathematics of Computation 62 (1994) 779): √(ν (r^(−2/ν) − 1)) times one
    /// coordinate of a point of a circle. The other one would not be independent, and is not used.
    fn student_t(&mut self, scale: f64, degrees_of_freedom: f64, out: &mut [f64]) {
        let count = out.len();
        let (radii, places) = self.words(2 * count).split_at(count);
        for ((out, radius), place) in out.iter_mut().zip(radii).zip(places) {
            let grown = libm::expm1(-2.0 / degrees_of_freedom * ln(unit_of(*radius)));
            *out = scale * (degrees_of_freedom * grown).sqrt() * circle_of(*place).0;
        }
    }
}

#[inline(always)]
fn unit_of(word: Word) -> f64 {
    unit(u32::from_le_bytes(word))
}

#[inline(always)]
fn centred_of(word: Word) -> f64 {
    centred(u32::from_le_bytes(word))
}

#[inline(always)]
fn circle_of(word: Word) -> (f64, f64) {
    circle(u32::from_le_bytes(word))
}

#[cfg(test)]
mod tests {
    use super::*;

    const ALL: [Distribution; 7] = [
        Distribution::Normal { standard_deviation: 2.0 },
        Distribution::Rectangular { half_width: 2.0 },
        Distribution::Triangular { half_width: 2.0 },
        Distribution::Trapezoidal { half_width: 2.0, top: 0.4 },
        Distribution::Arcsine { half_width: 2.0 },
        Distribution::StudentT { scale: 2.0, degrees_of_freedom: 4.0 },
        Distribution::StudentT { scale: 2.0, degrees_of_freedom: 2.5 },
    ];

    fn drawn(distribution: &Distribution, count: usize, block: u64) -> Vec<f64> {
        let mut values = vec![0.0; count];
        Stream::of(7, block).fill(distribution, &mut values);
        values
    }

    /// Kolmogorov's distance between the draws and the quantiles (inverted by bisection on the sorted draws):
    /// the largest difference of shares at 400 places. The 99.9 % point of √n D is 1.95 (Kolmogorov's limiting
    /// distribution).
    #[test]
    fn draws_follow_their_distribution() {
        let count = 100_000;
        for distribution in ALL {
            let mut values = drawn(&distribution, count, 1);
            values.sort_unstable_by(f64::total_cmp);
            for step in 1..400 {
                let share = f64::from(step) / 400.0;
                let quantile = distribution.quantile(share).unwrap();
                let below = values.partition_point(|value| *value < quantile) as f64 / count as f64;
                let distance = (below - share).abs() * (count as f64).sqrt();
                assert!(distance < 1.95, "{distribution:?} at {share}: {below}");
            }
        }
    }

    /// The two deviates of a pair are uncorrelated, and so are their squares (|r| √n is below 4).
    #[test]
    fn pairs_are_independent() {
        let values = drawn(&ALL[0], 200_000, 2);
        let (a, b) = values.split_at(100_000);
        let product = |f: fn(f64) -> f64| -> f64 {
            a.iter().zip(b).map(|(x, y)| f(x / 2.0) * f(y / 2.0)).sum::<f64>() / 100_000f64.sqrt()
        };
        assert!(product(|x| x).abs() < 4.0);
        assert!(product(|x| (x * x - 1.0) / 2f64.sqrt()).abs() < 4.0);
    }

    #[test]
    fn a_seed_and_a_block_give_the_same_draws_and_others_give_others() {
        for distribution in ALL {
            assert_eq!(drawn(&distribution, 101, 5), drawn(&distribution, 101, 5));
            assert_ne!(drawn(&distribution, 101, 5), drawn(&distribution, 101, 6));
        }
    }

    /// RFC 8439's cipher with 8 rounds, key and nonce zero: the first key-stream bytes of test vector TC1 of the
    /// draft `draft-strombergson-chacha-test-vectors-01` (256-bit key).
    #[test]
    fn the_words_are_those_of_the_cipher() {
        let mut stream = Stream::of(0, 0);
        let words: Vec<u32> = stream.words(2).iter().map(|word| u32::from_le_bytes(*word)).collect();
        assert_eq!(words, [0x2fef_003e, 0xd640_5f89]);
    }
}
