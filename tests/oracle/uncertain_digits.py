"""Works what notebooks/field/pickling-brine.md prints by the policy `digits = "uncertainty"`.

    python3 tests/oracle/uncertain_digits.py           compares the sidecar with this working
    python3 tests/oracle/uncertain_digits.py --show    prints value, u, U and the printed forms

Every quantity is a function of the inputs; its standard uncertainty comes from central differences with 60 digits
(JCGM 100:2008, 5.1.3 note 2 and 5.1.2), so nothing is differentiated by rules. Atomic weights: CIAAW 2021, abridged
to five digits, with the half-widths of rectangular distributions. Nothing here reads what the program computes.

The mean of three trials has their scatter, s/√3, and then not that of their weighings (it is in s already); a mass is as
large as its portion, so its scatter is no uncertainty. What is computed from such a mean has its scatter too.
"""
import sys
import tomllib
from decimal import ROUND_HALF_EVEN, Decimal as D, getcontext
from pathlib import Path

getcontext().prec = 60
ROOT = Path(__file__).resolve().parents[2]

# name: (value, standard uncertainty); masses in g, volume in L
REPEATABILITY = D("0.00015")
INPUTS = {
    **{name: (D(text), REPEATABILITY) for name, text in {
        "cup A": "21.4084", "cup B": "20.9712", "cup C": "22.0350",
        "full A": "21.9640", "full B": "21.5255", "full C": "22.5921"}.items()},
    "V": (D("0.02500"), D("0.00003") / 2),
    "S": (D("32.06"), D("0.02") / D(3).sqrt()),
    "O": (D("15.999"), D("0.001") / D(3).sqrt()),
    "Ba": (D("137.33"), D("0.01") / D(3).sqrt()),
    # a decimal literal: its last place is the width of a rectangular distribution
    "9.13": (D("9.13"), D("0.01") / D(12).sqrt()),
    "9.15": (D("9.15"), D("0.01") / D(12).sqrt()),
}


def sulfate(x): return x["S"] + 4 * x["O"]
def salt(x): return x["Ba"] + sulfate(x)
def residue(t): return lambda x: x["full " + t] - x["cup " + t]
def rho(t): return lambda x: residue(t)(x) * sulfate(x) / salt(x) / x["V"]
def c(t): return lambda x: residue(t)(x) / salt(x) / x["V"] * 1000
def p_s(t): return lambda x: -(c(t)(x) / 1000).log10()
def mean(f): return lambda x: sum(f(t)(x) for t in "ABC") / 3
def error(x): return (mean(rho)(x) - x["9.15"]) / x["9.15"] * 100


PER_TRIAL = {
    "m(residue)": residue, "rho": rho, "c": c, "original": lambda t: lambda x: 10 * rho(t)(x), "pS": p_s,
    "kept": lambda t: lambda x: (-p_s(t)(x)).exp(), "root": lambda t: lambda x: c(t)(x).sqrt(),
    "coarse": lambda t: lambda x: 1000 * rho(t)(x), "nothing": lambda t: lambda x: rho(t)(x) - x["9.13"],
}


def value_and_u(f, without=()):
    x = {name: value for name, (value, _) in INPUTS.items()}
    variance = D(0)
    for name, (value, u) in INPUTS.items():
        if name in without:
            continue
        step = value * D("1e-20")
        up, down = f({**x, name: value + step}), f({**x, name: value - step})
        variance += ((up - down) / (2 * step) * u) ** 2
    return f(x), variance.sqrt()


WEIGHINGS = [name for name in INPUTS if name.startswith(("cup", "full"))]


def with_scatter(f, of, numbers):
    """f rests on the mean of these numbers; `of` says how it changes with it."""
    value, u = value_and_u(f, without=WEIGHINGS)
    middle = sum(numbers) / 3
    s = (sum((number - middle) ** 2 for number in numbers) / 2).sqrt()
    return value, (u * u + (of * s) ** 2 / 3).sqrt()


def place_of(expanded):
    """The exponent of the second figure of U, rounded."""
    place = expanded.adjusted() - 1
    rounded = expanded.quantize(D(1).scaleb(place), ROUND_HALF_EVEN)
    return place if rounded.adjusted() == expanded.adjusted() else place + 1


def printed(value, place):
    """Plain to the place; a power of ten is split off where the place is above the units."""
    rounded = value.quantize(D(1).scaleb(place), ROUND_HALF_EVEN)
    if place <= 0:
        return f"{rounded:f}"
    return f"{rounded.scaleb(-rounded.adjusted()):f}e{rounded.adjusted()}"


def worked():
    """(symbol, trial) -> (value, u, printed)"""
    found = {}
    for symbol, f in PER_TRIAL.items():
        values = [value_and_u(f(t)) for t in "ABC"]
        for t, (value, u) in zip("ABC", values):
            found[symbol, t] = (value, u, printed(value, place_of(2 * u)))
        numbers = [v for v, _ in values]
        value, u = value_and_u(mean(f)) if symbol == "m(residue)" else with_scatter(mean(f), 1, numbers)
        found[symbol, "mean"] = (value, u, printed(value, place_of(2 * u)))
        # s and range: the last place of the coarsest value; over the mean the same place over the mean
        place = place_of(2 * max(u for _, u in values))
        s = (sum((v - value) ** 2 for v in numbers) / 2).sqrt()
        found[symbol, "s"] = (s, None, printed(s, place))
        found[symbol, "range"] = (max(numbers) - min(numbers), None, printed(max(numbers) - min(numbers), place))
        relative = place_of(2 * max(u for _, u in values) / abs(value) * 100)
        found[symbol, "relative s"] = (s / abs(value) * 100, None, printed(s / abs(value) * 100, relative))
    numbers = [value_and_u(rho(t))[0] for t in "ABC"]
    value, u = with_scatter(mean(rho), 1, numbers)
    found["average", "scalar"] = (value, u, printed(value, place_of(2 * u)))
    spread, _, text = found["rho", "range"]
    found["spread", "scalar"] = (spread, None, text)
    value, u = value_and_u(salt)
    found["heavy", "scalar"] = (value, u, printed(value, place_of(2 * u)))
    found["pipette", "scalar"] = (D("25.00"), None, "25.00")
    found["rho", "theory"] = (D("9.15"), None, "9.15")
    value, u = with_scatter(error, 100 / INPUTS["9.15"][0], numbers)
    found["rho", "percent error"] = (value, u, printed(value, place_of(2 * u)))
    return found


def main():
    found = worked()
    if "--show" in sys.argv:
        for (symbol, trial), (value, u, text) in found.items():
            print(f'  {{ symbol = "{symbol}", trial = "{trial}", printed = "{text}", value = "{value:.20f}", by = "uncertain_digits.py" }},'
                  + ("" if u is None else f" # U = {2 * u:.6g}"))
        return 0
    sidecar = tomllib.loads((ROOT / "notebooks/field/pickling-brine.toml").read_text())
    listed = {(e["symbol"], e["trial"]): e["printed"] for e in sidecar["expect"]}
    wrong = [f"{key}: listed {listed.get(key)}, worked {text}" for key, (_, _, text) in found.items() if listed.get(key) != text]
    print("\n".join(wrong) or f"{len(found)} printed values agree with their working")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
