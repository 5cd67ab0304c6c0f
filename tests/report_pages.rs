//! The pages for the screen: each version as if it were the first, and drawn from letters.

use reweigh::files::Memory;
use reweigh::report::SetPages;
use reweigh::report::drawing::Item;
use reweigh::report::pages::{Look, Page, Standing};
use reweigh::report::press::Job;

const DEMOS: &[&str] = &[
    include_str!("../notebooks/selenite.md"),
    include_str!("../notebooks/china-clay.md"),
    include_str!("../notebooks/kieserite.md"),
    include_str!("../notebooks/from-templates/hydrate.md"),
];

/// The pages of a text as `set` sets them.
fn set(text: &str, set: &mut SetPages) -> Vec<Page> {
    let files = Memory::default();
    let computed = reweigh::compute("n.md", text.as_bytes(), &files);
    let template = computed.template.as_deref();
    reweigh::report::pages_with(&computed.notebook, &computed.results, &files, template, set)
        .expect("it is set")
        .0
}

/// The pages of a text as `standing` sets them; `change` may change the job before.
fn pages(text: &str, standing: &mut Standing, change: impl Fn(&mut Job)) -> Vec<Page> {
    set(text, &mut |job| {
        let mut job = job.clone();
        change(&mut job);
        standing.set(&job)
    })
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

/// A page without its number of how many: until all are set, that is how many there were before.
fn unnumbered(page: &Page) -> Page {
    let mut page = page.clone();
    if let Look::Drawn(items, _) = &mut page.look {
        items.retain(|item| !matches!(item, Item::Text(text) if text.text.starts_with("page ")));
    }
    page
}

/// The beginnings of the captions on pages for the screen.
fn captions(pages: &[Page]) -> Vec<String> {
    let item = |item: &Item| match item {
        Item::Text(text) => Some(format!("{}{}", text.before, text.text)),
        _ => None,
    };
    let said = |page: &Page| match &page.look {
        Look::Drawn(items, _) => items.iter().filter_map(item).collect::<String>() + "\n",
        Look::Picture(..) => panic!("a page is a picture"),
    };
    captions_in(&pages.iter().map(said).collect::<String>())
}

/// The lines that begin with the name and number of a table or figure, up to the first word after it.
fn captions_in(text: &str) -> Vec<String> {
    let text = text.replace('\u{a0}', " ");
    let lines = text.lines().map(str::trim).filter(|line| {
        let rest = line.strip_prefix("Table ").or_else(|| line.strip_prefix("Figure "));
        rest.and_then(|rest| rest.split_once(' ')).is_some_and(|(number, _)| number.parse::<u32>().is_ok())
    });
    let mut captions: Vec<String> =
        lines.map(|line| line.split_whitespace().take(3).collect::<Vec<_>>().join(" ")).collect();
    captions.sort();
    captions
}

/// On the page for the screen a table or figure has the number that it has on paper.
#[test]
fn tables_and_figures_have_the_numbers_of_the_report_on_paper() {
    let mut figures = 0;
    for demo in DEMOS {
        let computed = reweigh::compute("n.md", demo.as_bytes(), &Memory::default());
        let (notebook, results) = (&computed.notebook, &computed.results);
        let report = reweigh::report::pdf(notebook, results, &[], &Memory::default()).expect("it is set");
        let folder = tempfile::tempdir().expect("a temporary folder");
        let file = folder.path().join("report.pdf");
        std::fs::write(&file, report.bytes).expect("the report is written");
        let run = std::process::Command::new("pdftotext").arg("-raw").arg(&file).arg("-").output();
        let paper =
            captions_in(&String::from_utf8_lossy(&run.expect("pdftotext (poppler-utils) runs").stdout));
        assert_eq!(captions(&first(demo)), paper);
        assert!(paper.len() > 2, "{paper:?}");
        figures += paper.iter().filter(|caption| caption.starts_with("Figure 2")).count();
    }
    assert!(figures > 0, "in one of them at least there are several");
}

/// The pages in view are set without what comes later, and are what they are with it.
#[test]
fn what_is_in_view_comes_first_and_as_it_stays() {
    let notes =
        |number| format!("## Day {number}\n\n{}", "The crucible was weighed twice more.\n\n".repeat(30));
    let long = format!("{}\n{}", DEMOS[0], (1..5).map(notes).collect::<String>());
    let versions = [
        long.clone(),
        long.replace("25.4046", "25.4045"),
        long.replace("25.4046", "25.4047"),
        // A finding more, a paragraph more and one fewer than before.
        long.replace("25.4046", "25.40"),
        long.replace("# Purpose", "A word before.\n\n# Purpose"),
        long.clone(),
    ];
    for (from, in_view) in [(0, 0), (0, 1), (1, 1), (0, 2), (2, 2), (1, 3), (3, 3)] {
        let mut standing = Standing::default();
        for (number, version) in versions.iter().enumerate() {
            let mut first = None;
            let all = set(version, &mut |job| {
                standing.set_from(job, Some((from, in_view)), &mut |pages| first = Some(pages))
            });
            standing.rest();
            assert!(first.is_some() || number == 0, "version {number}, pages {from} to {in_view}");
            if let Some(first) = first {
                assert!(
                    first.iter().map(unnumbered).eq(all[from..=in_view].iter().map(unnumbered)),
                    "version {number}, pages {from} to {in_view}"
                );
            }
        }
    }
    // Where nothing comes later, there is nothing to be had sooner.
    let mut standing = Standing::default();
    for _ in 0..2 {
        set(DEMOS[0], &mut |job| {
            standing.set_from(job, Some((0, 40)), &mut |_| panic!("all pages are in view"))
        });
    }
}

/// A notebook with a plot after some words, and a formula of some lines after it; and its second trial's mass.
fn with_a_plot(words: usize, lines: usize, mass: &str) -> String {
    let plot = "```plot\nmass by heating\n```\n\n";
    let formula = format!("$$\\begin{{aligned}} {} b \\end{{aligned}}$$", "a &= b \\\\ ".repeat(lines));
    let words = "Weighed again. ".repeat(words);
    let before = format!("{words}\n\n{plot}{formula}\n\nA word after.\n\n## Purpose");
    DEMOS[0].replace(plot, "").replace("## Purpose", &before).replace("24.7182", mass)
}

/// What comes to stand on the page in view shows its new values at once, and a plot that stands on another page than the
/// text it is written in shows those of its own. (A plot that moved on with a formula behind it takes two statements to see
/// that the page is full; when there is room for it, the formula alone shows that, at the first try.)
#[test]
fn a_plot_in_view_is_not_shown_as_it_was() {
    let texts_of_two = [(300, 28, 1), (30, 28, 0), (180, 2, 1)];
    for in_view in [0, 1] {
        let mut standing = Standing::default();
        let mut masses = ["24.7182", "24.7183", "24.7184", "24.7185", "24.7186", "24.7187"].iter();
        for (words, lines, plot_on) in texts_of_two.iter().flat_map(|text| [text; 2]) {
            let mut first = Vec::new();
            let text = with_a_plot(*words, *lines, masses.next().expect("one for each"));
            let all = set(&text, &mut |job| {
                standing.set_from(job, Some((in_view, in_view)), &mut |pages| first = pages)
            });
            standing.rest();
            let has_plot = |page| captions(std::slice::from_ref(page)).contains(&"Figure 1 Mass".to_owned());
            assert_eq!(all.iter().position(has_plot), Some(*plot_on), "{words} words");
            let shown = first.iter().map(unnumbered);
            assert!(shown.eq(all[in_view..].iter().take(first.len()).map(unnumbered)), "{words} words");
            assert_eq!(first.is_empty(), masses.len() == 5, "only the first version comes as a whole");
        }
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
