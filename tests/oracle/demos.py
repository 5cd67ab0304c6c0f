"""Works the demo notebooks from their readings, to check that the prose tells what the data say.

Molar masses: CIAAW 2021 abridged atomic weights. Prints each result with more digits than are justified.
"""
from fractions import Fraction as F

H, C, N, O, NA, MG, AL, SI, S, CA, BA = map(
    F, "1.0080 12.011 14.007 15.999 22.990 24.305 26.982 28.085 32.06 40.078 137.33".split())
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


def readings(text):
    return [F(r) for r in text.split()]


def kieserite():
    print("kieserite")
    sample = [a - b for a, b in zip(readings("27.4482 27.0355 26.6369"), readings("27.0355 26.6369 26.2154"))]
    ash = [a - b for a, b in zip(readings("20.4432 20.9996 19.5789"), readings("19.8343 20.4125 18.9562"))]
    barium = BA + S + 4 * O
    for name, part, theory in (("w(SO3) %", S + 3 * O, F(50)), ("w(S) %", S, None), ("w(kieserite) %", MG + S + 5 * O + 2 * H, None)):
        show(name, [100 * p * part / barium / m for p, m in zip(ash, sample)], theory)


def baking_soda():
    print("baking soda")
    empty = readings("31.3055 30.7711 32.0143")
    sample = [a - b for a, b in zip(readings("32.5239 32.0758 33.1735"), empty)]
    left = [a - b for a, b in zip(readings("32.1361 31.6594 32.8054"), empty)]
    # What leaves is half a molecule of water and of carbon dioxide for each NaHCO3.
    share = 1 - (2 * NA + C + 3 * O) / 2 / (NA + H + C + 3 * O)
    bicarbonate = [(m - r) / share for m, r in zip(sample, left)]
    show("m(NaHCO3) g", bicarbonate)
    show("w(NaHCO3) %", [100 * b / m for b, m in zip(bicarbonate, sample)])
    show("w(Na2CO3) %", [100 - 100 * b / m for b, m in zip(bicarbonate, sample)])
    show("w(loss) %", [100 * (m - r) / m for m, r in zip(sample, left)], 100 * share)
    print(f"  0.3 mg in trial A shifts w(NaHCO3) by {float(F('0.0003') / sample[0] / share * 100):.4f} %")


def calcium_oxalate():
    print("calcium oxalate")
    empty = readings("22.7181 23.1045")
    masses = [[a - e for a, e in zip(readings(r), empty)] for r in (
        "23.7593 24.0921", "23.6277 23.9678", "23.4288 23.7790", "23.1163 23.4824")]
    whole = CA + 2 * C + 4 * O + WATER
    for step, (before, after, gas) in enumerate(zip(masses, masses[1:], (WATER, C + O, C + 2 * O))):
        shares = [100 * (b - a) / m for b, a, m in zip(before, after, masses[0])]
        show(f"stage {step + 1} %", shares, 100 * gas / whole)
    show("w(CaO) %", [100 * r / m for r, m in zip(masses[3], masses[0])], 100 * (CA + O) / whole)
    show("purity %", [100 * r / m * whole / (CA + O) for r, m in zip(masses[3], masses[0])])


if __name__ == "__main__":
    kieserite()
    baking_soda()
    calcium_oxalate()
    selenite()
    china_clay()
    magnesium_ribbon()
