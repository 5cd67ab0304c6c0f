"""Writes quantity.tsv: random operations with their results by Python's `decimal` and `fractions`.

    python3 tests/oracle/quantity.py > tests/oracle/quantity.tsv

Nothing of it shares code or method with the crate. Rounding is `decimal`'s, of a quotient that was cut
with ROUND_05UP, the mode made for rounding a second time; roots and logarithms are `decimal`'s at 200
digits; significant figures are counted on the text of a number, never on its value.
"""

from decimal import Decimal, Context, ROUND_05UP, ROUND_HALF_EVEN, ROUND_HALF_UP
from fractions import Fraction
from random import Random

RANDOM = Random(20260304)
WIDE = Context(prec=200, rounding=ROUND_HALF_EVEN, Emax=10**6, Emin=-10**6)
STICKY = Context(prec=200, rounding=ROUND_05UP, Emax=10**6, Emin=-10**6)
FIFTY = Context(prec=50, rounding=ROUND_HALF_EVEN, Emax=10**6, Emin=-10**6)
RULES = {"even": ROUND_HALF_EVEN, "away": ROUND_HALF_UP}  # HALF_UP is away from zero


def row(*cells):
    print("\t".join(str(cell) for cell in cells))


def fraction():
    """A fraction, often a decimal that ends in 5 so that it is a tie somewhere."""
    kind = RANDOM.randrange(4)
    numerator = RANDOM.randint(-(10 ** RANDOM.randint(1, 14)), 10 ** RANDOM.randint(1, 14))
    if kind == 0:
        return Fraction(numerator, RANDOM.randint(1, 10 ** RANDOM.randint(1, 9)))
    if kind == 1:
        return Fraction(numerator * 10 + 5, 10 ** RANDOM.randint(0, 14))
    if kind == 2:
        nines = 10 ** RANDOM.randint(1, 8) - 1
        return Fraction(RANDOM.choice([-1, 1]) * (nines * 10 + 5), 10 ** RANDOM.randint(0, 12))
    return Fraction(numerator, 10 ** RANDOM.randint(0, 14))


def positive():
    while True:
        value = abs(fraction())
        if value:
            return value


def quotient(value, context):
    return context.divide(Decimal(value.numerator), Decimal(value.denominator))


def at_place(value, place, rule):
    """Whole number of units of 10^place."""
    cut = quotient(value, STICKY)
    return int(cut.quantize(Decimal((0, (1,), place)), rounding=RULES[rule], context=WIDE).scaleb(-place, WIDE))


def at_figures(value, figures, rule):
    """Digits as a whole number, and the power of ten of the last."""
    context = Context(prec=figures, rounding=RULES[rule], Emax=10**6, Emin=-10**6)
    sign, digits, exponent = context.plus(quotient(value, STICKY)).as_tuple()
    digits = digits + (0,) * (figures - len(digits))
    exponent -= figures - len(context.plus(quotient(value, STICKY)).as_tuple().digits)
    return (-1 if sign else 1) * int("".join(map(str, digits))), exponent


def rounding():
    for _ in range(300):
        value, place, rule = fraction(), RANDOM.randint(-12, 4), RANDOM.choice(list(RULES))
        row("place", value, place, rule, at_place(value, place, rule))
    for _ in range(300):
        value, figures, rule = fraction(), RANDOM.randint(1, 12), RANDOM.choice(list(RULES))
        if value:
            row("figures", value, figures, rule, *at_figures(value, figures, rule))


def arithmetic():
    for _ in range(75):
        a, b = fraction(), fraction()
        row("add", a, b, a + b)
        row("sub", a, b, a - b)
        row("mul", a, b, a * b)
        if b:
            row("div", a, b, a / b)
        if a:
            power = RANDOM.randint(-9, 9)
            row("pow", a, power, a**power)
            row("float", a, float(a).hex())


def transcendental():
    for _ in range(110):
        value = positive()
        row("sqrt", value, FIFTY.plus(quotient(value, WIDE).sqrt(WIDE)))
        row("ln", value, FIFTY.plus(quotient(value, WIDE).ln(WIDE)))
        row("log10", value, FIFTY.plus(quotient(value, WIDE).log10(WIDE)))
        exponent = Fraction(RANDOM.randint(-(10**8), 10**8), 10 ** RANDOM.randint(6, 30))
        row("exp", exponent, FIFTY.plus(quotient(exponent, WIDE).exp(WIDE)))
        power = RANDOM.randint(-25, 25) + Fraction(RANDOM.randint(1, 8), 9)  # never whole
        result = WIDE.power(quotient(value, WIDE), quotient(power, WIDE))
        row("powf", value, power, FIFTY.plus(result))
    for digits in range(1, 40, 3):
        near = 1 + Fraction(RANDOM.choice([-1, 1]), 10**digits)
        row("ln", near, FIFTY.plus(quotient(near, WIDE).ln(WIDE)))


def written():
    """A decimal as a person writes it, without a power of ten."""
    digits = str(RANDOM.randint(1, 10 ** RANDOM.randint(1, 7)))
    decimals = RANDOM.randint(1, 6)
    digits = digits.rjust(decimals + 1, "0")
    return f"{digits[:-decimals]}.{digits[-decimals:]}"


def count(text):
    return len(text.replace(".", "").lstrip("0"))


def decimals(text):
    return len(text.split(".")[1])


def show(digits, place):
    """A rounded number as the program prints it."""
    sign, text = ("-" if digits < 0 else ""), str(abs(digits))
    leading = place + len(text) - 1
    if place > 0 or digits and not -5 < leading < 14:
        mantissa = text[0] + ("." + text[1:] if len(text) > 1 else "")
        return f"{sign}{mantissa}e{leading}"
    if place == 0:
        return sign + text
    text = text.rjust(1 - place, "0")
    return f"{sign}{text[:place]}.{text[place:]}"


def figures():
    for _ in range(110):
        a, b = written(), written()
        fewest = min(count(a), count(b))
        row("times", a, b, show(*at_figures(Fraction(a) * Fraction(b), fewest, "even")))
        row("over", a, b, show(*at_figures(Fraction(a) / Fraction(b), fewest, "even")))
        place = -min(decimals(a), decimals(b))
        row("plus", a, b, show(at_place(Fraction(a) + Fraction(b), place, "even"), place))
        row("minus", a, b, show(at_place(Fraction(a) - Fraction(b), place, "even"), place))


rounding()
arithmetic()
transcendental()
figures()
