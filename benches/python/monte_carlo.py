"""A million draws of the hydrate method in numpy: as many processes as cores, each with its share of the draws.

Every process draws and works out its share as whole arrays, or in pieces that stay in the processor's cache, and gives mean,
u and both intervals of its share. Putting the shares together is not counted, which is in numpy's favour.
"""

import os
import sys
from multiprocessing import get_context
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from side import serve  # noqa: E402

DRAWS = 1_000_000
PROCESSES = len(os.sched_getaffinity(0))
PIECE = 10_000
READINGS = ((18.2746, 19.3127, 18.9381), (17.9031, 18.9466, 18.5705))
# Value and half-width of the abridged standard atomic weights (CIAAW 2021): H, O, S, Cu.
WEIGHTS = ((1.0080, 0.0002), (15.999, 0.001), (32.06, 0.02), (63.546, 0.003))


def drawn(random, count):
    """Content in per cent and formula number, of the two trials and their mean."""
    h, o, s, cu = (random.uniform(value - half, value + half, count) for value, half in WEIGHTS)
    linearity = [random.uniform(-2e-4, 2e-4, count) for _ in range(3)]
    water, salt = 2 * h + o, cu + s + 4 * o
    contents, numbers = [], []
    for readings in READINGS:
        crucible, full, heated = (random.normal(reading, 1e-4, count) + error for reading, error in zip(readings, linearity))
        sample, residue = full - crucible, heated - crucible
        lost = sample - residue
        contents.append(100 * lost / sample)
        numbers.append((lost / water) / (residue / salt))
    return [*contents, (contents[0] + contents[1]) / 2, *numbers, (numbers[0] + numbers[1]) / 2]


def summary(values, probability=0.95):
    mean, u = values.mean(), values.std(ddof=1)
    values.sort()
    inside = round(probability * len(values))
    below = (len(values) - inside + 1) // 2
    at = np.argmin(values[inside:] - values[:-inside])
    return mean, u, values[below - 1], values[below - 1 + inside], values[at], values[at + inside]


def share(task):
    seed, pieces, count = task
    random = np.random.default_rng(seed)
    outputs = np.empty((6, pieces * count))
    if pieces == 1:
        outputs = drawn(random, count)
    else:
        for piece in range(pieces):
            outputs[:, piece * count:(piece + 1) * count] = drawn(random, count)
    return [summary(values) for values in outputs]


def shares(pieces):
    count = DRAWS // PROCESSES // pieces
    return [(seed, pieces, count) for seed in range(PROCESSES)]


if __name__ == "__main__":
    with get_context("fork").Pool(PROCESSES) as pool:
        serve(
            f"numpy {np.__version__} in {PROCESSES} processes",
            {
                "whole arrays": lambda: pool.map(share, shares(1), 1),
                "arrays that fit the cache": lambda: pool.map(share, shares(DRAWS // PROCESSES // PIECE), 1),
            },
        )
