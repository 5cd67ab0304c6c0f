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
fn the_program_hears_which_pages_are_in_view() {
    let served = served();
    let browser = opened(&served, 1400);
    browser.wait_for("document.querySelectorAll('.page svg').length >= 2");
    browser.wait_for("asked.near.split(',').includes('0')");
    browser.script("scrollTo(0, document.body.scrollHeight)");
    browser.wait_for("!asked.near.split(',').includes('0') && asked.near === near().join(',')");
    // The question that was taken back is no fault, and the next version is seen.
    assert_eq!(browser.script("return document.querySelector('#line').textContent"), "follows the file");
    served.save("salt.md", &NOTEBOOK.replace("20.6400 ", "20.6401 "));
    browser.wait_for("[...document.querySelectorAll('#pages button')].some(b => b.getAttribute('aria-label')?.includes('35.99') || b.textContent.includes('35.99'))");
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
    // The gravest four leave room for the readings; all of them are one button away.
    let seen = "[...document.querySelectorAll('.finding')].filter(f => f.offsetHeight > 0).length";
    browser.wait_for(&format!("{seen} === 4"));
    browser.find("#turn").click();
    browser.wait_for(&format!("{seen} === document.querySelectorAll('.finding').length && {seen} > 10"));
    browser.find("#turn").click();
    browser.wait_for(&format!("{seen} === 4"));
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
fn a_load_and_a_trial_that_the_template_asks_for_are_added() {
    let bare = NOTEBOOK
        .replace("crucible + sample:                21.0000     32.0000\n", "")
        .replace("A           B\n", "A\n")
        .replace("     30.0003\n", "\n")
        .replace("     30.0000\n", "\n")
        .replace("     31.3000\n", "\n")
        .replace("     –\n", "\n");
    let served = Served::start(&[("salt.md", &bare)]);
    let browser = opened(&served, 1400);
    browser.wait_for_text(".load.new .asked", "The template asks for this load, with one weighing.");
    picture(&browser, "asked-1400");
    browser.find(&field("crucible + sample, trial A, g")).write("21.0000");
    browser.wait_for_text(".said", "m(sample) = 1.0000 g");
    assert_eq!(served.read("salt.md"), bare);
    browser.press(key::ENTER);
    browser.wait_for("document.querySelector(\"[aria-label^='correct crucible + sample, trial A']\")");
    let line = "crucible + sample:                21.0000\n";
    let with_load =
        bare.replace("crucible + residue, heating 1:", &format!("{line}crucible + residue, heating 1:"));
    assert_eq!(served.read("salt.md"), with_load);
    assert_eq!(browser.all(".load.new").len(), 0);
    // The trial: what is wrong with a name is said while it is typed.
    browser.wait_for_text("#readings .asked", "The template asks for 2 trials.");
    browser.script("[...document.querySelectorAll('#readings .more')].find(b => b.textContent === '+ another trial').click()");
    browser.wait_for("document.activeElement.id.endsWith('name')");
    browser.press("a");
    browser.wait_for_text(".said", "there is a trial a already");
    browser.press(key::BACKSPACE);
    browser.press("B");
    browser.press(key::ENTER);
    browser.wait_for("document.querySelector(\"input[aria-label='crucible + sample, trial B, g']\")");
    let expected = with_load
        .replace("A\n", "A            B\n")
        .replace("20.0004\n", "20.0004      –\n")
        .replace("20.0000\n", "20.0000      –\n")
        .replace("21.0000\n", "21.0000      –\n")
        .replace("20.6500\n", "20.6500      –\n")
        .replace("20.6400\n", "20.6400      –\n");
    assert_eq!(served.read("salt.md"), expected);
    browser.wait_for(
        "![...document.querySelectorAll('#readings .asked')].some(p => p.textContent.includes('trials'))",
    );
}

#[test]
fn readings_typed_side_by_side_for_a_new_load_are_all_kept() {
    let served = served();
    let browser = opened(&served, 375);
    browser.find("nav button[data-part='readings']").click();
    browser.script("[...document.querySelectorAll('#readings .more')].find(b => b.textContent === '+ another load').click()");
    browser.find("input[id^='label load of']").write("crucible + ash");
    browser.find(&field("another load, trial A, g")).write("20.5000");
    browser.find(&field("another load, trial B, g")).write("31.0000");
    browser.wait_for_text(".said", "m(ash) = 1.0000 g");
    assert_eq!(browser.overflow(), 0);
    picture(&browser, "another-load-375");
    browser.press(key::ENTER);
    // Trial B is written; what was typed for trial A stands in the cell of the new line.
    browser.wait_for("document.querySelector(\"[aria-label^='correct crucible + ash, trial B']\")");
    let line = "crucible + ash:                   –           31.0000\n";
    let with_line = NOTEBOOK.replace("20.6400     –\n", &format!("20.6400     –\n{line}"));
    assert_eq!(served.read("salt.md"), with_line);
    let first = field("crucible + ash, trial A, g");
    assert_eq!(browser.find(&first).property("value"), "20.5000");
    browser.find(&first).click();
    browser.press(key::ENTER);
    browser.wait_for("document.querySelector(\"[aria-label^='correct crucible + ash, trial A']\")");
    assert_eq!(served.read("salt.md"), with_line.replace("–           31.0000", "20.5000           31.0000"));
}

#[test]
fn a_load_that_came_in_meanwhile_is_not_written_twice() {
    let served = served();
    let browser = opened(&served, 1400);
    browser.script("[...document.querySelectorAll('#readings .more')].find(b => b.textContent === '+ another load').click()");
    browser.find("input[id^='label load of']").write("crucible + ash");
    browser.find(&field("another load, trial A, g")).write("20.5000");
    browser.wait_for_text(".said", "m(ash) = 0.5000 g");
    let edited = NOTEBOOK.replace("20.6400     –\n", "20.6400     –\ncrucible + ash: 20.5001  31.0001\n");
    served.save("salt.md", &edited);
    browser.wait_for_text(".said .bad", "weighs this load already");
    browser.find(&field("another load, trial A, g")).click();
    browser.press(key::ENTER);
    browser.wait_for_text(".said .bad", "weighs this load already");
    assert_eq!(served.read("salt.md"), edited);
}

#[test]
fn values_of_every_table_and_of_the_worked_calculation_are_chosen() {
    let theory = "\n```theory\nw(water) = 35 %\n```\n";
    let text = NOTEBOOK
        .replace("20.6400     –", "20.6400     31.2900")
        .replace("\nThe crystals", &format!("{theory}\nThe crystals"));
    let served = Served::start(&[("salt.md", &text)]);
    let browser = opened(&served, 1400);
    // 36.00 and 35.50 % by hand, as in the formulas that are shown.
    for (name, formula) in [
        ("range w(water)", "range(36.00 %; 35.50 %) = 0.50 %"),
        ("percent error w(water)", "(35.75 % − 35 %) / abs(35 %) = "),
        ("theory w(water)", ""),
    ] {
        click_value(&browser, name);
        browser.wait_for_text("#value-name", name);
        browser.wait_for(&format!(
            "{formula:?} === '' || [...document.querySelectorAll('#value .formula')].some(m => m.ariaLabel.includes({formula:?}))"
        ));
    }
    picture(&browser, "figure-1400");
    // In the worked calculation, between heading and table, each number is a value too: those put in and the result.
    let in_table_and_calculation = "[...document.querySelectorAll('.page button')].filter(b => b.ariaLabel.startsWith('w(water), trial A')).length";
    browser.wait_for(&format!("{in_table_and_calculation} >= 2"));
    browser.wait_for("[...document.querySelectorAll('.page button')].filter(b => b.ariaLabel.startsWith('m(sample), trial A')).length >= 3");
    // A reading marks the figures that rest on it.
    click_value(&browser, "crucible + sample, trial A");
    browser.wait_for_text("#value", "what rests on it");
    browser.wait_for("[...document.querySelectorAll('.page button.resting')].some(b => b.ariaLabel.startsWith('range w(water)'))");
    picture(&browser, "resting-1400");
}

/// Clicks with the mouse where the middle of an element is, so many times in quick succession.
fn mouse(browser: &Browser, element: &str, times: u32) {
    let middle = browser.script(&format!(
        "const element = {element}; element.scrollIntoView({{ block: 'center' }}); const place = element.getBoundingClientRect();\n\
         return [place.left + place.width / 2, place.top + place.height / 2]"
    ));
    for count in 1..=times {
        for kind in ["mousePressed", "mouseReleased"] {
            let event = serde_json::json!({ "type": kind, "x": middle[0], "y": middle[1], "button": "left", "clickCount": count });
            browser.devtools("Input.dispatchMouseEvent", event);
        }
    }
}

/// What only the typesetter can draw (a gradient, a clipped part) makes a page a picture, with words and values over it.
#[test]
fn a_page_that_is_a_picture_is_read_marked_and_chosen_like_any_other() {
    let gradient = "rect(width: 5cm, height: 1cm, fill: gradient.linear(rgb(\"#ff0000\"), rgb(\"#0000ff\")))";
    let clipped =
        "box(clip: true, width: 2cm, height: 1cm, rect(width: 9cm, height: 1cm, fill: rgb(\"#ff0000\")))";
    for (name, shape, blue) in [("gradient", gradient, true), ("clipped", clipped, false)] {
        let folder = tempfile::tempdir().expect("a folder");
        std::fs::create_dir(folder.path().join("own")).expect("a folder for the template");
        let layout = format!("#import \"parts.typ\": *\n#let report(data, body) = {{\n{shape}\nbody\n}}\n");
        for (path, text) in [
            ("salt.md", NOTEBOOK.replace("\"hydrate\"", "\"own\"").as_str()),
            ("own/template.toml", "id = \"own\"\nversion = \"1\"\ntitle = \"Own\"\n"),
            ("own/method.md", ""),
            ("own/notebook.md", ""),
            ("own/report.typ", &layout),
        ] {
            std::fs::write(folder.path().join(path), text).expect("the file is written");
        }
        let served = Served::in_folder(folder, &["salt.md"], &["--layout-seconds", "30"]);
        let browser = opened(&served, 1400);
        browser.wait_for("document.querySelector('.page img')?.complete && document.querySelector('.page img').naturalWidth > 0");
        picture(&browser, &format!("picture-{name}-1400"));
        // The picture shows the shape: red, and where there is a gradient blue at its other end.
        let colours = browser.script(
            "const canvas = document.createElement('canvas'); canvas.width = 600; canvas.height = 800;\n\
             const brush = canvas.getContext('2d'); brush.drawImage(document.querySelector('.page img'), 0, 0, 600, 800);\n\
             const dots = brush.getImageData(0, 0, 600, 800).data; let [red, blue] = [0, 0];\n\
             for (let at = 0; at < dots.length; at += 4) {\n\
               const [r, g, b, seen] = dots.slice(at, at + 4);\n\
               if (seen > 200 && r > 180 && g < 60 && b < 80) red += 1;\n\
               if (seen > 200 && b > 180 && g < 60 && r < 80) blue += 1;\n\
             }\n\
             return [red, blue]",
        );
        assert!(colours[0].as_u64() > Some(100), "{name}: {colours}");
        assert_eq!(colours[1].as_u64() > Some(100), blue, "{name}: {colours}");
        // Its words are there to be read out, and one is marked by a double click on the line it stands on.
        let sentence = "How much water do the crystals hold?";
        let line = format!(
            "[...document.querySelectorAll('.page svg.words text')].find(t => t.textContent.includes({sentence:?}))"
        );
        browser.wait_for(&line);
        mouse(&browser, &line, 2);
        let marked = browser.script("return getSelection().toString().trim()");
        let marked = marked.as_str().unwrap_or_default();
        assert!(!marked.is_empty() && sentence.contains(marked), "{name}: {marked:?}");
        // A value is chosen with the mouse where it is seen.
        browser.wait_for(&value("w(water), trial A"));
        mouse(&browser, &value("w(water), trial A"), 1);
        browser.wait_for_text("#value-name", "w(water), trial A: 36.00 %");
        assert_eq!(browser.console(), Vec::<String>::new());
    }
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
    // No formula is cut off: a long sum breaks between its terms.
    let cut = "return [...document.querySelectorAll('#value .side')].filter(side => side.scrollWidth > side.clientWidth + 1).length";
    assert_eq!(browser.script(cut), 0);
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
