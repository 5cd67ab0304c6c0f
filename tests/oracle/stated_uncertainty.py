"""Works the published examples of tests/published whose inputs have stated uncertainties (sidecars with this script as `by`).

    python3 tests/oracle/stated_uncertainty.py           compares the sidecars with this working
    python3 tests/oracle/stated_uncertainty.py --show    prints it

The law of propagation of JCGM 100:2008, 5.1 and 5.2, with derivatives by differences in exact fractions; the products of
second order as in the note to 5.1.2; effective degrees of freedom by G.4.1; Student's t by integration. An input is
`name: value ± a kind`, where the kind says by what a is divided. Nothing here reads what the program computes.
"""
import re
import sys
import tomllib
from fractions import Fraction
from math import gamma, inf, pi, sqrt
from pathlib import Path
from statistics import NormalDist

ROOT = Path(__file__).resolve().parents[2]
UNITS = {"": 1, "g": 1, "mg": Fraction(1, 1000), "nm": 1, "K": 1, "K^-1": 1, "mL": Fraction(1, 1000), "g/mol": 1, "V": 1,
         "mA": Fraction(1, 1000), "mg/L": Fraction(1, 1000), "mol/L": 1, "V/A": 1}
DIVISORS = {"normal": 1, "rectangular": sqrt(3), "triangular": sqrt(6), "arcsine": sqrt(2)}
STEP = Fraction(1, 10**12)


class Example:
    """The inputs, formula and settings of a notebook."""

    def __init__(self, text):
        block = lambda name: re.search(rf"```{name}\n(.*?)```", text, re.S)
        self.settings = tomllib.loads(block("experiment").group(1))
        self.inputs, self.effects = {}, []  # effects: (title, input, standard uncertainty, degrees of freedom)
        for line in block("measured").group(1).splitlines() if block("measured") else []:
            self.input(*line.split(":", 1))
        if block("masses"):
            self.weighings(block("masses").group(1))
        self.formulas = {}
        for line in block("working").group(1).splitlines():
            name, rest = line.split("=", 1)
            formula, _, unit = rest.partition("  in ")
            self.formulas[name.strip()] = (formula.strip(), UNITS[unit.strip()])

    def input(self, name, rest):
        value, *effects = rest.split("±")
        number, _, unit = value.strip().partition(" ")
        self.inputs[name] = Fraction(number) * UNITS[unit]
        for effect in effects:
            self.effect(name, effect.strip(), unit, len(effects))

    def effect(self, name, text, unit, count):
        found = re.match(r"(\S+)(?: (mg|nm|mL|K\^-1|K|g/mol|V|mA))?(.*?)(?: \((.*)\))?$", text)
        half, rest = float(Fraction(found[1]) * UNITS[found[2] or unit]), found[3]
        kind = re.search(r"normal|rectangular|triangular|arcsine", rest)
        k, n, dof = (re.search(rf"\b{key} = (\d+)", rest) for key in ("k", "n", "dof"))
        divisor = DIVISORS[kind[0]] if kind else float(k[1]) if k else sqrt(float(n[1]))
        title = f"{name}: {found[4]}" if count > 1 else name
        self.effects.append((title, name, half / divisor, float(dof[1]) if dof else inf))

    def weighings(self, text):
        """A tare and a gross weighing; scale interval (as a rectangle of its width) and linearity count in each."""
        rows = dict(line.split(":") for line in text.strip().splitlines() if not line.startswith("balance"))
        balance = self.settings["balance"]["B"]
        size = {key: float(balance[key].split()[0]) / 1000 for key in ("readability", "linearity")}
        for load, value in rows.items():
            load = load.strip()
            self.inputs[load] = Fraction(value.strip())
            self.effects.append((f"weighing of {load}: scale interval", load, size["readability"] / 2 / sqrt(3), inf))
            self.effects.append((f"linearity of B, {load}", load, size["linearity"] / sqrt(3), inf))
        tare, gross = (load.strip() for load in rows)
        self.difference = f"m({gross.split(' + ')[1]})", gross, tare

    def value(self, formula, inputs):
        values = dict(inputs)
        if hasattr(self, "difference"):
            name, gross, tare = self.difference
            values[name] = inputs[gross] - inputs[tare]
        names = sorted(values, key=len, reverse=True)
        text = re.sub("|".join(map(re.escape, names)), lambda m: f"v[{m[0]!r}]", formula)
        return eval(text, {"__builtins__": {}}, {"v": values})

    def moved(self, formula, *steps):
        inputs = dict(self.inputs)
        for name, times in steps:
            inputs[name] += times * STEP
        return self.value(formula, inputs)

    def along(self, formula, name):
        return float((self.moved(formula, (name, 1)) - self.moved(formula, (name, -1))) / (2 * STEP))

    def across(self, formula, i, j):
        """The mixed second derivative; of products, as here, the third ones are zero."""
        corners = [(a * b) * self.moved(formula, (i, a), (j, b)) for a in (1, -1) for b in (1, -1)]
        return float(sum(corners) / (4 * STEP * STEP))

    def budget(self, name):
        """Contributions in the unit of the result, by their titles, each with its degrees of freedom."""
        formula, unit = self.formulas[name]
        size = float(unit)
        found = {title: (abs(self.along(formula, of)) * u / size, dof) for title, of, u, dof in self.effects}
        if self.settings.get("second-order"):
            found["second-order terms"] = (sqrt(self.products(formula)) / size, inf)
        for pair in self.settings.get("correlation", []):
            i, j = pair["between"]
            u = {name: sqrt(sum(e[2] ** 2 for e in self.effects if e[1] == name)) for name in (i, j)}
            both = 2 * self.along(formula, i) * self.along(formula, j) * u[i] * u[j] * pair["coefficient"] / size**2
            found[f"correlation of {i} and {j}"] = (both, None)
        return found

    def products(self, formula):
        names = list(self.inputs)
        u2 = {n: sum(e[2] ** 2 for e in self.effects if e[1] == n) for n in names}
        pairs = [(i, j) for a, i in enumerate(names) for j in names[a + 1:]]
        return sum(self.across(formula, i, j) ** 2 * u2[i] * u2[j] for i, j in pairs)


