"""A second evaluator of notebooks, written from the rules of the calculation alone.

    python3 tests/oracle/evaluator.py NOTEBOOK.md            # prints the expected results as JSON

It shares no code and no method with the crate: it reads a subset of the notebook with its own reader, works in
`fractions.Fraction` (roots and logarithms by `decimal`, cut to 50 digits), and gives for every value its exact number,
its last place and what the value rests on. `compare` holds such an expectation against a results file.

The subset: `experiment` (rounding, decimal, constant-mass, repeatability, balances), `masses`, `measured`, `working`,
`theory`; units of mass, length, volume, amount, time, temperature, pressure and ratio; every word of the expression
language but `nu`, which needs balancing; `factor` where one element alone can carry it.

What the rules leave open is not decided here: a value whose digits rest on such a question carries a mark (`open`), and
`compare` counts a difference in its printed form apart. The marks:

* `zero-divisor`      a quotient by a value without figures
* `zero-power`        a power, root or logarithm of a value without figures
* `two-zeros`         a product of two values without figures
* `exact-zero`        an exact zero times a value with figures
* `tied-choice`       `min` or `max` of equal values with different digits
* `no-decimals`       `exp` of a value known to no decimal, a logarithm of one without figures
* `carried`           a product whose rounding carries (9.996 to three figures) used in a sum, mean or power
* `atoms`             a molar mass in which a count of atoms times a weight loses a place
* `zero-time`         a value without figures in minutes or hours
* `not-duplicates`    the relative difference of more than two values (range over mean, here)
* `range-of-one`      the range or average deviation of a single value (nothing, here)
* `no-limit`          a rule per gram of sample, or of the net mass, where that mass is not known
* `two-intervals`     constant mass where the last two readings have different scale intervals
* `real-power`        a power that is neither whole nor a root
"""

import functools
import json
import math
import re
import sys
import tomllib
from dataclasses import dataclass, field, replace
from decimal import Context, Decimal, ROUND_HALF_EVEN
from fractions import Fraction

sys.set_int_max_str_digits(0)
EXACT, TABULATED, MEASURED = 0, 1, 2
WIDE = Context(prec=130, rounding=ROUND_HALF_EVEN, Emax=10**8, Emin=-(10**8))
FIFTY = Context(prec=50, rounding=ROUND_HALF_EVEN, Emax=10**8, Emin=-(10**8))

# Standard atomic weights, abridged to five figures: IUPAC 2021 (Prohaska et al., Pure Appl. Chem. 94 (2022) 573) with the
# revisions of 2024 for Zr, Gd and Lu.
WEIGHTS = dict(pair.split("=") for pair in """
H=1.0080 He=4.0026 Li=6.94 Be=9.0122 B=10.81 C=12.011 N=14.007 O=15.999 F=18.998 Ne=20.180 Na=22.990 Mg=24.305 Al=26.982
Si=28.085 P=30.974 S=32.06 Cl=35.45 Ar=39.95 K=39.098 Ca=40.078 Sc=44.956 Ti=47.867 V=50.942 Cr=51.996 Mn=54.938 Fe=55.845
Co=58.933 Ni=58.693 Cu=63.546 Zn=65.38 Ga=69.723 Ge=72.630 As=74.922 Se=78.971 Br=79.904 Kr=83.798 Rb=85.468 Sr=87.62
Y=88.906 Zr=91.222 Nb=92.906 Mo=95.95 Ru=101.07 Rh=102.91 Pd=106.42 Ag=107.87 Cd=112.41 In=114.82 Sn=118.71 Sb=121.76
Te=127.60 I=126.90 Xe=131.29 Cs=132.91 Ba=137.33 La=138.91 Ce=140.12 Pr=140.91 Nd=144.24 Sm=150.36 Eu=151.96 Gd=157.25
Tb=158.93 Dy=162.50 Ho=164.93 Er=167.26 Tm=168.93 Yb=173.05 Lu=174.97 Hf=178.49 Ta=180.95 W=183.84 Re=186.21 Os=190.23
Ir=192.22 Pt=195.08 Au=196.97 Hg=200.59 Tl=204.38 Pb=207.2 Bi=208.98 Th=232.04 Pa=231.04 U=238.03
""".split())

# Unit: factor to the base units g, m, mol, K, s and the powers of these.
G, M, MOL, K, S, ONE = (1, 0, 0, 0, 0), (0, 1, 0, 0, 0), (0, 0, 1, 0, 0), (0, 0, 0, 1, 0), (0, 0, 0, 0, 1), (0, 0, 0, 0, 0)
VOLUME, PRESSURE = (0, 3, 0, 0, 0), (1, -1, 0, 0, -2)
TEN = Fraction(10)
UNITS = {
    "1": (Fraction(1), ONE), "%": (TEN**-2, ONE), "ppm": (TEN**-6, ONE),
    "kg": (TEN**3, G), "g": (Fraction(1), G), "mg": (TEN**-3, G), "µg": (TEN**-6, G), "ug": (TEN**-6, G), "ng": (TEN**-9, G),
    "m": (Fraction(1), M), "cm": (TEN**-2, M), "mm": (TEN**-3, M), "dm": (TEN**-1, M),
    "L": (TEN**-3, VOLUME), "mL": (TEN**-6, VOLUME), "µL": (TEN**-9, VOLUME),
    "mol": (Fraction(1), MOL), "mmol": (TEN**-3, MOL), "µmol": (TEN**-6, MOL), "kmol": (TEN**3, MOL),
    "K": (Fraction(1), K), "s": (Fraction(1), S), "min": (Fraction(60), S), "h": (Fraction(3600), S),
    "Pa": (TEN**3, PRESSURE), "kPa": (TEN**6, PRESSURE), "bar": (TEN**8, PRESSURE),
}
CELSIUS_ZERO = Fraction(27315, 100)


class Missing(Exception):
    """A value that cannot be had, with the reason."""


# --- numbers -----------------------------------------------------------------------------------------------------------


@functools.lru_cache(maxsize=4096)
def ten(power):
    return TEN**power


def lead(value):
    """The power of ten of the first figure; the value is not zero."""
    top, bottom = abs(value.numerator), value.denominator
    power = decimal_length(top) - decimal_length(bottom)
    # Of two numbers of a and b figures the quotient begins at the power a − b or one below.
    reaches = top >= bottom * 10**power if power >= 0 else top * 10**-power >= bottom
    return power if reaches else power - 1


def decimal_length(number):
    return len(str(number))


def nearest(value, place, rule):
    """The whole number of 10**place nearest to the value; ties by the rule."""
    top, bottom = value.numerator, value.denominator
    if place >= 0:
        bottom *= 10**place
    else:
        top *= 10**-place
    down, rest = divmod(top, bottom)
    if 2 * rest == bottom:
        if rule == "half even":
            return down + down % 2
        return down + 1 if top > 0 else down
    return down + (2 * rest > bottom)


def to_decimal(value):
    return WIDE.divide(Decimal(value.numerator), Decimal(value.denominator))


def fifty(decimal):
    return Fraction(FIFTY.plus(decimal))


