"""Works the uncertainty budgets of notebooks/field/one-sitting.md by hand: every effect of the balance written out.

    python3 tests/oracle/weighing_budget.py           compares the sidecar with this working
    python3 tests/oracle/weighing_budget.py --show    prints it

Nothing here reads what the program computes. Masses in g.
"""
import sys
import tomllib
from math import sqrt
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
BOAT, FULL, LEFT = (12.4021, 12.6398), (14.4020, 14.6404), (12.5032, 12.7420)
S, LINEARITY, CALIBRATION = 0.00012, 0.0002 / sqrt(3), 0.0003 / 2
TEMPERATURE = 1.5e-6 * 2 / sqrt(3)                      # of the load
CHECKS = [20.0003 / 20 - 1, 20.0002 / 20 - 1, 20.0005 / 20 - 1, 20.0004 / 20 - 1]
ADJUSTMENT = sum(CHECKS) / 4 / sqrt(3)                  # of the load, one for the balance
DRIFT = (max(CHECKS) - min(CHECKS)) / 2 / sqrt(3)       # of the load, one for each line
POOLED = 0.05


def ash(trial):
    """Contributions to w(ash) in per cent. The scatter of the weighings is in the pooled s."""
    boat, full, left = BOAT[trial], FULL[trial], LEFT[trial]
    aid, rest = full - boat, left - boat
    along = {"boat": (rest - aid) / aid**2 * 100, "boat + aid": -rest / aid**2 * 100, "boat + ash": 100 / aid}
    mass = {"boat": boat, "boat + aid": full, "boat + ash": left}
    found = {}
    for load, c in along.items():
        found[f"linearity of B-06, {load}"] = abs(c) * LINEARITY
        found[f"calibration of B-06, {load}"] = abs(c) * CALIBRATION
        found[f"drift of B-06, {load}"] = abs(c) * mass[load] * DRIFT
        found[f"temperature of B-06, {load}"] = abs(c) * mass[load] * TEMPERATURE
    # The adjustment is in proportion to the load and cancels in a ratio of masses.
    assert abs(sum(along[load] * mass[load] for load in along)) * ADJUSTMENT < 1e-12
    return found


def bare(trial):
    """Contributions to the mass of the boat alone: its reading less that of the empty pan."""
    boat = BOAT[trial]
    name = "AB"[trial]
    return {
        f"weighing of boat ({name}): repeatability": S, f"weighing of empty pan ({name}): repeatability": S,
        "linearity of B-06, boat": LINEARITY, "calibration of B-06, boat": CALIBRATION, "drift of B-06, boat": boat * DRIFT,
        "temperature of B-06, boat": boat * TEMPERATURE, "adjustment of B-06 by check weight": boat * ADJUSTMENT,
    }


def held(trial):
    name, mass = "AB"[trial], (35.1000, 35.1001)[trial]
    return {f"weighing of tongs ({name}): scale interval": 0.0001 / sqrt(12), "calibration of B-07": mass * 4e-6 / 2}


def worked():
    found = {}
    for trial, name in enumerate("AB"):
        for symbol, parts in (("w(ash)", ash(trial)), ("bare", bare(trial)), ("held", held(trial))):
            found[symbol, name] = dict(parts)
        found["w(ash)", name]["repeatability of the method"] = POOLED
    # The mean of two: what is shared stays, the pooled s shrinks.
    a, b = ash(0), ash(1)
    found["w(ash)", "mean"] = {key: (a[key] + b[key]) / 2 for key in a}
    found["w(ash)", "mean"]["repeatability of the method"] = POOLED / sqrt(2)
    return found


def figures(value):
    return f"{value:.3e}" if value < 0.001 else f"{value:.5f}"


def total(parts):
    text = f"{sqrt(sum(value**2 for value in parts.values())):.1e}"
    return f"{float(text):.7f}".rstrip("0") if float(text) < 1e-3 else f"{float(text):.{1 - int(text[4:])}f}"


def main():
    found = worked()
    if "--show" in sys.argv:
        for (symbol, trial), parts in found.items():
            budget = ", ".join(f'"{name}" = "{figures(value)}"' for name, value in parts.items())
            print(f'  {{ symbol = "{symbol}", trial = "{trial}", u = "{total(parts)}", budget = {{ {budget} }} }},')
        return 0
    sidecar = tomllib.loads((ROOT / "notebooks/field/one-sitting.toml").read_text())
    listed = {(e["symbol"], e["trial"]): e for e in sidecar["expect"] if "budget" in e}
    wrong = []
    for key, parts in found.items():
        want = {name: figures(value) for name, value in parts.items()}
        if listed[key]["budget"] != want or listed[key]["u"] != total(parts):
            wrong.append(f"{key}: worked {total(parts)}, {want}")
    print("\n".join(wrong) or f"{len(found)} budgets agree with their working")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
