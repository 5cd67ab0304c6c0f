"""Writes molar_masses.tsv: random formulas with their molar mass by three libraries, and by exact fractions.

    python3 -m venv target/oracle && target/oracle/bin/pip install molmass==2026.1.8 periodictable==2.1.0 chempy==0.10.2
    target/oracle/bin/python tests/oracle/molar_masses.py > tests/oracle/molar_masses.tsv

A formula is made as a tree of atoms and groups, so its composition is known without reading any text. It is written
once the way the crate reads formulas and once in the notation of each library; a library that has no notation for it
(half counts, isotopes, charges of groups) gets `-`. Each library weighs with its own atomic weights, which are in the
file. The libraries share no code: molmass sums isotopes by their abundance, chempy and periodictable
have lists of their own. All three take electrons off an ion, each with its own electron mass.

    library  NAME  VERSION
    weight   NAME  ATOM  VALUE            ATOM is a symbol, an isotope (^13C) or e, the electron; the shortest decimal of the float
    formula  TEXT  CHARGE  EXACT  NAME's mass …   EXACT: the sum in fractions by the abridged weights of CIAAW, `-` where an
                                                  atom has none there; the masses in the order of the `library` lines
"""

import sys
from fractions import Fraction
from pathlib import Path
from random import Random

import chempy
import molmass
import periodictable
from chempy.util import periodic
from chempy.util.parsing import formula_to_composition
from chempy.util.periodic import mass_from_composition
from periodictable import constants

sys.path.insert(0, str(Path(__file__).parent))
from evaluator import WEIGHTS  # noqa: E402  abridged weights, typed in apart from the crate's

SEED = 20260305
RANDOM = Random(SEED)
COUNT = 2600
COMMON = "H H H O O O C C N S P F Cl Na K Mg Ca Ba Al Si Fe Cu Ni Zn Ag Pb Mn Cr Co".split()
SYMBOLS = list(periodic.symbols)
ISOTOPES = [("H", 2), ("H", 2), ("H", 3), ("C", 13), ("N", 15), ("O", 17), ("O", 18), ("S", 34), ("Cl", 37), ("Fe", 57), ("U", 235)]


# Formulas as trees: ("atom", symbol, mass number or None, count) and ("group", bracket, items, count).

def count():
    return RANDOM.choice([1, 1, 1, 1, 2, 2, 3, 4, 5, 6, 7, 8, 10, 12, 24, 40])


def atom(isotopes):
    if isotopes and RANDOM.random() < 0.4:
        return ("atom", *RANDOM.choice(ISOTOPES), count())
    pool = RANDOM.choices([COMMON, list(WEIGHTS), SYMBOLS], [70, 25, 5])[0]
    return ("atom", RANDOM.choice(pool), None, count())


def items(depth, isotopes):
    made = [atom(isotopes) for _ in range(RANDOM.randint(1, 4))]
    if depth and RANDOM.random() < 0.7:
        made.insert(RANDOM.randint(0, len(made)), ("group", RANDOM.randrange(3), items(depth - 1, isotopes), count()))
    if depth and RANDOM.random() < 0.3:
        made.append(("group", RANDOM.randrange(3), items(depth - 1, isotopes), RANDOM.randint(2, 6)))
    return made


def formula():
    isotopes = RANDOM.random() < 0.12
    parts = [(Fraction(1), items(RANDOM.choice([0, 0, 1, 2, 3]), isotopes))]
    if RANDOM.random() < 0.3:
        waters = Fraction(RANDOM.choice([1, 1, 2, 3, 4, 5, 6, 7, 10, 12, 18])) / RANDOM.choice([1] * 8 + [2])
        parts.append((waters, RANDOM.choice([water(None), water(None), water(None), water(2), items(0, isotopes)])))
    charge = RANDOM.choice([-4, -3, -2, -2, -1, -1, 1, 1, 2, 2, 3, 4]) if RANDOM.random() < 0.2 else 0
    if RANDOM.random() < 0.03:  # a single atom, often an ion
        parts = [(Fraction(1), [("atom", RANDOM.choice(["Fe", "Cu", "Na", "Cl", "Ag", "Pb", "S", "Ca"]), None, 1)])]
    return parts, charge


def water(mass_number):
    return [("atom", "H", mass_number, 2), ("atom", "O", None, 1)]


def composition(parts):
    counts = {}

    def add(made, times):
        for kind, *rest in made:
            if kind == "atom":
                symbol, mass_number, n = rest
                counts[symbol, mass_number] = counts.get((symbol, mass_number), 0) + n * times
            else:
                add(rest[1], rest[2] * times)
    for times, made in parts:
        add(made, times)
    return counts


# Writing them.

def written(made, write_atom, brackets=("()", "[]", "{}"), number=str):
    texts = []
    for kind, *rest in made:
        n = "" if rest[2] == 1 else number(rest[2])
        if kind == "atom":
            texts.append(write_atom(rest[0], rest[1]) + n)
        else:
            opening, closing = brackets[rest[0] % len(brackets)]
            texts.append(opening + written(rest[1], write_atom, brackets, number) + closing + n)
    return "".join(texts)


LOW, HIGH = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉"), str.maketrans("0123456789+-", "⁰¹²³⁴⁵⁶⁷⁸⁹⁺⁻")


