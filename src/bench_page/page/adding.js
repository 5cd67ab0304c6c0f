// What the notebook does not have yet: another weighing of a load, another load, another trial. Each goes in with its first reading.

/** The fields of a line that is being added, one for each trial; `asked` says what is sent for a reading in a column. */
function newLine(block, id, { spoken, asked, done }) {
  return make("div", { className: "cells" }, block.trials.map((trial, column) => {
    const own = `${id}|${column}`;
    const entry = open.get(own) ?? { reading: "", said: null };
    // The line is there with one reading; what is typed for the other trials goes on in its cells.
    entry.next = (line) => {
      for (let other = 0; other < block.trials.length; other += 1) {
        const typed = open.get(`${id}|${other}`);
        open.delete(`${id}|${other}`);
        if (line && typed?.reading) open.set(cellId(line, other), { reading: typed.reading, reason: "", time: "", said: null });
      }
      done();
    };
    return make("div", { className: "cell" }, ...field(own, entry, {
      label: `trial ${trial}, ${block.unit}`, spoken: `${spoken()}, trial ${trial}, ${block.unit}`, why: false, now: "",
      asked: () => ({ column, trial, reading: entry.reading, ...asked() }),
    }));
  }));
}

/** Takes away what was typed for a line that is not added after all. */
function leaveLine(block, id, focus) {
  open.delete(id);
  block.trials.forEach((_, column) => open.delete(`${id}|${column}`));
  showReadings(state.form);
  document.getElementById(focus)?.focus();
}

/** What is typed again for every field of a line when its label changes. */
function askAgain(block, id) {
  block.trials.forEach((_, column) => {
    const input = document.getElementById(`field ${id}|${column}`);
    if (input?.value) input.dispatchEvent(new Event("input"));
  });
}

const times = (count) => (count === 1 ? "one weighing" : `${count} weighings`);

/** One more weighing of a load: a button, then a field for each trial. */
function further(block, line) {
  const id = `further ${line.label}|${line.nth}`;
  const chosen = open.get(id);
  const word = line.treatment || "weighing";
  const wanted = line.asked ? make("p", { className: "asked" }, `The template asks for ${times(line.asked)} of this load.`) : null;
  if (!chosen) {
    const button = make("button", { type: "button", className: "more", id, "aria-label": `another ${word} of ${line.label}`,
      onclick: () => { open.set(id, { treatment: line.treatment }); showReadings(state.form); document.getElementById(`field ${id}|0`)?.focus(); } }, `+ another ${word}`);
    return wanted ? make("div", {}, wanted, button) : button;
  }
  const cells = newLine(block, id, {
    spoken: () => `another ${word} of ${line.label}`,
    asked: () => ({ kind: "further", label: line.label, nth: line.nth, treatment: chosen.treatment }),
    done: () => open.delete(id),
  });
  const what = line.treatment ? null : make("label", {}, "after which treatment (empty: weighed again) ",
    make("input", { className: "why", id: `treatment ${id}`, value: chosen.treatment, maxLength: 60, autocomplete: "off",
      oninput: (event) => { chosen.treatment = event.target.value; askAgain(block, id); } }));
  return make("div", { className: "more cell" }, make("h3", {}, `another ${word}`), wanted, what, cells,
    make("button", { type: "button", onclick: () => leaveLine(block, id, id) }, "Leave it"));
}

/** The loads that the template asks for and the notebook lacks, behind the line they belong behind. */
function askedLoads(block, line) {
  const here = block.asked.filter((load) => (line ? load.behind === line.label && load.nth === line.nth : load.behind === ""));
  return here.map((load) => loadFields(block, `load ${load.label}`, load, `The template asks for this load, with ${times(load.weighings)}.`));
}

/** Any other load, behind the last line. */
function anotherLoad(block) {
  const id = `load of ${block.number}`;
  const last = block.lines[block.lines.length - 1];
  const place = { label: "", behind: last?.label ?? "", nth: last?.nth ?? block.number };
  if (open.has(id)) return loadFields(block, id, place, "");
  return make("button", { type: "button", className: "more", id,
    onclick: () => { open.set(id, { label: "" }); showReadings(state.form); document.getElementById(`label ${id}`)?.focus(); } }, "+ another load");
}

function loadFields(block, id, { label, behind, nth }, asked) {
  const chosen = open.get(id) ?? { label };
  const rename = (event) => { chosen.label = event.target.value; open.set(id, chosen); askAgain(block, id); };
  const named = make("label", {}, asked ? "its line in the notebook" : "what is on the pan, as in “crucible + sample, heating 1”",
    make("input", { className: "why", id: `label ${id}`, value: chosen.label, maxLength: 200, autocomplete: "off", spellcheck: false, oninput: rename }));
  const cells = newLine(block, id, {
    spoken: () => (asked ? label : "another load"),
    asked: () => ({ kind: "load", label: behind, nth, load: chosen.label }),
    done: () => open.delete(id),
  });
  const leave = asked ? null : make("button", { type: "button", className: "more", onclick: () => leaveLine(block, id, id) }, "Leave it");
  return make("fieldset", { className: "load new" }, make("legend", {}, asked ? label : "another load"),
    asked ? make("p", { className: "asked" }, asked) : null, make("div", { className: "cell" }, named), cells, leave);
}

/** One more trial: a name, or where columns are numbered just the next one. */
function anotherTrial(block) {
  const first = block.lines[0];
  const id = `trial of ${block.number}`;
  const entry = open.get(id);
  const wanted = block.asked_trials ? make("p", { className: "asked" }, `The template asks for ${block.asked_trials} trials.`) : null;
  const said = make("p", { className: "said", role: "status" });
  const asked = () => ({ kind: "trial", label: first?.label ?? "", nth: first?.nth ?? block.number, name: entry?.name.trim() ?? "" });
  const refused = (message) => { said.replaceChildren(make("span", { className: "bad" }, message)); };
  const add = async () => {
    const { ok, said: answer } = await send(`${base}write`, asked()).catch(() => ({ ok: false, said: { message: "the program does not answer; nothing was written" } }));
    if (ok) open.delete(id); else refused(answer.message);
  };
  if (!entry) {
    const begin = () => { open.set(id, { name: "" }); showReadings(state.form); document.getElementById(`${id} name`)?.focus(); };
    return make("div", {}, wanted, make("button", { type: "button", className: "more", id, onclick: block.named ? begin : add }, "+ another trial"), said);
  }
  const check = async () => {
    const name = entry.name;
    if (!name.trim()) { said.replaceChildren(); return; }
    const { ok, said: answer } = await send(`${base}check`, asked()).catch(() => ({ ok: false }));
    if (name !== entry.name) return;
    if (ok && answer.refused) refused(answer.refused); else said.replaceChildren();
  };
  const input = make("input", { id: `${id} name`, value: entry.name, maxLength: 40, autocomplete: "off", "aria-label": "name of the new trial",
    oninput: () => { entry.name = input.value; check(); }, onkeydown: (event) => { if (event.key === "Enter") add(); } });
  return make("div", { className: "more cell" }, wanted, make("label", { htmlFor: `${id} name` }, "name of the new trial"), input, said,
    make("div", { className: "do" }, make("button", { type: "button", className: "write", onclick: add }, "Add it"),
      make("button", { type: "button", onclick: () => { open.delete(id); showReadings(state.form); document.getElementById(id)?.focus(); } }, "Leave it")));
}
