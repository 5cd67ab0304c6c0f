"""Writes uncertainty.tsv: 500 random formulas with shared inputs, their standard uncertainty by three libraries.

    target/oracle/bin/pip install uncertainties==3.2.3 gtc==1.5.1 metrolopy==1.1.1
    target/oracle/bin/python tests/oracle/uncertainty.py > tests/oracle/uncertainty.tsv

Each case has two to six inputs (normal, rectangular, or with degrees of freedom; a third of the cases with correlations) and
three lines, each of which may use the lines before it, so that every input reaches the last line by several ways. The
degrees of freedom are those of two of the libraries, for cases without correlation.
"""
import random
from math import exp, isfinite, log, sqrt

import GTC
import metrolopy
import uncertainties
from uncertainties import umath

CASES, SEED = 500, 20260421


def leaf(random, names):
    return random.choice(names)


def expression(random, names, depth):
    """A formula in the notebook's syntax; whole numbers only, for they are exact."""
    if depth == 0 or random.random() < 0.15:
        return leaf(random, names)
    a, b = (expression(random, names, depth - 1) for _ in range(2))
    return random.choice([
        f"({a} + {b})", f"({a} - {b})", f"{a} * {b}", f"{a} / ({b})", f"({a})^{random.choice([2, 3, -1])}", f"sqrt(abs({a}))",
        f"ln(abs({a}) + 1)", f"log10(abs({a}) + 2)", f"exp(-abs({a}) / 20)", f"({random.randint(2, 9)} * {a} - {b})",
        f"-({a})", f"mean_of({a}, {b})",
    ]).replace(f"mean_of({a}, {b})", f"({a} + {b}) / 2")


def in_python(text):
    return text.replace("^", "**")


def evaluated(lines, known, functions):
    names = dict(known, **functions)
    for name, text in lines:
        names[name] = eval(in_python(text), {"__builtins__": {}}, names)
    return names[lines[-1][0]]


def floats(lines, inputs, steps=()):
    known = {name: value + dict(steps).get(name, 0) for name, value, *_ in inputs}
    return evaluated(lines, known, {"sqrt": sqrt, "ln": log, "log10": lambda x: log(x) / log(10), "exp": exp, "abs": abs})


def case(random):
    names = [f"x{i}" for i in range(1, random.randint(2, 6) + 1)]
    inputs = []
    for name in names:
        value = round(random.uniform(1, 20), 3)
        width = float(f"{value * 10 ** random.uniform(-4, -2):.2g}")
        kind = random.choice(["normal", "rectangular", "normal", "dof"])
        inputs.append((name, value, width, random.randint(2, 30) if kind == "dof" else kind))
    lines = []
    lines.append(("y1", expression(random, names, 3)))
    lines.append(("y2", expression(random, names + ["y1"], 3)))
    lines.append(("r", expression(random, ["y1", "y2", random.choice(names)], 3)))
    correlations = []
    if random.random() < 1 / 3:
        a, b = random.sample(names, 2)
        correlations.append((a, b, round(random.uniform(-0.95, 0.95), 2)))
    return inputs, lines, correlations


def standard(width, kind):
    return width / sqrt(3) if kind == "rectangular" else width


def by_uncertainties(inputs, lines, correlations):
    known = {}
    if correlations:
        at = {name: i for i, (name, *_) in enumerate(inputs)}
        matrix = [[float(i == j) for j in range(len(inputs))] for i in range(len(inputs))]
        for a, b, r in correlations:
            matrix[at[a]][at[b]] = matrix[at[b]][at[a]] = r
        pairs = [(value, standard(width, kind)) for _, value, width, kind in inputs]
        known = dict(zip(at, uncertainties.correlated_values_norm(pairs, matrix)))
    else:
        known = {name: uncertainties.ufloat(value, standard(width, kind)) for name, value, width, kind in inputs}
    functions = {"sqrt": umath.sqrt, "ln": umath.log, "log10": umath.log10, "exp": umath.exp, "abs": lambda x: -x if x.nominal_value < 0 else x}
    found = evaluated(lines, known, functions)
    return getattr(found, "s", 0.0), None


