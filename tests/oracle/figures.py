"""A second opinion on exact values and significant figures, written from the rules alone.

A value is an exact fraction (or, after a root, logarithm or exponential, a decimal of 60 digits) with a last
place: a power of ten, in the unit the value is written in. Changing between units that differ by a power of ten
only shifts places, so no unit is tracked here.

The rules, in the order they are applied:

* whole-number literals, coefficients, n and unit factors are exact;
* readings and decimal literals count as written; atomic weights count only where nothing measured enters;
* sum and difference: the coarsest last place; product and quotient: the fewest figures, counted on the
  unrounded value; a value below half its last place has no figures, and its product takes that place times
  the leading power of the other factor;
* whole powers and roots keep the figures; a logarithm has as many decimals as its argument has figures, the
  exponential has as many figures as its argument has decimals;
* mean, s and range: the last place of the coarsest value;
* 9.996 to three figures is 10.0; a last place above the units is printed with a power of ten.
"""
from decimal import Decimal, getcontext
from fractions import Fraction

getcontext().prec = 60

EXACT, TABULATED, MEASURED = "exact", "tabulated", "measured"


def as_fraction(number):
    return number if isinstance(number, Fraction) else Fraction(number)


def lead(number):
    """The power of ten of the first figure of a number that is not zero."""
    number = abs(as_fraction(number))
    if number == 0:
        raise ValueError("zero has no leading figure")
    power = len(str(number.numerator)) - len(str(number.denominator))
    while Fraction(10) ** power > number:
        power -= 1
    while Fraction(10) ** (power + 1) <= number:
        power += 1
    return power


def round_to(number, place, rule="half even"):
    """The whole multiple of 10**place nearest to the number, as that whole number."""
    scaled = as_fraction(number) / Fraction(10) ** place
    down = scaled.numerator // scaled.denominator
    rest = scaled - down
    half = Fraction(1, 2)
    if rest != half:
        return down + (1 if rest > half else 0)
    if rule == "half even":
        return down + (down % 2)
    return down + 1 if scaled > 0 else down  # half away from zero


class Value:
    """A number with its last place and what the place rests on."""

    rule = "half even"

    def __init__(self, number, place=None, kind=EXACT):
        self.number = as_fraction(number)
        self.place = place
        self.kind = kind

    def figures(self):
        if self.place is None:
            return None
        if abs(self.number) < Fraction(10) ** self.place / 2:
            return 0
        return max(1, lead(self.number) - self.place + 1)

    def printed(self):
        if self.place is None:
            return exact_text(self.number)
        whole = round_to(self.number, self.place, self.rule)
        sign = "-" if whole < 0 else ""
        digits = str(abs(whole))
        if self.place > 0:
            exponent = len(digits) - 1 + self.place
            mantissa = digits[0] + ("." + digits[1:] if len(digits) > 1 else "")
            return f"{sign}{mantissa}e{exponent}"
        if self.place == 0:
            return sign + digits
        digits = digits.rjust(1 - self.place, "0")
        return f"{sign}{digits[:self.place]}.{digits[self.place:]}"

    def __add__(self, other):
        return combine_sum(self, lift(other), 1)

    def __radd__(self, other):
        return lift(other) + self

    def __sub__(self, other):
        return combine_sum(self, lift(other), -1)

    def __rsub__(self, other):
        return lift(other) - self

    def __mul__(self, other):
        other = lift(other)
        return combine_product(self, other, self.number * other.number, 1)

    def __rmul__(self, other):
        return lift(other) * self

    def __truediv__(self, other):
        other = lift(other)
        return combine_product(self, other, self.number / other.number, -1)

    def __rtruediv__(self, other):
        return lift(other) / self

    def __neg__(self):
        return Value(-self.number, self.place, self.kind)

    def __abs__(self):
        return Value(abs(self.number), self.place, self.kind)

    def __pow__(self, power):
        """A whole power, which keeps the figures."""
        power = int(lift(power).number)
        return with_figures(self.number ** power, self.figures(), self.kind)

    def shifted(self, power):
        """The same value in a unit 10**power times smaller."""
        place = None if self.place is None else self.place + power
        return Value(self.number * Fraction(10) ** power, place, self.kind)


def exact_text(number):
    """A fraction that ends, written out."""
    number = as_fraction(number)
    for places in range(40):
        scaled = number * 10 ** places
        if scaled.denominator == 1:
            return Value(number, -places).printed()
    raise ValueError("a fraction that does not end")


def lift(number):
    return number if isinstance(number, Value) else Value(number)