def whole_root(number, degree):
    """The whole number whose power it is, or none."""
    if number in (0, 1):
        return number
    if degree == 2:
        low = math.isqrt(number)
        return low if low * low == number else None
    low, high = 0, 1 << (number.bit_length() // degree + 1)
    while low < high:
        middle = (low + high + 1) // 2
        low, high = (middle, high) if middle**degree <= number else (low, middle - 1)
    return low if low**degree == number else None


def root(value, degree):
    """The positive root and whether it came out."""
    top, bottom = whole_root(value.numerator, degree), whole_root(value.denominator, degree)
    if top is not None and bottom is not None:
        return Fraction(top, bottom), True
    if degree == 2:
        return fifty(to_decimal(value).sqrt(WIDE)), False
    return fifty(WIDE.power(to_decimal(value), WIDE.divide(1, degree))), False


# --- digits ------------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class Digits:
    """What a value rests on and its last place, a power of ten in base units; `count` where a product set its figures."""

    kind: int = EXACT
    place: int = 0
    count: int | None = None


@dataclass(frozen=True)
class Value:
    number: Fraction
    dim: tuple = ONE
    digits: Digits = Digits()
    inexact: bool = False
    open: frozenset = frozenset()
    provisional: bool = False

    def figures(self):
        """Counted on the unrounded value; none below half the last place."""
        if self.digits.count is not None:
            return self.digits.count
        if 2 * abs(self.number) < ten(self.digits.place):
            return 0
        return max(1, lead(self.number) - self.digits.place + 1)

    def marked(self, *marks):
        return replace(self, open=self.open | set(marks))


def by_count(number, kind, count):
    return Digits(kind, lead(number) - count + 1, count)


def carries(value):
    """Does rounding to the counted figures reach the next power of ten?"""
    digits = value.digits
    if digits.kind == EXACT or not digits.count or value.number == 0:
        return False
    return abs(nearest(value.number, digits.place, "half even")) >= 10**digits.count


def common(*values):
    """Fields that every operation passes on."""
    return {
        "inexact": any(v.inexact for v in values),
        "open": frozenset().union(*(v.open for v in values)),
        "provisional": any(v.provisional for v in values),
    }


def that_count(values):
    """The values that set digits: the measured ones, or where there are none the tabulated ones."""
    kind = max(v.digits.kind for v in values)
    return kind, [v for v in values if v.digits.kind == kind and kind != EXACT]


def coarsest(values):
    kind, limiting = that_count(values)
    if kind == EXACT:
        return Digits(), set()
    marks = {"carried"} if any(carries(v) for v in limiting) else set()
    return Digits(kind, max(v.digits.place for v in limiting)), marks


def total(values, number):
    """A sum, mean or other value that takes the coarsest last place of some values."""
    digits, marks = coarsest(values)
    return Value(number, values[0].dim, digits, **common(*values)).marked(*marks)


def same_dim(a, b):
    if a.dim != b.dim:
        raise Missing("dimension")


def add(a, b, sign=1):
    same_dim(a, b)
    return total([a, b], a.number + sign * b.number)


def product_digits(a, b, number, division):
    kind, limiting = that_count([a, b])
    if kind == EXACT:
        return Digits(), set()
    empty = [v for v in limiting if v.figures() == 0]
    if not empty:
        if number == 0:  # an exact zero
            return Digits(kind, limiting[0].digits.place), {"exact-zero"}
        return by_count(number, kind, min(v.figures() for v in limiting)), set()
    if len(empty) == 2 or (a.number == 0 and b.number == 0):
        return Digits(kind, a.digits.place + b.digits.place, 0), {"two-zeros"}
    zero = empty[0]
    other = b if zero is a else a
    if division and zero is b:
        return Digits(kind, 0, 0), {"zero-divisor"}
    if other.number == 0:
        return Digits(kind, zero.digits.place, 0), {"two-zeros"}
    shift = -lead(other.number) if division else lead(other.number)
    return Digits(kind, zero.digits.place + shift, 0), set()


def times(a, b):
    number = a.number * b.number
    digits, marks = product_digits(a, b, number, False)
    dim = tuple(x + y for x, y in zip(a.dim, b.dim))
    return Value(number, dim, digits, **common(a, b)).marked(*marks)


def over(a, b):
    if b.number == 0:
        raise Missing("division by zero")
    number = a.number / b.number
    digits, marks = product_digits(a, b, number, True)
    dim = tuple(x - y for x, y in zip(a.dim, b.dim))
    return Value(number, dim, digits, **common(a, b)).marked(*marks)


def kept_figures(value, number):
    """Digits of a root or power: the figures of the value."""
    if value.digits.kind == EXACT:
        return Digits(), set()
    figures = value.figures()
    if figures == 0 or number == 0:
        return Digits(value.digits.kind, value.digits.place, 0), {"zero-power"}
    return by_count(number, value.digits.kind, figures), set()


def power(base, exponent):
    if exponent.dim != ONE:
        raise Missing("dimension")
    if exponent.number.denominator == 1:
        return whole_power(base, exponent)
    if base.dim != ONE or base.number < 0:
        raise Missing("power")
    if base.number == 0 and exponent.number < 0:
        raise Missing("power of zero")
    e = exponent.number
    if e.numerator == 1 and e.denominator < 5:
        number, exact = root(base.number, e.denominator)
        digits, marks = kept_figures(base, number)
    else:
        number, exact = fifty(WIDE.power(to_decimal(base.number), to_decimal(e))) if base.number else base.number, False
        digits, marks = kept_figures(base, number)
        marks = marks | {"real-power"}
    if exponent.digits.kind != EXACT:
        marks = marks | {"real-power"}
    both = common(base, exponent)
    both["inexact"] = both["inexact"] or not exact
    return Value(number, ONE, digits, **both).marked(*marks)


def whole_power(base, exponent):
    n = int(exponent.number)
    if base.number == 0 and n <= 0:
        raise Missing("power of zero")
    number = base.number**n
    digits, marks = kept_figures(base, number)
    if n == 0 or exponent.digits.kind != EXACT:
        marks = marks | {"real-power"}
    return Value(number, tuple(d * n for d in base.dim), digits, **common(base, exponent)).marked(*marks)


def square_root(value):
    if value.number < 0 or any(d % 2 for d in value.dim):
        raise Missing("root")
    number, exact = root(value.number, 2)
    digits, marks = kept_figures(value, number)
    fields = common(value)
    fields["inexact"] = fields["inexact"] or not exact
    return Value(number, tuple(d // 2 for d in value.dim), digits, **fields).marked(*marks)


def logarithm(value, base):
    if value.dim != ONE or value.number <= 0:
        raise Missing("logarithm")
    if base == 10:
        number = fifty(to_decimal(value.number).log10(WIDE))
        exact = not value.inexact and TEN ** round(number) == value.number if number.denominator == 1 else False
    else:
        number, exact = fifty(to_decimal(value.number).ln(WIDE)), value.number == 1
    fields = common(value)
    fields["inexact"] = fields["inexact"] or not exact
    kind, figures = value.digits.kind, value.figures() if value.digits.kind else 0
    digits = Digits(kind, -figures) if kind else Digits()
    marks = {"no-decimals"} if kind and figures == 0 else set()
    return Value(number, ONE, digits, **fields).marked(*marks)


def exponential(value):
    if value.dim != ONE:
        raise Missing("dimension")
    if abs(value.number) > 800:
        raise Missing("too large")
    number = fifty(to_decimal(value.number).exp(WIDE))
    fields = common(value)
    fields["inexact"] = fields["inexact"] or value.number != 0
    if value.digits.kind == EXACT:
        return Value(number, ONE, Digits(), **fields)
    decimals = -value.digits.place
    marks = {"carried"} if carries(value) else set()
    if decimals <= 0:
        return Value(number, ONE, Digits(value.digits.kind, lead(number) + 1, 0), **fields).marked("no-decimals")
    return Value(number, ONE, by_count(number, value.digits.kind, decimals), **fields).marked(*marks)


def chosen(values, highest):
    for v in values:
        same_dim(values[0], v)
    pick = (max if highest else min)(values, key=lambda v: v.number)
    tied = [v for v in values if v.number == pick.number and v.digits != pick.digits]
    kept = replace(pick, **{**common(*values), "inexact": pick.inexact})
    return kept.marked("tied-choice") if tied else kept


def rounded(value, unit, rule):
    """(whole number, power of ten) as printed in a unit, or none for an exact value."""
    if unit == "°C":
        return rounded(add(value, Value(CELSIUS_ZERO, K), -1), "K", rule)
    factor, _ = UNITS_OF(unit)
    digits = value.digits
    if digits.kind == EXACT:
        return None
    number = value.number / factor
    shift = lead(factor)
    if factor == ten(shift):
        place, count = digits.place - shift, digits.count
    else:  # minutes and hours: the figures stay
        count = value.figures()
        place = lead(number) - count + 1 if count else digits.place - shift
    if count == 0:
        return 0, place
    whole = nearest(number, place, rule)
    if count is not None and abs(whole) >= 10**count:
        return whole // 10 if whole > 0 else -(-whole // 10), place + 1
    return whole, place


# --- units -------------------------------------------------------------------------------------------------------------


@functools.lru_cache(maxsize=4096)
def UNITS_OF(text):
    """Factor and powers of a unit such as `g/mol`, `g/cm^3`, `1`."""
    factor, dim = Fraction(1), ONE
    for part, sign in split_unit(text):
        name, exponent = (part.split("^") + ["1"])[:2]
        if name not in UNITS:
            raise KeyError(text)
        f, d = UNITS[name]
        e = int(exponent) * sign
        factor *= f**e
        dim = tuple(x + y * e for x, y in zip(dim, d))
    return factor, dim


def split_unit(text):
    sign, parts = 1, []
    for piece in re.split(r"([/·* ])", text.strip()):
        if piece in ("", " ", "·", "*"):
            continue
        if piece == "/":
            sign = -1
        else:
            parts.append((piece, sign))
    return parts


def is_unit(text):
    try:
        UNITS_OF(text)
        return bool(text) and not text[0].isdigit()
    except (KeyError, ValueError):
        return text == "°C"


@functools.lru_cache(maxsize=1 << 14)
def reading(text, unit):
    """A number as written, in a unit: exact decimal, last place where it was written."""
    text = text.replace("−", "-")
    decimals = len(text.split(".")[1]) if "." in text else 0
    number = Fraction(text)
    if unit == "°C":
        celsius = Value(number, K, Digits(MEASURED, -decimals))
        return Value(number + CELSIUS_ZERO, K, celsius.digits)
    factor, dim = UNITS_OF(unit)
    raw = Value(number, dim, Digits(MEASURED, -decimals))
    shift = lead(factor)
    if factor == ten(shift):
        return Value(number * factor, dim, Digits(MEASURED, -decimals + shift))
    if raw.figures() == 0:
        return Value(number * factor, dim, Digits(MEASURED, -decimals + shift, 0)).marked("zero-time")
    return Value(number * factor, dim, by_count(number * factor, MEASURED, raw.figures()))


# --- formulas of substances --------------------------------------------------------------------------------------------


def atoms(text):
    """Counts of atoms of a formula; `·`, `.` and `*` stand before a hydrate part."""
    counts = {}
    for half, coefficient, part in re.findall(r"(?:^|[·.*])(?:(½|0\.5)|(\d*))([A-Z\[(][^·.*]*)", text.replace(" ", "")):
        times = Fraction(1, 2) if half else Fraction(coefficient or 1)
        for symbol, n in group(part).items():
            counts[symbol] = counts.get(symbol, 0) + n * times
    return counts


def group(text):
    counts, position = {}, 0
    while position < len(text):
        if text[position] in "([":
            depth, end = 1, position + 1
            while depth:
                depth += (text[end] in "([") - (text[end] in ")]")
                end += 1
            inner = group(text[position + 1:end - 1])
        else:
            symbol = re.match(r"[A-Z][a-z]?", text[position:]).group()
            if symbol not in WEIGHTS:
                symbol = symbol[0]
            inner, end = {symbol: 1}, position + len(symbol)
        n = re.match(r"\d*", text[end:]).group()
        for symbol, k in inner.items():
            counts[symbol] = counts.get(symbol, 0) + k * int(n or 1)
        position = end + len(n)
    return counts


def molar_mass(text, weights=WEIGHTS):
    return weighed(text, None if weights == WEIGHTS else tuple(weights.items()))


@functools.lru_cache(maxsize=4096)
def weighed(text, own):
    """Sum of weights times counts. `atoms` marks a mass whose place differs if a product keeps its figures."""
    weights = dict(own) if own else WEIGHTS
    parts = [(Fraction(weights[s]), n, -len(weights[s].partition(".")[2])) for s, n in atoms(text).items()]
    number = sum(w * n for w, n, _ in parts)
    place = max(p for _, _, p in parts)
    strict = max(lead(w * n) - (lead(w) - p) for w, n, p in parts)
    value = Value(number, (1, 0, -1, 0, 0), Digits(TABULATED, place))
    return value.marked("atoms") if strict > place else value


def factor(analyte, weighed, weights=WEIGHTS):
    """The gravimetric factor by the one element, hydrogen and oxygen aside, that both hold."""
    a, b = atoms(analyte), atoms(weighed)
    shared = [s for s in a if s in b and s not in ("H", "O")]
    if len(shared) != 1:
        raise Missing("factor by no single element")
    ratio = Value(Fraction(b[shared[0]], a[shared[0]]))
    return times(ratio, over(molar_mass(analyte, weights), molar_mass(weighed, weights)))


# --- expressions -------------------------------------------------------------------------------------------------------

WORDS = ["percent error", "relative s", "relative difference", "average deviation", "mean", "range", "theory", "s"]
FUNCTIONS = ["sqrt", "ln", "log10", "exp", "abs", "min", "max"]
NAME = re.compile(r"[^\W\d_][\w]*")


class Parser:
    """Recursive descent over the text of one expression; the result is a tree of tuples."""

    def __init__(self, text):
        self.text = text.replace("−", "-").replace("×", "*").replace("÷", "/")
        self.at = 0

    def blank(self):
        while self.at < len(self.text) and self.text[self.at] in " \u00a0\t":
            self.at += 1

    def peek(self, token):
        self.blank()
        return self.text.startswith(token, self.at)

    def take(self, token):
        if self.peek(token):
            self.at += len(token)
            return True
        return False

    def whole(self):
        tree = self.sum()
        self.blank()
        if self.at != len(self.text):
            raise SyntaxError(self.text[self.at:])
        return tree

    def sum(self):
        left = self.product()
        while self.peek("+") or self.peek("-"):
            sign = self.text[self.at]
            self.at += 1
            left = (sign, left, self.product())
        return left

    def product(self):
        left = self.signed()
        while self.peek("*") or self.peek("/") or self.peek("·"):
            sign = self.text[self.at].replace("·", "*")
            self.at += 1
            left = (sign, left, self.signed())
        return left

    def signed(self):
        if self.take("-"):
            return ("neg", self.signed())
        return self.tight()

    def tight(self):
        """A number with its unit, or a number before a quantity or bracket, or a power."""
        self.blank()
        number = re.match(r"\d+(\.\d+)?", self.text[self.at:])
        if not number:
            return self.raised(self.primary())
        self.at += number.end()
        literal = number.group()
        unit = self.unit()
        if unit:
            return self.raised(("literal", literal, unit))
        tree = ("literal", literal, None)
        if self.peek("^"):
            return self.raised(tree)
        self.blank()
        if self.at < len(self.text) and (self.text[self.at] == "(" or NAME.match(self.text[self.at:])):
            return ("*", tree, self.tight())
        return tree

    def unit(self):
        """A unit after a number; an identifier before `(` is never one."""
        self.blank()
        found = re.match(r"(%|°C|[^\W\d_]+(\^\d)?)(?!\w)", self.text[self.at:])
        if not found or not is_unit(found.group()):
            return None
        end = self.at + found.end()
        if self.text[end:end + 1] in ("(", "["):
            return None
        self.at = end
        unit = found.group()
        while more := re.match(r"(/[^\W\d_]+(\^\d)?)(?![\w(])", self.text[self.at:]):
            if not is_unit(unit + more.group(1)):
                break
            unit += more.group(1)
            self.at += more.end()
        return unit

    def raised(self, base):
        if self.take("^"):
            exponent = self.signed()
            return ("^", base, exponent)
        return base

    def primary(self):
        if self.take("("):
            tree = self.sum()
            if not self.take(")"):
                raise SyntaxError("bracket")
            return tree
        for word in WORDS:
            ahead = re.match(word.replace(" ", r"\s+") + r"\s+(?=[^\W\d_])", self.text[self.at:])
            if ahead:
                self.at += ahead.end()
                return ("word", word, self.quantity())
        return self.quantity()

    def quantity(self):
        self.blank()
        name = NAME.match(self.text[self.at:])
        if not name:
            raise SyntaxError(f"expected a quantity: {self.text[self.at:]!r}")
        self.at += name.end()
        word = name.group()
        if word in FUNCTIONS and self.take("("):
            arguments = [self.sum()]
            while self.take(",") or self.take(";"):
                arguments.append(self.sum())
            if not self.take(")"):
                raise SyntaxError("bracket")
            return ("call", word, arguments)
        if word == "blank" and self.take("("):
            inner = self.quantity()
            if not self.take(")"):
                raise SyntaxError("bracket")
            return ("blank", inner)
        entity = None
        if self.text[self.at:self.at + 1] == "(":
            entity = self.balanced()
        tree = (word, entity) if word in ("M", "factor") and entity else ("name", symbol(word, entity))
        if self.text[self.at:self.at + 1] == "[":
            end = self.text.index("]", self.at)
            tree = ("of", tree, self.text[self.at + 1:end].strip())
            self.at = end + 1
        return tree

    def balanced(self):
        depth, start = 0, self.at
        while True:
            depth += (self.text[self.at] == "(") - (self.text[self.at] == ")")
            self.at += 1
            if depth == 0:
                return self.text[start + 1:self.at - 1].strip()


def symbol(word, entity=None):
    return word if entity is None else f"{word}({' '.join(entity.split())})"


# --- the notebook ------------------------------------------------------------------------------------------------------


@dataclass
class Cell:
    text: str | None
    value: Value | None
    unit: str = ""
    balance: str | None = None
    owner: str | None = None  # the column it was read in


@dataclass
class Series:
    label: str
    things: frozenset
    unit: str
    order: tuple = ()
    rows: list = field(default_factory=list)  # (treated, stage began here, {trial: Cell})


def fold(thing):
    return " ".join(thing.split()).casefold()


def load_of(label):
    """Things and treatment of a label."""
    treatment = None
    found = re.match(r"(.*),([^,]*\d)\s*$", label)
    if found:
        label, treatment = found.group(1), found.group(2).strip()
    names = [fold(t) for t in re.split(r"\s\+\s", label)]
    return frozenset(names), treatment, " + ".join(" ".join(t.split()) for t in re.split(r"\s\+\s", label)), tuple(names)


CELL = re.compile(
    r"\s*(?P<strikes>(?:~~[^~]*~~\s*)*)(?P<value>=\s*\S+|[-−]?\d+(?:\.\d+)?|[–-])(?:\s+(?P<unit>%|°C|[^\W\d_]+(?:/[^\W\d_]+)*(?:\^\d)?)(?=\s|$))?"
    r"(?:\s*\[(?P<remark>[^\]]*)\])?(?P<sure>\s*±\s*\S+(\s+[^\W\d]+)*)?"
)


class Notebook:
    """A notebook read, and its values worked out when asked for."""

    def __init__(self, text):
        self.settings, blocks = {}, []
        for kind, lines in fences(text):
            if kind == "experiment":
                self.settings = tomllib.loads("\n".join(lines))
            else:
                blocks.append((kind, lines))
        self.comma = self.settings.get("decimal") == "comma"
        self.rule = self.settings.get("rounding", "half even")
        self.weights = WEIGHTS | {k: self.point(str(v)) for k, v in self.settings.get("atomic-weights", {}).items()}
        self.balances = {k: self.mass(v["readability"]) for k, v in self.settings.get("balance", {}).items()
                         if "readability" in v}
        self.trials, self.blanks, self.set_aside = [], [], []
        self.series, self.measured, self.working, self.theory = {}, {}, {}, {}
        self.mass_unit, self.cache, self.busy = None, {}, set()
        self.balance_of, self.kinds, self.struck = {}, {}, []
        for kind, lines in blocks:
            {"masses": self.read_masses, "measured": self.read_measured, "working": self.read_working,
             "theory": self.read_theory}.get(kind, lambda _: None)(lines)
        self.valid = [t for t in self.trials if t not in self.set_aside]

    def point(self, text):
        return re.sub(r"(?<=\d),(?=\d)", ".", text) if self.comma else text

    def mass(self, text):
        number, unit = self.point(text).split()
        return Fraction(number) * UNITS[unit][0]

    # reading

    def columns(self, names):
        """Keys of the columns of a block; several columns may be headed `blank`."""
        keys, blanks = [], 0
        for name in names:
            if name == "blank":
                blanks += 1
                key = "blank" if blanks == 1 else f"blank {blanks}"
                if key not in self.blanks:
                    self.blanks.append(key)
            else:
                key = name
                if key not in self.trials:
                    self.trials.append(key)
            keys.append(key)
        return keys

    def read_masses(self, lines):
        unit, keys, balances = "g", None, None
        began = getattr(self, "began", False)  # an event ends a stage in the next block too
        for line in lines:
            if not line.strip():
                continue
            whole = re.match(r"\s*~~(.*[^~])~~\s*$", line)
            if whole and "~~" not in whole.group(1):
                # Its readings take no part, but it says what is weighed on what.
                things, _, _, order = load_of(split_label(whole.group(1))[0])
                self.struck.append((things, order))
                continue
            label, rest = split_label(line)
            word = label.strip().casefold()
            if word == "unit":
                unit = rest.strip()
                self.mass_unit = self.mass_unit or unit
            elif word == "trial":
                keys = self.columns(rest.split())
            elif word == "balance":
                balances = rest.split()
            elif word == "event":
                began = True
            elif word == "set aside":
                self.set_aside.append(re.match(r"\s*(.+?)\s*\(", rest).group(1))
            else:
                keys, began = self.read_row(label, rest, unit, keys, balances, began)
        self.began = began

    def read_row(self, label, rest, unit, keys, balances, began):
        row_balance = None
        if found := re.search(r"\s@\s*(\S+)\s*$", rest):
            row_balance, rest = found.group(1), rest[:found.start()]
        cells = [c for c in CELL.finditer(self.point(rest))]
        if keys is None:
            keys = self.columns([str(i + 1) for i in range(len(cells))])
        things, treatment, name, order = load_of(label)
        series = self.series.setdefault(things, Series(name, things, unit, order))
        row = {}
        for i, key in enumerate(keys):
            cell = self.read_cell(cells[i], unit) if i < len(cells) else Cell(None, None)
            if balances:
                cell.balance = balances[0] if len(balances) == 1 else balances[i]
            cell.balance = row_balance or cell.balance
            cell.owner = key
            row[key] = cell
        for i, key in enumerate(keys):
            if i < len(cells) and cells[i]["value"].startswith("="):
                row[key] = row[cells[i]["value"][1:].strip()]
        series.rows.append([bool(treatment), began, row])
        return keys, False

    def read_cell(self, found, unit):
        text = found["value"]
        if text in "–-" or text.startswith("="):
            return Cell(None, None)
        unit = found["unit"] or unit
        return Cell(text, reading(text, unit), unit)

    def read_measured(self, lines):
        keys = list(self.trials) or None
        for line in lines:
            if not line.strip():
                continue
            label, rest = split_label(line)
            if label.strip() == "trial":
                keys = self.columns(rest.split())
                continue
            name = symbol_of(label)
            values = []
            if keys is None:
                keys = self.columns([str(i + 1) for i in range(len(list(CELL.finditer(self.point(rest)))))])
            for cell in CELL.finditer(self.point(rest)):
                dash = cell["value"] in "–-"
                values.append(None if dash else reading(cell["value"], cell["unit"] or "1"))
            if len(values) == 1 and len(keys) > 1:
                self.measured[name] = values[0]
            else:
                self.measured[name] = dict(zip(keys, values))

    def read_working(self, lines):
        self.read_formulas(lines, self.working)

    def read_theory(self, lines):
        self.read_formulas(lines, self.theory)

    def read_formulas(self, lines, into):
        for line in lines:
            line = line.split("#")[0].rstrip()
            if not line.strip():
                continue
            left, right = line.split("=", 1)
            unit = None
            if found := re.match(r"(.*)\s+in\s+(\S+)\s*$", right):
                right, unit = found.group(1), found.group(2)
            into[symbol_of(left)] = (Parser(self.point(right)).whole(), unit)

    # net masses

    def last(self, things, trial):
        """The last weighing of a load, marked provisional where its series is unfinished."""
        cells = [row[trial] for _, _, row in self.series[things].rows if trial in row and row[trial].value]
        if not cells:
            return None
        value = cells[-1].value
        return replace(value, provisional=True) if self.is_provisional(things, trial, cells[-1]) else value

    def is_provisional(self, things, trial, cell):
        """A reading that stands for an unfinished series; one shared from another trial, where it stands for one there."""
        if self.unfinished(things, trial):
            return True
        own = [row[cell.owner] for _, _, row in self.series[things].rows if cell.owner in row and row[cell.owner].value]
        return cell.owner != trial and own[-1] is cell and self.unfinished(things, cell.owner)

    def unfinished(self, things, trial):
        verdict = self.verdict(things, trial)
        return verdict is not None and verdict[0] in ("not reached", "not shown")

    def net(self, target, trial, cells=None):
        """The mass of some things, if it follows uniquely from the loads of a trial."""
        take = cells or self.last
        loads = [(t, take(t, trial)) for t in self.series]
        loads = [(t, v) for t, v in loads if v is not None]
        if cells is None and target in dict(loads):
            return dict(loads)[target]
        weights = solve(tuple(t for t, _ in loads), target)
        if weights is None:
            raise Missing("net mass does not follow")
        used = [(w, v) for w, (_, v) in zip(weights, loads) if w]
        return total([v for _, v in used], sum(w * v.number for w, v in used))

    def thing_sets(self):
        names = []
        for series in self.series.values():
            names += [t for t in series.order if t not in names]
        return names

    # constant mass

    def verdict(self, things, trial):
        """(verdict, at) of a series in a trial, or none where nothing is to be judged."""
        rule = self.settings.get("constant-mass", "larger of 0.5 mg and 2 scale intervals")
        series = self.series[things]
        if rule == "fixed time" or len(series.rows) == 1 and not series.rows[0][0]:
            return None
        cells = [(i, began, row.get(trial) or Cell(None, None)) for i, (_, began, row) in enumerate(series.rows)]
        while cells and cells[-1][2].value is None:
            cells.pop()
        if not cells:
            return None
        key = ("verdict", things, trial)
        if key not in self.cache:
            self.cache[key] = None
            self.cache[key] = self.judge(cells, things, trial, rule)
        return self.cache[key]

    def judge(self, cells, things, trial, rule):
        start = max([k for k, (_, began, _) in enumerate(cells) if began and k], default=0)
        stage = cells[start:]
        values = [c.value.number if c.value else None for _, _, c in stage]
        if len(values) < 2 or sum(v is not None for v in values) < 2:
            return ("not shown", None)
        if values[-2] is None:
            return ("not shown", None)
        intervals = {self.interval(c) for _, _, c in stage if c.value}
        mark = ("two-intervals",) if len(intervals) > 1 else ()
        if "%" in rule and len(things) > 1 and self.net_of(things, trial) is self.last_plain(things, trial):
            mark += ("no-limit",)  # of several things, none of which was weighed without the others
        interval = max(self.interval(c) for _, _, c in stage[-2:])
        limit, strict = self.limit(rule, things, trial, interval)
        if limit is None:
            return ("no limit", None, "no-limit")
        if limit < interval:
            return ("cannot be judged", None, *mark)
        first = None
        for k in range(len(values) - 1, 0, -1):
            if values[k] is None or values[k - 1] is None:
                break
            change = abs(values[k] - values[k - 1])
            if change > limit or strict and change == limit:
                break
            first = stage[k][0] + 1
        return ("reached", first, *mark) if first else ("not reached", None, *mark)

    def interval(self, cell):
        if cell.balance in self.balances:
            return self.balances[cell.balance]
        return TEN**cell.value.digits.place

    def limit(self, rule, things, trial, interval):
        rule = self.point(rule).strip()
        strict = rule.startswith("less than")
        rule = re.sub(r"^(less than|not more than)\s+", "", rule)
        rule = re.sub(r"^the\s+", "", rule)
        if found := re.match(r"(smaller|larger) of (.*) and (.*)$", rule):
            limits = [self.one_limit(p, things, trial, interval) for p in found.groups()[1:]]
            if None in limits:
                return None, strict
            return (min if found.group(1) == "smaller" else max)(limits), strict
        return self.one_limit(rule, things, trial, interval), strict

    def one_limit(self, rule, things, trial, interval):
        number, unit = re.match(r"([\d.]+)\s*(.*)$", rule).groups()
        number = Fraction(number)
        if unit.startswith("scale"):
            return number * interval
        if unit.startswith("%"):
            mass = self.last_plain(things, trial) if "gross" in unit else self.net_of(things, trial)
            return None if mass is None else number / 100 * abs(mass.number)
        if "/" in unit:
            sample = self.plain_net(frozenset(["sample"]), trial)
            return None if sample is None else number * UNITS_OF(unit)[0] * abs(sample.number)
        return number * UNITS[unit.split()[0]][0]

    def last_plain(self, things, trial):
        cells = [row[trial] for _, _, row in self.series[things].rows if trial in row and row[trial].value]
        return cells[-1].value if cells else None

    def plain_net(self, things, trial):
        try:
            return self.net(things, trial, self.last_plain)
        except Missing:
            return None

    def net_of(self, things, trial):
        """Net mass of a load: without the largest part of it that was weighed too; a load without such a part is itself."""
        parts = [p for p in [*self.series, *(load for load, _ in self.struck)] if p < things]
        if not parts:
            return self.last_plain(things, trial)
        return self.plain_net(things - max(parts, key=len), trial)

    # values by name

    def is_scalar(self, name, theory=False):
        if theory and name in self.theory:
            return not self.depends(self.theory[name][0], True)
        if name in self.measured:
            return not isinstance(self.measured[name], dict)
        if name in self.working:
            return not self.depends(self.working[name][0])
        return not self.is_weighed(name)  # what nothing defines is no value of a trial

    def is_weighed(self, name):
        found = re.match(r"m\((.*)\)$", name)
        things = load_of(found.group(1))[0] if found and " + " in name else {fold(found.group(1))} if found else set()
        loads = [*self.series, *(load for load, _ in self.struck)]
        return bool(things) and all(any(thing in load for load in loads) for thing in things)

    def depends(self, tree, theory=False):
        """Does a tree depend on the trial? A formula that needs itself does not end here; it counts as one that does not."""
        key = ("depends", id(tree), theory)
        if key not in self.cache:
            self.cache[key] = False
            self.cache[key] = self.looks(tree, theory)
        return self.cache[key]

    def looks(self, tree, theory):
        kind = tree[0]
        if kind in ("literal", "M", "factor", "word", "of", "blank"):
            if kind == "word" and tree[1] == "theory":
                return not self.is_scalar(tree[2][1], True)
            return False
        if kind == "name":
            return tree[1] not in ("pi", "e") and not self.is_scalar(tree[1], theory)
        if kind == "call":
            return any(self.depends(t, theory) for t in tree[2])
        return any(self.depends(t, theory) for t in tree[1:] if isinstance(t, tuple))

    def value(self, name, trial, theory=False):
        """The value of a symbol in a trial (any trial for a scalar)."""
        own = theory and name in self.theory
        if self.is_scalar(name, theory):
            trial = None
        key = (name, trial, own)
        if key in self.cache:
            if isinstance(self.cache[key], Missing):
                raise self.cache[key]
            return self.cache[key]
        if key in self.busy:
            raise Missing("cycle")
        self.busy.add(key)
        try:
            result = self.find(name, trial, own)
        except Missing as reason:
            self.cache[key] = reason
            raise
        finally:
            self.busy.discard(key)
        self.cache[key] = result
        return result

    def find(self, name, trial, own):
        if own:
            return self.evaluate(self.theory[name][0], trial, True)
        if name in self.measured:
            stored = self.measured[name]
            value = stored.get(trial) if isinstance(stored, dict) else stored
            if value is None:
                raise Missing("not measured")
            return value
        if name in self.working:
            return self.evaluate(self.working[name][0], trial)
        if found := re.match(r"m\((.*)\)$", name):
            return self.net(load_of(found.group(1))[0] if " + " in found.group(1) else frozenset([fold(found.group(1))]), trial)
        if name == "pi":
            return Value(Fraction("3.1415926535897932384626433832795028841971693993751"), inexact=True)
        if name == "e":
            return Value(Fraction("2.7182818284590452353602874713526624977572470936999"), inexact=True)
        raise Missing(f"unknown name {name}")

    def evaluate(self, tree, trial, theory=False):
        kind = tree[0]
        again = lambda t: self.evaluate(t, trial, theory)
        if kind == "literal":
            return self.literal(tree[1], tree[2])
        if kind == "M":
            return self.substance(tree[1])
        if kind == "factor":
            return factor(*re.split(r"\s*;\s*" if self.comma else r"\s*,\s*", tree[1]), self.weights)
        if kind == "name":
            return self.value(tree[1], trial, theory)
        if kind == "of":
            return self.value(tree[1][1], tree[2], theory)
        if kind == "neg":
            value = again(tree[1])
            return replace(value, number=-value.number)
        if kind == "blank":
            values = [v for v in (self.quiet(tree[1][1], b) for b in self.blanks) if v is not None]
            if not values:
                raise Missing("no blank")
            return total(values, sum(v.number for v in values) / len(values))
        if kind == "word":
            if theory and tree[2][1] in self.theory:
                raise Missing("a word before a name that theory defines itself")
            return self.word(tree[1], tree[2])
        if kind == "call":
            return self.call(tree[1], [again(t) for t in tree[2]])
        left, right = again(tree[1]), again(tree[2])
        return {"+": lambda: add(left, right), "-": lambda: add(left, right, -1), "*": lambda: times(left, right),
                "/": lambda: over(left, right), "^": lambda: power(left, right)}[kind]()

    def substance(self, formula):
        """A molar mass, of the notebook's own where it states one."""
        own = {"".join(k.split()): str(v) for k, v in self.settings.get("molar-masses", {}).items()}
        if "".join(formula.split()) in own:
            text = own["".join(formula.split())].split()[0]
            value = reading(self.point(text), "g/mol")
            return replace(value, digits=replace(value.digits, kind=TABULATED))
        return molar_mass(formula, self.weights)

    def literal(self, text, unit):
        if "." in text:
            return reading(text, unit or "1")
        value = reading(text, unit or "1")
        return Value(value.number, value.dim)

    def call(self, name, values):
        return {"sqrt": lambda: square_root(values[0]), "ln": lambda: logarithm(values[0], None),
                "log10": lambda: logarithm(values[0], 10), "exp": lambda: exponential(values[0]),
                "abs": lambda: replace(values[0], number=abs(values[0].number)),
                "min": lambda: chosen(values, False), "max": lambda: chosen(values, True)}[name]()

    def quiet(self, name, trial, theory=False):
        try:
            return self.value(name, trial, theory)
        except Missing:
            return None

    def word(self, word, tree):
        name = tree[1]
        if word == "theory":
            return self.value(name, None, True)
        if word == "percent error":
            error = percent_error(self.statistics(name, self.valid)["mean"], self.value(name, None, True))
            return times(error, Value(TEN**-2))
        values = self.statistics(name, self.valid)
        if word in ("range", "average deviation", "relative difference") and values["n"] == 1:
            nothing = replace(values["mean"], number=Fraction(0)).marked("range-of-one")
            return nothing if word != "relative difference" else over(nothing, values["mean"])
        key = {"relative s": "relative_s", "relative difference": "relative_difference",
               "average deviation": "average_deviation"}.get(word, word)
        if key == "relative_difference" and values["n"] > 2 and values["mean"].number:
            size = replace(values["mean"], number=abs(values["mean"].number))
            return over(values["range"], size).marked("not-duplicates")
        if key not in values:
            raise Missing(word)
        found = values[key]
        return times(found, Value(TEN**-2)) if key.startswith("relative") else found

    def statistics(self, name, trials):
        """n, mean, range, s and what follows, of the values there are."""
        key = ("statistics", name, tuple(trials))
        if key not in self.cache:
            values = [v for v in (self.quiet(name, t) for t in trials) if v is not None]
            if not values:
                raise Missing("no values")
            self.cache[key] = statistics(values)
        return self.cache[key]

    # the expectation

    @functools.cached_property
    def expected(self):
        """Everything this evaluator says about the notebook."""
        names = {}
        for thing in self.thing_sets():
            if not self.is_vessel(thing):
                names[f"m({thing})"] = "net mass"
        names.update({n: "measured" for n in self.measured})
        names.update({n: "working" for n in self.working})
        quantities = {n: self.expect_quantity(n, o) for n, o in names.items()}
        return {"trials": self.trials, "blanks": self.blanks, "set_aside": self.set_aside, "quantities": quantities,
                "series": [self.expect_series(s) for s in self.series.values()]}

    def is_vessel(self, thing):
        """Something other things are weighed in or on."""
        loads = [*self.series, *(load for load, _ in self.struck)]
        return frozenset([thing]) in loads and any(thing in load and len(load) > 1 for load in loads)

    def expect_quantity(self, name, origin):
        out = {"origin": origin, "scalar": self.is_scalar(name)}
        if out["scalar"]:
            out["value"] = self.quiet(name, None)
        else:
            columns = self.trials + (self.blanks if origin == "net mass" else [])
            out["trials"] = {t: self.quiet(name, t) for t in columns}
            self.expect_agreement(name, out)
        if name in self.theory:
            self.expect_theory(name, out)
        return out

    def expect_agreement(self, name, out):
        try:
            out["agreement"] = self.statistics(name, self.valid)
        except Missing:
            pass
        if self.set_aside and any(v is not None for t, v in out["trials"].items() if t in self.trials):
            out["with_set_aside"] = self.statistics(name, self.trials)
        limit = self.settings.get("repeatability", {})
        if isinstance(limit, dict) and name in limit and out.get("agreement", {}).get("n") == 2:
            out["repeatability"] = self.repeatability(limit[name], out["agreement"])

    def repeatability(self, text, agreement):
        number, unit = re.match(r"([\d.]+)\s*(.*)$", self.point(text)).groups()
        if unit.endswith("relative"):
            allowed, inexact = Fraction(number) / 100 * abs(agreement["mean"].number), agreement["mean"].inexact
        else:
            allowed, inexact = Fraction(number) * UNITS_OF(unit or "1")[0], False
        return {"limit": allowed, "inexact": inexact, "kept": agreement["range"].number <= allowed}

    def expect_theory(self, name, out):
        if not self.is_scalar(name, True):
            out["theory_trials"] = {t: self.quiet(name, t, True) for t in self.trials}
            self.expect_comparison(out, self.mean_of_theory(name, out))
            return
        theory = self.quiet(name, None, True)
        out["theory"] = theory
        self.expect_comparison(out, theory)

    def mean_of_theory(self, name, out):
        """A theory of each trial counts by its mean over the trials that have a result."""
        trials = [t for t in self.valid if out["scalar"] or out["trials"].get(t) is not None]
        values = [v for v in (out["theory_trials"][t] for t in trials) if v is not None]
        if not values:
            return None
        return total(values, sum(v.number for v in values) / len(values))

    def expect_comparison(self, out, theory):
        found = out.get("value") if out["scalar"] else out.get("agreement", {}).get("mean")
        if theory is None or found is None or theory.number == 0 or theory.dim != found.dim:
            return
        out["percent_error"] = percent_error(found, theory)
        out["difference"] = add(found, theory, -1)

    def expect_series(self, series):
        out = {"load": series.label, "things": series.things, "unit": series.unit, "changes": {}, "verdicts": {}, "readings": {}}
        for trial in self.trials + self.blanks:
            cells = [row.get(trial, Cell(None, None)) for _, _, row in series.rows]
            out["readings"][trial] = [c.value for c in cells]
            pairs = [(a.value, b.value) for a, b in zip(cells, cells[1:]) if a.value and b.value]
            out["changes"][trial] = [add(b, a, -1) for a, b in pairs]
            out["verdicts"][trial] = self.verdict(series.things, trial)
        return out


def percent_error(found, theory):
    size = replace(theory, number=abs(theory.number))
    return times(over(add(found, theory, -1), size), Value(Fraction(100)))


def statistics(values):
    """Agreement of trials; relative measures over the size of the mean, in per cent and per mille."""
    n = len(values)
    numbers = [v.number for v in values]
    mean = sum(numbers) / n
    of = lambda number, inexact=False: replace(
        total(values, number), inexact=inexact or any(v.inexact for v in values))
    out = {"n": n, "mean": of(mean)}
    if n < 2:
        return out
    ends = [v for v in values if v.number in (max(numbers), min(numbers))]
    out["range"] = replace(of(max(numbers) - min(numbers)), inexact=any(v.inexact for v in ends))
    deviation, exact = root(sum((x - mean) ** 2 for x in numbers) / (n - 1), 2)
    out["s"] = of(deviation, not exact)
    out["average_deviation"] = of(sum(abs(x - mean) for x in numbers) / n)
    if mean:
        size = of(abs(mean))
        out["relative_s"] = times(over(out["s"], size), Value(Fraction(100)))
        if n == 2:
            out["relative_difference"] = times(over(out["range"], size), Value(Fraction(100)))
        out["relative_average_deviation"] = times(over(out["average_deviation"], size), Value(Fraction(1000)))
    return out


@functools.lru_cache(maxsize=1 << 14)
def solve(rows, target):
    """Weights of the rows (sets of things) that sum to the target, if the target is determined by them; the simplest
    where several would do is not looked for: notebooks written for this evaluator have one route to each mass."""
    names = sorted(set().union(target, *rows))
    count = len(rows)
    matrix = [[Fraction(int(n in r)) for r in rows] + [Fraction(int(n in target))] for n in names]
    pivots, line = [], 0
    for column in range(count):
        pivot = next((i for i in range(line, len(matrix)) if matrix[i][column]), None)
        if pivot is None:
            continue
        matrix[line], matrix[pivot] = matrix[pivot], matrix[line]
        matrix[line] = [x / matrix[line][column] for x in matrix[line]]
        for i in range(len(matrix)):
            if i != line and matrix[i][column]:
                matrix[i] = [x - matrix[i][column] * y for x, y in zip(matrix[i], matrix[line])]
        pivots.append(column)
        line += 1
    if any(row[-1] for row in matrix[line:]):
        return None
    weights = [Fraction(0)] * count
    for i, column in enumerate(pivots):
        weights[column] = matrix[i][-1]
    return weights


def fences(text):
    """Kind and lines of every fenced block."""
    kind, lines = None, []
    for line in text.split("\n"):
        if kind is None and (found := re.match(r"```(\w+)", line)):
            kind, lines = found.group(1), []
        elif kind is not None and line.startswith("```"):
            yield kind, lines
            kind = None
        elif kind is not None:
            lines.append(line)


def split_label(line):
    """Label and rest of a line: the first `:` outside brackets parts them."""
    depth = 0
    for i, character in enumerate(line):
        depth += (character in "([") - (character in ")]")
        if character == ":" and depth == 0:
            return line[:i], line[i + 1:]
    raise SyntaxError(line)


def symbol_of(text):
    found = re.match(r"\s*([^\W\d_]\w*)\s*(?:\((.*)\))?\s*$", text)
    return symbol(found.group(1), found.group(2).strip() if found.group(2) is not None else None)


# --- comparison --------------------------------------------------------------------------------------------------------


@dataclass
class Difference:
    where: str
    expected: str
    found: str
    open: tuple = ()


def printed_parts(text):
    """(whole number, power of ten) of a printed decimal."""
    mantissa, _, exponent = text.partition("e")
    whole, _, decimals = mantissa.partition(".")
    return int(whole + decimals), int(exponent or 0) - len(decimals)


def show(parts):
    if parts is None:
        return "exact"
    whole, place = parts
    return f"{Decimal(whole).scaleb(place):f}" if place <= 0 else str(Decimal(whole).scaleb(place))


class Comparison:
    """Holds a results file against an expectation; counts what it compared."""

    def __init__(self, notebook, results):
        self.notebook, self.results = notebook, results
        self.differences, self.count = [], {"values": 0, "printed": 0, "exact printed": 0, "verdicts": 0, "other": 0}

    def differ(self, where, expected, found, open=()):
        self.differences.append(Difference(where, str(expected), str(found), tuple(sorted(open))))

    def plain(self, where, expected, found):
        self.count["other"] += 1
        if expected != found:
            self.differ(where, expected, found)

    def figure(self, where, expected, found, unit):
        """A value to 34 figures, its flag and its printed form."""
        if expected is None or found is None or found.get("value") is None:
            self.count["values"] += 1
            if (expected is None) != (found is None or found.get("value") is None):
                self.differ(where + " presence", expected and float(expected.number), found)
            elif found is not None and found.get("printed") is not None:
                self.differ(where + " missing yet printed", None, found)
            return
        self.number(where, expected, found, unit)
        self.printed(where, expected, found, unit)

    def number(self, where, expected, found, unit):
        if unit == "°C":
            return self.number(where, add(expected, Value(CELSIUS_ZERO, K), -1), found, "K")
        self.count["values"] += 1
        factor, dim = UNITS_OF(unit)
        if dim != expected.dim:
            return self.differ(where + " dimension", expected.dim, unit)
        number = expected.number / factor
        theirs = Fraction(Decimal(found["value"]))
        if number == 0 or theirs == 0:
            same = number == theirs
        else:
            place = lead(number) - 33
            same = abs(number - theirs) <= TEN**place * (Fraction(1, 2) if not expected.inexact else Fraction(51, 100))
        shown = len(found["value"].partition("e")[0].replace(".", "").lstrip("-0"))
        if theirs and (shown > 34 or shown < 34 and not found["exact"]):
            self.differ(where + " figures", 34, found["value"])
        if not same:
            self.differ(where + " value", to_decimal(number), found["value"], expected.open)
        elif found["exact"] != (not expected.inexact and theirs == number):
            self.differ(where + " exact", not expected.inexact and theirs == number, found["exact"], expected.open)
        return None

    def printed(self, where, expected, found, unit):
        wanted = rounded(expected, unit, self.notebook.rule)
        theirs = printed_parts(found["printed"])
        if found["printed"].startswith("-") and theirs[0] == 0:
            self.differ(where + " minus zero", show(wanted), found["printed"], expected.open)
        if wanted is None:
            self.count["exact printed"] += 1
            return self.exact_printed(where, expected, found, unit)
        self.count["printed"] += 1
        if wanted[0] == 0 and theirs[0] == 0 and wanted[1] > 0 and theirs[1] >= 0:
            return None  # a zero above the units has no place to show
        if wanted != theirs:
            self.differ(where + " printed", show(wanted), found["printed"], expected.open)
        return None

    def exact_printed(self, where, expected, found, unit):
        """An exact value has no last place: what is printed must be it, or it to at least six figures."""
        number = expected.number / UNITS_OF(unit)[0]
        whole, place = printed_parts(found["printed"])
        if whole * ten(place) == number:
            return
        if number and len(str(abs(whole))) >= 6 and abs(whole * ten(place) - number) <= TEN**place / 2:
            return
        self.differ(where + " exact printed", to_decimal(number), found["printed"], expected.open)

    def run(self):
        expected, results = self.notebook.expected, self.results
        self.plain("trials", expected["trials"], [t for t in results["trials"] if t not in results["blanks"]])
        self.plain("blanks", len(expected["blanks"]), len(results["blanks"]))
        self.plain("set aside", sorted(expected["set_aside"]), sorted(results["set_aside"]))
        verdicts = [v for s in expected["series"] for v in s["verdicts"].values() if v]
        self.unsure = tuple({mark for v in verdicts for mark in v[2:]})  # a verdict left open leaves open what is provisional
        self.blank_names = dict(zip(expected["blanks"], results["blanks"]))
        listed = [q for q in results["quantities"] if q["origin"] != "theory"]
        found = {canonical(q["symbol"]): q for q in listed} | {q["symbol"]: q for q in listed}
        for name, wanted in expected["quantities"].items():
            key = name if name in found or wanted["origin"] != "net mass" else canonical(name)
            if key not in found:
                if wanted["origin"] != "net mass" or any(v is not None for v in wanted["trials"].values()):
                    self.differ(name + " quantity", "listed", "not listed")
            else:
                self.quantity(name, wanted, found[key])
        for wanted in expected["series"]:
            self.series(wanted)
        return self

    def quantity(self, name, wanted, found):
        unit = found["unit"]
        valued = wanted.get("value") or any(v is not None for v in wanted.get("trials", {}).values())
        if valued and (self.notebook.working.get(name) or (0, None))[1] not in (None, unit):
            self.differ(name + " unit", self.notebook.working[name][1], unit)
        if wanted["scalar"] != ("trials" not in found):
            return self.differ(name + " scalar", wanted["scalar"], "trials" not in found)
        if wanted["scalar"]:
            self.figure(name, wanted["value"], found, unit)
            self.provisional(name, wanted["value"], found)
        else:
            self.trials(name, wanted, found, unit)
        self.against_theory(name, wanted, found, unit)
        return None

    def provisional(self, where, wanted, found):
        self.count["other"] += 1
        if wanted is not None and wanted.provisional != found.get("provisional", False):
            self.differ(where + " provisional", wanted.provisional, found.get("provisional", False), self.unsure)

    def trials(self, name, wanted, found, unit):
        for trial, value in wanted["trials"].items():
            theirs = found["trials"].get(self.blank_names.get(trial, trial))
            self.figure(f"{name}[{trial}]", value, theirs, unit)
            if value is not None and theirs and theirs.get("value") is not None:
                self.provisional(f"{name}[{trial}]", value, theirs)
        if wanted["origin"] != "measured" or found.get("n") is not None:
            self.agreement(name, wanted.get("agreement"), found, unit)
            if "with_set_aside" in wanted:
                self.agreement(name + " with set aside", wanted["with_set_aside"], found.get("with_set_aside") or {}, unit)
        if "repeatability" in wanted:
            limit, theirs = wanted["repeatability"], found.get("repeatability")
            if theirs is None:
                return self.differ(name + " repeatability", limit, None)
            self.plain(name + " repeatability kept", limit["kept"], theirs["kept"])
            size = replace(wanted["agreement"]["mean"], number=limit["limit"], inexact=limit["inexact"])
            self.number(name + " repeatability limit", size, theirs["limit"], unit)
        return None

    def agreement(self, name, wanted, found, unit):
        if wanted is None:
            return self.plain(name + " n", None, found.get("n"))
        self.plain(name + " n", wanted["n"], found.get("n"))
        units = {"relative_s": "1", "relative_difference": "1", "relative_average_deviation": "1"}
        for key in ("mean", "range", "s", "relative_s", "relative_difference", "relative_average_deviation"):
            if key in wanted or found.get(key) is not None:
                self.figure(f"{name} {key}", wanted.get(key), found.get(key), units.get(key, unit))
        return None

    def against_theory(self, name, wanted, found, unit):
        if "theory_trials" in wanted:
            theirs = (found.get("theory") or {}).get("trials")
            if theirs is None:
                return self.differ(name + " theory", "per trial", found.get("theory"))
            for trial, value in wanted["theory_trials"].items():
                self.figure(f"{name} theory[{trial}]", value, theirs.get(trial), unit)
        elif "theory" not in wanted:
            return self.plain(name + " theory", None, found.get("theory"))
        else:
            self.figure(name + " theory", wanted["theory"], found.get("theory"), unit)
        self.figure(name + " percent error", wanted.get("percent_error"), found.get("percent_error"), "1")
        if unit == "%":
            self.figure(name + " difference", wanted.get("difference"), found.get("difference"), "%")
        return None

    def series(self, wanted):
        load = wanted["load"]
        found = next((s for s in self.results["series"] if load_of(s["load"])[0] == wanted["things"]), None)
        if found is None:
            return self.differ(load + " series", "listed", None)
        for trial in wanted["readings"]:
            column = self.blank_names.get(trial, trial)
            theirs = found["readings"].get(column, [])
            unit = found["unit"]
            mine = [v and show(rounded(v, unit, self.notebook.rule)).replace("E+", "e") for v in wanted["readings"][trial]]
            self.plain(f"{load} readings[{trial}]", mine if any(mine) else [], theirs if any(theirs) else [])
            changes = [change for change in found["changes"].get(column, []) if change is not None]
            self.changes(f"{load}[{trial}]", wanted["changes"][trial], changes, unit)
            self.verdict(f"{load}[{trial}]", wanted["verdicts"][trial], found["constant_mass"].get(column))
        return None

    def changes(self, where, wanted, found, unit):
        if len(wanted) != len(found):
            return self.differ(where + " changes", len(wanted), found)
        for value, text in zip(wanted, found):
            self.count["values"] += 1
            mine, theirs = rounded(value, unit, self.notebook.rule), printed_parts(text)
            if theirs != mine and not (theirs[0] == mine[0] == 0 and mine[1] > 0 and theirs[1] >= 0):
                self.differ(where + " change", show(rounded(value, unit, self.notebook.rule)), text)
        return None

    def verdict(self, where, wanted, found):
        self.count["verdicts"] += 1
        if wanted is None or found is None:
            if wanted is not None or found is not None:
                self.differ(where + " verdict", wanted, found)
            return
        theirs = (found["verdict"], found.get("at"))
        if wanted[:2] != theirs or found["reached"] != (wanted[0] == "reached"):
            self.differ(where + " verdict", wanted, found, wanted[2:])


def canonical(name):
    """A symbol for matching: the things of m(…) folded."""
    found = re.match(r"m\((.*)\)$", name)
    return f"m({' + '.join(sorted(load_of(found.group(1) + ' ')[0]))})" if found else name


# --- expectation as JSON -----------------------------------------------------------------------------------------------


def as_json(expected, rule, unit_of):
    """The expectation with every value as 34 figures and its printed form, for a run without this evaluator."""

    def figure(value, unit):
        if value is None:
            return None
        number = value.number / UNITS_OF(unit)[0]
        cut = Context(prec=34, rounding=ROUND_HALF_EVEN).plus(to_decimal(number))
        parts = rounded(value, unit, rule)
        return {"value": str(cut), "exact": not value.inexact and Fraction(cut) == number,
                "printed": parts and show(parts), "open": sorted(value.open)}

    def quantity(name, q):
        unit = unit_of(name)
        out = {"unit": unit, "scalar": q["scalar"]}
        for key in ("value", "theory"):
            if key in q:
                out[key] = figure(q[key], unit)
        for key in ("trials", "theory_trials"):
            if key in q:
                out[key] = {t: figure(v, unit) for t, v in q[key].items()}
        for key in ("agreement", "with_set_aside"):
            if key in q:
                out[key] = {k: v if k == "n" else figure(v, "1" if k.startswith("relative") else unit)
                            for k, v in q[key].items()}
        for key in ("percent_error", "difference"):
            if key in q:
                out[key] = figure(q[key], "%" if key == "difference" else "1")
        return out

    series = [{"load": s["load"], "verdicts": s["verdicts"],
               "changes": {t: [show(rounded(c, s["unit"], rule)) for c in cs] for t, cs in s["changes"].items()}}
              for s in expected["series"]]
    return {"trials": expected["trials"], "set_aside": expected["set_aside"],
            "quantities": {n: quantity(n, q) for n, q in expected["quantities"].items()}, "series": series}


BASE_UNITS = {ONE: "1", G: "g", VOLUME: "m^3", MOL: "mol", K: "K", S: "s", (1, 0, -1, 0, 0): "g/mol", M: "m"}


def expectation(notebook):
    expected = notebook.expected

    def unit_of(name):
        if name in notebook.working and notebook.working[name][1]:
            return notebook.working[name][1]
        q = expected["quantities"][name]
        values = [q["value"]] if q["scalar"] else list(q["trials"].values())
        dim = next((v.dim for v in values if v is not None), ONE)
        if dim == G:
            return notebook.mass_unit or "g"
        names = "g m mol K s".split()
        return BASE_UNITS.get(dim) or "·".join(f"{n}^{d}" for n, d in zip(names, dim) if d)

    return as_json(expected, notebook.rule, unit_of)


if __name__ == "__main__":
    with open(sys.argv[1], encoding="utf-8") as file:
        json.dump(expectation(Notebook(file.read())), sys.stdout, ensure_ascii=False, indent=1)
