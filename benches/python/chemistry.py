"""Weighing the formulas of the molar-mass table, and balancing twenty-one substances, by libraries for Python."""

import sys
from pathlib import Path

import sympy
from chempy import balance_stoichiometry
from chempy.util.parsing import formula_to_composition

sys.path[:0] = [str(Path(__file__).parent), str(Path(__file__).parents[2] / "tests/oracle")]
from molar_masses import LIBRARIES, made  # noqa: E402
from side import serve  # noqa: E402

FORMULAS = 300


def common():
    """The first formulas that every library has a notation for, in its notation."""
    texts = ([write(*formula) for _, write, _ in LIBRARIES.values()] for formula in made())
    return [row for row in texts if all(row)][:FORMULAS]


def weighing(at):
    texts, weigh = [row[at] for row in common()], list(LIBRARIES.values())[at][2]

    def work():
        for text in texts:
            weigh(text)
    return work


LEFT = "H2 Ca(CN)2 NaAlF4 FeSO4 MgSiO3 KI H3PO4 PbCrO4 BrCl CF2Cl2 SO2".split()
RIGHT = "PbBr2 CrCl3 MgCO3 KAl(OH)4 Fe(SCN)3 PI3 Na2SiO3 CaF2 H2O".split()


def by_null_space():
    """Reading the formulas and solving the element equations, nothing else."""
    columns = [formula_to_composition(text) for text in LEFT + RIGHT]
    elements = sorted(set().union(*columns))
    signs = [1] * len(LEFT) + [-1] * len(RIGHT)
    matrix = sympy.Matrix([[sign * column.get(element, 0) for sign, column in zip(signs, columns)] for element in elements])
    solution, = matrix.nullspace()
    return solution * sympy.ilcm(*[value.q for value in solution])


def by_balancer():
    return balance_stoichiometry(set(LEFT), set(RIGHT))


EXPECTED = [88, 15, 6, 10, 3, 6, 2, 6, 12, 3, 20, 6, 6, 3, 6, 10, 2, 3, 15, 79]
assert list(by_null_space()) == EXPECTED

serve(
    f"{', '.join(f'{name} {version}' for name, (version, _, _) in LIBRARIES.items())}, sympy {sympy.__version__}",
    {name: weighing(at) for at, name in enumerate(LIBRARIES)} | {"sympy": by_null_space, "chempy balancing": by_balancer},
)
