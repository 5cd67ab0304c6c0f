//! The bench page in a real browser: typing into its fields, saving from outside, a finding and its mending, how a value
//! comes about, two widths, the keyboard alone. With `REWEIGH_PICTURES=FOLDER` pictures of it are written there.

use crate::common::bench::Served;
use crate::common::browser::{Browser, key};

const NOTEBOOK: &str = "\
# Water in a salt

```experiment
title    = \"Water in a salt\"
authors  = [\"Bench 7\"]
date     = 2026-03-04
template = \"hydrate\"

[balance.B-1]
readability = \"0.1 mg\"
```

## Purpose

How much water do the crystals hold?

```masses
unit:     g
balance:  B-1
trial:                            A           B
crucible, heating 1:              20.0004     30.0003
crucible, heating 2:              20.0000     30.0000
crucible + sample:                21.0000     32.0000
crucible + residue, heating 1:    20.6500     31.3000
crucible + residue, heating 2:    20.6400     –
```

```working
m(water) = m(sample) - m(residue)
w(water) = m(water) / m(sample)  in %
```

The crystals held {mean w(water)} of water.
";

fn served() -> Served {
    Served::start(&[("salt.md", NOTEBOOK)])
}

fn opened(served: &Served, width: u32) -> Browser {
    let browser = Browser::start(width, 900);
    browser.go(&served.address);
    browser.wait_for("document.querySelector('.page svg')");
    browser
}

/// Keeps a picture of what is seen, where that is asked for.
fn picture(browser: &Browser, name: &str) {
    if let Some(folder) = std::env::var_os("REWEIGH_PICTURES") {
        browser.screenshot(&std::path::Path::new(&folder).join(format!("{name}.png")));
    }
}

/// The script that finds the button of a value by what a screen reader calls it.
fn value(name: &str) -> String {
    format!("[...document.querySelectorAll('.page button')].find(b => b.ariaLabel.startsWith({name:?}))")
}

fn click_value(browser: &Browser, name: &str) {
    browser.wait_for(&value(name));
    browser.script(&format!("{}.click()", value(name)));
}

fn field(label: &str) -> String {
    format!("input[aria-label='{label}']")
}

