//! The pages for the screen: each version as if it were the first, and drawn from letters.

use reweigh::files::Memory;
use reweigh::report::drawing::Item;
use reweigh::report::pages::{Look, Page, Standing};
use reweigh::report::press::Job;

const DEMOS: &[&str] = &[
    include_str!("../notebooks/selenite.md"),
    include_str!("../notebooks/china-clay.md"),
    include_str!("../notebooks/kieserite.md"),
    include_str!("../notebooks/from-templates/hydrate.md"),
];

/// The pages of a text as `standing` sets them; `change` may change the job before.
fn pages(text: &str, standing: &mut Standing, change: impl Fn(&mut Job)) -> Vec<Page> {
    let files = Memory::default();
    let computed = reweigh::compute("n.md", text.as_bytes(), &files);
    let template = computed.template.as_deref();
    let set = &mut |job: &Job| {
        let mut job = job.clone();
        change(&mut job);
        standing.set(&job)
    };
    reweigh::report::pages_with(&computed.notebook, &computed.results, &files, template, set)
        .expect("it is set")
        .0
}

fn first(text: &str) -> Vec<Page> {
    pages(text, &mut Standing::default(), |_| {})
}

#[test]
fn statements_in_files_of_their_own_give_the_same_pages() {
    for demo in DEMOS {
        let whole = pages(demo, &mut Standing::default(), |job| job.statements.clear());
        assert!(whole.len() > 1 && first(demo) == whole, "{}", demo.lines().next().unwrap_or(""));
    }
}

#[test]
fn a_version_after_others_is_as_if_it_were_the_first() {
    let demo = DEMOS[0];
    let versions = [
        demo.to_owned(),
        demo.replace("25.4046", "25.4049"),
        // Another paragraph before everything, the same one twice, one fewer, and a reading that draws a finding.
        demo.replace("# Purpose", "A word before.\n\n# Purpose"),
        demo.replace("# Purpose", "A word before.\n\nA word before.\n\n# Purpose"),
        demo.replace("We weigh what leaves", "We weigh"),
        demo.replace("25.4046", "25.40"),
        demo.to_owned(),
    ];
    let mut standing = Standing::default();
    for (number, version) in versions.iter().enumerate() {
        let set = pages(version, &mut standing, |_| {});
        standing.rest();
        assert!(set == first(version), "version {number}");
    }
}

#[test]
fn a_problem_in_a_statement_of_its_own_has_its_place_in_the_document() {
    let mut standing = Standing::default();
    let mut main = String::new();
    let files = Memory::default();
    let computed = reweigh::compute("n.md", DEMOS[0].as_bytes(), &files);
    let set = &mut |job: &Job| {
        let mut job = job.clone();
        job.main = job.main.replace("We weigh what leaves", "We weigh\" + nothing-of-this-name + \"leaves");
        let at = job.main.find("nothing-of-this-name").expect("it is there");
        // The statements after it begin later by as much.
        main = job.main.clone();
        let grown = "\" + nothing-of-this-name + \"".len() - " what ".len();
        for range in &mut job.statements {
            if range.end > at {
                range.end += grown;
            }
            if range.start > at {
                range.start += grown;
            }
        }
        standing.set(&job)
    };
    let outcome = {
        let mut problems = Vec::new();
        let _ =
            reweigh::report::pages_with(&computed.notebook, &computed.results, &files, None, &mut |job| {
                let outcome = set(job);
                problems = outcome.clone().err().unwrap_or_default();
                outcome
            });
        problems
    };
    let place = outcome[0].in_main.clone().expect("it has a place");
    assert_eq!(&main[place], "nothing-of-this-name");
    assert_eq!(outcome[0].text, "nothing-of-this-name");
}

#[test]
fn pages_are_drawn_from_letters_and_say_what_they_show() {
    for demo in DEMOS {
        let (mut letters, mut outlines) = (0, 0);
        for page in first(demo) {
            let Look::Drawn(items, _) = page.look else { panic!("a page is a picture") };
            let runs = items.iter().filter_map(|item| match item {
                Item::Text(text) => Some(text.colour.is_empty()),
                _ => None,
            });
            let (outlined, lettered): (Vec<bool>, Vec<bool>) = runs.partition(|outlined| *outlined);
            (letters, outlines) = (letters + lettered.len(), outlines + outlined.len());
        }
        assert!(letters > 10 * outlines, "{letters} runs of letters, {outlines} of outlines");
    }
    let pages = first(DEMOS[0]);
    let Look::Drawn(items, _) = &pages[0].look else { panic!("a page is a picture") };
    let said: String = items
        .iter()
        .filter_map(|item| match item {
            Item::Text(text) => Some(format!("{}{}", text.before, text.text)),
            _ => None,
        })
        .collect();
    assert!(said.starts_with("Water of crystallisation of selenite\nBench 3\n"), "{said}");
    // A formula reads on through what is lowered.
    assert!(said.contains("CaSO4 ⋅ 2 H2O ⟶ CaSO4 + 2 H2O\n"), "{said}");
    assert!(said.contains("Heated well above 200 °C"), "{said}");
}
