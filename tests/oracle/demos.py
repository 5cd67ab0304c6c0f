"""Works the three demo notebooks from their readings, to check that the prose tells what the data say.

Molar masses: CIAAW 2021 abridged atomic weights. Prints each result with more digits than are justified.
"""
from fractions import Fraction as F

H, N, O, MG, AL, SI, S, CA = map(
    F, "1.0080 14.007 15.999 24.305 26.982 28.085 32.06 40.078".split())
WATER = 2 * H + O


def mean(values):
    return sum(values) / len(values)


def deviation(values):
    centre = mean(values)
    return float(sum((v - centre) ** 2 for v in values) / (len(values) - 1)) ** 0.5


def show(name, values, theory=None):
    text = " ".join(f"{float(v):.6f}" for v in values)
    print(f"  {name:14} {text}  mean {float(mean(values)):.6f}  s {deviation(values):.6f}")
    if theory is not None:
        error = (mean(values) - theory) / abs(theory) * 100
        print(f"  {'':14} theory {float(theory):.6f}  percent error {float(error):.4f}")


def changes(name, *series):
    for trial, readings in zip("ABC", series):
        values = [F(r) for r in readings.split()]
        steps = [f"{float((b - a) * 1000):+.1f}" for a, b in zip(values, values[1:])]
        print(f"  {name} {trial}: {' '.join(steps)} mg")


def selenite():
    print("selenite")
    empty = [F("24.5161"), F("23.8872"), F("25.1046")]
    full = [F("25.6384"), F("24.9219"), F("26.2934")]
    left = [F("25.4046"), F("24.7061"), F("26.0454")]
    changes("residue", "25.4157 25.4049 25.4046", "24.7182 24.7065 24.7061", "26.0591 26.0459 26.0454")
    sample = [f - e for f, e in zip(full, empty)]
    water = [f - l for f, l in zip(full, left)]
    salt = [l - e for l, e in zip(left, empty)]
    anhydrous = CA + S + 4 * O
    show("w(water) %", [100 * w / s for w, s in zip(water, sample)], 200 * WATER / (anhydrous + 2 * WATER))
    show("x", [w / WATER / (s / anhydrous) for w, s in zip(water, salt)], F(2))
    short = [200 * WATER / (anhydrous + 2 * WATER) / 100 * s - w for s, w in zip(sample, water)]
    show("missing water/mg", [1000 * m for m in short])


def china_clay():
    print("china clay")
    dish = [F("31.2044"), F("29.8761")]
    moist = [F("33.3391"), F("31.9135")]
    dry = [F("33.3137"), F("31.8893")]
    fired = [F("33.0400"), F("31.6284")]
    changes("fired", "33.0871 33.0452 33.0403 33.0400", "31.6749 31.6334 31.6288 31.6284")
    kaolinite = 2 * AL + 2 * SI + 9 * O + 4 * H
    pure = 2 * WATER / kaolinite
    show("w(moisture) %", [100 * (m - d) / (m - e) for m, d, e in zip(moist, dry, dish)])
    loss = [(d - f) / (d - e) for d, f, e in zip(dry, fired, dish)]
    show("w(loss) %", [100 * v for v in loss], 100 * pure)
    show("w(kaolinite) %", [100 * v / pure for v in loss])


def magnesium_ribbon():
    print("magnesium ribbon")
    empty = [F("28.6410"), F("27.9034"), F("29.1125")]
    metal = [F("28.9553") - empty[0], F("28.1955") - empty[1], F("29.4020") - empty[2]]
    oxide = [F("29.1609") - empty[0], F("28.3863") - empty[1], F("29.5726") - empty[2]]
    changes("oxide", "29.1502 29.1688 29.1613 29.1609", "28.3771 28.3941 28.3868 28.3863",
            "29.5644 29.5797 29.5730 29.5726")
    share = [100 * m / o for m, o in zip(metal, oxide)]
    show("w(magnesium) %", share[:2], 100 * MG / (MG + O))
    print(f"  {'set aside':14} {float(share[2]):.4f}")
    ratio = [(o - m) / O / (m / MG) for m, o in zip(metal, oxide)]
    show("x", ratio[:2], F(1))
    print(f"  nitride {float(3 * MG + 2 * N)} g/mol, oxide {float(3 * (MG + O))} g/mol")


if __name__ == "__main__":
    selenite()
    china_clay()
    magnesium_ribbon()