#[test]
fn the_report_is_seen_read_and_chosen() {
    let served = served();
    let browser = opened(&served, 1400);
    browser.wait_for_text("#title", "Water in a salt");
    // The words over the picture: what can be read out and marked.
    browser.wait_for("document.querySelector('.page svg').textContent.includes('Water in a salt')");
    browser.wait_for(
        "document.querySelector('.page svg').textContent.includes('How much water do the crystals hold?')",
    );
    assert_eq!(browser.overflow(), 0);
    picture(&browser, "report-1400");
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn a_value_is_chosen_and_shows_how_it_comes_about() {
    let served = served();
    let browser = opened(&served, 1400);
    click_value(&browser, "w(water), trial A");
    browser.wait_for_text("#value-name", "w(water), trial A: 36.0");
    let formulas = "[...document.querySelectorAll('#value .formula')].map(m => m.ariaLabel)";
    // 21.0000 − 20.0000, 20.6400 − 20.0000, 1.0000 − 0.6400, 0.3600 / 1.0000, by hand.
    browser.wait_for(&format!(
        "{formulas}.includes('w(water) = m(water) / m(sample) = 0.3600 g / 1.0000 g = 36.00 %')"
    ));
    browser.wait_for(&format!(
        "{formulas}.includes('m(water) = m(sample) − m(residue) = 1.0000 g − 0.6400 g = 0.3600 g')"
    ));
    browser.wait_for("document.querySelector('#value math mfrac')");
    browser.wait_for_text("#value", "crucible + sample, trial A");
    browser.wait_for_text("#value", "line 22");
    picture(&browser, "value-1400");
    // The other way: a reading, and what rests on it.
    browser.script("[...document.querySelectorAll('#value button')].find(b => b.textContent === 'crucible + sample, trial A').click()");
    browser.wait_for_text("#value-name", "crucible + sample, trial A: 21.0000 g");
    browser.wait_for_text("#value", "what rests on it");
    browser.wait_for_text("#value", "mean w(water)");
    browser.wait_for("document.querySelectorAll('.page button.resting').length >= 4");
    picture(&browser, "reading-1400");
}

#[test]
fn a_saved_file_is_seen_at_once_and_the_page_stays_where_it_was() {
    let served = served();
    let browser = opened(&served, 1400);
    browser.wait_for("document.querySelectorAll('.page svg').length >= 2");
    click_value(&browser, "w(water), trial A");
    browser.wait_for_text("#value-name", "36.00 %");
    browser.script("scrollTo(0, 400)");
    let before = browser.script("return document.querySelectorAll('.page')[0].dataset.hash");
    served.save("salt.md", &NOTEBOOK.replace("20.6400 ", "20.6401 ").replace("How much", "So how much"));
    // 0.3599 / 1.0000
    browser.wait_for_text("#value-name", "35.99 %");
    browser.wait_for(&format!("document.querySelectorAll('.page')[0].dataset.hash !== {before}"));
    browser.wait_for("document.querySelector('#pages').textContent.includes('So how much water')");
    assert_eq!(browser.script("return scrollY"), 400);
}

#[test]
fn a_finding_comes_with_its_line_and_goes_when_it_is_mended() {
    let served = served();
    let browser = opened(&served, 1400);
    served.save("salt.md", &NOTEBOOK.replace("m(water) / m(sample)", "m(water) / m(smaple)"));
    browser.wait_for_text("#findings .finding.error", "line 30: nothing defines m(smaple)");
    browser.wait_for_text("#findings .finding.error mark", "m(smaple)");
    browser.wait_for_text("#findings .finding.error", "did you mean m(sample)?");
    picture(&browser, "finding-1400");
    served.save("salt.md", NOTEBOOK);
    browser
        .wait_for("![...document.querySelectorAll('.finding')].some(f => f.textContent.includes('smaple'))");
}

#[test]
fn a_reading_is_checked_as_it_is_typed_and_written_down() {
    let served = served();
    let browser = opened(&served, 1400);
    let label = field("crucible + residue, heating 2, trial B, g");
    browser.find(&label).write("31.2995");
    browser.wait_for_text(".said", "0.5 mg below heating 1");
    browser.wait_for_text(".said .good", "constant mass reached");
    // 31.2995 − 30.0000
    browser.wait_for_text(".said", "m(residue) = 1.2995 g");
    assert_eq!(served.read("salt.md"), NOTEBOOK);
    picture(&browser, "typing-1400");
    browser.press(key::ENTER);
    browser.wait_for(
        "document.querySelector(\"[aria-label^='correct crucible + residue, heating 2, trial B']\")",
    );
    assert_eq!(served.read("salt.md"), NOTEBOOK.replace("20.6400     –", "20.6400     31.2995"));
    // The report has it too.
    browser.wait_for("document.querySelector('#pages').textContent.includes('31.2995')");
}

#[test]
fn a_reading_out_of_line_asks_for_another_look() {
    let served = served();
    let browser = opened(&served, 1400);
    let label = field("crucible + residue, heating 2, trial B, g");
    browser.find(&label).write("31.2370");
    // 63 mg where trial A lost 10 mg in the same step.
    browser.wait_for_text(".said .look", "63.0 mg below heating 1: look at the display again");
    browser.find(&label).clear();
    browser.find(&label).write("31.29");
    browser.wait_for_text(".said", "decimal");
    browser.find(&label).clear();
    browser.find(&label).write("3l.29");
    browser.wait_for_text(".said .bad", "is not a number");
    picture(&browser, "unfit-1400");
    assert_eq!(served.read("salt.md"), NOTEBOOK);
}

#[test]
fn a_reading_is_struck_with_its_reason() {
    let served = served();
    let browser = opened(&served, 1400);
    browser.find("[aria-label='correct crucible + sample, trial A, g']").click();
    browser.find(&field("crucible + sample, trial A, g")).write("21.0001");
    browser.press(key::ENTER);
    browser.wait_for_text(".said .bad", "say why");
    assert_eq!(served.read("salt.md"), NOTEBOOK);
    browser.find("input.why").write("misread");
    browser.press(key::ENTER);
    browser.wait_for_text("#readings s", "21.0000");
    assert_eq!(served.read("salt.md"), NOTEBOOK.replace("21.0000 ", "~~21.0000~~ 21.0001 [misread] "));
    picture(&browser, "struck-1400");
}

#[test]
fn a_conflict_is_shown_and_nothing_overwritten() {
    let served = served();
    let browser = opened(&served, 1400);
    let label = field("crucible + residue, heating 2, trial B, g");
    browser.find(&label).write("31.2995");
    browser.wait_for_text(".said", "constant mass reached");
    let edited = NOTEBOOK.replace("20.6400     –", "20.6400     31.2990");
    served.save("salt.md", &edited);
    browser.wait_for_text(".said .bad", "`31.2990` stands there now; nothing was written");
    // What was typed is still there.
    assert_eq!(browser.find(&label).property("value"), "31.2995");
    picture(&browser, "conflict-1400");
    browser.script("[...document.querySelectorAll('.said button')].find(b => b.textContent.includes('stands there now')).click()");
    browser.wait_for(
        "document.querySelector(\"[aria-label^='correct crucible + residue, heating 2, trial B']\")",
    );
    assert_eq!(served.read("salt.md"), edited);
}

#[test]
fn another_heating_and_another_trial_are_added() {
    let served = served();
    let browser = opened(&served, 1400);
    browser.find("[aria-label='another heating of crucible + residue, heating 2']").click();
    browser.find(&field("another heating of crucible + residue, heating 2, trial A, g")).write("20.6398");
    browser.wait_for_text(".said", "0.2 mg below heating 2");
    browser.press(key::ENTER);
    browser.wait_for_text("#readings legend", "crucible + residue, heating 3");
    let line = "20.6400     –\ncrucible + residue, heating 3:    20.6398\n";
    assert_eq!(served.read("salt.md"), NOTEBOOK.replace("20.6400     –\n", line));
    browser.script("[...document.querySelectorAll('#readings .more')].find(b => b.textContent === '+ another trial').click()");
    browser.find(&field("name of the new trial")).write("C");
    browser.press(key::ENTER);
    browser.wait_for("document.querySelector(\"input[aria-label='crucible + sample, trial C, g']\")");
    assert!(served.read("salt.md").contains("A           B           C\n"));
}

#[test]
fn everything_is_reached_with_the_keyboard_alone() {
    let served = served();
    let browser = opened(&served, 1400);
    browser.wait_for(&value("20.").replace("startsWith", "includes"));
    // Tab reaches one value of the report; the arrow keys go from there.
    for _ in 0..20 {
        browser.press(key::TAB);
        if browser.script("return document.activeElement.closest('.page') !== null") == true {
            break;
        }
    }
    let first = browser.focused().name();
    browser.press(key::RIGHT);
    let second = browser.focused().name();
    assert!(!first.is_empty() && !second.is_empty() && first != second, "{first} / {second}");
    assert_eq!(browser.focused().role(), "button");
    browser.press(key::END);
    let last = browser.focused().name();
    assert!(last.starts_with("mean w(water)"), "{last}");
    browser.press(key::ENTER);
    browser.wait_for_text("#value-name", "mean w(water)");
    browser.press(key::ESCAPE);
    browser.wait_for("document.querySelector('#value').hidden");
    assert_eq!(browser.focused().name(), last);
    // From there to a field, and a reading goes in.
    for _ in 0..80 {
        browser.press(key::TAB);
        if browser.focused().name() == "crucible + residue, heating 2, trial B, g" {
            break;
        }
    }
    browser.press("31.2995");
    browser.wait_for_text(".said", "constant mass reached");
    browser.press(key::ENTER);
    browser.wait_for("document.querySelector('#pages').textContent.includes('31.2995')");
    assert!(served.read("salt.md").contains("20.6400     31.2995\n"));
}

#[test]
fn a_narrow_screen_has_everything_too() {
    let served = served();
    let browser = opened(&served, 375);
    assert_eq!(browser.overflow(), 0);
    picture(&browser, "report-375");
    browser.find("nav button[data-part='readings']").click();
    let cautions = browser.find("#cautions");
    assert!(cautions.text().contains("not a risk assessment"), "{}", cautions.text());
    // Cautions first, then the loads.
    let before = "return document.querySelector('#cautions').getBoundingClientRect().bottom <= document.querySelector('.load').getBoundingClientRect().top";
    assert_eq!(browser.script(before), true);
    assert_eq!(browser.overflow(), 0);
    picture(&browser, "readings-375");
    browser.find(&field("crucible + residue, heating 2, trial B, g")).write("31.2995");
    browser.wait_for_text(".said", "constant mass reached");
    assert_eq!(browser.overflow(), 0);
    picture(&browser, "typing-375");
    browser.find("nav button[data-part='findings']").click();
    browser.wait_for("document.querySelector('#findings').offsetHeight > 0");
    assert_eq!(browser.overflow(), 0);
    picture(&browser, "findings-375");
    browser.find("nav button[data-part='report']").click();
    click_value(&browser, "w(water), trial A");
    browser.wait_for_text("#value-name", "w(water), trial A");
    assert_eq!(browser.overflow(), 0);
    picture(&browser, "value-375");
}

#[test]
fn text_of_a_notebook_is_never_markup() {
    let text = NOTEBOOK
        .replace(
            "title    = \"Water in a salt\"",
            "title    = \"<img src=x onerror=document.title=1> & <b>\"",
        )
        .replace("crucible, heating 1:  ", "<script>document.title=2</script>:  ")
        .replace("So how", "<svg onload=document.title=3>");
    let served = Served::start(&[("salt.md", &text)]);
    let browser = opened(&served, 1400);
    browser.wait_for_text("#title", "<img src=x onerror=document.title=1> & <b>");
    browser.wait_for_text("#readings legend", "<script>document.title=2</script>");
    assert_eq!(
        browser.script(
            "return document.querySelectorAll('#title img, #readings script, body img[src=x]').length"
        ),
        0
    );
    assert!(browser.title().starts_with("<img src=x"));
    assert_eq!(browser.console(), Vec::<String>::new());
}

#[test]
fn the_program_going_away_is_said_and_coming_back_is_not_needed_to_read() {
    let mut served = served();
    let browser = opened(&served, 1400);
    assert_eq!(served.interrupt(), Some(0));
    browser.wait_for_text("#line", "does not answer");
    browser.wait_for_text("#title", "Water in a salt");
}
