//! Significant figures: the last place of a value, tracked through every operation.
//!
//! The teaching rule: sums keep the coarsest last place, products the fewest figures, and so on. A product's
//! limit is a count of figures and a sum's is a place; they differ where rounding carries into a new leading
//! digit (9.996 is 10.0 to three figures and 10.00 to two decimals), so the kind is kept. Figures are always
//! counted on the unrounded value. Nothing here rounds.

use super::Number;
use super::rounding::MOST_PLACE;
use std::cmp::Ordering;

/// How far a value can be trusted, by the teaching rule of significant figures. Places are powers of ten
/// in the value's coherent SI unit: a mass read to 0.1 mg has the place −7, for kilograms.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Digits {
    /// No limit: whole-number literals, coefficients, counts, unit factors.
    Exact,
    /// A tabulated value (molar mass) down to this place; it limits only where nothing measured enters.
    Tabulated(i32),
    /// A reading, a decimal literal or something computed from one, down to this place.
    Measured(i32),
    /// Like `Tabulated`, but limited by a count of figures: the place of the last of them, counted on the
    /// unrounded value.
    TabulatedFigures(i32),
    /// Like `Measured`, but limited by a count of figures: the place of the last of them, counted on the
    /// unrounded value.
    MeasuredFigures(i32),
    /// Like `Measured`, but computed from a value without figures: it has none itself, whatever it is, and
    /// prints as zero at this place.
    MeasuredNothing(i32),
}

impl Digits {
    /// The last place, as a power of ten in the unit of the value; `None` where there is no limit.
    pub fn place(self) -> Option<i32> {
        match self {
            Digits::Exact => None,
            Digits::Tabulated(place)
            | Digits::Measured(place)
            | Digits::TabulatedFigures(place)
            | Digits::MeasuredFigures(place)
            | Digits::MeasuredNothing(place) => Some(place),
        }
    }

    /// Whether a reading or decimal literal limits the value.
    pub fn is_measured(self) -> bool {
        matches!(self, Digits::Measured(_) | Digits::MeasuredFigures(_) | Digits::MeasuredNothing(_))
    }

    /// Whether the limit is a count of figures (products, roots, exponentials) rather than a place.
    pub fn is_count(self) -> bool {
        matches!(self, Digits::TabulatedFigures(_) | Digits::MeasuredFigures(_))
    }

    /// How many figures the value has, counted on the unrounded value: none where it is below half its last
    /// place, else at least one; `None` where there is no limit.
    pub fn figures(self, number: &Number) -> Option<i32> {
        let place = self.place()?;
        if matches!(self, Digits::MeasuredNothing(_)) || below_half(number, place) {
            return Some(0);
        }
        number
            .leading_power()
            .map_or(Some(0), |leading| Some(leading.saturating_sub(place).saturating_add(1).max(1)))
    }

    /// The same with the place moved by `by` powers of ten, as by a decimal unit factor.
    pub fn shifted(self, by: i32) -> Digits {
        self.moved_to(|place| place.saturating_add(by))
    }

    fn moved_to(self, place: impl Fn(i32) -> i32) -> Digits {
        let place = |old| place(old).clamp(-MOST_PLACE, MOST_PLACE);
        match self {
            Digits::Exact => Digits::Exact,
            Digits::Tabulated(old) => Digits::Tabulated(place(old)),
            Digits::Measured(old) => Digits::Measured(place(old)),
            Digits::TabulatedFigures(old) => Digits::TabulatedFigures(place(old)),
            Digits::MeasuredFigures(old) => Digits::MeasuredFigures(place(old)),
            Digits::MeasuredNothing(old) => Digits::MeasuredNothing(place(old)),
        }
    }

    /// A limit by place of the same origin.
    fn at_place(self, place: i32) -> Digits {
        let place = place.clamp(-MOST_PLACE, MOST_PLACE);
        if self.is_measured() { Digits::Measured(place) } else { Digits::Tabulated(place) }
    }

    /// No figures at a place, of the same origin. A tabulated value has always some; it moves up to where
    /// `value` prints as zero.
    fn nothing(self, place: i32, value: &Number) -> Digits {
        match self.is_measured() {
            true => Digits::MeasuredNothing(place.clamp(-MOST_PLACE, MOST_PLACE)),
            false => self.at_place(nothing_at(value, place)),
        }
    }

    /// A limit by count of the same origin: the place of the last of `figures` figures of `value`.
    fn at_figures(self, figures: i32, value: &Number) -> Digits {
        let leading = value.leading_power().unwrap_or(0);
        let place = leading.saturating_sub(figures.max(1) - 1).clamp(-MOST_PLACE, MOST_PLACE);
        if self.is_measured() { Digits::MeasuredFigures(place) } else { Digits::TabulatedFigures(place) }
    }

    /// Sums, differences, means, standard deviations and ranges: the coarsest last place. Tabulated values
    /// are as good as exact as soon as a measured one enters.
    pub fn sum(operands: &[Digits]) -> Digits {
        limiting(operands)
            .filter_map(|digits| digits.place().map(|place| digits.at_place(place)))
            .max_by_key(|digits| digits.place())
            .unwrap_or(Digits::Exact)
    }

