"""Generated notebooks, edited at random, through compute, review and report; every result held against `evaluator.py`.

    python3 tests/oracle/soak.py --program target/debug/reweigh --seed 1 --notebooks 25000 --log FOLDER

Each notebook of `generate.py` is checked as it is and after edits (`edits.py`: a reading changed or struck, a trial set
aside, a heating added, a line deleted, other units, …), with claims put in that the second evaluator worked out, one of
them wrong on purpose. Of each version:

* `compute --format json`: every value, printed form and verdict is what the second evaluator expects;
* `review --format json`: a right claim agrees and its digits fit, the wrong one differs;
* `report --as markdown`: the number in every cell of the tables is the expected one;
* everywhere: the status is the one that is documented for the findings, and each finding's place lies in the file.

A damaged copy of each notebook (`edits.garble`) is expected to bring no more than findings. With `--pdf` a report is
set as PDF too: its attached results are those that were computed, and its text holds every number of the tables.

What differs is printed, and the notebook kept in the folder of `--log`. The exit status is 1 where something differed. A
difference that rests on a question the rules leave open is counted apart, as in `generate.py`.
"""

import argparse
import json
import multiprocessing
import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from fractions import Fraction

import edits
import evaluator
import generate
import printed

SHARED = "/dev/shm" if os.path.isdir("/dev/shm") else None
CLAIM_UNITS = {evaluator.G: ["g", "mg", "kg"], evaluator.VOLUME: ["mL", "L"], evaluator.MOL: ["mol", "mmol"],
               (1, 0, -1, 0, 0): ["g/mol", "kg/mol"], (1, -3, 0, 0, 0): ["g/L", "mg/mL"], evaluator.ONE: ["%", "ppm"]}
SPELLED = {evaluator.fold(item): item for item in generate.ITEMS}


class Version:
    """One text of a notebook, what is expected of it and what was found."""

    def __init__(self, name, text, names):
        self.name, self.text, self.edits = name, text, names
        self.notebook = self.expected = None
        self.claims, self.wrong, self.found = [], None, []

    def differ(self, where, expected, found, open=()):
        self.found.append(evaluator.Difference(where, str(expected), str(found), tuple(open)))


# --- claims ------------------------------------------------------------------------------------------------------------


def claimed(r, version):
    """A `claimed` block of values as the second evaluator prints them, one of them wrong."""
    notebook, lines = version.notebook, []
    quantities = list(version.expected["quantities"].items())
    for name, wanted in r.sample(quantities, min(len(quantities), r.randint(2, 5))):
        if line := claim_line(r, version, name, wanted):
            lines.append(line)
    if version.claims:
        make_wrong(r, version)
    mark = (lambda text: text.replace(".", ",")) if notebook.comma else (lambda text: text)
    rows = [f"{label}:  " + "   ".join(mark(cells[k]["text"]) if isinstance(cells[k], dict) else "–" for k in range(len(cells)))
            for label, cells in lines]
    head = "trial: " + "  ".join(notebook.trials)
    return "\n".join(["", "```claimed", head, *rows, "```", ""]) if rows else ""


def claim_line(r, version, name, wanted):
    shown = f"m({SPELLED[name[2:-1]]})" if wanted["origin"] == "net mass" and name[2:-1] in SPELLED else name
    if wanted["origin"] == "net mass" and shown == name and name[2:-1] not in SPELLED:
        return None
    if wanted["scalar"]:
        claims = [claim(r, version, shown, None, wanted["value"])]
        return (shown, claims) if claims[0] else None
    if wanted.get("agreement", {}).get("n", 0) > 1 and r.random() < 0.3:
        claims = [claim(r, version, f"mean {shown}", None, wanted["agreement"]["mean"])]
        return (f"mean {shown}", claims) if claims[0] else None
    claims = [claim(r, version, shown, trial, wanted["trials"].get(trial)) for trial in version.notebook.trials]
    return (shown, claims) if any(claims) else None


