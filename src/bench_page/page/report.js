// The pages of the report, the values on them, and how a value comes about.

const shown = { pages: [], chosen: null, resting: new Set(), times: [], findings: null };

/** The base of the addresses of the notebook that is shown. */
let base = "n/0/";

function inView(element) {
  const place = element.getBoundingClientRect();
  return place.bottom > 0 && place.top < innerHeight;
}

/** The pages in view, by their places from 0: the next version is sent with what stands on them. */
const near = () => [...find("#pages").children].flatMap((page, index) => (inView(page) ? [index] : []));

/** Fetches what is new of the pages and puts it in: what is in view first, and all of that in one go; then whatever
 * stands beside them (`beside`), then the others. */
async function showPages({ pages, version, layers, took }, beside) {
  const holder = find("#pages");
  while (holder.children.length > pages.length) holder.lastChild.remove();
  while (holder.children.length < pages.length) holder.append(make("div", { className: "page", role: "group" }));
  const changed = [];
  pages.forEach((page, index) => {
    const element = holder.children[index];
    const shape = `${page.width} / ${page.height}`;
    const label = `page ${index + 1} of ${pages.length}`;
    if (element.shape !== shape) element.style.aspectRatio = element.shape = shape;
    if (element.getAttribute("aria-label") !== label) element.setAttribute("aria-label", label);
    if (element.dataset.hash !== page.hash) changed.push({ page, element });
  });
  if (find("#how").hidden !== (pages.length === 0)) find("#how").hidden = pages.length === 0;
  const seen = changed.filter(({ element }) => inView(element));
  const far = changed.filter((entry) => !seen.includes(entry));
  for (const group of [seen, far]) {
    const ready = await Promise.all(group.map(({ page }) => pageParts(page, layers)));
    if (version !== state.version) return;
    group.forEach(({ page, element }, index) => ready[index] && putPage(element, page, ready[index]));
    oneInTabOrder();
    if (group === far) break;
    await painted(version, took);
    if (version !== state.version) return;
    beside();
    if (far.length) await new Promise((done) => setTimeout(done, 20));
    if (version !== state.version) return;
  }
}

/** Waits until what was put in is on the screen (not in a tab that nobody sees, which is never painted), and notes when a
 * version was, for measurements. */
function painted(version, took) {
  return new Promise((done) => {
    setTimeout(done, 250);
    requestAnimationFrame(() => {
      const channel = new MessageChannel();
      channel.port1.onmessage = () => {
        shown.times.push([version, performance.timeOrigin + performance.now(), took]);
        done();
      };
      channel.port2.postMessage(0);
    });
  });
}

async function pageParts(page, layers) {
  try {
    const layer = layers?.[page.hash] ?? fetch(`${base}page/${page.hash}.json`).then((answer) => answer.json());
    if (!page.picture) {
      const found = await layer;
      await Promise.all([...new Set(found.items.map((item) => item.text?.font))].map(useFont));
      return { layer: found };
    }
    const picture = new Image();
    picture.alt = "";
    picture.src = `${base}page/${page.hash}.svg`;
    await Promise.all([picture.decode(), layer]);
    return { picture, layer: await layer };
  } catch { return null; }
}

/** The fonts of the report, by their numbers. */
const fonts = new Map();
function useFont(number) {
  if (number === undefined) return null;
  if (!fonts.has(number)) {
    const font = new FontFace(`report ${number}`, `url(font/${number})`);
    document.fonts.add(font);
    fonts.set(number, font.load().catch(() => null));
  }
  return fonts.get(number);
}

const SVG = "http://www.w3.org/2000/svg";
function drawn(name, given) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(given)) {
    if (value !== undefined && value !== "") element.setAttribute(key, value);
  }
  return element;
}

const matrix = (numbers) => numbers && `matrix(${numbers.join(" ")})`;

/** Something on a page. Letters whose outlines are drawn are there for whoever marks or hears them. */
const drawnItem = {
  text({ text, font, size, x, y, colour, gap, width, matrix: turned }) {
    const element = drawn("text", {
      x, y, "font-size": size, fill: colour || "transparent", transform: matrix(turned), "word-spacing": gap,
      textLength: width, lengthAdjust: width && "spacingAndGlyphs",
    });
    element.style.fontFamily = `"report ${font}"`;
    element.textContent = text;
    return element;
  },
  path({ d, matrix: at, fill, even_odd: evenOdd, stroke }) {
    const line = stroke && {
      stroke: stroke.colour, "stroke-width": stroke.width, "stroke-linecap": stroke.cap, "stroke-linejoin": stroke.join,
      "stroke-miterlimit": stroke.miter, "stroke-dasharray": stroke.dashes?.join(" "), "stroke-dashoffset": stroke.phase,
    };
    return drawn("path", { d, transform: matrix(at), fill: fill || "none", "fill-rule": evenOdd ? "evenodd" : undefined, ...line });
  },
  image({ name, size: [width, height], matrix: at }) {
    return drawn("image", { href: `${base}image/${name}`, width, height, transform: matrix(at), preserveAspectRatio: "none" });
  },
};

