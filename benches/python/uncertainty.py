"""First-order uncertainty of the hydrate's x by libraries for Python; the numbers are those of benches/uncertainty.rs."""

import sys
from math import sqrt
from pathlib import Path

import GTC
import uncertainties

sys.path.insert(0, str(Path(__file__).parent))
from side import serve  # noqa: E402

EVALUATIONS = 1000
WEIGHINGS = {"crucible": 18.2746, "full": 19.3127, "left": 18.9381}
# CIAAW 2021, abridged, and its half-widths
WEIGHTS = {"H": (1.0080, 0.0002), "O": (15.999, 0.001), "Cu": (63.546, 0.003), "S": (32.06, 0.02)}
S, LINEARITY = 0.0001, 0.0002 / sqrt(3)


def model(known):
    crucible, full, left = (known[name] + known[name + " linearity"] for name in WEIGHINGS)
    water, residue = full - left, left - crucible
    o = known["O"]
    return water / (2 * known["H"] + o) / (residue / (known["Cu"] + known["S"] + 4 * o))


def inputs(make):
    known = {name: make(value, S) for name, value in WEIGHINGS.items()}
    known |= {name + " linearity": make(0.0, LINEARITY) for name in WEIGHINGS}
    return known | {name: make(value, half / sqrt(3)) for name, (value, half) in WEIGHTS.items()}


def rounds(known, u):
    def work():
        for _ in range(EVALUATIONS):
            u(model(known))
    return work


OF_UNCERTAINTIES, OF_GTC = inputs(uncertainties.ufloat), inputs(GTC.ureal)
assert abs(model(OF_UNCERTAINTIES).std_dev / GTC.uncertainty(model(OF_GTC)) - 1) < 1e-12
print(f"u(x) = {model(OF_UNCERTAINTIES).std_dev}", file=sys.stderr)

serve(
    f"uncertainties {uncertainties.__version__}, GTC {GTC.version}",
    {"uncertainties": rounds(OF_UNCERTAINTIES, lambda x: x.std_dev), "GTC": rounds(OF_GTC, GTC.uncertainty)},
)
