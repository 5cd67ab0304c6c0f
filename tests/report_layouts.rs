//! The shipped layouts and their parts: the sheet is one page, cautions come before what was found, and every part that the
//! guide names can be set by itself.

use reweigh::files::Memory;
use reweigh::template::{self, Template};
use std::sync::Arc;

/// A shipped template in a shipped layout.
#[cfg(feature = "pdf")]
fn in_layout(name: &str, layout: &str) -> Template {
    let found = template::find(name, &Memory::default()).expect("a shipped template is found");
    Template { layout_name: Some(layout.to_owned()), ..found }
}

/// The names of the parts by the guide: the first column of its table of parts.
fn parts_of_the_guide() -> Vec<String> {
    let guide = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("report-templates/README.md");
    let text = std::fs::read_to_string(guide).expect("the guide is there");
    let table = text.lines().skip_while(|line| !line.starts_with("| part | what it holds")).skip(2);
    let names = table.take_while(|line| line.starts_with('|')).flat_map(|line| {
        let first = line.split('|').nth(1).unwrap_or_default().to_owned();
        first.split(',').map(|name| name.trim().trim_matches('`').to_owned()).collect::<Vec<_>>()
    });
    names.collect()
}

#[test]
fn the_guide_names_every_part() {
    let template = template::find("hydrate", &Memory::default()).expect("it is shipped");
    let template = Arc::new(Template { layout_name: Some("sheet".to_owned()), ..template });
    let sample = template.marking["sample.md"].clone();
    let wanted = reweigh::Wanted { template: Some(template.clone()), ..reweigh::Wanted::default() };
    let computed = reweigh::compute_as("sample.md", &sample, &Memory::default(), &wanted);
    let means = reweigh::report::Means {
        pictures: &reweigh::report::Pictures::default(),
        attachments: &[],
        glyph: &|_| reweigh::report::Glyph::Everywhere,
        template: Some(&template),
    };
    let source = reweigh::report::typst_source(&computed.notebook, &computed.results, &means);
    let part = |line: &str| Some(line.trim_start().strip_suffix(": () => {")?.to_owned());
    let mut made: Vec<String> = source
        .main
        .lines()
        .filter_map(part)
        .map(|name| name.trim_start_matches("parts: (").to_owned())
        .collect();
    let mut told = parts_of_the_guide();
    made.sort();
    told.sort();
    assert_eq!(told, made);
}

#[cfg(feature = "pdf")]
mod set {
    use super::*;
    use reweigh::report::{Attachment, Pdf};
    use std::process::Command;

    fn report(template: &Template, text: &str) -> Pdf {
        let template = Arc::new(template.clone());
        let wanted = reweigh::Wanted { template: Some(template.clone()), ..reweigh::Wanted::default() };
        let computed = reweigh::compute_as("sample.md", text.as_bytes(), &Memory::default(), &wanted);
        let attachments = [Attachment::source("sample.md", text.as_bytes().to_vec())];
        let press = &reweigh::report::press::InProcess;
        let nothing = Memory::default();
        let (notebook, results) = (&computed.notebook, &computed.results);
        reweigh::report::pdf_with(notebook, results, &attachments, &nothing, Some(&template), press)
            .expect("the report is set")
    }

    fn sample(template: &Template) -> String {
        String::from_utf8(template.marking["sample.md"].clone()).expect("the sample is text")
    }