/** What an item looks like: the sign between it and what was said before, and itself. */
function nodesOf(item) {
  const [[kind, given]] = Object.entries(item);
  return [...(given.before ? [document.createTextNode(given.before)] : []), drawnItem[kind](given)];
}

/** What stands on a page, as one drawing that grows with the page. */
function pageDrawing(page, layer) {
  const drawing = drawn("svg", { viewBox: `0 0 ${page.width} ${page.height}`, class: layer.items ? "drawn" : "words" });
  for (const { left: x, line: y, width: textLength, size, text } of layer.words ?? []) {
    const word = drawn("text", { x, y, "font-size": size, textLength, lengthAdjust: "spacingAndGlyphs" });
    word.textContent = text;
    drawing.append(word, "\n");
  }
  return drawing;
}

/** Brings a drawing from the items it was made of to these: what stays the same stays where it is. */
function redraw(drawing, old, items) {
  const now = items.map((item) => ({ item, said: JSON.stringify(item), nodes: null }));
  const least = Math.min(old.length, now.length);
  let head = 0;
  while (head < least && old[head].said === now[head].said) head += 1;
  let tail = 0;
  while (tail < least - head && old[old.length - 1 - tail].said === now[now.length - 1 - tail].said) tail += 1;
  for (let at = 0; at < head; at += 1) now[at].nodes = old[at].nodes;
  for (let at = 1; at <= tail; at += 1) now[now.length - at].nodes = old[old.length - at].nodes;
  const [oldMiddle, middle] = [old.slice(head, old.length - tail), now.slice(head, now.length - tail)];
  if (oldMiddle.length === middle.length) {
    middle.forEach((entry, at) => {
      if (entry.said === oldMiddle[at].said) { entry.nodes = oldMiddle[at].nodes; return; }
      entry.nodes = nodesOf(entry.item);
      oldMiddle[at].nodes[0].before(...entry.nodes);
      oldMiddle[at].nodes.forEach((node) => node.remove());
    });
  } else {
    const behind = tail ? old[old.length - tail].nodes[0] : null;
    oldMiddle.forEach((entry) => entry.nodes.forEach((node) => node.remove()));
    middle.forEach((entry) => { entry.nodes = nodesOf(entry.item); });
    const fresh = document.createDocumentFragment();
    fresh.append(...middle.flatMap((entry) => entry.nodes));
    drawing.insertBefore(fresh, behind);
  }
  return now;
}

/** The buttons over the values of a page; those that are there are used again. */
function valueButtons(element, page, values) {
  const standing = [...element.querySelectorAll("button")];
  const buttons = values.map((value, index) => {
    const button = standing[index] ?? make("button", { type: "button", tabIndex: -1 });
    const [left, top, width, height] = value.place;
    const place = `left: ${100 * left / page.width}%; top: ${100 * top / page.height}%; width: ${100 * width / page.width}%; height: ${100 * height / page.height}%;`;
    const said = `${value.key}\0${value.name}\0${place}`;
    if (said === button.said) return button;
    button.said = said;
    button.onclick = () => choose(value.key);
    button.setAttribute("aria-label", value.name);
    button.title = value.name;
    button.dataset.key = value.key;
    button.style.cssText = place;
    return button;
  });
  standing.slice(values.length).forEach((button) => button.remove());
  element.append(...buttons.slice(standing.length));
  return buttons;
}

function putPage(element, page, { picture, layer }) {
  const focused = element.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  if (picture || !element.drawing?.items || !layer.items) {
    const drawing = pageDrawing(page, layer);
    element.drawing = { drawing, items: layer.items ? [] : null };
    element.replaceChildren(...(picture ? [picture] : []), drawing);
  }
  const { drawing, items } = element.drawing;
  const box = `0 0 ${page.width} ${page.height}`;
  if (drawing.getAttribute("viewBox") !== box) drawing.setAttribute("viewBox", box);
  if (layer.items) element.drawing.items = redraw(drawing, items, layer.items);
  const buttons = valueButtons(element, page, layer.values);
  element.dataset.hash = page.hash;
  markChosen();
  if (focused && document.activeElement?.dataset.key !== focused) {
    buttons.find((button) => button.dataset.key === focused)?.focus({ preventScroll: true });
  }
}

const allValues = () => [...document.querySelectorAll(".page button")];

