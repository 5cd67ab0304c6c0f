// The page: fields for the readings, what is said of each, and the notebook's text to be saved. What is typed is kept in the
// browser's own store as well, so that a closed tab loses nothing.

const sheet = JSON.parse(document.getElementById("sheet-data").textContent);
const storeKey = `reweigh bench sheet ${sheet.id} ${sheet.version}`;
const find = (selector) => document.querySelector(selector);

/** An element with properties and children. */
function make(tag, properties = {}, ...children) {
  const element = document.createElement(tag);
  for (const [name, value] of Object.entries(properties)) {
    if (name.includes("-")) element.setAttribute(name, value); else element[name] = value;
  }
  element.append(...children.flat().filter((child) => child !== null));
  return element;
}

// ------------------------------------------------------------------------------------------------
// What is written down
// ------------------------------------------------------------------------------------------------

const emptyCell = () => ({ typed: "", written: "", struck: [], reason: "" });

/** A fresh sheet: the skeleton's lines, a cell for each trial. */
function fresh() {
  return {
    facts: Object.fromEntries(sheet.facts.map((fact) => [fact.key, fact.value])),
    checks: sheet.checks.map(() => false),
    trials: [...sheet.trials],
    lines: sheet.lines.map((line) => (line.eventText ? line : { ...line, cells: sheet.trials.map(emptyCell) })),
  };
}

function restored() {
  try {
    const kept = JSON.parse(localStorage.getItem(storeKey));
    return kept?.form === 1 ? kept.state : null;
  } catch {
    return null;
  }
}

function keep() {
  try {
    localStorage.setItem(storeKey, JSON.stringify({ form: 1, state }));
  } catch {
    find("#kept").textContent = "This browser keeps nothing for a page opened from a file: save the notebook before you close it.";
  }
}

let state = restored() ?? fresh();

/** The table that the rules read. */
function table() {
  return {
    unit: Fraction.of(sheet.unit), unitName: sheet.unitName, rule: sheet.rule, samples: sheet.samples, trials: state.trials,
    readability: sheet.readability && Fraction.of(sheet.readability),
    lines: linesOf(withEvents(state.lines), (line) => line.cells.map((cell) => cell.typed), sheet.mark),
  };
}

// ------------------------------------------------------------------------------------------------
// Fields
// ------------------------------------------------------------------------------------------------

function showFacts() {
  const field = (fact) => {
    const input = make("input", {
      id: `fact-${fact.key}`, type: fact.key === "date" ? "date" : "text", value: state.facts[fact.key], autocomplete: "off", maxLength: 200,
      oninput: () => { state.facts[fact.key] = input.value; keep(); },
    });
    return make("div", { className: "fact" }, make("label", { htmlFor: input.id }, fact.label), input);
  };
  find("#facts").replaceChildren(...sheet.facts.map(field));
}

function showChecks() {
  const entry = (text, index) => {
    const box = make("input", { type: "checkbox", id: `check-${index}`, checked: state.checks[index], onchange: () => { state.checks[index] = box.checked; keep(); } });
    return make("li", {}, make("label", { htmlFor: box.id }, box, " ", text));
  };
  find("#checks").replaceChildren(...sheet.checks.map(entry));
  find("#checks-part").hidden = sheet.checks.length === 0;
}

const isLastOfLoad = (line) => state.lines.findLast((other) => !other.eventText && sameLoad(other, line)) === line;
const sameLoad = (a, b) => [...a.things].sort().join("\n") === [...b.things].sort().join("\n");

function showReadings() {
  const parts = state.lines.map((line, index) => (line.eventText
    ? make("p", { className: "event" }, `event: ${line.eventText}`)
    : make("fieldset", {}, make("legend", {}, line.label), line.treatment ? eventField(index) : null,
      make("div", { className: "cells" }, line.cells.map((_, trial) => cellField(index, trial))),
      line.treatment && isLastOfLoad(line) ? make("button", { type: "button", className: "more", onclick: () => further(index) }, `Another ${line.treatment} of ${line.label.replace(/,[^,]*$/, "")}`) : null)));
  find("#readings").replaceChildren(...parts);
  sayAll();
}

