//! Loops over many numbers at once, compiled for the vector units of the processor they run on.
//!
//! Only which instructions do the work depends on the processor. Each number goes through the same additions,
//! products, quotients, roots and fused products with a sum, each rounded once, so the results are the same bits everywhere. For
//! the same reason the functions here are written out: those of the standard library differ between systems.

use std::f64::consts::FRAC_PI_4;

/// Runs a loop with the widest vector instructions at hand. The closure, and what it calls, have to be
/// `#[inline(always)]`: what stands in a function of its own is compiled for any processor.
#[inline(always)]
pub fn vectorised<R>(run: impl FnOnce() -> R) -> R {
    fearless_simd::dispatch!(fearless_simd::Level::new(), _ => run())
}

/// 2⁻³².
const STEP: f64 = 1.0 / 4_294_967_296.0;

/// A word as a number between 0 and 1, the middle of one of 2³² equal steps: neither end is met, and the mean is
/// exactly ½. (As a signed number a word becomes a double in one instruction.)
#[inline(always)]
pub(super) fn unit(word: u32) -> f64 {
    centred(word) + 0.5
}

/// The same between −½ and ½.
#[inline(always)]
pub(super) fn centred(word: u32) -> f64 {
    f64::from(word.cast_signed()).mul_add(STEP, 0.5 * STEP)
}

/// A polynomial, the coefficient of the highest power first.
#[inline(always)]
fn polynomial<const N: usize>(x: f64, coefficients: [f64; N]) -> f64 {
    coefficients.into_iter().reduce(|sum, coefficient| sum.mul_add(x, coefficient)).unwrap_or(0.0)
}

/// The natural logarithm of a positive, normal number, to 3 · 10⁻¹²: a hundredth of a step of the words it is taken of.
///
/// x = 2ᵏ (1 + f) with 1 + f between √½ and √2; ln(1 + f) = 2 s + s³ P(s²) with s = f/(2 + f). The coefficients of P are those
/// of the least largest error (Remez' exchange, worked out with 40 digits).
#[inline(always)]
pub(super) fn ln(x: f64) -> f64 {
    const ROOT_HALF: u64 = 0x3fe6_a09e_0000_0000;
    const ONE: u64 = 0x3ff0_0000_0000_0000;
    const FRACTION: u64 = 0x000f_ffff_ffff_ffff;
    const P: [f64; 4] = [
        2.366_875_275_055_594e-1,
        2.853_206_911_904_060_3e-1,
        4.000_043_382_870_533e-1,
        6.666_666_508_555_085e-1,
    ];
    let bits = x.to_bits() + (ONE - ROOT_HALF);
    let f = f64::from_bits((bits & FRACTION) + ROOT_HALF) - 1.0;
    // An integer below 2⁵² in the fraction of 2⁵² is that integer, once 2⁵² is taken off.
    let k = f64::from_bits(0x4330_0000_0000_0000 | (bits >> 52)) - (4_503_599_627_370_496.0 + 1023.0);
    let s = f / (2.0 + f);
    let z = s * s;
    k.mul_add(std::f64::consts::LN_2, s * z.mul_add(polynomial(z, P), 2.0))
}

/// A point on the unit circle, to 4 · 10⁻¹²: cosine and sine of an angle, equally likely in every direction. Thirty bits are
/// the place on an arc of a quarter turn, the others say which of the four arcs.
///
/// sin a = a + a³ S(a²) and cos a = 1 − a²/2 + a⁴ C(a²) for angles up to an eighth of a turn; coefficients as above.
#[inline(always)]
pub(super) fn circle(word: u32) -> (f64, f64) {
    const HALF: f64 = 536_870_912.0;
    const S: [f64; 4] = [
        2.716_014_028_191_184e-6,
        -1.983_904_377_102_057_5e-4,
        8.333_328_232_487_12e-3,
        -1.666_666_662_799_894_5e-1,
    ];
    const C: [f64; 4] = [
        -2.721_024_055_344_076_4e-7,
        2.479_952_004_539_837_4e-5,
        -1.388_888_375_356_124_8e-3,
        4.166_666_662_282_998e-2,
    ];
    let angle = (f64::from(word & 0x3fff_ffff) + (0.5 - HALF)) * (FRAC_PI_4 / HALF);
    let z = angle * angle;
    let sine = (angle * z).mul_add(polynomial(z, S), angle);
    let cosine = z.mul_add(z.mul_add(polynomial(z, C), -0.5), 1.0);
    let cosine = f64::from_bits(cosine.to_bits() ^ (u64::from(word >> 31) << 63));
    if word & 0x4000_0000 == 0 { (cosine, sine) } else { (sine, cosine) }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Words spread over all of them, the ends included.
    fn words() -> impl Iterator<Item = u32> {
        (0..200_000u32).map(|i| i.wrapping_mul(2_654_435_761)).chain([0, 1, u32::MAX, u32::MAX - 1])
    }

    #[test]
    fn the_logarithm_is_that_of_the_standard_library() {
        for word in words() {
            let x = unit(word);
            let (own, standard) = (ln(x), x.ln());
            assert!((own - standard).abs() <= 3e-12, "ln {x}: {own}, not {standard}");
        }
    }

    #[test]
    fn points_lie_on_the_circle_where_the_word_says() {
        for word in words() {
            let (x, y) = circle(word);
            assert!((x.hypot(y) - 1.0).abs() < 4e-12);
            let place = (f64::from(word & 0x3fff_ffff) + 0.5) / f64::from(1 << 30) - 0.5;
            let (sine, cosine) = (place * std::f64::consts::FRAC_PI_2).sin_cos();
            let cosine = if word >> 31 == 0 { cosine } else { -cosine };
            let (a, b) = if word >> 30 & 1 == 0 { (cosine, sine) } else { (sine, cosine) };
            assert!((x - a).abs() < 4e-12 && (y - b).abs() < 4e-12);
        }
    }
}