/** One value of the report is reached with Tab, the others from there with the arrow keys. */
function oneInTabOrder() {
  const all = allValues();
  if (all.length && !all.some((button) => button.tabIndex === 0)) all[0].tabIndex = 0;
}

find("#pages").addEventListener("keydown", (event) => {
  const step = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 }[event.key];
  const all = allValues();
  const at = all.indexOf(document.activeElement);
  if (at < 0) return;
  const next = event.key === "Home" ? 0 : event.key === "End" ? all.length - 1 : step ? at + step : -1;
  if (!all[next]) return;
  event.preventDefault();
  all[at].tabIndex = -1;
  all[next].tabIndex = 0;
  all[next].focus();
});

function markChosen() {
  for (const button of allValues()) {
    button.classList.toggle("chosen", button.dataset.key === shown.chosen);
    button.classList.toggle("resting", shown.resting.has(button.dataset.key));
  }
}

/** Shows how a value comes about and what rests on it. */
async function choose(key, { focus = true } = {}) {
  shown.chosen = key;
  const answer = await fetch(`${base}value?key=${encodeURIComponent(key)}`);
  const found = await answer.json();
  if (shown.chosen !== key) return;
  shown.resting = new Set(found.reading ? [...found.resting.map((value) => value.key), ...found.figures] : []);
  showValue(found);
  markChosen();
  if (focus) find("#value").focus({ preventScroll: true });
}

function leaveValue() {
  const back = allValues().find((button) => button.dataset.key === shown.chosen);
  shown.chosen = null;
  shown.resting = new Set();
  find("#value").hidden = true;
  markChosen();
  back?.focus();
}

const valueButton = (value, text) =>
  make("button", { type: "button", onclick: () => choose(value.key) }, text ?? value.name);

function showValue(found) {
  const close = make("button", { type: "button", onclick: leaveValue }, "Close");
  const panel = find("#value");
  panel.hidden = false;
  if (!found.name) {
    panel.replaceChildren(make("div", { className: "top" }, make("h2", { id: "value-name" }, "This value is no longer there"), close));
    return;
  }
  const [own, ...others] = found.steps;
  const worked = others.filter((step) => step.formula);
  const written = others.filter((step) => !step.formula);
  const line = (step) => (step.line ? `line ${step.line}` : "");
  const part = (title, list) => (list ? [make("h3", {}, title), list] : []);
  const steps = worked.map((step) => make("li", {}, valueButton(step), mathLine(step)));
  const leaves = written.map((step) => make("li", {}, valueButton(step), ` ${step.value} `, make("span", { className: "of" }, line(step))));
  const resting = found.resting.map((value) => make("li", {}, valueButton(value), ` ${value.value}`));
  const list = (items, kind) => (items.length ? make(kind, {}, items) : null);
  panel.replaceChildren(
    make("div", { className: "top" }, make("h2", { id: "value-name" }, `${found.name}: ${found.value}`), close),
    own?.formula ? mathLine(own) : make("p", { className: "of" }, own ? ["as written", line(own)].filter(Boolean).join(", ") : ""),
    ...part("where", list(steps, "ol")),
    ...part("from what was written down", list(leaves, "ul")),
    ...part(found.reading ? "what rests on it" : "what follows from it", list(resting, "ul")),
  );
}

/** Beside the readings only the gravest findings are shown until all are asked for. */
let allFindings = false;

function showFindings(findings) {
  const said = JSON.stringify(findings);
  if (shown.findings === said) return;
  shown.findings = said;
  const excerpt = (finding) => {
    if (!finding.excerpt) return null;
    const [text, at, length] = finding.excerpt;
    const letters = [...text];
    return make("pre", {}, letters.slice(0, at).join(""), make("mark", {}, letters.slice(at, at + length).join("")), letters.slice(at + length).join(""));
  };
  const entry = (finding) => make("li", { className: `finding ${finding.severity}` },
    make("p", {}, make("b", {}, finding.severity), finding.place ? `, ${finding.place}: ` : ": ", finding.message),
    excerpt(finding),
    ...finding.hints.map((hint) => make("p", { className: "of" }, hint)));
  const list = findings.length ? make("ul", { className: allFindings ? "all" : "" }, findings.map(entry)) : make("p", { className: "hint" }, "Nothing is found amiss.");
  const turn = () => { allFindings = !allFindings; shown.findings = null; showFindings(findings); find("#turn").focus(); };
  const more = findings.length > 4 ? make("button", { type: "button", id: "turn", className: "more", onclick: turn, "aria-expanded": String(allFindings) },
    allFindings ? "Show the first four only" : `Show all ${findings.length}`) : null;
  find("#findings").replaceChildren(make("h2", {}, "Findings"), list, more ?? "");
  const grave = findings.filter((finding) => finding.severity !== "note").length;
  find("#count").textContent = grave ? `(${grave})` : "";
}
