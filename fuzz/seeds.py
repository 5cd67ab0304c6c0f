#!/usr/bin/env python3
"""Writes first inputs for every target into a folder (seeds/ beside this file, or the one that is named): the project's own
notebooks and templates, and small pieces for the readers that take something else."""
import json, pathlib, re, sys, zlib

here = pathlib.Path(__file__).resolve().parent
root = here.parent
seeds = pathlib.Path(sys.argv[1]) if len(sys.argv) > 1 else here / "seeds"


def put(target, name, content):
    folder = seeds / target
    folder.mkdir(parents=True, exist_ok=True)
    data = content if isinstance(content, bytes) else content.encode()
    (folder / re.sub(r"[^\w.-]", "-", name)).write_bytes(data)


def blocks(text, word):
    return re.findall(rf"^```{word}[^\n]*\n(.*?)^```", text, re.M | re.S)


def pdf(files):
    """A PDF of one empty page that carries files: name, relationship, bytes."""
    objects = [b"<</Type/Catalog/Pages 2 0 R>>", b"<</Type/Pages/Kids[3 0 R]/Count 1>>", b"<</Type/Page/Parent 2 0 R>>"]
    for name, relationship, data in files:
        packed = zlib.compress(data)
        head = f"<</Type/EmbeddedFile/Filter/FlateDecode/Length {len(packed)}>>".encode()
        objects.append(head + b"stream\n" + packed + b"\nendstream")
        stream = f"{len(objects)} 0 R"
        spec = f"<</Type/Filespec/F({name})/UF({name})/EF<</F {stream}/UF {stream}>>/AFRelationship/{relationship}>>"
        objects.append(spec.encode())
    text, places = b"%PDF-1.7\n", []
    for number, body in enumerate(objects, 1):
        places.append(len(text))
        text += f"{number} 0 obj\n".encode() + body + b"\nendobj\n"
    table = b"".join(f"{place:010} 00000 n \n".encode() for place in places)
    start = len(text)
    text += f"xref\n0 {len(objects) + 1}\n0000000000 65535 f \n".encode() + table
    return text + f"trailer<</Size {len(objects) + 1}/Root 1 0 R>>\nstartxref\n{start}\n%%EOF\n".encode()


notebooks = [path for folder in ("notebooks", "notebooks/from-templates", "notebooks/field", "tests/published")
             for path in sorted((root / folder).glob("*.md")) if path.name != "README.md"]
for path in notebooks:
    text = path.read_text()
    for target in ("notebook", "compute", "review", "forms", "structure"):
        put(target, path.stem, text)
    put("entry", path.stem, "00118.2749|misread|14:10\n" + text)
    for word in ("working", "experiment", "reaction", "theory"):
        for at, block in enumerate(blocks(text, word)):
            put({"theory": "working"}.get(word, word), f"{path.stem}-{word}-{at}", block)
            if word == "reaction":
                for line, equation in enumerate(block.splitlines()):
                    put("reaction", f"{path.stem}-{at}-{line}", equation.split(": ")[-1])
    for formula in re.findall(r"M\(([^()]*(?:\([^()]*\)[^()]*)*)\)", text):
        put("formula", formula, formula)
    for at, maths in enumerate(re.findall(r"\$+([^$\n]+)\$+", text)):
        put("math", f"{path.stem}-{at}", maths)
    carried = [{"name": path.name, "relationship": "source", "mime": "text/markdown", "description": "", "text": text}]
    put("report_page", path.stem, json.dumps({"schema": "reweigh/carried/1", "files": carried}))
    put("report_pdf", path.stem, pdf([(path.name, "Source", text.encode())]))
for path in sorted((root / "notebooks").rglob("*.csv")):
    put("csv", path.stem, b"\0" + path.read_bytes())
for case in sorted((root / "tests/notebook_cases").glob("csv*.case")):
    rows = "".join(line[4:] for line in case.read_text().splitlines(True) if line.startswith("//| "))
    put("csv", case.stem, "\0" + rows)