def claim(r, version, of, trial, value):
    """One claimed value at its own last place; nothing where that place is an open question or the value has no figures."""
    if value is None or value.open or value.dim not in CLAIM_UNITS:
        return None
    unit = r.choice(CLAIM_UNITS[value.dim])
    parts = evaluator.rounded(value, unit, version.notebook.rule)
    exact = parts is None
    if exact:
        number = value.number / evaluator.UNITS_OF(unit)[0]
        place = evaluator.lead(number) - 7 if number else 0
        parts = evaluator.nearest(number, place, version.notebook.rule), place
    if parts[0] == 0 or abs(evaluator.lead(Fraction(parts[0]))) > 30:
        return None
    made = {"of": of, "trial": trial, "unit": unit, "parts": parts, "exact": exact, "wrong": False}
    made["text"] = f"{written(*parts)} {unit}"
    version.claims.append(made)
    return made


def written(whole, place):
    if -12 <= place <= 0:
        return generate.Writer.fixed(Fraction(whole) * evaluator.TEN**place, -place)
    return f"{whole}e{place}"


def make_wrong(r, version):
    """Makes one claim differ by a tenth of its value at least, and by several of its last place."""
    one = r.choice(version.claims)
    whole, place = one["parts"]
    wrong = int(whole * Fraction(r.choice([137, 171, 43, 219, 61, 112]), 100))
    if abs(wrong - whole) < 3:
        wrong = whole + (9 if whole > 0 else -9)
    one.update(wrong=True, text=f"{written(wrong, place)} {one['unit']}")


def review_checked(version, review):
    found = review["claims"]
    if len(found) != len(version.claims):
        return version.differ("review: claims", len(version.claims), len(found))
    for mine, theirs in zip(version.claims, found):
        where = f"review: {mine['of']}[{mine['trial']}]"
        verdict, digits = theirs["value"]["verdict"], theirs["digits"]
        if theirs["of"] != mine["of"] or theirs["trial"] not in (mine["trial"], version.notebook.trials[0]):
            version.differ(where, mine["of"], theirs["of"])
        if verdict != ("differs" if mine["wrong"] else "agrees"):
            version.differ(where, "differs" if mine["wrong"] else "agrees", f"{verdict}: {mine['text']} for {theirs['printed']}")
        elif not mine["wrong"] and not mine["exact"] and digits != "fitting":
            version.differ(where + " digits", "fitting", f"{digits}: {mine['text']} for {theirs['printed']}")
    return None


# --- runs of the program -----------------------------------------------------------------------------------------------


def run(program, *arguments, folder):
    return subprocess.run([program, *arguments], cwd=folder, capture_output=True, timeout=600, stdin=subprocess.DEVNULL)


def places_checked(version, findings, data, status, what):
    """Places lie in the file, and the status (where it is of this file alone) is what the findings ask for."""
    text = data.removeprefix(b"\xef\xbb\xbf").decode("utf-8", "replace")
    lines = re.split(r"\r\n|\n|\r", text)
    for finding in findings:
        line, column = finding.get("line"), finding.get("column")
        if line is not None and not (1 <= line <= len(lines) and 1 <= column <= len(lines[line - 1].encode()) + 1):
            version.differ(f"{what}: place of {finding['code']}", f"within {len(lines)} lines", f"{line}:{column}")
    worst = {"error", "warning"} & {f["severity"] for f in findings}
    if status is not None and status != (1 if worst else 0):
        version.differ(f"{what}: status", 1 if worst else 0, status)


def computed(program, folder, version, data):
    """The results file; nothing where there is none."""
    ended = run(program, "compute", version.name, "--format", "json", folder=folder)
    try:
        results = json.loads(ended.stdout)
    except ValueError:
        version.differ("compute", "a results file", f"status {ended.returncode}: {ended.stderr[-300:]!r}")
        return None
    places_checked(version, results["findings"], data, ended.returncode, "compute")
    return results


def several(program, folder, versions, *arguments):
    """One run for all versions; where it breaks off, one for each, so that the guilty one is known."""
    names = [version.name for version in versions]
    ended = run(program, *arguments, *names, folder=folder)
    if ended.returncode in (0, 1):
        return ended
    for version in versions:
        one = run(program, *arguments, version.name, folder=folder)
        if one.returncode not in (0, 1):
            version.differ(" ".join(arguments[:3]), "status 0 or 1", f"{one.returncode}: {one.stderr[-300:]!r}")
    return ended


