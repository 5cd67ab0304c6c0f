// Fields for readings. What is typed is checked by the program while it is typed; nothing is put right by itself.

/** Entries that are open: what is typed stays there while the notebook changes. */
const open = new Map();

const cellId = (line, column) => `${line.label}|${line.nth}|${column}`;

function showReadings(form) {
  const holder = find("#readings");
  const focused = document.activeElement?.id;
  const place = document.activeElement?.selectionStart;
  const parts = form.blocks.map((block) => [
    ...block.lines.flatMap((line) => [showLine(block, line), ...askedLoads(block, line)]),
    ...askedLoads(block, null),
    anotherLoad(block),
    block.grows ? anotherTrial(block) : null,
  ]);
  if (!form.blocks.length) {
    parts.push(make("p", { className: "hint" }, "The notebook has no block of readings yet. Write a fenced block ",
      make("code", {}, "masses"), " into it, with a line such as ", make("code", {}, "trial: A  B"), "; its readings can then go in here."));
  }
  holder.replaceChildren(make("h2", {}, "Readings"), cautions(form) ?? "", ...parts.flat().filter(Boolean));
  // Only now do the fields stand in their cells.
  for (const entry of open.values()) entry.show?.();
  if (focused && document.activeElement?.id !== focused) {
    const again = document.getElementById(focused);
    again?.focus({ preventScroll: true });
    if (again?.setSelectionRange && place !== null && place !== undefined) again.setSelectionRange(place, place);
  }
}

let cautionsOpen = true;
function cautions(form) {
  if (!form.cautions.length) return null;
  const entry = ([word, text]) => make("li", {}, word ? make("b", {}, `${word}. `) : "", text);
  const details = make("details", { id: "cautions", open: cautionsOpen, ontoggle: () => { cautionsOpen = details.open; } },
    make("summary", {}, "Cautions"), make("ul", {}, form.cautions.map(entry)), make("p", { className: "of" }, form.closing));
  return details;
}

function showLine(block, line) {
  const cells = line.cells.map((cell, column) => showCell(block, line, cell, column));
  const group = make("fieldset", { className: line.struck ? "load struck" : "load" },
    make("legend", {}, line.label), make("div", { className: "cells" }, cells));
  if (line.rule) group.append(make("p", { className: "remark" }, `Constant mass: ${line.rule}.`));
  if (line.last) group.append(further(block, line));
  return group;
}

function showCell(block, line, cell, column) {
  const id = cellId(line, column);
  const trial = block.trials[column] ?? String(column + 1);
  const head = `trial ${trial}, ${block.unit}`;
  const verdict = cell.verdict ? make("p", { className: cell.reached ? "verdict reached" : "verdict" }, cell.verdict) : null;
  const remark = cell.remark ? make("p", { className: "remark" }, cell.remark) : null;
  if (cell.closed || (cell.reading && !open.has(id))) return heldCell(line, cell, column, head, [remark, verdict]);
  const entry = open.get(id) ?? { was: cell.text, reading: "", reason: "", time: "", said: null };
  // Typed for a line that was only being added: what stands there is seen here for the first time.
  entry.was ??= cell.text;
  const held = cell.reading ? make("p", { className: "held" }, "now ", make("span", {}, cell.reading)) : null;
  const element = make("div", { className: cell.reading ? "cell open" : "cell" }, held, ...field(id, entry, {
    label: cell.reading ? `new reading, ${head}` : head,
    spoken: `${line.label}, ${head}`,
    why: Boolean(cell.reading),
    asked: () => ({ kind: "reading", label: line.label, nth: line.nth, column, trial, was: entry.was, reading: entry.reading, reason: entry.reason, time: entry.time }),
    now: cell.text,
  }), verdict);
  return element;
}

function heldCell(line, cell, column, head, below) {
  const struck = cell.struck.map((text) => make("s", {}, text));
  const id = cellId(line, column);
  const reading = cell.key
    ? make("button", { type: "button", onclick: () => choose(cell.key), "aria-label": `${line.label}, ${head}: ${cell.reading}; what rests on it` }, cell.reading)
    : make("span", {}, cell.reading || cell.text || "–");
  const change = cell.closed ? make("span", { className: "of" }, cell.closed === "struck" ? "" : cell.closed)
    : make("button", { type: "button", className: "change", id: `change ${id}`, "aria-label": `correct ${line.label}, ${head}`,
      onclick: () => { open.set(id, { was: cell.text, reading: "", reason: "", time: "", said: null }); showReadings(state.form); document.getElementById(`field ${id}`)?.focus(); } }, "correct");
  return make("div", { className: "cell" }, make("span", { className: "trial" }, head),
    make("div", { className: "held" }, struck, reading, change), ...below.filter(Boolean));
}

