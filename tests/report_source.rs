//! The generated document of a few notebooks, as text.
//!
//! Each `tests/report_source/NAME.md` has its document beside it (`NAME.typ`), and so have a few of the demo notebooks. `REWEIGH_UPDATE=1 cargo test
//! --test all report_source::` writes the documents anew; the difference is then to be read like any other change.

use std::path::Path;

use reweigh::files::Memory;
use reweigh::report::{Attachment, Glyph, Means, Pictures, typst_source};
use reweigh::template;

/// The document, with a character outside Latin-1 and a few signs taken for one that the fonts lack.
fn document(text: &str) -> String {
    let computed = reweigh::compute("notebook.md", text.as_bytes(), &Memory::default());
    let pictures = Pictures::of(&computed.notebook, &Memory::default());
    let attachments = [Attachment::source("notebook.md", text.as_bytes().to_vec())];
    let glyph = |c: char| if (c as u32) < 0x1F000 { Glyph::Everywhere } else { Glyph::Missing };
    let means = Means { pictures: &pictures, attachments: &attachments, glyph: &glyph, template: None };
    typst_source(&computed.notebook, &computed.results, &means).main
}

fn check(name: &str) {
    check_in("tests/report_source", name);
}

/// A notebook of some folder; its document is kept with the others.
fn check_in(folder: &str, name: &str) {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let notebook = root.join(folder).join(name).with_extension("md");
    let text = std::fs::read_to_string(notebook).expect("the notebook is there");
    let document = document(&text);
    let kept = root.join("tests/report_source").join(name).with_extension("typ");
    if std::env::var_os("REWEIGH_UPDATE").is_some() {
        std::fs::write(&kept, &document).expect("the document is written");
    }
    let expected = std::fs::read_to_string(&kept).unwrap_or_default();
    assert!(document == expected, "the document of {name} differs from {}:\n{document}", kept.display());
}

#[test]
fn two_trials_with_strikes_theory_and_inline_values() {
    check("two-trials");
}

#[test]
fn an_ignition_with_an_event_a_blank_a_trial_set_aside_and_a_decimal_comma() {
    check("ignition-with-event");
}

#[test]
fn uncertainty_in_full() {
    check("uncertainty-in-full");
}

#[test]
fn prose_of_every_kind() {
    check("prose");
}

#[test]
fn reactions_a_mixture_and_a_formula_sought() {
    check("reactions-and-mixture");
}

#[test]
fn a_precipitation_a_mixture_and_a_decomposition_in_steps() {
    for demo in ["kieserite", "baking-soda", "calcium-oxalate"] {
        check_in("notebooks", demo);
    }
}

#[test]
fn an_empty_notebook() {
    check("empty");
}

/// The document of a template's own sample data, cautions and all. The template's version of each file travels as
/// an attachment, so only its name is in the document.
fn of_template(name: &str) -> String {
    let template = std::sync::Arc::new(template::find(name, &Memory::default()).expect("it is shipped"));
    let sample = &template.marking["sample.md"];
    let wanted = reweigh::Wanted { template: Some(template.clone()), ..reweigh::Wanted::default() };
    let computed = reweigh::compute_as("sample.md", sample, &Memory::default(), &wanted);
    let pictures = Pictures::of(&computed.notebook, &Memory::default());
    let attachments = [Attachment::source("sample.md", sample.clone())];
    let means = Means {
        pictures: &pictures,
        attachments: &attachments,
        glyph: &|_| Glyph::Everywhere,
        template: Some(&template),
    };
    let main = typst_source(&computed.notebook, &computed.results, &means).main;
    // The hash changes with every word of the template; that it is there is another test's business.
    main.replace(&template.sha256, "(hash of the template)")
        .replace(&computed.results.sha256, "(hash of the notebook)")
}

#[test]
fn every_shipped_template_on_its_sample_data() {
    for name in template::shipped_names() {
        let document = of_template(name);
        let kept =
            Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/report_source/template-{name}.typ"));
        if std::env::var_os("REWEIGH_UPDATE").is_some() {
            std::fs::write(&kept, &document).expect("the document is written");
        }
        let expected = std::fs::read_to_string(&kept).unwrap_or_default();
        assert!(document == expected, "the document of {name} differs from {}:\n{document}", kept.display());
    }
}

#[test]
fn places_lead_back_to_the_notebook() {
    let text = "# A\n\nfirst paragraph\n\nsecond paragraph\n";
    let computed = reweigh::compute("notebook.md", text.as_bytes(), &Memory::default());
    let pictures = Pictures::default();
    let means =
        Means { pictures: &pictures, attachments: &[], glyph: &|_| Glyph::Everywhere, template: None };
    let source = typst_source(&computed.notebook, &computed.results, &means);
    let byte = source.main.find("second").expect("the paragraph is in the document");
    let place = source.notebook_place(byte).expect("it has a place");
    assert_eq!(place.text(text).trim(), "second paragraph");
    assert_eq!(source.notebook_place(0), None);
}