def checked(program, folder, version, results, count):
    """Compute and the tables of the report against the expectation."""
    comparison = evaluator.Comparison(version.notebook, results)
    comparison.run()
    report = os.path.join(folder, "out", version.name)
    if os.path.exists(report):
        with open(report, encoding="utf-8") as file:
            read = printed.Tables(comparison, version.expected, file.read()).run()
        count["cells of reports"] += read.cells
    else:
        comparison.differ("report", "a report", "none")
    count.update(comparison.count)
    version.found += comparison.differences


def pdf_checked(program, folder, versions, count):
    """Reports as PDF: the attached results are the computed ones, and the text holds every number of the tables."""
    os.makedirs(os.path.join(folder, "pdf"), exist_ok=True)
    several(program, folder, versions, "report", "--output", "pdf")
    for version in versions:
        path = os.path.join(folder, "pdf", version.name.replace(".md", ".pdf"))
        if not os.path.exists(path):
            version.differ("pdf", "a report", "none")
            continue
        attached = os.path.join(folder, "attached")
        os.makedirs(attached, exist_ok=True)
        subprocess.run(["pdfdetach", "-saveall", "-o", attached, path], check=True, capture_output=True)
        with open(os.path.join(attached, "results.json"), "rb") as file:
            results = file.read()
        alone = run(program, "compute", version.name, "--format", "json", folder=folder).stdout
        if results != alone:
            version.differ("pdf: attached results", f"{len(alone)} bytes", f"{len(results)} bytes")
        words = subprocess.run(["pdftotext", "-layout", path, "-"], check=True, capture_output=True).stdout.decode()
        numbers_checked(folder, version, words, count)
        os.remove(path)
        shutil.rmtree(attached)
    count["reports as PDF"] += len(versions)


def numbers_checked(folder, version, words, count):
    """Each number in the tables of the Markdown report (held against the expectation already) stands in the text of the PDF as often."""
    with open(os.path.join(folder, "out", version.name), encoding="utf-8") as file:
        report = file.read()
    comma = version.notebook.comma
    number = r"(?<![\w.,])[−-]?\d+[.,]\d+"
    wanted = Counter()
    for _, heads, rows in printed.tables(report):
        if heads[0] in ("net mass", "measured", "quantity"):
            for row in rows:
                wanted.update(m for cell in row[1:] if printed.ascii_number(re.sub(r" ?<sup>[a-z†, ]+</sup>$", "", cell), comma)
                              for m in re.findall(number, cell.lstrip("+"))[:1])
    there = Counter(re.findall(number, words))
    count["numbers in PDFs"] += sum(wanted.values())
    for text, times in wanted.items():
        if there[text] < times:
            version.differ("pdf: number", f"{text} {times} times", f"{there[text]} times")


# --- batches -----------------------------------------------------------------------------------------------------------


def made(seed, number, count):
    """The versions of a notebook, the claims in them, and a damaged copy."""
    text, r = generate.write(seed, number), random.Random(f"{seed}/{number}/claims")
    texts = [(text, [])] + list(edits.versions(seed, number, text, count))
    versions = []
    for k, (text, names) in enumerate(texts):
        version = Version(f"{number}-{k}.md", text, names)
        try:
            version.notebook = evaluator.Notebook(text)
            version.expected = version.notebook.expected
            block = claimed(r, version)
            version.text = text + block
        except Exception as error:  # the evaluator met something it does not read
            version.notebook = None
            version.differ("evaluator", "an expectation", repr(error))
        versions.append(version)
    damaged = Version(f"{number}-damaged.md", None, ["damaged"])
    return versions, damaged, edits.garble(r, r.choice(versions).text)