def combined(budget):
    """Standard uncertainty and effective degrees of freedom."""
    variance = sum(value**2 if dof is not None else value for value, dof in budget.values())
    below = sum(value**4 / dof for value, dof in budget.values() if dof not in (None, inf))
    return sqrt(variance), variance**2 / below if below else inf


def coverage(chance, dof):
    """Half-width of the interval that holds this chance, in standard uncertainties; whole degrees of freedom (G.4.1)."""
    if dof == inf:
        return NormalDist().inv_cdf((1 + chance) / 2)
    n = int(dof)
    density = lambda t: gamma((n + 1) / 2) / (sqrt(n * pi) * gamma(n / 2)) * (1 + t * t / n) ** (-(n + 1) / 2)
    inside = lambda t: 2 * simpson(density, t)
    low, high = 0.0, 100.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if inside(middle) < chance else (low, middle)
    return low


def simpson(f, end, parts=2000):
    h = end / parts
    return h / 3 * sum(f(k * h) * (1 if k in (0, parts) else 4 if k % 2 else 2) for k in range(parts + 1))


def factor(example, dof):
    stated = example.settings.get("coverage")
    if not stated:
        return 2.0
    return coverage(float(stated.rstrip("% ")) / 100, dof)


def printed(value, text):
    """Whether a text of two figures or so is the value, rounded, or rounded up from more than a twentieth of the place."""
    place = 10.0 ** -len(text.partition(".")[2])
    return abs(value - float(text)) <= place * (1 + 1e-9) and (abs(value - float(text)) <= place / 2 * (1 + 1e-9)
                                                                 or float(text) > value)


def close(value, text):
    digits = text.partition("e")[0]
    place = 10.0 ** -len(digits.partition(".")[2]) * 10.0 ** int(text.partition("e")[2] or 0)
    return abs(value - float(text)) <= place


def problems(path):
    sidecar = tomllib.loads(path.read_text())
    example = Example(path.with_suffix(".md").read_text())
    for entry in sidecar["expect"]:
        formula, unit = example.formulas[entry["symbol"]]
        value = float(example.value(formula, example.inputs) / unit)
        budget = example.budget(entry["symbol"])
        u, dof = combined(budget)
        k = factor(example, dof)
        if "--show" in sys.argv:
            print(f"{path.stem}: {entry['symbol']} = {value:.9g}, u = {u:.5g}, k = {k:.4g}, U = {k * u:.5g}, dof = {dof:.4g}")
        worked = {"u": (u, printed), "U": (k * u, printed), "k": (k, close), "degrees_of_freedom": (dof, close)}
        for key, (mine, same) in worked.items():
            if key in entry and not same(mine, entry[key]):
                yield f"{path.name}: {key} expects {entry[key]}, worked {mine:.6g}"
        tolerance = float(entry["tolerance"]) if "tolerance" in entry else None
        if abs(value - float(entry["value"])) > tolerance if tolerance else not close(value, entry["value"]):
            yield f"{path.name}: value expects {entry['value']}, worked {value:.9g}"
        for title, wanted in entry.get("budget", {}).items():
            part, _ = budget.get(title, (None, None)) if title in budget else whole(budget, title)
            size = sqrt(abs(part)) if title.startswith("correlation") else part
            if size is None or not close(size, wanted):
                yield f"{path.name}: {title} expects {wanted}, worked {size}"


def whole(budget, name):
    """An input with several effects, taken together."""
    parts = [value for title, (value, _) in budget.items() if title.startswith(f"{name}:")]
    return (sqrt(sum(part**2 for part in parts)), None) if parts else (None, None)


def main():
    paths = sorted((ROOT / "tests" / "published").glob("*.toml"))
    own = [path for path in paths if tomllib.loads(path.read_text()).get("by") == "tests/oracle/stated_uncertainty.py"]
    found = [text for path in own for text in problems(path)]
    print("\n".join(found) or f"{len(own)} sidecars agree with their working")
    return 1 if found or not own else 0


if __name__ == "__main__":
    sys.exit(main())