    /// A product: the fewest figures of the two, or, where one has none, none: it prints as zero at that one's
    /// last place times the leading power of the other.
    pub fn product(a: (&Number, Digits), b: (&Number, Digits), product: &Number) -> Digits {
        let factors = Factors::of(a, b);
        let place = match (factors.without_figures(0), factors.without_figures(1)) {
            (Some(p), Some(q)) => p.saturating_add(q),
            (Some(p), None) => p.saturating_add(leading(b.0)),
            (None, Some(q)) => q.saturating_add(leading(a.0)),
            (None, None) => return factors.fewest(product),
        };
        factors.kind().nothing(place, product)
    }

    /// A quotient: the fewest figures of the two, or, where the dividend has none, its last place divided by
    /// the leading power of the divisor. A divisor without figures leaves none: the quotient's last place
    /// is as far above its digits as the divisor's is, and it prints as zero.
    pub fn quotient(a: (&Number, Digits), b: (&Number, Digits), quotient: &Number) -> Digits {
        let factors = Factors::of(a, b);
        let divided = |place: i32| place.saturating_sub(leading(b.0));
        let place = match (factors.without_figures(0), factors.without_figures(1)) {
            (Some(p), None) => divided(p),
            (Some(p), Some(q)) => divided(p).max(divided(q).saturating_add(leading(quotient))),
            (None, Some(q)) => divided(q).saturating_add(leading(quotient)),
            (None, None) => return factors.fewest(quotient),
        };
        factors.kind().nothing(place, quotient)
    }

    /// The same count of figures on another value (roots, unit factors that are no power of ten). Where
    /// there are no figures the last place becomes `place`.
    pub fn kept(self, from: &Number, to: &Number, place: i32) -> Digits {
        match self.figures(from) {
            None => Digits::Exact,
            Some(0) => self.nothing(place, to),
            Some(figures) => self.at_figures(figures, to),
        }
    }

    /// A logarithm: as many decimals as the argument has figures.
    pub fn logarithm(self, argument: &Number) -> Digits {
        self.figures(argument).map_or(Digits::Exact, |figures| self.at_place(-figures))
    }

    /// An exponential: as many figures as the argument has decimals, but at least one.
    pub fn exponential(self, result: &Number) -> Digits {
        self.place().map_or(Digits::Exact, |place| self.at_figures(place.saturating_neg(), result))
    }

    /// The fewer figures of two limits of one value.
    pub(super) fn coarser(self, other: Digits) -> Digits {
        limiting(&[self, other]).max_by_key(|digits| digits.place()).unwrap_or(Digits::Exact)
    }
}

/// The operands that limit: the measured ones, or the tabulated ones where none is measured.
fn limiting(operands: &[Digits]) -> impl Iterator<Item = Digits> {
    let measured = operands.iter().any(|digits| digits.is_measured());
    operands
        .iter()
        .copied()
        .filter(move |digits| digits.is_measured() || !measured && *digits != Digits::Exact)
}

/// Two operands of a product or quotient, with those that do not limit taken as exact.
struct Factors<'a>([(&'a Number, Digits); 2]);

impl<'a> Factors<'a> {
    fn of(a: (&'a Number, Digits), b: (&'a Number, Digits)) -> Self {
        let measured = a.1.is_measured() || b.1.is_measured();
        let limit = |digits: Digits| if measured && !digits.is_measured() { Digits::Exact } else { digits };
        Factors([(a.0, limit(a.1)), (b.0, limit(b.1))])
    }

    /// The last place of an operand that has a limit and no figures.
    fn without_figures(&self, index: usize) -> Option<i32> {
        let (number, digits) = self.0[index];
        digits.place().filter(|_| digits.figures(number) == Some(0))
    }

    /// An operand's digits, for their origin.
    fn kind(&self) -> Digits {
        let [(_, a), (_, b)] = self.0;
        if a == Digits::Exact { b } else { a }
    }

    fn fewest(&self, result: &Number) -> Digits {
        // A product with an exact zero is exactly zero.
        if result.is_zero() {
            return Digits::Exact;
        }
        let figures = self.0.iter().filter_map(|(number, digits)| digits.figures(number)).min();
        figures.map_or(Digits::Exact, |figures| self.kind().at_figures(figures, result))
    }
}

/// The leading power of a number; that of one for zero, which has none.
fn leading(number: &Number) -> i32 {
    number.leading_power().unwrap_or(0)
}

/// Whether the magnitude is below half of 10^`place`.
fn below_half(number: &Number, place: i32) -> bool {
    match number.leading_power() {
        None => true,
        Some(leading) if leading >= place => false,
        Some(leading) if leading < place - 1 => true,
        Some(_) => {
            let (multiples, rest) = number.multiples(place);
            multiples.is_zero() && rest == Ordering::Less
        }
    }
}

/// The first place from `place` up at which the value prints as zero. A number is below half of the power
/// of ten two above its leading one, so the search ends at the third place at the latest.
fn nothing_at(value: &Number, place: i32) -> i32 {
    let first = place.max(value.leading_power().unwrap_or(place)).clamp(-MOST_PLACE, MOST_PLACE);
    (first..=first + 2).find(|place| below_half(value, *place)).unwrap_or(first + 2)
}
