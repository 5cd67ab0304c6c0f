//! The review page and the page of remarks in a real browser, opened from a file: by keyboard, narrow and wide, light
//! and dark, on paper.

use crate::common::browser::{Browser, key};
use serde_json::json;
use std::path::Path;
use std::process::Command;

/// A hydrate with values that agree, one that differs (the mean of B's heatings is not meant: 14.67 for 14.76 %) and one of
/// nothing, in a notebook with a long title.
const CLAIMS: &str = "```claimed\ntrial: A B\nm(sample): 1.1032 g 1.0412 g\nm(water): 0.1626 g 0.1537 g\n\
    w(water): 14.74 % 14.67 %\nmean w(sand): 1 %\n```\n";

/// A folder with `review.html` and `out/a-remarks.html` of a notebook made of the template's sample data.
fn pages() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    let sample = Path::new(env!("CARGO_MANIFEST_DIR")).join("report-templates/hydrate/marking/sample.md");
    let text = std::fs::read_to_string(sample).expect("the sample data");
    std::fs::write(folder.path().join("a.md"), text + CLAIMS).expect("written");
    let output = Command::new(env!("CARGO_BIN_EXE_reweigh"))
        .args(["review", "a.md", "--format", "html", "--remarks", "out", "--remarks-as", "html"])
        .current_dir(folder.path())
        .output()
        .expect("the command starts");
    std::fs::write(folder.path().join("review.html"), output.stdout).expect("written");
    folder
}

fn open(folder: &tempfile::TempDir, page: &str, width: u32) -> Browser {
    let browser = Browser::start(width, 900);
    browser.go(&format!("file://{}", folder.path().join(page).display()));
    browser
}

#[test]
fn claimed_and_recomputed_stand_side_by_side_and_a_derivation_opens_by_keyboard() {
    let folder = pages();
    let browser = open(&folder, "review.html", 1400);
    let row = browser.find("tbody.differs tr").text();
    for part in ["w(water)[B]", "14.67 %", "14.76 %", "≠", "differs"] {
        assert!(row.contains(part), "{row}");
    }
    // The first stop of the keyboard is the switch, then the links to what differs, then the derivations.
    browser.press(key::TAB);
    assert_eq!(browser.focused().attribute("id"), "only");
    let shown = "return [...document.querySelectorAll('tbody')].filter(part => part.offsetHeight > 0).length";
    assert_eq!(browser.script(shown), json!(7));
    browser.press(key::SPACE);
    assert_eq!(browser.script(shown), json!(2), "what differs, and what cannot be checked");
    browser.press(key::TAB);
    assert_eq!(browser.focused().text(), "w(water)[B]");
    browser.press(key::ENTER);
    browser.wait_for("location.hash.startsWith('#claim-')");
    browser.press(key::TAB);
    assert_eq!(browser.focused().text(), "How w(water)[B] is recomputed");
    browser.press(key::ENTER);
    // By hand: 20.7038 − 19.6626 = 1.0412, 20.5501 − 19.6626 = 0.8875, 0.1537/1.0412 = 14.76 %.
    for part in ["w(water) = m(water) / m(sample)", "20.7038 g − 19.6626 g", "crucible + residue, heating 3"]
    {
        browser.wait_for_text("details[open]", part);
    }
    assert!(browser.console().is_empty());
}

#[test]
fn pages_fit_a_telephone_and_a_wide_screen() {
    let folder = pages();
    for page in ["review.html", "out/a-remarks.html"] {
        let browser = open(&folder, page, 1400);
        browser.script("document.querySelectorAll('details').forEach(part => part.open = true)");
        for width in [1400, 375] {
            browser.size(width, 900);
            assert_eq!(browser.overflow(), 0, "{page} at {width}");
        }
        assert!(browser.console().is_empty(), "{page}");
    }
}

/// Contrast by WCAG 2.2, 1.4.3: (L1 + 0.05) / (L2 + 0.05) of the relative luminances, at least 4.5.
const CONTRAST: &str = "
    const light = text => {
        const [r, g, b] = text.match(/[0-9.]+/g).slice(0, 3)
            .map(part => part / 255).map(c => c <= 0.04045 ? c / 12.92 : ((c + 0.055) / 1.055) ** 2.4);
        return 0.2126 * r + 0.7152 * g + 0.0722 * b;
    };
    const behind = getComputedStyle(document.body).backgroundColor;
    return [...document.querySelectorAll('h1, p, th, td, summary, .mark, .claimed, li, caption')].map(part => {
        const [a, b] = [light(getComputedStyle(part).color), light(behind)].sort((a, b) => b - a);
        return (a + 0.05) / (b + 0.05);
    }).reduce((least, ratio) => Math.min(least, ratio), 99);";

#[test]
fn the_review_page_can_be_read_in_light_and_dark_and_is_short_on_paper() {
    let folder = pages();
    let browser = open(&folder, "review.html", 1400);
    for scheme in ["light", "dark"] {
        let features = json!([{ "name": "prefers-color-scheme", "value": scheme }]);
        browser.devtools("Emulation.setEmulatedMedia", json!({ "features": features }));
        let least = browser.script(CONTRAST).as_f64().expect("a ratio");
        assert!(least >= 4.5, "{scheme}: {least}");
    }
    let seen =
        "return [...document.querySelectorAll('details')].filter(part => part.offsetHeight > 0).length";
    assert_ne!(browser.script(seen), json!(0));
    browser.devtools("Emulation.setEmulatedMedia", json!({ "media": "print" }));
    assert_eq!(browser.script(seen), json!(0), "on paper only what was opened");
}

#[test]
fn a_screen_reader_is_told_rows_columns_and_headings() {
    let folder = pages();
    let browser = open(&folder, "review.html", 1400);
    let columns: Vec<String> = browser.all("thead th").iter().map(|head| head.role()).collect();
    assert_eq!(columns, ["columnheader"; 4]);
    assert_eq!(browser.find("tbody th").role(), "rowheader");
    assert_eq!(browser.find("#only").name(), "Hide the values that agree");
    let levels =
        browser.script("return [...document.querySelectorAll('h1, h2, h3')].map(part => +part.tagName[1])");
    let levels: Vec<i64> =
        levels.as_array().into_iter().flatten().filter_map(|level| level.as_i64()).collect();
    assert_eq!(levels.first(), Some(&1));
    assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1), "{levels:?}");
    assert_eq!(browser.script("return document.documentElement.lang"), json!("en"));
}
