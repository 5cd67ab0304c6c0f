//! Every example of the CommonMark Spec 0.31.2 becomes a report, and no word of it is lost.
//!
//! The examples and what they come to are CommonMark's own (`tests/commonmark/`).

use crate::common::examples::examples;
use reweigh::files::Memory;
use reweigh::report::{Glyph, Means, Pictures, typst_source};

/// The words of what an example comes to: its text without tags, comments and addresses.
fn words(html: &str) -> Vec<String> {
    let mut text = String::new();
    let mut rest = html;
    while let Some((before, after)) = rest.split_once('<') {
        text.push_str(before);
        let tag_end = after.find('>').map_or(after.len(), |end| end + 1);
        text.push(' ');
        rest = &after[tag_end..];
    }
    text.push_str(rest);
    let text = text.replace("&quot;", "\"").replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&");
    text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty()).map(str::to_owned).collect()
}

/// The text of all string literals of a generated document.
fn literals(code: &str) -> String {
    let mut text = String::new();
    let mut chars = code.chars();
    while let Some(c) = chars.next() {
        if c != '"' {
            continue;
        }
        while let Some(c) = chars.next() {
            match c {
                '"' => break,
                '\\' => match chars.next() {
                    Some('u') => {
                        let code: String = chars.by_ref().skip(1).take_while(|c| *c != '}').collect();
                        text.extend(u32::from_str_radix(&code, 16).ok().and_then(char::from_u32));
                    }
                    Some('n') => text.push('\n'),
                    Some(c) => text.push(c),
                    None => {}
                },
                c => text.push(c),
            }
        }
    }
    text.replace('\u{200b}', "")
}

#[test]
fn there_are_652_examples() {
    assert_eq!(examples().len(), 652);
}

#[test]
fn no_word_is_lost() {
    let mut lost = Vec::new();
    for example in examples() {
        let computed = reweigh::compute("example.md", example.markdown.as_bytes(), &Memory::default());
        let pictures = Pictures::default();
        let means =
            Means { pictures: &pictures, attachments: &[], glyph: &|_| Glyph::Everywhere, template: None };
        let source = typst_source(&computed.notebook, &computed.results, &means);
        let printed = literals(&source.main);
        let missing: Vec<String> =
            words(&example.html).into_iter().filter(|word| !printed.contains(word)).collect();
        if !missing.is_empty() {
            lost.push(format!("example {}: {missing:?}\n{}", example.number, example.markdown));
        }
    }
    assert!(lost.is_empty(), "{} examples lost words:\n{}", lost.len(), lost.join("\n"));
}

#[cfg(feature = "pdf")]
#[test]
fn every_example_is_set() {
    let mut failed = Vec::new();
    for example in examples() {
        let computed = reweigh::compute("example.md", example.markdown.as_bytes(), &Memory::default());
        let pdf = reweigh::report::pdf(&computed.notebook, &computed.results, &[], &Memory::default());
        if let Err(findings) = pdf {
            failed.push(format!("example {}: {findings:?}\n{}", example.number, example.markdown));
        }
    }
    assert!(failed.is_empty(), "{} of 652 examples were not set:\n{}", failed.len(), failed.join("\n"));
}