def batch(arguments, numbers):
    """Checks some notebooks; gives the counts and what differed."""
    program, count, kept = os.path.abspath(arguments.program), Counter(), []
    with tempfile.TemporaryDirectory(dir=SHARED) as folder:
        os.mkdir(os.path.join(folder, "out"))
        versions, data = [], {}
        for number in numbers:
            whole, damaged, bytes_ = made(arguments.seed, number, arguments.edits)
            versions += [*whole, damaged]
            data.update({v.name: v.text.encode() for v in whole} | {damaged.name: bytes_})
        for name, content in data.items():
            with open(os.path.join(folder, name), "wb") as file:
                file.write(content)
        all_checked(program, folder, versions, data, count)
        if arguments.pdf:
            pdf_checked(program, folder, [v for v in versions if v.notebook], count)
        count["notebooks"] += len(numbers)
        count["versions"] += sum(v.text is not None for v in versions)
        count["damaged copies"] += sum(v.text is None for v in versions)
        count.update(f"edit {name}" for v in versions for name in v.edits)
        for version in versions:
            if version.found:
                kept.append((version.name, version.edits, data[version.name], version.found))
    return count, kept


def is_text(data):
    try:
        data.decode()
        return True
    except ValueError:
        return False


def all_checked(program, folder, versions, data, count):
    texts = [version for version in versions if is_text(data[version.name])]
    several(program, folder, texts, "report", "--as", "markdown", "--output", "out")
    for version in versions:
        if version not in texts:  # such a report keeps every byte of its notebook, so that is refused
            one = run(program, "report", "--as", "markdown", "--output", "out", version.name, folder=folder)
            if one.returncode != 2 or b"is not UTF-8" not in one.stderr:
                version.differ("report of what is no text", "refused", f"{one.returncode}: {one.stderr[-300:]!r}")
    ended = several(program, folder, versions, "review", "--format", "json")
    try:
        reviews = {review["file"]: review for review in json.loads(ended.stdout)["reviews"]}
    except ValueError:
        reviews = {}
    for version in versions:
        results = computed(program, folder, version, data[version.name])
        if version.notebook and results:
            try:
                checked(program, folder, version, results, count)
                review_checked(version, reviews[version.name])
                count["claims"] += len(version.claims)
            except Exception as error:
                version.differ("comparison", "no exception", repr(error))
        review = reviews.get(version.name)
        if review is None:
            version.differ("review", "a review", "none")
        else:
            own = [f for f in review["findings"] if f["file"] in (None, version.name)]
            places_checked(version, own, data[version.name], None, "review")


def report(arguments, kept, opened):
    """Prints what differs and keeps the notebook; says how many of them rest on no open question."""
    bad = 0
    for name, names, content, differences in kept:
        for d in differences:
            opened.update(d.open)
        sharp = [d for d in differences if not d.open]
        bad += bool(sharp)
        if sharp:
            for d in sharp[:4]:
                print(f"{name} ({' '.join(names)}): {d.where}: expected {d.expected[:80]} found {d.found[:140]}", flush=True)
            if arguments.log:
                with open(os.path.join(arguments.log, name), "wb") as file:
                    file.write(content)
    return bad


def work(job):
    arguments, numbers = job
    return batch(arguments, numbers)


def main():
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--program", required=True, help="the program to check")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--start", type=int, default=0, help="number of the first notebook")
    parser.add_argument("--notebooks", type=int, default=50)
    parser.add_argument("--edits", type=int, default=2, help="edited versions of each notebook")
    parser.add_argument("--batch", type=int, default=25, help="notebooks that go through one process")
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--pdf", action="store_true", help="set reports as PDF too (needs poppler-utils)")
    parser.add_argument("--log", help="folder for the notebooks that differ")
    arguments = parser.parse_args()
    if arguments.log:
        os.makedirs(arguments.log, exist_ok=True)
    numbers = range(arguments.start, arguments.start + arguments.notebooks)
    jobs = [(arguments, numbers[i:i + arguments.batch]) for i in range(0, len(numbers), arguments.batch)]
    counts, opened, bad, began = Counter(), Counter(), 0, time.monotonic()
    with multiprocessing.Pool(arguments.processes) as pool:
        for done, (count, kept) in enumerate(pool.imap(work, jobs), 1):
            counts.update(count)
            bad += report(arguments, kept, opened)
            if done % 20 == 0 or done == len(jobs):
                print(f"{counts['versions']} versions, {bad} differ, {time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
    print(json.dumps({"counts": dict(counts), "open": dict(opened), "versions that differ": bad}, indent=1))
    sys.exit(1 if bad else 0)


if __name__ == "__main__":
    main()
