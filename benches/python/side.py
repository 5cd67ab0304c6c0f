"""The Python end of a comparison: says what it is, then answers how long a work takes, repeat by repeat.

`serve("library 1.2", {"work": function})`: every line asked is `WORK REPEATS`, every answer nanoseconds by this process'
own clock.
"""

import gc
import sys
from time import perf_counter_ns


def serve(what, works):
    for work in works.values():
        work()  # caches and lazy imports are filled before anything is timed
    print("ready", what, flush=True)
    for line in sys.stdin:
        name, repeats = line.rsplit(" ", 1)
        print(timed(works[name], int(repeats)), flush=True)


def timed(work, repeats):
    """As `timeit` does it: without the collector."""
    gc.disable()
    start = perf_counter_ns()
    for _ in range(repeats):
        work()
    elapsed = perf_counter_ns() - start
    gc.enable()
    return elapsed
