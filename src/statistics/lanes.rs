//! Loops over many numbers at once, compiled for the vector units of the processor they run on.
//!
//! Only which instructions do the work depends on the processor. Each number goes through the same additions,
//! products, quotients and roots, each rounded once, so the results are the same bits everywhere. For the same
//! reason the functions here are written out: those of the standard library differ between systems.

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
/// exactly ½.
#[inline(always)]
pub(super) fn unit(word: u32) -> f64 {
    (f64::from(word) + 0.5) * STEP
}

/// The natural logarithm of a positive, normal number, to better than one unit in the last place.
///
/// x = 2ᵏ (1 + f) with 1 + f between √½ and √2; ln(1 + f) by the series in s = f/(2 + f), whose coefficients are
/// those of FDLIBM's `e_log.c` (Sun Microsystems, 1993; from memory, and tested below).
#[inline(always)]
pub(super) fn ln(x: f64) -> f64 {
    const ROOT_HALF: u64 = 0x3fe6_a09e_0000_0000;
    const ONE: u64 = 0x3ff0_0000_0000_0000;
    const FRACTION: u64 = 0x000f_ffff_ffff_ffff;
    let bits = x.to_bits() + (ONE - ROOT_HALF);
    let f = f64::from_bits((bits & FRACTION) + ROOT_HALF) - 1.0;
    // An integer below 2⁵² in the fraction of 2⁵² is that integer, once 2⁵² is taken off.
    let k = f64::from_bits(0x4330_0000_0000_0000 | (bits >> 52)) - (4_503_599_627_370_496.0 + 1023.0);
    let s = f / (2.0 + f);
    let z = s * s;
    let series = z
        * (6.666_666_666_666_735e-1
            + z * (3.999_999_999_940_942e-1
                + z * (2.857_142_874_366_239e-1
                    + z * (2.222_219_843_214_978_4e-1
                        + z * (1.818_357_216_161_805e-1
                            + z * (1.531_383_769_920_937_3e-1 + z * 1.479_819_860_511_658_6e-1))))));
    let half_square = 0.5 * f * f;
    k * 6.931_471_803_691_238e-1
        - ((half_square - (s * (half_square + series) + k * 1.908_214_929_270_587_7e-10)) - f)
}

/// A point on the unit circle: cosine and sine of an angle, equally likely in every direction. Thirty bits are the
/// place on an arc of a quarter turn, the others say which of the four arcs.
///
/// The coefficients are those of FDLIBM's `k_cos.c` and `k_sin.c` (from memory, and tested below).
#[inline(always)]
pub(super) fn circle(word: u32) -> (f64, f64) {
    const HALF: f64 = 536_870_912.0;
    let angle = (f64::from(word & 0x3fff_ffff) + (0.5 - HALF)) * (FRAC_PI_4 / HALF);
    let z = angle * angle;
    let sine = angle
        + angle
            * z
            * (-1.666_666_666_666_663_2e-1
                + z * (8.333_333_333_322_49e-3
                    + z * (-1.984_126_982_985_795e-4
                        + z * (2.755_731_370_707_007e-6
                            + z * (-2.505_076_025_340_686_3e-8 + z * 1.589_690_995_211_55e-10)))));
    let cosine = 1.0 - 0.5 * z
        + z * z
            * (4.166_666_666_666_66e-2
                + z * (-1.388_888_888_887_411e-3
                    + z * (2.480_158_728_947_673e-5
                        + z * (-2.755_731_435_139_066_3e-7
                            + z * (2.087_572_321_298_175e-9 + z * -1.135_964_755_778_82e-11)))));
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
            assert!((own - standard).abs() <= 2.3e-16 * standard.abs(), "ln {x}: {own}, not {standard}");
        }
    }

    #[test]
    fn points_lie_on_the_circle_where_the_word_says() {
        for word in words() {
            let (x, y) = circle(word);
            assert!((x.hypot(y) - 1.0).abs() < 3e-16);
            let place = (f64::from(word & 0x3fff_ffff) + 0.5) / f64::from(1 << 30) - 0.5;
            let (sine, cosine) = (place * std::f64::consts::FRAC_PI_2).sin_cos();
            let cosine = if word >> 31 == 0 { cosine } else { -cosine };
            let (a, b) = if word >> 30 & 1 == 0 { (cosine, sine) } else { (sine, cosine) };
            assert!((x - a).abs() < 2.3e-16 && (y - b).abs() < 2.3e-16);
        }
    }
}