/** A field for what was done before a weighing besides its treatment; closed while nothing stands in it. */
function eventField(index) {
  const line = state.lines[index];
  const id = `event-${index}`;
  const input = make("input", {
    id, value: line.done ?? "", autocomplete: "off", maxLength: 200, "aria-describedby": `${id}-hint`,
    oninput: () => { line.done = input.value; keep(); sayAll(); },
  });
  return make("details", { className: "done", open: Boolean(oneLine(line.done ?? "")) },
    make("summary", {}, "Something else was done before it", make("span", { className: "said-only" }, `: ${line.label}`)),
    make("label", { htmlFor: id }, "what was done, such as “ignited at 900 °C from here on” or “5 drops of acid added”"), input,
    make("p", { className: "small", id: `${id}-hint` }, "It stands in the notebook as an event and begins a new stage: the change across it is shown, and not judged for constant mass."));
}

function cellField(index, trial) {
  const line = state.lines[index];
  const cell = line.cells[trial];
  const id = `reading-${index}-${trial}`;
  const input = make("input", {
    id, value: cell.typed, inputMode: "decimal", autocomplete: "off", spellcheck: false, maxLength: 24, "aria-describedby": `${id}-said`,
    oninput: () => { cell.typed = input.value; keep(); sayAll(); },
    onchange: () => { writeDown(cell); keep(); showCell(index, trial); },
  });
  return make("div", { className: "cell", id: `${id}-cell` },
    make("label", { htmlFor: id }, make("span", { className: "said-only" }, `${line.label}, `), `trial ${state.trials[trial]} / ${sheet.unitName}`),
    make("div", { className: "struck", id: `${id}-struck` }), input,
    make("div", { className: "why", id: `${id}-why` }), make("div", { className: "said", id: `${id}-said`, role: "status" }));
}

/** A field that is left: a reading that was there before is struck, and one that comes back to what it was is not. */
function writeDown(cell) {
  const text = cell.typed.trim();
  if (text === cell.written) return;
  if (readNumber(cell.written, sheet.mark)) {
    if (cell.struck.at(-1) === text) { cell.struck.pop(); cell.written = text; if (!cell.struck.length) cell.reason = ""; return; }
    cell.struck.push(cell.written);
  }
  cell.written = text;
}

/** What stands around a field: the struck readings, and the reason for the change. */
function showCell(index, trial) {
  const cell = state.lines[index].cells[trial];
  const id = `reading-${index}-${trial}`;
  find(`#${id}-struck`).replaceChildren(...cell.struck.flatMap((text) => [make("span", { className: "said-only" }, "struck "), make("s", {}, text), " "]));
  const why = find(`#${id}-why`);
  if (!cell.struck.length) why.replaceChildren();
  else if (!why.children.length) {
    const input = make("input", { id: `${id}-reason`, value: cell.reason, maxLength: 120, autocomplete: "off", oninput: () => { cell.reason = input.value; keep(); } });
    why.append(make("label", { htmlFor: input.id }, make("span", { className: "said-only" }, `${state.lines[index].label}, trial ${state.trials[trial]}: `), "reason for the change, time"), input);
  }
  say(index, trial, table());
}

function sayAll() {
  for (const [index, line] of state.lines.entries()) {
    if (!line.eventText) line.cells.forEach((_, trial) => showCell(index, trial));
  }
}

/** What the rules say of one reading; only what changed is said again. */
function say(index, trial, current) {
  const line = state.lines[index];
  const said = find(`#reading-${index}-${trial}-said`);
  const own = state.lines.filter((other) => !other.eventText).indexOf(line);
  const remarks = remarksOn(current, own, trial, line.cells[trial].typed, sheet.mark);
  const input = find(`#reading-${index}-${trial}`);
  input.setAttribute("aria-invalid", String(remarks.some(([kind]) => kind === "bad")));
  const text = JSON.stringify(remarks);
  if (said.dataset.now === text) return;
  said.dataset.now = text;
  said.replaceChildren(...remarks.map(([kind, words]) => make("p", { className: kind }, words)));
}

function further(index) {
  const line = state.lines[index];
  const number = line.number + 1;
  const label = line.label.replace(/\d+$/, String(number));
  state.lines.splice(index + 1, 0, { ...line, label, number, done: "", cells: state.trials.map(emptyCell) });
  keep();
  showReadings();
  find(`#reading-${index + 1}-0`).focus();
}

