//! Draws from the assigned distributions (JCGM 101:2008, 6.4 and annex C), many at a time.
//!
//! The random words are those of the generator xoshiro256++ (D. Blackman and S. Vigna, ACM Transactions on Mathematical
//! Software 47 (2021) 36). Where it starts is told for each block of draws by the stream cipher ChaCha with 8 rounds, whose key is
//! the seed and whose stream is the block's: so blocks can be drawn in any order and on any number of cores, and no two of them
//! run alike. A deviate that needs one random number takes 32 bits of it: the steps of a rectangular distribution are 2⁻³² of
//! its width, which is ten thousand times finer than a million draws can tell.

use super::Distribution;
use super::lanes::{centred, circle, ln, unit, vectorised};
use chacha20::ChaCha8Rng;
use rand_xoshiro::Xoshiro256PlusPlus;
use rand_xoshiro::rand_core::{Rng, SeedableRng};

/// The name of the generator in results.
pub const GENERATOR: &str = "xoshiro256++";

/// The random numbers of one block.
pub struct Stream {
    generator: Xoshiro256PlusPlus,
    words: Vec<u32>,
}

impl Stream {
    /// The stream of a block. The cipher's key is the seed in its first eight bytes, the lowest first, and zero
    /// after that; the stream number is the block's. Its first 32 bytes are the generator's state.
    pub fn of(seed: u64, block: u64) -> Self {
        let (mut key, mut state) = ([0; 32], [0; 32]);
        key[..8].copy_from_slice(&seed.to_le_bytes());
        let mut cipher = ChaCha8Rng::from_seed(key);
        cipher.set_stream(block);
        cipher.fill_bytes(&mut state);
        Stream { generator: Xoshiro256PlusPlus::from_seed(state), words: Vec::new() }
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

    /// The next words of the stream, the lower half of each number of the generator first.
    fn words(&mut self, count: usize) -> &[u32] {
        self.words.resize(count.next_multiple_of(2), 0);
        for pair in self.words.as_chunks_mut::<2>().0 {
            let number = self.generator.next_u64();
            *pair = [number as u32, (number >> 32) as u32];
        }
        &self.words[..count]
    }

    /// a (2 r − 1) (6.4.2.4).
    fn rectangular(&mut self, half_width: f64, out: &mut [f64]) {
        let words = self.words(out.len());
        let width = 2.0 * half_width;
        vectorised(
            #[inline(always)]
            || out.iter_mut().zip(words).for_each(|(out, word)| *out = width * centred(*word)),
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
                    *out = wide * centred(*a) + narrow * centred(*b);
                }
            },
        );
    }

    /// The cosine of an angle that may be any (6.4.6.4).
    fn arcsine(&mut self, half_width: f64, out: &mut [f64]) {
        let words = self.words(out.len());
        vectorised(
            #[inline(always)]
            || out.iter_mut().zip(words).for_each(|(out, word)| *out = half_width * circle(*word).0),
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
                    *x = standard_deviation * (-2.0 * ln(unit(*r))).sqrt();
                }
                for ((x, y), place) in left.iter_mut().zip(right).zip(places) {
                    let (radius, (cosine, sine)) = (*x, circle(*place));
                    (*x, *y) = (radius * cosine, radius * sine);
                }
            },
        );
        if odd && let (Some(last), Some(place)) = (left.last_mut(), places.last()) {
            *last *= circle(*place).0;
        }
    }

    /// By Bailey's form of the same (Mathematics of Computation 62 (1994) 779): √(ν (r^(−2/ν) − 1)) times one
    /// coordinate of a point of a circle. The other one would not be independent, and is not used.
    fn student_t(&mut self, scale: f64, degrees_of_freedom: f64, out: &mut [f64]) {
        let count = out.len();
        let (radii, places) = self.words(2 * count).split_at(count);
        for ((out, radius), place) in out.iter_mut().zip(radii).zip(places) {
            let grown = libm::expm1(-2.0 / degrees_of_freedom * ln(unit(*radius)));
            *out = scale * (degrees_of_freedom * grown).sqrt() * circle(*place).0;
        }
    }
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

    /// The key stream of test vector TC1 (256-bit key, zero; 8 rounds) of the draft
    /// `draft-strombergson-chacha-test-vectors-01` as the state of xoshiro256++, by the authors' description of it, worked
    /// out apart from this program.
    #[test]
    fn the_words_are_those_of_the_generator_and_its_state_that_of_the_cipher() {
        const WORDS: [u32; 4] = [0xdb69_2da6, 0x929c_c796, 0x81ff_4668, 0x229e_919f];
        assert_eq!(Stream::of(0, 0).words(4), WORDS);
        assert_eq!(Stream::of(0, 0).words(3), &WORDS[..3]);
    }
}
