// The pages of the report, the values on them, and how a value comes about.

const shown = { pages: [], chosen: null, resting: new Set(), times: [] };

/** The base of the addresses of the notebook that is shown. */
let base = "n/0/";

function inView(element) {
  const place = element.getBoundingClientRect();
  return place.bottom > 0 && place.top < innerHeight;
}

/** The pages in view, by their places from 0: the next version is sent with what stands on them. */
const near = () => [...find("#pages").children].flatMap((page, index) => (inView(page) ? [index] : []));

/** Fetches what is new of the pages and puts it in: what is in view first, and all of that in one go. */
async function showPages(pages, version, layers) {
  const holder = find("#pages");
  while (holder.children.length > pages.length) holder.lastChild.remove();
  while (holder.children.length < pages.length) holder.append(make("div", { className: "page", role: "group" }));
  const changed = [];
  pages.forEach((page, index) => {
    const element = holder.children[index];
    element.style.aspectRatio = `${page.width} / ${page.height}`;
    element.setAttribute("aria-label", `page ${index + 1} of ${pages.length}`);
    if (element.dataset.hash !== page.hash) changed.push({ page, element });
  });
  find("#how").hidden = pages.length === 0;
  const seen = changed.filter(({ element }) => inView(element));
  const far = changed.filter((entry) => !seen.includes(entry));
  for (const group of [seen, far]) {
    const ready = await Promise.all(group.map(({ page }) => pageParts(page, layers)));
    if (version !== state.version) return;
    group.forEach(({ page, element }, index) => ready[index] && putPage(element, page, ready[index]));
    oneInTabOrder();
    if (group === far) break;
    painted(version);
    if (far.length) await new Promise((done) => setTimeout(done, 40));
    if (version !== state.version) return;
  }
}

/** Notes when a version was on the screen, for measurements. */
function painted(version) {
  requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = () => shown.times.push([version, performance.timeOrigin + performance.now()]);
    channel.port2.postMessage(0);
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

/** What stands on a page, as one drawing that grows with the page. */
function pageDrawing(page, layer) {
  const drawing = drawn("svg", { viewBox: `0 0 ${page.width} ${page.height}`, class: layer.items ? "drawn" : "words" });
  for (const item of layer.items ?? []) {
    const [[kind, given]] = Object.entries(item);
    if (given.before) drawing.append(given.before);
    drawing.append(drawnItem[kind](given));
  }
  for (const { left: x, line: y, width: textLength, size, text } of layer.words ?? []) {
    const word = drawn("text", { x, y, "font-size": size, textLength, lengthAdjust: "spacingAndGlyphs" });
    word.textContent = text;
    drawing.append(word, "\n");
  }
  return drawing;
}

function putPage(element, page, { picture, layer }) {
  const drawing = pageDrawing(page, layer);
  const values = layer.values.map((value) => {
    const [left, top, width, height] = value.place;
    const button = make("button", { type: "button", tabIndex: -1, onclick: () => choose(value.key), "aria-label": value.name, title: value.name });
    button.dataset.key = value.key;
    button.style.cssText = `left:${100 * left / page.width}%;top:${100 * top / page.height}%;width:${100 * width / page.width}%;height:${100 * height / page.height}%`;
    return button;
  });
  const focused = element.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  element.dataset.hash = page.hash;
  element.replaceChildren(...(picture ? [picture] : []), drawing, ...values);
  markChosen();
  if (focused) values.find((button) => button.dataset.key === focused)?.focus({ preventScroll: true });
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
  shown.resting = new Set(found.reading ? found.resting.map((value) => value.key) : []);
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

function showFindings(findings) {
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
  const list = findings.length ? make("ul", {}, findings.map(entry)) : make("p", { className: "hint" }, "Nothing is found amiss.");
  find("#findings").replaceChildren(make("h2", {}, "Findings"), list);
  const grave = findings.filter((finding) => finding.severity !== "note").length;
  find("#count").textContent = grave ? `(${grave})` : "";
}