def by_gtc(inputs, lines, correlations):
    infinite = float("inf")
    known = {
        name: GTC.ureal(value, standard(width, kind), kind if isinstance(kind, int) else infinite, independent=not correlations)
        for name, value, width, kind in inputs
    }
    for a, b, r in correlations:
        if known[a].df == infinite == known[b].df:
            GTC.set_correlation(r, known[a], known[b])
        else:
            return None, None
    functions = {"sqrt": GTC.sqrt, "ln": GTC.log, "log10": GTC.log10, "exp": GTC.exp, "abs": lambda x: -x if GTC.value(x) < 0 else x}
    found = evaluated(lines, known, functions)
    return GTC.uncertainty(found), None if correlations else GTC.dof(found)


def by_metrolopy(inputs, lines, correlations):
    known = {}
    if correlations:
        at = {name: i for i, (name, *_) in enumerate(inputs)}
        matrix = [[float(i == j) for j in range(len(inputs))] for i in range(len(inputs))]
        for a, b, r in correlations:
            matrix[at[a]][at[b]] = matrix[at[b]][at[a]] = r
        made = metrolopy.gummy.create([i[1] for i in inputs], [standard(i[2], i[3]) for i in inputs], correlation_matrix=matrix)
        known = dict(zip(at, made))
    else:
        for name, value, width, kind in inputs:
            dof = kind if isinstance(kind, int) else float("inf")
            known[name] = metrolopy.gummy(value, standard(width, kind), dof=dof)
    functions = {"sqrt": metrolopy.sqrt, "ln": metrolopy.log, "log10": metrolopy.log10, "exp": metrolopy.exp, "abs": lambda x: -x if x.x < 0 else x}
    found = evaluated(lines, known, functions)
    return float(found.u), None if correlations else found.dof


def usable(inputs, lines):
    """The last line rests on both before it, away from the corners of abs and from values that cancel or run away."""
    if not all(name in lines[-1][1] for name in ("y1", "y2")):
        return False
    try:
        middle = floats(lines, inputs)
        if not (isfinite(middle) and 1e-6 < abs(middle) < 1e6):
            return False
        for name, value, width, _ in inputs:
            up, down = floats(lines, inputs, [(name, 3 * width)]), floats(lines, inputs, [(name, -3 * width)])
            curved = abs(up + down - 2 * middle)
            if not isfinite(up + down) or curved > 0.3 * abs(up - down) + 1e-9 * abs(middle):
                return False
        return True
    except (ValueError, ZeroDivisionError, OverflowError):
        return False


def number(x):
    return "-" if x is None or not isfinite(x) else repr(float(x))


def main():
    made = random.Random(SEED)
    print(f"# uncertainties {uncertainties.__version__}, GTC {GTC.version}, metrolopy {metrolopy.__version__}; seed {SEED}")
    print("# inputs\tcorrelations\tlines\tu of each library\tdegrees of freedom of the last two")
    count = 0
    while count < CASES:
        inputs, lines, correlations = case(made)
        if not usable(inputs, lines):
            continue
        try:
            found = [by(inputs, lines, correlations) for by in (by_uncertainties, by_gtc, by_metrolopy)]
        except ZeroDivisionError:  # a derivative at zero
            continue
        if not found[0][0] > 1e-12:
            continue
        count += 1
        print("\t".join([
            "; ".join(f"{name} {value} {width} {kind}" for name, value, width, kind in inputs),
            "; ".join(f"{a} {b} {r}" for a, b, r in correlations) or "-",
            "; ".join(f"{name} = {text}" for name, text in lines),
            *(number(u) for u, _ in found), *(number(dof) for _, dof in found[1:]),
        ]))


if __name__ == "__main__":
    main()