def counting(*values):
    """Those whose digits count: measured ones, or tabulated ones where nothing measured enters."""
    for kind in (MEASURED, TABULATED):
        found = [v for v in values if v.kind == kind]
        if found:
            return found, kind
    return [], EXACT


def combine_sum(a, b, sign):
    found, kind = counting(a, b)
    place = max((v.place for v in found), default=None)
    return Value(a.number + sign * b.number, place, kind)


def combine_product(a, b, number, power):
    found, kind = counting(a, b)
    if not found:
        return Value(number)
    if a in found and a.figures() == 0:
        return Value(number, a.place + power * lead(b.number), kind)
    if b in found and b.figures() == 0:
        return Value(number, b.place + lead(a.number), kind)
    return with_figures(number, min(v.figures() for v in found), kind)


def with_figures(number, figures, kind):
    if figures is None:
        return Value(number)
    place = lead(number) - figures + 1
    if number and len(str(abs(round_to(number, place, Value.rule)))) > figures:
        place += 1
    return Value(number, place, kind)


def written(text):
    """A reading or a decimal literal, its digits counting as written."""
    text = text.replace(",", ".")
    decimals = len(text.split(".")[1]) if "." in text else 0
    return Value(Fraction(text), -decimals, MEASURED)


def readings(text):
    return [written(t) for t in text.split()]


def decimal(value):
    return Decimal(value.number.numerator) / Decimal(value.number.denominator)


def square_root(value):
    return with_figures(Fraction(decimal(value).sqrt()), value.figures(), value.kind)


def natural_logarithm(value):
    return Value(Fraction(decimal(value).ln()), -value.figures(), value.kind)


def decimal_logarithm(value):
    return Value(Fraction(decimal(value).log10()), -value.figures(), value.kind)


def exponential(value):
    return with_figures(Fraction(decimal(value).exp()), -value.place, value.kind)


def coarsest(values):
    found, kind = counting(*values)
    return max((v.place for v in found), default=None), kind


def mean(values):
    place, kind = coarsest(values)
    return Value(sum(v.number for v in values) / len(values), place, kind)


def deviation(values):
    """The standard deviation, divisor n - 1."""
    place, kind = coarsest(values)
    centre = sum(v.number for v in values) / len(values)
    variance = sum((v.number - centre) ** 2 for v in values) / (len(values) - 1)
    return Value(root_of(variance), place, kind)


def root_of(fraction):
    """The square root: exact where it comes out, else 60 digits."""
    top, bottom = Decimal(fraction.numerator), Decimal(fraction.denominator)
    root = Fraction((top / bottom).sqrt())
    near = root.limit_denominator(10 ** 20)
    return near if near * near == fraction else root


def spread(values):
    place, kind = coarsest(values)
    numbers = [v.number for v in values]
    return Value(max(numbers) - min(numbers), place, kind)


def average_deviation(values):
    place, kind = coarsest(values)
    centre = sum(v.number for v in values) / len(values)
    return Value(sum(abs(v.number - centre) for v in values) / len(values), place, kind)


def percent_error(result, theory):
    return ((result - theory) / abs(theory)) * 100


def relative_s(values):
    return deviation(values) / abs(mean(values)) * 100


def relative_difference(values):
    return spread(values) / abs(mean(values)) * 100


def relative_average_deviation(values):
    """In parts per thousand."""
    return average_deviation(values) / abs(mean(values)) * 1000


WEIGHTS = {
    "H": "1.0080", "B": "10.81", "C": "12.011", "N": "14.007", "O": "15.999", "F": "18.998", "Na": "22.990",
    "Mg": "24.305", "Al": "26.982", "Si": "28.085", "P": "30.974", "S": "32.06", "Cl": "35.45", "K": "39.098",
    "Ca": "40.078", "Sc": "44.956", "Cr": "51.996", "Mn": "54.938", "Fe": "55.845", "Co": "58.933",
    "Ni": "58.693", "Cu": "63.546", "Zn": "65.38", "Ga": "69.723", "Br": "79.904", "Ag": "107.87", "Sn": "118.71",
    "I": "126.90", "Ba": "137.33", "Hg": "200.59", "Pb": "207.2", "Pt": "195.08", "U": "238.03", "Zr": "91.222",
}  # CIAAW 2021, abridged to five figures (Pure Appl. Chem. 94 (2022) 573, table 3)


def molar_mass(weights=None, **atoms):
    """A molar mass from counts of atoms; the last place is the coarsest of the atomic weights."""
    table = dict(WEIGHTS, **(weights or {}))
    number = sum(Fraction(table[e]) * n for e, n in atoms.items())
    place = max(written(table[e]).place for e in atoms)
    return Value(number, place, TABULATED)
