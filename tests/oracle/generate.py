"""Random notebooks within the subset that `evaluator.py` reads.

    python3 tests/oracle/generate.py --seed 1 --count 500 --into FOLDER        # N.md and N.json (the expectation)
    python3 tests/oracle/generate.py --seed 1 --count 500 --against PROGRAM    # runs PROGRAM, compares, prints differences

The same seed writes the same notebooks. A notebook has 1 to 7 trials (blanks and trials set aside among them), series of
1 to 6 weighings with gaps, strikes, shared readings, events, other units in single cells; measured quantities; formulas
with every operator and function, of known dimension and mostly of defined value; theory; a rule of constant mass;
repeatability limits; both rules of rounding; both decimal marks. Masses and changes are chosen near the edges: ties,
powers of ten, changes equal to the limit, differences that come to nothing.

With `--against`, a difference whose expectation rests on a question the rules leave open is counted, not printed
(`--open` prints them too). The exit status is 1 where other differences were found.
"""

import argparse
import json
import os
import random
import subprocess
import sys
import tempfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction

import evaluator

TRIALS = [list("ABCDEFG"), [str(i) for i in range(1, 8)], ["north", "middle", "south", "east", "west", "top", "foot"],
          ["I", "II", "III", "IV", "V", "VI", "VII"], ["T1", "T2", "T3", "T4", "T5", "T6", "T7"]]
VESSELS = ["crucible", "dish", "beaker", "tray", "weighing bottle", "Boat", "cup 2", "filter paper"]
ITEMS = ["sample", "residue", "ash", "AgCl", "dry soil", "residue, washed", "oxide", "CuSO4·5H2O", "soil (wet)", "Salz", "осадок"]
TREATMENTS = ["heating", "drying", "ignition", "reagent and heating"]
FORMULAS = """H2O CO2 NaCl KCl CuSO4 CuSO4·5H2O CuSO4.5H2O MgSO4*7H2O BaSO4 BaCl2·2H2O AgCl AgBr Fe2O3 Fe3O4 Mg2P2O7 MgNH4PO4·6H2O
CaC2O4·H2O CaCO3 CaO MgO MgCO3 CaSO4·½H2O CaSO4·0.5H2O NiC8H14N4O4 Ni(C4H7N2O2)2 Al(C9H6NO)3 Al2O3 SiO2 K2PtCl6 KClO4 (NH4)2SO4
KAl(SO4)2·12H2O K4[Fe(CN)6]·3H2O Cu(NH3)4SO4·H2O Na2CO3·10H2O Pb3O4 PbCrO4 ZnSO4·7H2O Zn3(PO4)2·4H2O Hg2Cl2 Bi2O3 U3O8 WO3 TiO2
ZrO2 Gd2O3 Lu2O3 C6H12O6 C12H22O11 C27H18AlN3O3 Co3O4 CoC2O4·2H2O Mn2P2O7 As2S3 Sb2S3 SnO2 CdSO4 SrSO4 LiCl RbClO4 Cs2SO4 CeO2
La2O3 Th(C2O4)2·6H2O V2O5 MoO3 TeO2 PtCl4 AuCl3 PdCl2 N2 H2 O2 S8 P4 Fe C""".split()
FACTORS = ["Ba, BaSO4", "S, BaSO4", "Fe, Fe2O3", "Fe3O4, Fe2O3", "P2O5, Mg2P2O7", "MgO, Mg2P2O7", "Ag, AgCl", "Cl, AgCl",
           "Al2O3, Al(C9H6NO)3", "Ni, Ni(C4H7N2O2)2", "Ca, CaC2O4·H2O", "K2O, KClO4", "Pb3O4, PbCrO4", "Zn, Zn2P2O7"]
SHOWN = {"mass": ["g", "mg", "kg", "µg", None], "one": ["%", "ppm", None, None], "vol": ["mL", "L", None],
         "amount": ["mol", "mmol", None], "conc": ["g/L", "mg/L", "g/mL", "mg/mL", None], "molar": ["g/mol", "kg/mol", None]}