    /// The text in the order it is read, page by page.
    fn pages(pdf: &Pdf) -> Vec<String> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let file = folder.path().join("report.pdf");
        std::fs::write(&file, &pdf.bytes).expect("the report is written");
        let run = Command::new("pdftotext").arg("-raw").arg(&file).arg("-").output();
        let output = run.expect("pdftotext (poppler-utils) runs");
        let text = String::from_utf8_lossy(&output.stdout).into_owned();
        text.trim_end_matches('\u{c}').split('\u{c}').map(str::to_owned).collect()
    }

    #[test]
    fn the_sheet_of_two_or_three_trials_is_one_page() {
        for name in template::shipped_names() {
            let template = in_layout(name, "sheet");
            let pages = pages(&report(&template, &sample(&template)));
            assert_eq!(pages.len(), 1, "{name}");
            assert!(pages[0].contains("SHA-256"), "{name}: {}", pages[0]);
        }
    }

    #[test]
    fn cautions_come_before_what_was_found_in_every_layout() {
        for name in template::shipped_names() {
            for (layout, _) in reweigh::report::layouts::LAYOUTS {
                let template = in_layout(name, layout);
                let text = pages(&report(&template, &sample(&template))).join("\n").replace('\n', " ");
                let at = |words: &str| {
                    text.find(words).unwrap_or_else(|| panic!("{name}, {layout}: no {words}: {text}"))
                };
                let closing = at("This is not a risk assessment");
                for later in
                    ["Readings as written", "Net masses", "Results of all trials", "Agreement of the trials"]
                {
                    assert!(
                        closing < at(later),
                        "{name} in the layout {layout}: {later} stands before the cautions"
                    );
                }
            }
        }
    }

    /// The text with another last digit in its `nth` number of four decimals.
    fn with_another_digit(text: &str, nth: usize) -> String {
        let bytes = text.as_bytes();
        let is_number = |at: &usize| {
            let decimals = &bytes[at - 3..=*at];
            bytes[at - 4] == b'.'
                && decimals.iter().all(u8::is_ascii_digit)
                && !bytes.get(at + 1).is_some_and(u8::is_ascii_digit)
        };
        let at = (5..bytes.len()).filter(is_number).nth(nth).expect("it has such numbers");
        let mut edited = bytes.to_vec();
        edited[at] = b'0' + (edited[at] - b'0' + 3) % 10;
        String::from_utf8(edited).expect("a digit for a digit")
    }

    #[test]
    fn versions_on_the_screen_are_as_if_each_were_the_first_in_every_layout() {
        use reweigh::report::drawing::Item;
        use reweigh::report::pages::{Look, Page, Standing};
        let files = Memory::default();
        let mut sooner = std::collections::BTreeSet::new();
        for (layout, _) in reweigh::report::layouts::LAYOUTS {
            let template = Arc::new(in_layout("hydrate", layout));
            let sample = sample(&template);
            let versions = [
                sample.clone(),
                with_another_digit(&sample, 5),
                sample.replacen("\n## ", "\n## Before\n\nA word before.\n\n## ", 1),
                with_another_digit(&sample, 7),
            ];
            let mut standing = Standing::default();
            for (number, version) in versions.iter().enumerate() {
                let wanted =
                    reweigh::Wanted { template: Some(template.clone()), ..reweigh::Wanted::default() };
                let computed = reweigh::compute_as("sample.md", version.as_bytes(), &files, &wanted);
                let set = |standing: &mut Standing, first: &mut dyn FnMut(Vec<Page>)| {
                    let (notebook, results) = (&computed.notebook, &computed.results);
                    let set =
                        &mut |job: &reweigh::report::press::Job| standing.set_from(job, Some((0, 0)), first);
                    reweigh::report::pages_with(notebook, results, &files, Some(&template), set)
                        .expect("it is set")
                        .0
                };
                let mut first = None;
                let pages = set(&mut standing, &mut |pages| first = Some(pages));
                assert!(
                    pages == set(&mut Standing::default(), &mut |_| {}),
                    "version {number} in the layout {layout}"
                );
                if let Some(first) = first {
                    sooner.insert(layout);
                    // How many pages there are is until then what it was before.
                    let seen = |page: &Page| match &page.look {
                        Look::Drawn(items, _) => items
                            .iter()
                            .filter(
                                |item| !matches!(item, Item::Text(text) if text.text.starts_with("page ")),
                            )
                            .cloned()
                            .collect::<Vec<_>>(),
                        Look::Picture(..) => panic!("a page is a picture"),
                    };
                    assert!(
                        seen(&first[0]) == seen(&pages[0]),
                        "what is in view of version {number} in the layout {layout}"
                    );
                }
            }
        }
        // A sheet is one page, before which nothing comes.
        assert!(sooner.contains(&"plain") && sooner.contains(&"article"), "{sooner:?}");
    }

    #[test]
    fn every_part_of_the_guide_is_set_by_itself() {
        let parts = parts_of_the_guide();
        for name in template::shipped_names() {
            let mut template = template::find(name, &Memory::default()).expect("it is shipped");
            let calls: String = parts.iter().map(|part| format!("  part(data, \"{part}\")\n")).collect();
            let layout = format!(
                "#import \"parts.typ\": *\n#let report(data, body) = {{\n  set document(title: data.title, date: data.document-date)\n  set text(lang: \"en\")\n{calls}}}\n"
            );
            template.layout = Some(layout);
            let text = pages(&report(&template, &sample(&template))).join(" ").replace('\n', " ");
            for wanted in [
                "not a risk assessment",
                "Readings as written",
                "Worked calculation",
                "Results of all trials",
            ] {
                assert!(text.contains(wanted), "{name}: {wanted}");
            }
        }
    }

    /// The article opens with the result in brief: by hand 14.74 % and 14.76 %, mean 14.75 %; the theory is that of the
    /// molar masses 2 × 18.015/244.26.
    #[test]
    fn the_article_opens_with_the_results() {
        let template = in_layout("hydrate", "article");
        let text = pages(&report(&template, &sample(&template)))
            .join(" ")
            .replace(['\n', '\u{a0}', '\u{202f}'], " ");
        let brief = text.split("1 Purpose").next().expect("there is a text before the first section");
        for wanted in ["Result.", "14.75", "mean of two trials", "14.751", "percent error"] {
            assert!(brief.contains(wanted), "{wanted}: {brief}");
        }
    }
}
