// The pages of the report, the values on them, and how a value comes about.

const shown = { pages: [], chosen: null, resting: new Set(), times: [] };

/** The base of the addresses of the notebook that is shown. */
let base = "n/0/";

function inView(element) {
  const place = element.getBoundingClientRect();
  return place.bottom > 0 && place.top < innerHeight;
}

/** Fetches what is new of the pages and puts it in: what is in view first, and all of that in one go. */
async function showPages(pages, version) {
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
  const near = changed.filter(({ element }) => inView(element));
  const far = changed.filter((entry) => !near.includes(entry));
  for (const group of [near, far]) {
    const ready = await Promise.all(group.map(({ page }) => pageParts(page)));
    if (version !== state.version) return;
    group.forEach(({ page, element }, index) => ready[index] && putPage(element, page, ready[index]));
    if (group === near) painted(version);
  }
  oneInTabOrder();
}

/** Notes when a version was on the screen, for measurements. */
function painted(version) {
  requestAnimationFrame(() => {
    const channel = new MessageChannel();
    channel.port1.onmessage = () => shown.times.push([version, performance.timeOrigin + performance.now()]);
    channel.port2.postMessage(0);
  });
}

async function pageParts(page) {
  try {
    const picture = new Image();
    picture.alt = "";
    picture.src = `${base}page/${page.hash}.svg`;
    const layer = fetch(`${base}page/${page.hash}.json`).then((answer) => answer.json());
    await Promise.all([picture.decode(), layer]);
    return { picture, layer: await layer };
  } catch { return null; }
}

const SVG = "http://www.w3.org/2000/svg";
function putPage(element, page, { picture, layer }) {
  const words = document.createElementNS(SVG, "svg");
  words.setAttribute("viewBox", `0 0 ${page.width} ${page.height}`);
  for (const [left, line, width, size, text] of layer.words) {
    const word = document.createElementNS(SVG, "text");
    const given = { x: left, y: line, "font-size": size, textLength: width, lengthAdjust: "spacingAndGlyphs" };
    for (const [key, value] of Object.entries(given)) word.setAttribute(key, value);
    word.textContent = text;
    words.append(word, "\n");
  }
  const values = layer.values.map((value) => {
    const [left, top, width, height] = value.place;
    const button = make("button", { type: "button", tabIndex: -1, onclick: () => choose(value.key), "aria-label": value.name, title: value.name });
    button.dataset.key = value.key;
    button.style.cssText = `left:${100 * left / page.width}%;top:${100 * top / page.height}%;width:${100 * width / page.width}%;height:${100 * height / page.height}%`;
    return button;
  });
  const focused = element.contains(document.activeElement) ? document.activeElement.dataset.key : null;
  element.dataset.hash = page.hash;
  element.replaceChildren(picture, words, ...values);
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
