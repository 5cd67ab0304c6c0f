//! Reports and bench sheets as pages in a real browser, and before outside checkers: axe-core for accessibility, html-validate
//! for the rules of HTML. `tests/all.sh` installs both from `tests/pages/package-lock.json`.

use crate::common::browser;

use crate::common::browser::Browser;
use reweigh::bench_page::offline;
use reweigh::files::{Folder, Memory};
use reweigh::finding::Severity;
use reweigh::report::html::html;
use reweigh::template;
use reweigh::template::skeleton::fill;
use serde_json::Value;
use std::path::{Path, PathBuf};
use std::process::Command;

/// Sizes of a telephone and of a wide screen, in CSS pixels.
const SIZES: [(u32, u32); 2] = [(375, 812), (1400, 900)];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The pages of some notebooks and the sheet of a template, in a folder.
fn pages(folder: &Path) -> Vec<PathBuf> {
    let notebooks = [
        "notebooks/magnesium-ribbon.md",
        "notebooks/from-templates/mixture.md",
        "tests/report_source/prose.md",
    ];
    let mut pages = Vec::new();
    for path in notebooks {
        let path = root().join(path);
        let bytes = std::fs::read(&path).expect("the notebook is there");
        let beside = Folder::new(path.parent().unwrap());
        let computed = reweigh::compute("notebook.md", &bytes, &beside);
        let page = html(&computed.notebook, &computed.results, &[], &beside, computed.template.as_deref());
        pages.push((path.file_stem().unwrap().to_owned(), page.text));
    }
    pages.push(("sheet".into(), sheet("hydrate")));
    let write = |(name, text): (std::ffi::OsString, String)| {
        let path = folder.join(name).with_extension("html");
        std::fs::write(&path, text).expect("the page is written");
        path
    };
    pages.into_iter().map(write).collect()
}

fn sheet(name: &str) -> String {
    let template = template::find(name, &Memory::default()).expect("it is shipped");
    let skeleton = fill(&template, &offline::student()).expect("the skeleton can be filled");
    offline::sheet(&template, &skeleton).expect("it has readings")
}

/// Keeps a picture of what is seen, where that is asked for.
fn picture(browser: &Browser, name: &str) {
    if let Some(folder) = std::env::var_os("REWEIGH_PICTURES") {
        browser.screenshot(&Path::new(&folder).join(format!("{name}.png")));
    }
}

fn checker(path: &str) -> PathBuf {
    let path = root().join("tests/pages/node_modules").join(path);
    assert!(
        path.exists(),
        "{} is missing: run `npm ci` in tests/pages, as tests/all.sh does",
        path.display()
    );
    path
}

