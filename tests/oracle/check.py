"""Works out again what the sidecars of notebooks/field and tests/published expect.

    python3 tests/oracle/check.py             compares every sidecar with its own working
    python3 tests/oracle/check.py --show NAME prints the worked values of one sidecar

An expectation's `how` is its working, numbers put in: decimal numbers count as written, whole numbers are
exact, reading(486) is a whole number off a display, M(formula) a molar mass by the CIAAW 2021 abridged table,
tab(18.02) a tabulated number.
`all("w(water)")` are the trials of a symbol given before (those marked `aside` left out), `of("m(sample)", "A")`
one of them. Mean, s, range, n, relative measures and percent error need no `how`: they follow from the trials.
The digits follow figures.py. Nothing here reads what the program computes.
"""
import re
import sys
import tomllib
from fractions import Fraction
from pathlib import Path

import figures
from figures import Value, written
from formula import composition

ROOT = Path(__file__).resolve().parents[2]
STATISTICS = {
    "mean": figures.mean,
    "s": figures.deviation,
    "range": figures.spread,
    "relative s": figures.relative_s,
    "relative difference": figures.relative_difference,
    "relative average deviation": figures.relative_average_deviation,
    "n": lambda values: Value(len(values)),
}

ACROSS = [*STATISTICS, "percent error", "difference"]


def molar(text, weights):
    return figures.molar_mass(weights, **composition(text))


def translate(how):
    """Turns a working into Python: molar masses and numbers become values with digits."""
    parts = re.split(r'("[^"]*")', how)
    return "".join(p if p.startswith('"') else translate_plain(p) for p in parts)


def translate_plain(text):
    out, at = [], 0
    while at < len(text):
        formula = re.match(r"M\(", text[at:])
        number = re.match(r"\d+\.\d+|\d+", text[at:])
        word = re.match(r"[A-Za-z_]\w*", text[at:])
        if formula:
            end = closing(text, at + 2)
            out.append(f"molar_of({text[at + 2:end]!r})")
            at = end + 1
        elif word:
            out.append(word.group())
            at += word.end()
        elif number:
            digits = number.group()
            out.append(f"written({digits!r})" if "." in digits else f"exact({digits})")
            at += number.end()
        else:
            out.append("**" if text[at] == "^" else text[at])
            at += 1
    return "".join(out)


def closing(text, start):
    depth = 1
    for at in range(start, len(text)):
        depth += {"(": 1, ")": -1}.get(text[at], 0)
        if depth == 0:
            return at
    raise ValueError(f"unclosed bracket in {text}")


