"""Random edits of a notebook that `generate.py` wrote: what happens to a notebook while it is kept.

`edit` gives the text after one edit and the edit's name; the text stays within the subset that `evaluator.py` reads.
`garble` damages bytes anywhere, as a broken copy does, and promises nothing.
"""

import random
import re

import evaluator

RESERVED = ("unit", "balance", "trial", "from", "event", "set aside")
VALUE = re.compile(r"^((?:~~[^~]*~~ )*)(\d+(?:[.,]\d+)?)(.*)$")
UNITS = [("g", "mg", "kg", "µg"), ("mL", "L"), ("mol", "mmol"), ("g/L", "mg/L", "g/mL", "mg/mL"), ("g/mol", "kg/mol"), ("%", "ppm")]


class Text:
    """The lines of a notebook with the block that each stands in."""

    def __init__(self, text):
        self.lines, self.kinds, kind = text.split("\n"), [], None
        for line in self.lines:
            if kind is None and (found := re.match(r"```(\w+)", line)):
                kind = found.group(1)
                self.kinds.append("fence")
            elif kind is not None and line.startswith("```"):
                kind = None
                self.kinds.append("fence")
            else:
                self.kinds.append(kind)

    def of(self, *kinds):
        return [i for i, kind in enumerate(self.kinds) if kind in kinds and self.lines[i].strip()]

    def rows(self):
        """Lines of readings that are not struck."""
        loads = []
        for i in self.of("masses"):
            label = evaluator.split_label(self.lines[i])[0].strip().casefold()
            if label not in RESERVED and not self.lines[i].startswith("~~"):
                loads.append(i)
        return loads

    def cells(self, i):
        label, rest = evaluator.split_label(self.lines[i])
        return label, re.split(r" {3,}", rest.strip())

    def put(self, i, label, cells):
        self.lines[i] = f"{label}:  " + "   ".join(cells)

    def text(self):
        return "\n".join(self.lines)


def edit(r, text):
    """The notebook after one edit that has something to change, and its name."""
    edits = [changed, changed, struck, row_struck, dash, set_aside, heating, deleted, block_unit, shown_unit, cell_unit, event, literal]
    while True:
        one, notebook = r.choice(edits), Text(text)
        if one(r, notebook):
            return notebook.text(), one.__name__


def digits_changed(r, number):
    """Another digit somewhere; no zero that nobody would write is put in front."""
    places = [i for i, c in enumerate(number) if c.isdigit()]
    i = r.choice(places)
    leading = i == 0 and number[1:2].isdigit()
    return number[:i] + r.choice([d for d in "0123456789" if d != number[i] and not (leading and d == "0")]) + number[i + 1:]


def some_cell(r, notebook):
    """A row, its label and cells, and the number of a cell that holds a reading; or nothing."""
    rows = notebook.rows()
    if not rows:
        return None
    i = r.choice(rows)
    label, cells = notebook.cells(i)
    readings = [k for k, cell in enumerate(cells) if VALUE.match(cell)]
    return (i, label, cells, r.choice(readings)) if readings else None


def changed(r, notebook):
    if not (found := some_cell(r, notebook)):
        return False
    i, label, cells, k = found
    strikes, number, rest = VALUE.match(cells[k]).groups()
    cells[k] = strikes + digits_changed(r, number) + rest
    notebook.put(i, label, cells)
    return True


def struck(r, notebook):
    if not (found := some_cell(r, notebook)):
        return False
    i, label, cells, k = found
    strikes, number, rest = VALUE.match(cells[k]).groups()
    remark = "" if "[" in rest else r.choice(["", " [misread; 14:32]", " [digits swapped]"])
    cells[k] = f"{strikes}~~{number}~~ {digits_changed(r, number)}{rest}{remark}"
    notebook.put(i, label, cells)
    return True


def row_struck(r, notebook):
    rows = [i for i in notebook.rows() if "~~" not in notebook.lines[i] and "[" not in notebook.lines[i]]
    if not rows:
        return False
    i = r.choice(rows)
    notebook.lines[i] = f"~~{notebook.lines[i]}~~"
    return True


def dash(r, notebook):
    if not (found := some_cell(r, notebook)):
        return False
    i, label, cells, k = found
    cells[k] = "–"
    notebook.put(i, label, cells)
    return True


def set_aside(r, notebook):
    heads = [notebook.lines[i] for i in notebook.of("masses") if notebook.lines[i].startswith("trial:")]
    names = sorted({name for head in heads for name in head[6:].split()} - {"blank"})
    free = [n for n in names if f"set aside: {n} (" not in notebook.text()]
    blocks = [i for i in notebook.of("masses") if notebook.kinds[i + 1] == "fence"]
    if not free or not blocks:
        return False
    notebook.lines.insert(blocks[-1] + 1, f"set aside: {r.choice(free)} (it was dropped; 15:05)")
    return True