def ours(parts, charge):
    """In one of the spellings the crate reads."""
    printed = RANDOM.random() < 0.3
    number = (lambda n: str(n).translate(LOW)) if printed else str

    def write_atom(symbol, mass_number):
        if mass_number is None:
            return symbol
        if (symbol, mass_number) in (("H", 2), ("H", 3)) and RANDOM.random() < 0.5:
            return "D" if mass_number == 2 else "T"
        return str(mass_number).translate(HIGH) + symbol if printed else f"^{mass_number}{symbol}"

    text = written(parts[0][1], write_atom, number=number)
    for times, made in parts[1:]:
        text += RANDOM.choice("··.*") + waters(times) + written(made, write_atom, number=number)
    return text + charge_text(charge, printed) + RANDOM.choice([""] * 8 + ["(s)", "(aq)"])


def waters(times):
    whole, rest = divmod(times, 1)
    if not rest:
        return "" if times == 1 else str(times)
    return RANDOM.choice([f"{whole or ''}½", f"{whole}.5", f"{times.numerator}/{times.denominator}"])


def charge_text(charge, printed):
    if not charge:
        return ""
    size, sign = "" if abs(charge) == 1 else str(abs(charge)), "+" if charge > 0 else "-"
    raised = RANDOM.choice([f"^{size}{sign}", f"^{sign}{size}", f"^{{{size}{sign}}}"])
    return (size + sign).translate(HIGH) if printed else raised


# The notation of each library; None where it has none.

def for_chempy(parts, charge):
    if any(times.denominator > 1 for times, _ in parts) or any(m for _, m in composition(parts)):
        return None
    text = written(parts[0][1], lambda symbol, _: symbol)
    text += "".join(f"..{'' if times == 1 else times}" + written(made, lambda symbol, _: symbol) for times, made in parts[1:])
    return text + (f"{charge:+}" if charge else "")


def for_molmass(parts, charge):
    unknown = any(s not in MOLMASS or (m and m not in MOLMASS[s].isotopes) for s, m in composition(parts))
    if unknown or any(times.denominator > 1 for times, _ in parts):
        return None

    def write_atom(symbol, mass_number):
        return f"[{mass_number}{symbol}]" if mass_number else symbol
    # Square brackets mean isotopes and ions there.
    text = "".join(f"({written(made, write_atom, brackets=('()',))}){times}" for times, made in parts)
    return text + (f"_{abs(charge)}{'+' if charge > 0 else '-'}" if charge else "")


def for_periodictable(parts, charge):
    if charge and not known_ion(parts, charge):
        return None
    ion = f"{{{abs(charge)}{'+' if charge > 0 else '-'}}}" if charge else ""

    def write_atom(symbol, mass_number):
        return symbol + (f"[{mass_number}]" if mass_number else "") + ion
    return "+".join(f"{'' if times == 1 else float(times)}{written(made, write_atom, brackets=('()',))}" for times, made in parts)


def known_ion(parts, charge):
    """There only single atoms carry charges, and of each element only those of a list."""
    counts = composition(parts)
    return len(counts) == 1 and sum(counts.values()) == 1 and charge in getattr(periodictable, next(iter(counts))[0]).ions


MOLMASS = {element.symbol: element for element in molmass.ELEMENTS}

# Name: version, how to write a formula, how to weigh what was written.
LIBRARIES = {
    "molmass": (molmass.__version__, for_molmass, lambda text: molmass.Formula(text).mass),
    "periodictable": (periodictable.__version__, for_periodictable, lambda text: periodictable.formula(text).mass),
    "chempy": (chempy.__version__, for_chempy, lambda text: mass_from_composition(formula_to_composition(text))),
}


def weight(library, symbol, mass_number):
    """The weight a library uses, or None."""
    if library == "chempy":
        return None if mass_number else periodic.relative_atomic_masses[periodic.symbols.index(symbol)]
    if library == "molmass":
        element = MOLMASS.get(symbol)
        if not element or not mass_number:
            return element and element.mass
        isotope = element.isotopes.get(mass_number)
        return isotope and isotope.mass
    element = getattr(periodictable, symbol)
    return element[mass_number].mass if mass_number else element.mass


ELECTRON = {"molmass": molmass.ELECTRON.mass, "periodictable": constants.electron_mass, "chempy": 5.489e-4}


def exact(counts):
    """The sum by the abridged weights, as a decimal or a fraction of a formula with half counts."""
    if any(mass_number or symbol not in WEIGHTS for symbol, mass_number in counts):
        return "-"
    return str(sum(Fraction(WEIGHTS[symbol]) * n for (symbol, _), n in counts.items()))


def row(*cells):
    print("\t".join("-" if cell is None else str(cell) for cell in cells))


def made():
    """The formulas, the same ones every time."""
    RANDOM.seed(SEED)
    return [formula() for _ in range(COUNT)]


def main():
    formulas = made()
    used = sorted({kind for parts, _ in formulas for kind in composition(parts)}, key=lambda kind: (kind[0], kind[1] or 0))
    for name, (version, _, _) in LIBRARIES.items():
        row("library", name, version)
    for name in LIBRARIES:
        row("weight", name, "e", repr(float(ELECTRON[name])))
        for symbol, mass_number in used:
            value = weight(name, symbol, mass_number)
            if value is not None:
                row("weight", name, f"^{mass_number}{symbol}" if mass_number else symbol, repr(float(value)))
    for parts, charge in formulas:
        row("formula", ours(parts, charge), charge, exact(composition(parts)), *masses(parts, charge))


def masses(parts, charge):
    for _, write, weigh in LIBRARIES.values():
        text = write(parts, charge)
        yield None if text is None else repr(float(weigh(text)))


if __name__ == "__main__":
    main()