class Sidecar:
    def __init__(self, path):
        self.path = path
        self.data = tomllib.loads(path.read_text())
        self.trials = {}  # symbol -> {trial: (value, aside)}
        self.theory = {}
        self.means = {}

    def names(self):
        weights = self.data.get("weights")

        return {
            "written": written,
            "exact": lambda n: Value(n),
            "molar_of": lambda text: molar(text, weights),
            "reading": lambda v: Value(v.number, 0, figures.MEASURED),
            "tab": lambda v: Value(v.number, v.place, figures.TABULATED),
            "abs": abs,
            "pi": Value(Fraction("3.14159265358979323846264338327950288419716939937510582")),
            "ln": figures.natural_logarithm,
            "log10": figures.decimal_logarithm,
            "exp": figures.exponential,
            "sqrt": figures.square_root,
            "raised": lambda v, power: Value(Fraction(figures.decimal(v) ** figures.decimal(power))),
            "lowest": lambda *v: min(v, key=lambda x: x.number),
            "highest": lambda *v: max(v, key=lambda x: x.number),
            "average": lambda *v: figures.mean(list(v)),
            "mean": lambda v: figures.mean(v),
            "s": lambda v: figures.deviation(v),
            "spread": lambda v: figures.spread(v),
            "all": self.all,
            "of": lambda symbol, trial: self.trials[symbol][trial][0],
        }

    def all(self, symbol, with_aside=False):
        return [v for v, aside in self.trials[symbol].values() if with_aside or not aside]

    def work(self, entry):
        if "how" in entry:
            return eval(translate(entry["how"]), {"__builtins__": {}}, self.names())
        if self.elsewhere(entry):
            return None  # another script's working, or the source's own figures
        symbol, trial = entry["symbol"], entry["trial"]
        if trial == "percent error":
            return figures.percent_error(self.mean(symbol), self.theory[symbol])
        if trial == "difference":
            return self.mean(symbol) - self.theory[symbol]
        plain = trial.removesuffix(" with set aside")
        if plain in STATISTICS:
            return STATISTICS[plain](self.all(symbol, plain != trial))
        return None

    def elsewhere(self, entry):
        """Whether the entry, or the whole sidecar, says by what it was worked instead."""
        return "by" in entry or "by" in self.data

    def mean(self, symbol):
        return self.means.get(symbol) or figures.mean(self.all(symbol))

    def remember(self, entry, value):
        symbol, trial = entry["symbol"], entry["trial"]
        if trial == "theory":
            self.theory[symbol] = value
        elif trial == "mean":
            self.means[symbol] = value
        elif trial.removesuffix(" with set aside") not in ACROSS:
            self.trials.setdefault(symbol, {})[trial] = (value, entry.get("aside", False))

    def entries(self):
        figures.Value.rule = self.data.get("rounding", "half even")
        for entry in self.data.get("expect", []):
            value = self.work(entry)
            if value is not None:
                self.remember(entry, value)
            yield entry, value


def long_text(value, figures_wanted=20):
    """A decimal of so many figures, rounded half even."""
    number = value.number
    if number == 0:
        return "0"
    place = figures.lead(number) - figures_wanted + 1
    if Fraction(10) ** min(place, 0) and number.denominator != 0:
        try:
            short = figures.exact_text(number)
            if len(short.replace(".", "").replace("-", "").lstrip("0")) <= figures_wanted:
                return short
        except ValueError:
            pass
    return Value(number, place, figures.MEASURED).printed()


def problems(sidecar):
    worked = 0
    for entry, value in sidecar.entries():
        where = f"{sidecar.path.name}: {entry['symbol']} {entry['trial']}"
        if value is None:
            if not entry.get("missing") and not sidecar.elsewhere(entry):
                yield f"{where}: no working and no reason (`by`)"
            continue
        worked += 1
        if "printed" in entry and "by" not in entry and entry["printed"] != value.printed():
            yield f"{where}: expects {entry['printed']}, worked {value.printed()}"
        if "value" in entry:
            given = Fraction(entry["value"])
            tolerance = Fraction(entry["tolerance"]) if "tolerance" in entry else last_place(entry["value"])
            if abs(given - value.number) > tolerance:
                yield f"{where}: expects {entry['value']}, worked {long_text(value)}"
    elsewhere = any(sidecar.elsewhere(entry) for entry in sidecar.data.get("expect", []))
    if worked == 0 and not elsewhere and not sidecar.data.get("finding") and not sidecar.data.get("constant_mass"):
        yield f"{sidecar.path.name}: nothing expected"


def last_place(text):
    decimals = len(text.split(".")[1]) if "." in text else 0
    return Fraction(1, 10 ** decimals)


def sidecars():
    folders = [ROOT / "notebooks" / "field", ROOT / "tests" / "published"]
    return [path for folder in folders for path in sorted(folder.glob("*.toml"))]


def main():
    if "--show" in sys.argv:
        for path in sidecars():
            if path.stem == sys.argv[-1]:
                for entry, value in Sidecar(path).entries():
                    shown = "-" if value is None else f"{value.printed()}  {long_text(value)}"
                    print(f"{entry['symbol']:24} {entry['trial']:14} {shown}")
        return 0
    found = [text for path in sidecars() for text in problems(Sidecar(path))]
    print("\n".join(found) or f"{len(sidecars())} sidecars agree with their working")
    return 1 if found else 0


if __name__ == "__main__":
    sys.exit(main())