def heating(r, notebook):
    """One more weighing of a series, a little off the last."""
    rows = [i for i in notebook.rows() if re.search(r", [^,]*\d+:", notebook.lines[i])]
    if not rows:
        return False
    i = r.choice(rows)
    label, cells = notebook.cells(i)
    found = re.match(r"(.*, [^,]*?)(\d+)$", label)
    if found is None:  # the number is a time beside a reading
        return False
    for k, cell in enumerate(cells):
        if (value := VALUE.match(cell)) and not value.group(1):
            number = value.group(2)
            last = r.choice("0123456789")
            cells[k] = number[:-1] + last + re.sub(r" \[.*\]$", "", value.group(3))
    notebook.lines.insert(i + 1, "")
    notebook.put(i + 1, f"{found.group(1)}{int(found.group(2)) + 1}", cells)
    return True


def deleted(r, notebook):
    lines = notebook.rows() + [i for i in notebook.of("measured", "working", "theory") if not notebook.lines[i].startswith("trial:")]
    if len(notebook.rows()) < 2 or not lines:
        return False
    del notebook.lines[r.choice(lines)]
    return True


def block_unit(r, notebook):
    lines = [i for i in notebook.of("masses") if notebook.lines[i].startswith("unit:")]
    if not lines:
        return False
    i = r.choice(lines)
    notebook.lines[i] = "unit: " + r.choice([u for u in ("g", "mg", "kg") if u != notebook.lines[i][5:].strip()])
    return True


def shown_unit(r, notebook):
    """Another unit after `in`, of the same kind."""
    lines = [i for i in notebook.of("working") if re.search(r"  in \S+(?=\s|$)", notebook.lines[i])]
    if not lines:
        return False
    i = r.choice(lines)
    unit = re.search(r"  in (\S+)", notebook.lines[i]).group(1)
    others = next((u for u in UNITS if unit in u), (unit,))
    notebook.lines[i] = notebook.lines[i].replace(f"  in {unit}", f"  in {r.choice(others)}")
    return True


def cell_unit(r, notebook):
    if not (found := some_cell(r, notebook)):
        return False
    i, label, cells, k = found
    strikes, number, rest = VALUE.match(cells[k]).groups()
    if re.match(r" (g|mg|kg)\b", rest):
        rest = re.sub(r"^ (g|mg|kg)\b", "", rest)
    else:
        rest = f" {r.choice(['g', 'mg', 'kg'])}" + rest
    cells[k] = strikes + number + rest
    notebook.put(i, label, cells)
    return True


def event(r, notebook):
    rows = notebook.rows()
    if not rows:
        return False
    notebook.lines.insert(r.choice(rows), "event: stirred with a glass rod")
    return True


def literal(r, notebook):
    """Another digit in a decimal of a formula."""
    lines = [i for i in notebook.of("working", "theory") if re.search(r"(?<![\w·.])\d+[.,]\d+", notebook.lines[i].split("#")[0])]
    if not lines:
        return False
    i = r.choice(lines)
    found = r.choice(list(re.finditer(r"(?<![\w·.,])\d+[.,]\d+(?![\w.,])", notebook.lines[i].split("#")[0])) or [None])
    if found is None:
        return False
    line = notebook.lines[i]
    notebook.lines[i] = line[:found.start()] + digits_changed(r, found.group()) + line[found.end():]
    return True


def garble(r, text):
    """Bytes of a damaged copy: some changed, lost, doubled or put in."""
    data = bytearray(text.encode())
    for _ in range(r.choice([1, 1, 1, 2, 5, 20])):
        at = r.randrange(len(data)) if data else 0
        kind = r.randrange(6)
        if kind == 0 and data:
            data[at] = r.randrange(256)
        elif kind == 1:
            del data[at:at + r.choice([1, 1, 3, 40])]
        elif kind == 2:
            data[at:at] = bytes(r.choices(b"`~|:+-*/()[]{}<>=\"'\\\n\r\t 0,.%$#&@^_\xc3\xff\x00", k=r.choice([1, 1, 2, 5])))
        elif kind == 3:
            data[at:at] = data[at:at + r.choice([1, 10, 100, 400])]
        elif kind == 4:
            del data[at:at + r.choice([2, 2, 2, 2, 10**6])]
        else:
            data[at:at] = r.choice(["²", "é", "Ω", "\u202e", "𝛼", "–", "“", "\u00a0", "½", "∞"]).encode()
    return bytes(data)


def versions(seed, number, text, count):
    """Edited versions of a notebook, each from the one before, with the names of the edits."""
    r, names = random.Random(f"{seed}/{number}/edits"), []
    for _ in range(count):
        for _ in range(r.choice([1, 1, 2, 3])):
            text, name = edit(r, text)
            names.append(name)
        yield text, list(names)