/** A field with what is said of what is typed into it, and the button that writes it down. */
function field(id, entry, { label, spoken, why, asked, now, rest = [] }) {
  const said = make("div", { className: "said", role: "status", "aria-live": "polite" });
  const begun = () => { if (!open.has(id)) { entry.was = now; open.set(id, entry); } };
  const input = make("input", { id: `field ${id}`, value: entry.reading, inputMode: "decimal", autocomplete: "off", spellcheck: false, "aria-label": spoken,
    oninput: () => { begun(); entry.reading = input.value; touched(); },
    onkeydown: (event) => { if (event.key === "Enter") write(); else if (event.key === "Escape") leave(); } });
  const buttons = make("div", { className: "do" },
    make("button", { type: "button", className: "write", onclick: () => write() }, "Write down"),
    make("button", { type: "button", onclick: () => leave() }, "Leave it"));
  const extra = why ? make("div", { className: "row" },
    make("label", {}, "reason", make("input", { className: "why", id: `why ${id}`, value: entry.reason, maxLength: 200, autocomplete: "off",
      oninput: (event) => { begun(); entry.reason = event.target.value; touched(); }, onkeydown: (event) => { if (event.key === "Enter") write(); } })),
    make("label", {}, "time", make("input", { className: "why", id: `time ${id}`, value: entry.time, maxLength: 40, placeholder: "14:32", autocomplete: "off",
      oninput: (event) => { begun(); entry.time = event.target.value; touched(); } }))) : null;
  const show = () => {
    const idle = !open.has(id) || (entry.reading === "" && !why);
    buttons.hidden = idle;
    // What is said needs the width of the whole line.
    input.closest(".cell")?.classList.toggle("open", !idle);
    sayChecked(said, input, idle ? null : entry.said, leave);
  };
  const touched = () => { entry.said = null; show(); ask(entry, asked); };
  const leave = () => { open.delete(id); showReadings(state.form); document.getElementById(`field ${id}`)?.focus() ?? document.getElementById(`change ${id}`)?.focus(); };
  const write = async () => {
    if (entry.writing || entry.reading.trim() === "") return;
    entry.writing = true;
    const { ok, said: answer } = await send(`${base}write`, asked()).catch(() => ({ ok: false, said: { message: "the program does not answer; nothing was written" } }));
    entry.writing = false;
    if (ok) { open.delete(id); entry.next?.(answer.line); }
    else { entry.said = { refused: answer.message, conflict: answer.conflict, findings: [], net_masses: [] }; show(); }
  };
  // The fields are made anew with each version; what is said belongs into the newest ones. The notebook may have changed
  // since the last look, so it is asked again.
  entry.show = show;
  if (open.has(id) && entry.reading !== "") ask(entry, asked);
  show();
  return [make("label", { htmlFor: `field ${id}` }, label), input, ...rest, extra, said, buttons].filter(Boolean);
}

/** Asks what is to be said of an entry; of several questions only the newest counts. */
async function ask(entry, asked) {
  if (entry.asking) { entry.again = true; return; }
  entry.asking = true;
  do {
    entry.again = false;
    if (entry.reading.trim() === "") { entry.said = null; break; }
    const { ok, said } = await send(`${base}check`, asked()).catch(() => ({ ok: false, said: { message: "the program does not answer" } }));
    if (!entry.again) entry.said = ok ? said : { refused: said.message, findings: [], net_masses: [] };
  } while (entry.again);
  entry.asking = false;
  entry.show();
}

function sayChecked(said, input, checked, give) {
  const line = (className, text) => make("p", { className }, text);
  said.replaceChildren();
  input.classList.toggle("unfit", Boolean(checked?.refused));
  if (!checked) return;
  if (checked.refused) said.append(line("bad", checked.refused));
  if (checked.conflict) said.append(make("button", { type: "button", onclick: give }, "Show what stands there now"));
  if (checked.change) said.append(line(checked.look_again ? "look" : "", checked.change));
  for (const [severity, message] of checked.findings) said.append(line(severity === "error" ? "bad" : "look", message));
  if (checked.verdict) said.append(line(checked.reached ? "good" : "", checked.verdict));
  for (const [symbol, value] of checked.net_masses) said.append(line("", `${symbol} = ${value}`));
}
