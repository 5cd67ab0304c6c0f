"""The tables of a report in Markdown, read and held against what `evaluator.py` expects to be printed in each cell."""

import re

CELL = re.compile(r"^(?P<strike>~~)?(?P<number>[+−-]?\d+(?:[.,]\d+)?)(?(strike)~~)(?: × 10<sup>(?P<power>−?\d+)</sup>)?(?: <sup>[^<]*</sup>)?$")
MEASURES = {"mean": "mean", "range": "range", "s": "s", "relative s / %": "relative_s", "relative difference / %": "relative_difference",
            "relative average deviation / ‰": "relative_average_deviation"}


def tables(text):
    """Caption, heads and rows of every table that was put in; a table in parts gives one for each."""
    caption, heads, rows, inside = None, None, [], False
    for line in text.split("\n"):
        if line.startswith("<!-- computed by"):
            inside = True
        elif line.startswith("<!-- end of"):
            inside = False
        if not inside:
            continue
        if found := re.match(r"\*\*(?:Table \d+\*\* (.*)|(.*)\*\*)$", line):
            caption = found.group(1) or found.group(2)
        elif line.startswith("| "):
            cells = [c.strip() for c in re.split(r"(?<!\\)\|", line)[1:-1]]
            if heads is None:
                heads = [plain(c) for c in cells]
            elif not set("".join(cells)) <= set("-: "):
                rows.append(cells)
        elif heads is not None:
            yield caption, heads, rows
            heads, rows = None, []


def plain(text):
    """Text without its markup; a mark of a note is left out."""
    text = re.sub(r"<sup>[a-z†*, ]+</sup>", "", text)
    text = re.sub(r"</?su[bp]>", "", text)
    text = re.sub(r"(?<!\\)[*]", "", text)
    return re.sub(r"\\(.)", r"\1", text).strip()


def ascii_number(cell, comma):
    """A printed number as the results file writes it; nothing where it is none."""
    found = CELL.match(cell)
    if not found:
        return None
    number = found["number"].replace("−", "-").lstrip("+")
    if ("," if not comma else ".") in number:
        return None
    return number.replace(",", ".") + (f"e{found['power'].replace('−', '-')}" if found["power"] else "")


def key(name):
    """A name as it is compared: without the marks by which its parts are lowered, without case."""
    return re.sub(r"[\s_]", "", name).casefold()


class Tables:
    """Holds the tables of a report against an expectation; the comparison collects what differs."""

    def __init__(self, comparison, expected, text):
        self.comparison, self.expected, self.text = comparison, expected, text
        self.comma = comparison.notebook.comma
        self.units = {key(q["symbol"]): q["unit"] for q in comparison.results["quantities"]}
        self.names = {key(name): name for name in expected["quantities"]}
        self.columns = {name: comparison.blank_names.get(name, name) for name in expected["trials"] + expected["blanks"]}
        self.columns = {shown: name for name, shown in self.columns.items()}
        self.cells, self.seen = 0, set()

    def run(self):
        for caption, heads, rows in tables(self.text):
            if heads[0] in ("net mass", "measured", "quantity") and caption != "Tests for outliers":
                for row in rows:
                    self.row(caption, heads, row)
        for name, wanted in self.expected["quantities"].items():
            values = [wanted["value"]] if wanted["scalar"] else wanted["trials"].values()
            if any(v is not None for v in values) and name not in self.seen:
                self.comparison.differ(f"report: {name}", "in a table", "nowhere")
        return self

    def row(self, caption, heads, row):
        label, found = plain(row[0]), None
        of_all = label.endswith(", with all")
        label = label.removesuffix(", with all")
        if found := re.match(r"(.*), trial (.+)$", label):
            label = found.group(1)
        symbol, _, unit = label.rpartition(" / ")
        if key(symbol) not in self.names:
            symbol, unit = label, ""
        name = self.names.get(key(symbol))
        if name is None:
            return  # a theory of its own
        wanted, own = self.expected["quantities"][name], self.units[key(name)]
        shown = unit.strip("()") if unit else "1"
        if not of_all and re.sub(r"[\^ ]", "", shown) != re.sub(r"[\^ ]", "", own):
            self.comparison.differ(f"report: {caption}: {name} unit", own, shown)
        for head, cell in zip(heads[1:], row[1:]):
            expectation = self.wanted(name, wanted, head, found and found.group(2), of_all)
            if expectation:
                value, unit = expectation
                self.cell(f"report: {caption}: {name} {head}{' with all' * of_all}", value, cell, unit or own)

    def wanted(self, name, wanted, head, trial, of_all):
        """The value that a column shows and its unit (none: the quantity's own); nothing for a column that is not compared."""
        agreement = wanted.get("with_set_aside" if of_all else "agreement") or {}
        bare = head.removesuffix(" set aside")
        if bare in self.columns and not wanted["scalar"]:
            self.seen.add(name)
            return wanted["trials"].get(self.columns[bare]), None
        if head in ("value", "value for all trials") and wanted["scalar"]:
            self.seen.add(name)
            return wanted["value"], None
        if head in MEASURES:
            return agreement.get(MEASURES[head]), "1" if head.startswith("relative") else None
        if head == "result" and not trial:
            return wanted.get("value") if wanted["scalar"] else agreement.get("mean"), None
        if head == "theory":
            return (wanted.get("theory_trials") or {}).get(trial) if trial else wanted.get("theory"), None
        if head == "percent error / %" and not trial:
            return wanted.get("percent_error"), "1"
        return None

    def cell(self, where, value, cell, unit):
        self.cells += 1
        bare = re.sub(r" ?<sup>[a-z†, ]+</sup>$", "", cell)
        if value is None or bare in ("", "–"):
            if value is not None or bare not in ("", "–"):
                self.comparison.differ(where, value and float(value.number), cell, value.open if value else ())
            return
        number = ascii_number(cell, self.comma)
        if number is None:
            return self.comparison.differ(where, float(value.number), cell)
        self.comparison.printed(where, value, {"printed": number}, unit)
        return None
