// The page as a whole: it asks for the next version and shows it.

/** The version that is shown. */
let state = { version: 0, form: { blocks: [], cautions: [] } };

async function show(next) {
  // The pages in view come before the rest of a version.
  const { complete } = next;
  state = complete ? next : { ...state, version: next.version };
  await showPages(next, () => {
    if (!complete) return;
    document.title = `${next.title} – bench page`;
    find("#title").textContent = next.title;
    find("#notice").textContent = next.notice;
    find("#notice").hidden = !next.notice;
    showFindings(next.findings);
    showReadings(next.form);
    document.documentElement.style.setProperty("--head", `${find("header").offsetHeight}px`);
    if (shown.chosen) choose(shown.chosen, { focus: false });
  });
}

function sayLine(text, broken) {
  find("#line").textContent = text;
  find("#line").classList.toggle("broken", Boolean(broken));
}

/** The pages that were in view when the waiting question was put, and what takes it back. */
const asked = { near: "", question: new AbortController() };

/** Asks anew once other pages are in view: those are the ones that the program sets first. */
function lookAgain() {
  clearTimeout(asked.timer);
  asked.timer = setTimeout(() => near().join(",") !== asked.near && asked.question.abort(), 150);
}
addEventListener("scroll", lookAgain, { capture: true, passive: true });
addEventListener("resize", lookAgain);

/** Asks for one version after the other; each question waits until there is one. */
async function follow(number) {
  base = `n/${number}/`;
  const own = base;
  let pause = 250;
  let version = 0;
  while (own === base) {
    asked.near = near().join(",");
    asked.question = new AbortController();
    try {
      const answer = await fetch(`${own}state?since=${version}&near=${asked.near}`, { signal: asked.question.signal });
      if (own !== base) return;
      if (answer.status === 204) { sayLine("follows the file"); continue; }
      if (!answer.ok) { sayLine(await answer.text(), true); return; }
      const next = await answer.json();
      version = next.version;
      sayLine("follows the file");
      pause = 250;
      show(next).then(lookAgain).catch((problem) => console.error(problem));
    } catch {
      if (asked.question.signal.aborted) continue;
      sayLine("The program does not answer. What is shown may be old.", true);
      version = 0;
      await new Promise((done) => setTimeout(done, pause));
      pause = Math.min(2 * pause, 5000);
    }
  }
}

for (const button of document.querySelectorAll("nav button")) {
  button.onclick = () => {
    find("main").dataset.part = button.dataset.part;
    document.querySelectorAll("nav button").forEach((other) => other.setAttribute("aria-pressed", String(other === button)));
    find(`#${button.dataset.part}`).focus({ preventScroll: true });
  };
}

document.addEventListener("keydown", (event) => {
  if (event.key === "Escape" && !find("#value").hidden && event.target.tagName !== "INPUT") leaveValue();
});

(async () => {
  const names = await (await fetch("list")).json();
  const select = find("#which select");
  select.append(...names.map((name, index) => make("option", { value: String(index) }, name)));
  find("#which").hidden = names.length < 2;
  select.onchange = () => { open.clear(); shown.chosen = null; find("#value").hidden = true; follow(Number(select.value)); };
  follow(0);
})();