#[test]
fn pages_break_no_rule_of_accessibility_and_fit_their_window() {
    let axe = std::fs::read_to_string(checker("axe-core/axe.min.js")).expect("axe-core is there");
    let folder = tempfile::tempdir().expect("a folder");
    let browser = Browser::start(SIZES[0].0, SIZES[0].1);
    let mut wrong = Vec::new();
    for page in pages(folder.path()) {
        for ((width, height), scheme) in SIZES.into_iter().zip(["light", "dark"]) {
            browser.size(width, height);
            let features =
                serde_json::json!({ "features": [{ "name": "prefers-color-scheme", "value": scheme }] });
            browser.devtools("Emulation.setEmulatedMedia", features);
            browser.go(&format!("file://{}", page.display()));
            browser.script(&axe);
            let found = browser.script_later(
                "axe.run(document).then(result => done({ passed: result.passes.length, violations: result.violations.map(one => \
                 `${one.id}: ${one.help}: ${one.nodes.map(node => node.html.slice(0, 120)).join(' | ')}`) }))",
            );
            assert!(found["passed"].as_u64() > Some(20), "few rules were tried: {found}");
            let violations = found["violations"].as_array().into_iter().flatten().filter_map(Value::as_str);
            wrong.extend(violations.map(|said| format!("{} at {width}, {scheme}: {said}", page.display())));
            if browser.overflow() > 0 {
                wrong.push(format!("{} is wider than {width}", page.display()));
            }
            wrong.extend(browser.console());
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn pages_keep_the_rules_of_html() {
    let program = checker("html-validate/bin/html-validate.mjs");
    let folder = tempfile::tempdir().expect("a folder");
    let pages = pages(folder.path());
    let output = Command::new("node")
        .arg(program)
        .arg("--config")
        .arg(root().join("tests/pages/.htmlvalidate.json"))
        .args(&pages)
        .output()
        .expect("node (the Debian package nodejs) can be started");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stdout));
}

#[test]
fn a_sheet_is_filled_by_keyboard_corrected_kept_and_saved_as_a_notebook() {
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("sheet.html");
    std::fs::write(&path, sheet("hydrate")).expect("the sheet is written");
    let address = format!("file://{}", path.display());
    let browser = Browser::start(SIZES[0].0, SIZES[0].1);
    browser.go(&address);
    let readings = [
        ["22.4111", "21.9755"],
        ["22.4106", "21.9753"],
        ["23.4493", "23.0777"],
        ["23.2987", "22.9184"],
        ["23.2968", "22.8535"],
    ];
    browser.find("#reading-0-0").click();
    for text in readings[0] {
        browser.focused().write(text);
        browser.press(browser::key::TAB);
    }
    for (line, row) in readings.iter().enumerate().skip(1) {
        for (trial, text) in row.iter().enumerate() {
            browser.find(&format!("#reading-{line}-{trial}")).write(text);
        }
    }
    browser.press(browser::key::TAB);
    browser.wait_for_text("#reading-1-0-said", "constant mass reached (heating 2)");
    browser.wait_for_text("#reading-4-1-said", "64.9 mg below heating 1: look at the display again");
    let corrected = browser.find("#reading-4-1");
    corrected.clear();
    corrected.write(&format!("22.9165{}", browser::key::TAB));
    browser.wait_for_text("#reading-4-1-struck", "22.8535");
    browser.find("#save").click();
    browser.wait_for_text("#problems", "why was the reading changed?");
    browser.find("#reading-4-1-reason").write("misread; 14:10");
    browser.script("[...document.querySelectorAll('button.more')].at(-1).click()");
    // What was done before it besides the heating begins a new stage, in which it has been weighed once.
    browser.script("document.querySelector('#event-5').closest('details').querySelector('summary').click()");
    browser.find("#event-5").write("ten drops  of water added");
    browser.find("#reading-5-0").write("23.2965");
    browser.find("#reading-5-1").write(&format!("22.9162{}", browser::key::TAB));
    browser.wait_for_text("#reading-5-1-said", "weighed once only since the last event");
    picture(&browser, "sheet-event-375");
    browser.script("[...document.querySelectorAll('button.more')].at(-1).click()");
    browser.find("#reading-6-0").write("23.2964");
    browser.find("#reading-6-1").write(&format!("22.9161{}", browser::key::TAB));
    browser.wait_for_text("#reading-6-1-said", "constant mass reached");
    browser.find("#fact-name").write("Bench \"4\"");
    let balance = browser.find("#fact-balance");
    balance.clear();
    balance.write("B-11");
    browser.go(&address);
    assert_eq!(browser.find("#reading-5-1").property("value"), "22.9162", "a closed tab loses nothing");
    assert_eq!(browser.find("#event-5").property("value"), "ten drops  of water added");
    browser.find("#save").click();
    browser.wait_for_text("#saved", "hydrate.md");
    let text = browser.find("#text").property("value");
    let computed = reweigh::compute("hydrate.md", text.as_bytes(), &Memory::default());
    let errors: Vec<_> =
        computed.results.findings.iter().filter(|finding| finding.severity == Severity::Error).collect();
    assert!(errors.is_empty(), "{errors:?}\n{text}");
    assert!(
        text.contains("~~22.8535~~ 22.9165 [misread; 14:10]") && text.contains("[\"Bench \\\"4\\\"\"]"),
        "{text}"
    );
    let event = "\nevent: ten drops of water added\ncrucible + residue, heating 3:";
    assert!(text.contains(event), "{text}");
    assert!(text.contains("[balance.B-11]") && text.contains("## Discussion"), "{text}");
    let reached = |series: &reweigh::evaluation::results::Series| {
        let held = |verdict| matches!(verdict, &reweigh::evaluation::results::ConstantMass::Reached { .. });
        series.verdicts.iter().all(held)
    };
    let mut repeated = computed.results.series.iter().filter(|series| !series.verdicts.is_empty());
    assert!(repeated.clone().count() >= 2 && repeated.all(reached));
}