for marking in sorted(root.glob("report-templates/*/marking")):
    folder = marking.parent
    parts = [(folder / name).read_text() for name in ("template.toml", "method.md")] + [(marking / "sample.md").read_text()]
    put("template", folder.name, "\n=====\n".join(parts))
    put("experiment", folder.name, "\n".join(blocks(parts[2], "experiment")))
    if (marking / "marks.toml").exists():
        put("marks", folder.name, (marking / "marks.toml").read_text())
    put("skeleton", folder.name, "\n=====\n".join((folder / name).read_text() for name in ("template.toml", "notebook.md")))
    if (marking / "remarks.md").exists():
        put("remarks", folder.name, (marking / "remarks.md").read_text())
for own in ("standard", "marked", "whole"):
    put("remarks", own, (root / f"src/review/remarks/{own}.md").read_text())
put("roster", "comma", "name,unknown,file\nBench 1,U-7,one\n\"Bench, 2\",U-8,\n,,\n")
put("roster", "semicolon", "\ufeffName;unknown\nCON;1\nZoë;2\n")
examples = (root / "tests/commonmark/examples.txt").read_text()
for at, example in enumerate(examples.split("`" * 32 + " example\n")[1:]):
    put("structure", f"example-{at:03}", example.split("\n.\n")[0].replace("→", "\t") + "\n")
put("marks", "accuracy", '[[mark]]\naccuracy = "w(water)"\nagainst = "theory"\nsteps = [{within = "0.5 %", points = 3}, {within = "1 %", points = 1.5}]\n')
for text in (r"\frac{1}{2} \sqrt[3]{x} \left( a_{1}^{2} \right)", r"\begin{aligned} a &= b \\ c &= d \end{aligned}",
             r"\mathrm{CaSO_4 \cdot 2 H_2O}", r"\text{mass of water} \approx 1.2 \times 10^{-3}\,\mathrm{g}"):
    put("math", f"piece-{len(text)}", text)
decision = '[[decision]]\nnotebook = "3f1c09d2a7be"\nfile = "b.md"\nclaim = "w(water)[B]"\nverdict = "agrees"\nreason = "the printout"\n'
put("decisions", "claim", decision)
put("decisions", "mark", decision + '\n[[decision]]\nnotebook = "3f1c09d2a7be"\nmark = "Discussion"\npoints = 1.5\n')
put("unknowns", "point", "unknown,of,value,unit,u,released\nU-07,w(water),14.75,%,0.03,yes\nU-08,w(water),20.93,%,,2026-03-20\n")
put("unknowns", "comma", "unknown;value;unit\nU-07;14,75;%\n\"U-08\";20,93;\n")
put("earlier", "empty", '{"schema": "reweigh/section/1", "rows": []}')
put("earlier", "row", '{"schema": "reweigh/section/1", "rows": [{"file": "a.md", "sha256": "3f", "marks": {"items": []}}]}')
host = "Host: 127.0.0.1:80\r\n"
for path in ("", "page.js", "list", "n/0/state?since=0", "n/0/state?since=99", "n/0/value?key=m%28salt%29%7CA", "n/0/page/0.svg"):
    put("http", f"get-{path}", f"GET /TOKEN/{path} HTTP/1.1\r\n{host}\r\n")
entry = '{"kind":"reading","label":"cup + salt","nth":0,"column":0,"was":"–","reading":"21.0000"}'
for other in (entry, '{"kind":"further","label":"cup","nth":0,"column":1,"treatment":"heating","reading":"20.9"}', '{"kind":"trial","label":"cup","name":"C"}'):
    for task in ("check", "write"):
        body = other.encode()
        head = f"POST /TOKEN/n/0/{task} HTTP/1.1\r\n{host}Origin: http://127.0.0.1:80\r\nContent-Type: application/json\r\n"
        put("http", f"{task}-{len(body)}", f"{head}Content-Length: {len(body)}\r\n\r\n".encode() + body)
        put("http", f"{task}-chunked-{len(body)}", f"{head}Transfer-Encoding: chunked\r\n\r\n{len(body):x}\r\n".encode() + body + b"\r\n0\r\n\r\n")
for kind, words in ((1, "0.9999|heating"), (2, "C"), (0, "21.0000")):
    put("entry", f"kind-{kind}", f"{kind}01{words}\n```masses\ntrial: A B\ncup, heating 1: 20.0000 –\ncup + salt: – 22.5\n```\n")