function anotherTrial() {
  const name = String.fromCharCode(65 + state.trials.length);
  state.trials.push(state.trials.includes(name) ? String(state.trials.length + 1) : name);
  for (const line of state.lines) line.cells?.push(emptyCell());
  find("#trial").hidden = state.trials.length >= 6;
  keep();
  showReadings();
  find(`#reading-${state.lines.findIndex((line) => !line.eventText)}-${state.trials.length - 1}`).focus();
}

// ------------------------------------------------------------------------------------------------
// The notebook
// ------------------------------------------------------------------------------------------------

/** A text as TOML writes it: JSON's escapes are TOML's too, once no control character is left. */
const quoted = (text) => JSON.stringify(text.replace(/[\u0000-\u001f\u007f]+/g, " ").trim());

/** The facts put into the `experiment` block, where the skeleton has room for them. */
function withFacts(text) {
  const { name = "", unknown = "", date = "", sample = "", balance = "" } = state.facts;
  let filled = text.replaceAll(JSON.stringify(sheet.marks.name), () => quoted(name)).replaceAll(sheet.marks.name, () => name);
  filled = unknown ? filled.replaceAll(JSON.stringify(sheet.marks.unknown), () => quoted(unknown)) : filled.replace(new RegExp(`^.*"${sheet.marks.unknown}".*\\n`, "m"), "");
  filled = filled.replaceAll(sheet.marks.unknown, () => unknown);
  if (date) filled = filled.replace(/^# *date\b.*$/m, () => `date     = ${date}`);
  if (sample) filled = filled.replace(/^(sample\s*=\s*)""/m, (_, key) => key + quoted(sample));
  if (sheet.balance && /^[A-Za-z0-9_-]+$/.test(balance)) filled = filled.replaceAll(sheet.balance, () => balance);
  return filled;
}

function notebookText() {
  const checked = sheet.checks.reduce((text, check, index) => (state.checks[index] ? text.replace(`- [ ] ${check}`, () => `- [x] ${check}`) : text), sheet.before + "\u0000" + sheet.after);
  const [before, after] = withFacts(checked).split("\u0000");
  return before + massesText(state.lines, state.trials, sheet.mark) + after;
}

/** What has to be mended before a notebook can be saved: a field and what is wrong with it. */
function problems() {
  const found = [];
  for (const [index, line] of state.lines.entries()) {
    for (const [trial, cell] of (line.cells ?? []).entries()) {
      const id = `reading-${index}-${trial}`;
      const where = `${line.label}, trial ${state.trials[trial]}`;
      if (cell.typed.trim() && !readNumber(cell.typed, sheet.mark)) found.push([id, `${where}: this is no reading`]);
      else if (cell.struck.length && !cell.reason.trim()) found.push([`${id}-reason`, `${where}: why was the reading changed?`]);
    }
  }
  if (state.facts.balance && !/^[A-Za-z0-9_-]+$/.test(state.facts.balance)) found.push(["fact-balance", "the name of the balance: letters, digits, - and _ only"]);
  return found;
}

function save() {
  const found = problems();
  const list = found.map(([id, text]) => make("li", {}, make("a", { href: `#${id}`, onclick: (event) => { event.preventDefault(); find(`#${id}`).focus(); } }, text)));
  find("#problems").replaceChildren(...(found.length ? [make("p", {}, "Not saved yet:"), make("ul", {}, list)] : []));
  if (found.length) { find(`#${found[0][0]}`).focus(); return; }
  const text = notebookText();
  find("#text").value = text;
  const address = URL.createObjectURL(new Blob([text], { type: "text/markdown" }));
  const link = make("a", { href: address, download: `${sheet.id || "notebook"}.md` });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(address), 60000);
  find("#saved").textContent = `Saved as ${sheet.id || "notebook"}.md in the folder of your downloads.`;
}

function anew() {
  if (!confirm("Throw away everything typed into this sheet?")) return;
  state = fresh();
  keep();
  showAll();
}

function showAll() {
  showFacts();
  showChecks();
  showReadings();
  find("#trial").hidden = state.trials.length >= 6;
}

find("#save").onclick = save;
find("#anew").onclick = anew;
find("#trial").onclick = anotherTrial;
find("#preview").ontoggle = (event) => { if (event.target.open) find("#text").value = notebookText(); };
showAll();