TEN = Fraction(10)


class Writer:
    """Writes one notebook from a random stream."""

    def __init__(self, stream):
        self.r, self.edge = stream, False
        self.lines, self.symbols = [], {}  # symbol → (type, whether it depends on the trial)

    def some(self, chance):
        return self.r.random() < chance

    def pick(self, *things):
        return self.r.choice(things)

    def notebook(self):
        self.settings()
        self.masses()
        self.other()
        working = self.working()
        theory = self.theory()
        head = ["# A random notebook", "", "```experiment", *self.experiment(), "```", ""]
        text = "\n".join(head + self.lines + working + theory) + "\n"
        return text

    def figures_notebook(self):
        """Only formulas of literals, many and short, at the edges of the rules of digits."""
        self.settings()
        self.names, self.rule, self.balance, self.edge = ["A"], None, None, True
        lines, self.limits = [], {}
        for i in range(60):
            kind = self.pick("one", "one", "one", "mass", "vol", "amount", "molar", "time")
            tree, _ = self.tree(kind, self.r.randint(0, 3)) if kind != "time" else (("*", ("lit", self.digits(), None), self.leaf(
                "time")[0]), False)
            unit = self.pick(*SHOWN[kind]) if kind != "time" else self.pick("min", "h", "s")
            lines.append(f"x_{i} = {self.render(tree, 1)}" + (f"  in {unit}" if unit else ""))
            if self.some(0.5):
                self.symbols[f"x_{i}"] = (kind, False)
        head = ["# Figures", "", "```experiment", *self.experiment(), "```", ""]
        masses = ["```masses", "unit: g", "trial: A", f"pan: {self.mark('1.0000')}", "```", ""]
        return "\n".join(head + masses + ["```working", *lines, "```"]) + "\n"

    # settings

    def settings(self):
        count = self.r.randint(1, 7)
        self.names = self.pick(*TRIALS)[:count]
        self.comma = self.some(0.2)
        self.rounding = self.pick("half even", "half away from zero", None)
        self.decimals = self.pick(1, 2, 3, 4, 4, 4, 5)  # of a gram
        self.unit = self.pick("g", "g", "g", "mg", "kg")
        self.balance = self.pick(None, "B-04", "B-04")
        self.blanks = self.r.randint(1, 2) if count > 1 and self.some(0.2) else 0
        self.aside = self.r.sample(self.names, self.r.randint(1, max(1, count - 1))) if count > 1 and self.some(0.2) else []
        self.columns = list(self.names)
        for _ in range(self.blanks):
            self.columns.insert(self.r.randint(0, len(self.columns)), "blank")
        self.step = TEN**-self.decimals
        self.rule = self.constant_mass()
        self.limits = {}

    def constant_mass(self):
        steps = self.pick(1, 2, 3, 5, 10)
        absolute = f"{self.plain(steps * self.step * 1000)} mg"
        relative = f"{self.pick('0.1', '0.05', '1', '4', '0.50')} %" + self.pick("", "", " of the net mass", " of the gross mass")
        per_gram = f"{self.pick('0.50', '0.5', '1', '2.5')} mg/g"
        one = self.pick(absolute, absolute, relative, per_gram)
        two = f"{self.pick('smaller', 'larger')} of {absolute} and {self.pick(relative, per_gram)}"
        lead = self.pick("", "not more than ", "less than ")
        kind = self.r.randrange(6)
        if kind == 0:
            return None
        if kind == 1:
            return "fixed time"
        return lead + (one if kind < 4 else self.pick("", "the ") * bool(lead) + two)

    def experiment(self):
        yield 'title = "A random notebook"'
        yield "date = 2026-03-04"
        if self.rounding:
            yield f'rounding = "{self.rounding}"'
        if self.comma:
            yield 'decimal = "comma"'
        if self.rule:
            yield f'constant-mass = "{self.mark(self.rule)}"'
        if self.limits:
            inside = ", ".join(f'"{k}" = "{self.mark(v)}"' for k, v in self.limits.items())
            yield f"repeatability = {{ {inside} }}"
        if self.balance:
            yield ""
            yield f"[balance.{self.balance}]"
            yield f'readability = "{self.mark(self.plain(self.step * 1000))} mg"'

    def mark(self, text):
        return text.replace(".", ",") if self.comma else text

    @staticmethod
    def plain(number):
        """A terminating decimal without trailing zeros."""
        number = Fraction(number)
        for d in range(30):
            if (number * TEN**d).denominator == 1:
                return Writer.fixed(number, d)
        raise ValueError(number)

    @staticmethod
    def fixed(number, decimals):
        whole = int(number * TEN**decimals)
        text = str(abs(whole)).rjust(decimals + 1, "0")
        text = f"{text[:-decimals]}.{text[-decimals:]}" if decimals else text
        return ("-" if whole < 0 else "") + text

    # masses

    def masses(self):
        self.items = []
        scenes = self.r.sample([self.vessel, self.vessel, self.difference, self.alone], self.r.randint(1, 2))
        if self.vessel not in scenes and self.some(0.7):
            scenes.append(self.vessel)
        self.free_vessels, self.free_items = self.r.sample(VESSELS, len(VESSELS)), list(ITEMS)
        rows = []
        for scene in scenes:
            rows += scene()
        parts = [rows]
        if len(rows) > 4 and self.some(0.2):
            cut = self.r.randint(2, len(rows) - 1)
            parts = [rows[:cut], rows[cut:]]
        for part in parts:
            self.mass_block(part, part is parts[-1])
        for item in self.items:
            self.symbols[f"m({item})"] = ("mass", True)

    def mass_block(self, rows, last):
        self.lines += ["```masses", f"unit: {self.unit}"]
        if self.balance:
            self.lines.append(f"balance: {self.balance}")
        order = list(range(len(self.columns)))
        if not self.blanks and self.some(0.15) and self.lines.count("```masses") > 1:
            self.r.shuffle(order)
        self.lines.append("trial: " + "  ".join(self.columns[i] for i in order))
        for row in rows:
            if isinstance(row, str):
                self.lines.append(row)
            else:
                label, cells = row
                end = "~~" if label.startswith("~~") else ""
                self.lines.append(f"{label}:  " + "   ".join(cells[i] for i in order) + end)
        if last:
            for name in self.aside:
                self.lines.append(f"set aside: {name} (it {self.pick('cracked', 'was spilled')}; 14:20)")
        self.lines += ["```", ""]

    def around(self, low, high):
        """A mass in grams per column, on the scale, sometimes round or just below a power of ten."""
        def one():
            value = Fraction(self.r.randint(int(low / self.step), int(high / self.step))) * self.step
            if self.some(0.05):
                value = TEN ** self.r.randint(0, 1) + self.pick(-1, 0, 1) * self.step
            return value
        return [one() for _ in self.columns]

    def vessel(self):
        base = [self.free_vessels.pop()]
        if self.some(0.2):
            base.append("lid" if "lid" not in self.items else "cover")
        tare = self.around(10, 40)
        rows, tare = self.series(base, tare, self.some(0.5))
        names = []
        if "sample" in self.free_items and self.some(0.8):
            names.append("sample")
        names += self.r.sample([i for i in self.free_items if i != "sample"], self.r.randint(0 if names else 1, 2))
        whole = self.around(Fraction(1, 2), 3)
        for name in names:
            self.free_items.remove(name)
            self.items.append(name)
            factor = Fraction(self.r.randint(200, 1000), 1000)
            inside = [max(self.step, Fraction(round(w * factor / self.step)) * self.step) for w in whole]
            if self.some(0.08):
                inside = list(whole)  # a difference that comes to nothing
            more, _ = self.series(base + [name], [t + i for t, i in zip(tare, inside)], self.some(0.6), event=self.some(0.3))
            rows += more
        return rows

    def difference(self):
        bottle = self.free_vessels.pop()
        portions = self.r.sample([i for i in self.free_items if i != "sample"], 1)
        first = self.around(20, 30)
        rest = [f - m for f, m in zip(first, self.around(Fraction(1, 5), 2))]
        for name in portions:
            self.free_items.remove(name)
            self.items.append(name)
        rows, _ = self.series([bottle, "rest", *portions], first, False)
        more, _ = self.series(["rest", bottle], rest, False)
        return rows + more

    def alone(self):
        name = self.pick(*[i for i in self.free_items if i != "sample"])
        self.free_items.remove(name)
        self.items.append(name)
        return self.series([name], self.around(Fraction(1, 5), 2), self.some(0.4))[0]

    def series(self, things, final, long, event=False):
        """Rows of one load that end at the final masses, and the masses as last written."""
        cycles = self.r.randint(1, 6) if long else 1
        treatment = self.pick(*TREATMENTS) if long or self.some(0.1) else None
        masses = [list(final)]
        for _ in range(cycles - 1):
            masses.insert(0, [m + self.change() for m in masses[0]])
        rows, strike = [], cycles > 1 and self.some(0.1)
        short = {c: self.r.randint(1, cycles) for c in range(len(self.columns)) if cycles > 1 and self.some(0.1)}
        for k, row in enumerate(masses):
            if event and 0 < k and self.some(0.3):
                rows.append("event: 5 drops of acid added")
            label = self.label(things, f", {treatment} {k + 1}" if treatment else "")
            if strike and k:
                rows.append((f"~~{label}", self.struck_row(row)))
                strike = False
            rows.append((label, self.cells(row, {c for c, n in short.items() if k >= n})))
        return rows, final

    def change(self):
        """A change of mass near the usual limits, in whole steps."""
        return self.step * self.pick(0, 0, 1, -1, 1, 2, 2, 3, 4, 5, 5, 6, 10, 11, 20, -2, 100, self.r.randint(-30, 300))

    def label(self, things, treatment):
        things = list(things)
        if self.some(0.05):
            first = things[0]
            things = [first.upper() if " " in first else first] + things[1:]
        joint = self.pick(" + ", " + ", " +  ")
        return joint.join(things) + treatment

    def struck_row(self, row):
        return [self.number(m, self.unit) for m in row]

    def cells(self, row, gone):
        cells, plain = [], {}
        for c, mass in enumerate(row):
            if c in gone or self.some(0.03):
                cells.append(self.pick("–", "-"))
                continue
            if plain and self.columns[c] != "blank" and self.some(0.03):
                cells.append(f"= {self.columns[self.pick(*plain)]}")
                continue
            unit, suffix = self.unit, ""
            if self.some(0.06):
                unit = self.pick("g", "mg", "kg")
                suffix = f" {unit}"
            text = self.number(mass, unit) + suffix
            if self.some(0.05):
                wrong = self.number(mass + 90 * self.step, self.unit)
                text = f"~~{wrong}~~ {text}" + self.pick("", " [read too soon; 14:32]")
            elif self.some(0.02):
                text += " [draught]"
            cells.append(text)
            if self.columns[c] != "blank":
                plain[c] = True
        return cells

    def number(self, mass, unit):
        """A mass on the scale, in a unit; now and then with a digit more or fewer than the scale has."""
        shift = {"g": 0, "mg": -3, "kg": 3}[unit]
        decimals = self.decimals + shift
        if self.balance and self.some(0.02):
            decimals += self.pick(-1, 1)
        value = mass / TEN**shift
        whole = evaluator.nearest(value, -max(decimals, 0), "half even")
        return self.mark(self.fixed(Fraction(whole) * TEN ** -max(decimals, 0), max(decimals, 0)))

    # measured quantities

    def other(self):
        made = []
        for name, kind in (("V(solution)", "vol"), ("V_2", "vol"), ("c(acid)", "conc"), ("k_0", "one"), ("t(oven)", "time")):
            if self.some(0.35):
                made.append(self.measured(name, kind))
        if made:
            self.lines += ["```measured", "trial: " + "  ".join(self.names), *made, "```", ""]

    def measured(self, name, kind):
        single = self.some(0.3)
        unit = {"vol": "mL", "conc": self.pick("g/L", "mg/mL"), "one": self.pick("", "%"), "time": self.pick("min", "h")}[kind]
        cells = []
        for _ in range(1 if single else len(self.names)):
            if not single and self.some(0.05):
                cells.append("–")
                continue
            decimals = self.r.randint(1, 3) if kind != "time" else self.r.randint(0, 1)
            value = self.pick(self.r.randint(1, 300), self.r.randint(1, 30), 10, 100) * TEN**decimals + self.r.randint(-9, 9)
            cells.append(f"{self.mark(self.fixed(Fraction(int(value)) / TEN**decimals, decimals))} {unit}".strip())
        self.symbols[name] = (kind, not single and len(self.names) > 1)
        if len(self.names) == 1:
            self.symbols[name] = (kind, True)  # one column: per trial or not is a question of form, so it is left alone
        return f"{name}: " + "   ".join(cells) + ("  ± 0.05 mL rectangular" if kind == "vol" and single and not self.comma
                                                  and self.some(0.2) else "")

    # formulas

    def working(self):
        made = []
        for i in range(self.r.randint(2, 12)):
            kind = self.pick("one", "one", "one", "mass", "mass", "vol", "amount", "conc", "molar")
            name = self.pick(f"x_{i}", f"w(thing {i})", f"β_{i}", f"q{i}", f"ratio_{i}", f"n(K2SO4, no. {i})")
            tree, varies = self.tree(kind, self.r.randint(1, 4))
            unit = self.pick(*SHOWN[kind])
            text = self.render(tree, 1) + (f"  in {unit}" if unit else "") + ("   # a remark" if self.some(0.1) else "")
            self.symbols[name] = (kind, varies)
            made.append((name, f"{name} = {text}", kind, unit, varies))
        lines = [text for _, text, *_ in made]
        if self.some(0.3):
            self.r.shuffle(lines)
        self.made = made
        for name, _, kind, unit, varies in made:
            if varies and kind == "one" and unit in ("%", None) and self.some(0.15):
                self.limits[name] = self.pick("2 % relative", "0.5 % relative", "10 % relative") if unit is None else self.pick(
                    "0.2 %", "1 % relative", "5 %")
        for item in self.items:
            if self.some(0.1):
                self.limits[f"m({item})"] = self.pick("1 mg", "0.5 g", "5 % relative")
        return ["```working", *lines, "```", ""]

    def theory(self):
        """Theory names itself first, so words of agreement stand there only before what theory does not define."""
        lines, known = [], dict(self.symbols)
        expected = [m for m in self.made if m[2] in ("one", "amount", "molar", "mass") and self.some(0.25)]
        own = {m[0] for m in expected}
        known = {n: t for n, t in known.items() if n not in own}
        for name, _, kind, unit, _ in expected:
            self.symbols = {} if self.some(0.8) else dict(known)
            tree, _ = self.tree(kind, self.r.randint(0, 2))
            lines.append(f"{name} = {self.render(tree, 1)}" + (f"  in {unit}" if unit else ""))
        return ["```theory", *lines, "```", ""] if lines else []

    def named(self, kind, varying=None):
        return [n for n, (k, v) in self.symbols.items() if k == kind and (varying is None or v == varying)]

    def tree(self, kind, depth):
        """A random tree of a kind, and whether it depends on the trial."""
        if depth <= 0 or self.some(0.1):
            return self.leaf(kind)
        makers = {"mass": self.mass_tree, "one": self.one_tree, "vol": self.vol_tree, "amount": self.amount_tree,
                  "conc": self.conc_tree, "molar": self.molar_tree, "time": self.leaf}
        return makers[kind](depth) if kind != "time" else self.leaf("time")

    def two(self, sign, a, b, depth):
        (x, v), (y, w) = self.tree(a, depth - 1), self.tree(b, depth - 1)
        return (sign, x, y), v or w

    def like(self, kind, depth):
        """Operations that keep a kind."""
        choice = self.r.randrange(8)
        if choice < 3:
            return self.two(self.pick("+", "-"), kind, kind, depth)
        if choice == 3:
            return self.two("*", *self.r.sample([kind, "one"], 2), depth)
        if choice == 4:
            return self.two("/", kind, "one", depth)
        if choice == 5:
            parts = [self.tree(kind, depth - 1) for _ in range(self.r.randint(2, 3))]
            return ("call", self.pick("min", "max"), [p for p, _ in parts]), any(v for _, v in parts)
        inner, varies = self.tree(kind, depth - 1)
        if choice == 6:
            return self.pick(("call", "abs", [inner]), ("neg", inner)), varies
        return ("jux", self.integer(), inner), varies

    def mass_tree(self, depth):
        choice = self.r.randrange(6)
        if choice == 0:
            return self.two("*", *self.r.sample(["amount", "molar"], 2), depth)
        if choice == 1:
            return self.two("*", *self.r.sample(["conc", "vol"], 2), depth)
        if choice == 2 and depth > 1:
            (x, v), (y, w) = self.tree("mass", depth - 2), self.tree("mass", depth - 2)
            return ("call", "sqrt", [("*", x, y)]), v or w
        return self.like("mass", depth)

    def vol_tree(self, depth):
        return self.two("/", "mass", "conc", depth) if self.some(0.3) else self.like("vol", depth)

    def amount_tree(self, depth):
        return self.two("/", "mass", "molar", depth) if self.some(0.5) else self.like("amount", depth)

    def conc_tree(self, depth):
        return self.two("/", "mass", "vol", depth) if self.some(0.5) else self.like("conc", depth)

    def molar_tree(self, depth):
        return self.two("/", "mass", "amount", depth) if self.some(0.2) else self.like("molar", depth)

    def one_tree(self, depth):
        choice = self.r.randrange(12)
        if choice < 4:
            kind = self.pick("mass", "mass", "mass", "vol", "amount", "molar", "time", "conc")
            return self.two("/", kind, kind, depth)
        if choice < 7:
            return self.like("one", depth)
        inner, varies = self.tree("one", depth - 1)
        if choice == 7:
            return ("^", inner, ("lit", str(self.r.randint(2, 4)), None)) if self.some(0.7) else (
                "^", inner, ("neg", ("lit", str(self.r.randint(1, 3)), None))), varies
        if choice == 8:
            return ("call", "sqrt", [inner if self.some(0.3) else ("call", "abs", [inner])]), varies
        if choice == 9:
            return ("call", self.pick("ln", "log10"), [inner if self.some(0.3) else ("call", "abs", [inner])]), varies
        if choice == 10:
            return ("call", "exp", [self.small(inner)]), varies
        return ("^", ("call", "abs", [inner]), ("/", ("lit", "1", None), ("lit", self.pick("2", "3"), None))), varies

    def small(self, inner):
        """Kept within ±20, so that its exponential stays a number people write."""
        return ("call", "max", [("call", "min", [inner, ("lit", "20", None)]), ("neg", ("lit", "20", None))])

    def leaf(self, kind):
        names = self.named(kind)
        if names and self.some(0.75):
            return self.reference(self.pick(*names))
        if kind == "one" and self.some(0.1):
            return ("factor", self.pick(*FACTORS)), False
        if kind == "molar":
            return ("M", self.pick(*FORMULAS)), False
        return self.literal(kind), False

    def reference(self, name):
        _, varies = self.symbols[name]
        if not varies:
            return ("name", name), False
        choice = self.r.randrange(12)
        if choice == 0:
            kind = self.symbols[name][0]
            more = ["relative s", "relative s", "relative difference"] if kind == "one" else ["average deviation"]
            return ("word", self.pick("mean", "mean", "s", "range", *more), name), False
        if choice == 1:
            return ("of", name, self.pick(*self.names)), False
        if choice == 2 and self.blanks and name.startswith("m(") and name[2:-1] in self.items:
            return ("blank", name), False
        return ("name", name), True

    def integer(self):
        return ("lit", str(self.pick(1, 2, 3, 4, 5, 7, 10, 12, 100)), None)

    def digits(self):
        """A decimal with its last place: any, near a power of ten, a tie, or a zero."""
        if self.edge and self.some(0.6):
            return self.edge_digits()
        return self.pick(
            f"{self.r.randint(0, 99)}.{self.r.randint(0, 99999)}", f"{self.r.randint(1, 9)}.{self.r.randint(0, 9)}",
            f"0.{self.r.randint(1, 9999):04d}", f"{self.r.randint(1, 999)}.{self.r.randint(0, 9)}0",
            self.pick("9.996", "0.9995", "99.95", "1.000", "10.0", "0.05", "0.5", "2.5", "1.00", "100.0", "0.10"),
            self.pick("0.00", "0.0", "0.000") if self.some(0.15) else "5.0")

    def edge_digits(self):
        """Just below and above powers of ten, ties, very long, very large, very small, zeros."""
        power, places = self.r.randint(-6, 9), self.r.randint(1, 8)
        value = TEN**power + self.pick(-1, 0, 1) * TEN**-places
        tie = Fraction(self.r.randint(0, 9999) * 10 + 5, 10)
        return self.pick(
            self.fixed(abs(value), max(places, -power)), self.fixed(tie * TEN ** -self.r.randint(0, 4), 5),
            self.fixed(tie, 1), f"{self.r.randint(1, 10**18)}.{self.r.randint(0, 10**12)}", f"0.{'0' * self.r.randint(5, 25)}1",
            f"0.{'0' * self.r.randint(1, 6)}", f"{self.r.randint(0, 3)}.{'0' * self.r.randint(1, 6)}",
            self.pick("9.5", "9.95", "99.5", "0.95", "0.949", "9.4999", "1.5", "0.5", "0.4", "0.6"))

    def literal(self, kind):
        if kind == "one":
            unit = self.pick(None, None, None, "%", "ppm")
            return ("lit", self.digits() if self.some(0.6) else str(self.r.randint(1, 120)), unit)
        unit = {"mass": self.pick("g", "mg", "kg", "µg"), "vol": self.pick("mL", "L"), "amount": self.pick("mol", "mmol"),
                "conc": self.pick("g/L", "mg/mL", "g/mL"), "time": self.pick("min", "h")}[kind]
        return ("lit", self.digits() if self.some(0.7) else str(self.r.randint(1, 500)), unit)

    # text

    def render(self, tree, level):
        """Text of a tree where something of this level may stand: 1 sum, 2 product, 3 signed, 4 power, 5 base of one."""
        own, text = self.written(tree)
        return f"({text})" if own < level or self.some(0.03) else text

    def written(self, tree):
        kind = tree[0]
        if kind in "+-":
            return 1, f"{self.render(tree[1], 1)}{self.operator(kind)}{self.render(tree[2], 2)}"
        if kind in "*/":
            return 2, f"{self.render(tree[1], 2)}{self.operator(kind)}{self.render(tree[2], 3)}"
        if kind == "neg":
            return 3, f"-{self.render(tree[1], 3)}"
        if kind == "jux":
            return self.juxtaposed(tree)
        if kind == "^":
            return 4, f"{self.render(tree[1], 5)}{self.pick('^', ' ^ ')}{self.render(tree[2], 3)}"
        if kind == "call":
            joint = "; " if self.comma else ", "
            return 5, f"{tree[1]}({joint.join(self.render(t, 1) for t in tree[2])})"
        return self.written_leaf(tree)

    def juxtaposed(self, tree):
        own, text = self.written(tree[2])
        if own < 5 or tree[2][0] in ("lit", "word"):
            text = f"({text})"
        return 3, f"{tree[1][1]}{' ' if not text.startswith('(') else self.pick('', ' ')}{text}"

    def operator(self, sign):
        if sign == "-" and self.some(0.1):
            sign = "−"
        return f" {sign} "

    def written_leaf(self, tree):
        kind = tree[0]
        if kind == "lit":
            text = self.mark(tree[1]) + (f" {tree[2]}" if tree[2] else "")
            return (5, text) if tree[2] is None else (4, text)
        if kind == "M":
            return 5, f"M({tree[1]})"
        if kind == "factor":
            return 5, f"factor({tree[1].replace(', ', '; ') if self.comma else tree[1]})"
        if kind == "word":
            return 4, f"{tree[1]} {tree[2]}"
        if kind == "of":
            return 5, f"{tree[1]}[{tree[2]}]"
        if kind == "blank":
            return 5, f"blank({tree[1]})"
        return 5, tree[1]


def write(seed, number, figures=False):
    """The text of notebook `number` of a seed."""
    writer = Writer(random.Random(f"{seed}/{number}"))
    return writer.figures_notebook() if figures else writer.notebook()


def against(program, folder, text, number):
    """Differences and counts of one notebook."""
    path = os.path.join(folder, f"{number}.md")
    with open(path, "w", encoding="utf-8") as file:
        file.write(text)
    run = subprocess.run([program, "compute", path, "--format", "json"], capture_output=True, text=True, timeout=60)
    os.remove(path)
    try:
        results = json.loads(run.stdout)
    except ValueError:
        return [evaluator.Difference("program", "a results file", f"status {run.returncode}: {run.stderr[:300]}")], {}, []
    comparison = evaluator.Comparison(evaluator.Notebook(text), results).run()
    return comparison.differences, comparison.count, results["findings"]


def soak(arguments):
    counts, opened, codes, bad = Counter(), Counter(), Counter(), 0
    with tempfile.TemporaryDirectory() as folder, ThreadPoolExecutor(2) as pool:
        numbers = range(arguments.start, arguments.start + arguments.count)
        jobs = {n: pool.submit(against, arguments.against, folder, write(arguments.seed, n, arguments.figures), n) for n in numbers}
        for number, job in jobs.items():
            try:
                differences, count, findings = job.result()
            except Exception as error:  # the evaluator met something it does not read
                print(f"{number}: evaluator: {error!r}")
                bad += 1
                continue
            counts.update(count)
            codes.update(f["severity"] + " " + f["code"] for f in findings)
            for d in differences:
                opened.update(d.open)
                if not d.open or arguments.open:
                    bad += not d.open
                    print(f"{number}: {d.where}: expected {d.expected[:60]} found {d.found[:90]} {' '.join(d.open)}")
    print(dict(counts), "open:", dict(opened), "findings:", dict(codes), "differences:", bad, file=sys.stderr)
    return 1 if bad else 0


def store(arguments):
    os.makedirs(arguments.into, exist_ok=True)
    for number in range(arguments.start, arguments.start + arguments.count):
        text = write(arguments.seed, number, arguments.figures)
        expected = evaluator.expectation(evaluator.Notebook(text))
        base = os.path.join(arguments.into, str(number))
        with open(base + ".md", "w", encoding="utf-8") as file:
            file.write(text)
        with open(base + ".json", "w", encoding="utf-8") as file:
            json.dump(expected, file, ensure_ascii=False, indent=1, default=list)
    return 0


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=int, default=0, help="number of the first notebook")
    parser.add_argument("--count", type=int, default=100)
    parser.add_argument("--into", help="folder for notebooks and expectations")
    parser.add_argument("--against", help="program to compare with")
    parser.add_argument("--figures", action="store_true", help="notebooks of formulas of literals only, at the edges of the rules")
    parser.add_argument("--open", action="store_true", help="print differences that rest on open questions too")
    arguments = parser.parse_args()
    sys.exit(soak(arguments) if arguments.against else store(arguments))


if __name__ == "__main__":
    main()
