//! The report as a page: what CommonMark asks for, nothing of a notebook that could mean anything to a browser, and a page
//! that needs nothing else.
//!
//! Each notebook of `tests/report_source` has the body of its page beside `tests/report_html` as `NAME.html`.
//! `REWEIGH_UPDATE=1 cargo test --test all report_html::` writes them anew; the difference is then to be read like any other change.

use crate::common::examples;

use reweigh::Computed;
use reweigh::files::{Files, Folder, Memory};
use reweigh::report::Attachment;
use reweigh::report::html::{carried, html};
use reweigh::review::report_file;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

fn page_of(name: &str, text: &str, files: &dyn Files) -> (String, Computed) {
    let computed = reweigh::compute(name, text.as_bytes(), files);
    let results = reweigh::evaluation::results_file(&computed.results, &computed.notebook.text);
    let attachments = [
        Attachment::source(name, text.as_bytes().to_vec()),
        Attachment::results("results.json", results.into_bytes()),
    ];
    let page = html(&computed.notebook, &computed.results, &attachments, files, computed.template.as_deref());
    (page.text, computed)
}

fn page(text: &str) -> String {
    page_of("notebook.md", text, &Memory::default()).0
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// The demo notebooks, those from templates among them.
fn demos() -> Vec<PathBuf> {
    let of = |folder: &str| std::fs::read_dir(root().join(folder)).expect("the folder is there");
    let files = of("notebooks").chain(of("notebooks/from-templates")).map(|entry| entry.unwrap().path());
    let mut demos: Vec<PathBuf> =
        files.filter(|path| path.extension().is_some_and(|ending| ending == "md")).collect();
    demos.retain(|path| path.file_stem().is_some_and(|name| name != "README"));
    demos.sort();
    demos
}

fn demo_page(path: &Path) -> (String, Computed) {
    let text = std::fs::read_to_string(path).expect("a demo is a text");
    let name = path.file_name().unwrap().to_string_lossy().into_owned();
    page_of(&name, &text, &Folder::new(path.parent().unwrap()))
}

/// The page without its style and without the files inside it.
fn body(page: &str) -> &str {
    let (_, body) = page.split_once("<body>\n").expect("a page has a body");
    body.split_once("<script").expect("files are inside").0
}

// ------------------------------------------------------------------------------------------------
// Tags and words
// ------------------------------------------------------------------------------------------------

#[derive(Clone, Debug, PartialEq, Eq)]
enum Token {
    Tag(String),
    Word(String),
}

/// Tags that carry the structure of a text.
const STRUCTURE: [&str; 12] =
    ["p", "blockquote", "ul", "ol", "li", "pre", "em", "strong", "hr", "br", "code", "h"];

/// The tags that carry structure, and the words between all tags. `Err` holds what is left open.
fn tokens(html: &str) -> Vec<Token> {
    let mut tokens = Vec::new();
    let mut rest = html;
    while let Some((text, after)) = rest.split_once('<') {
        words(text, &mut tokens);
        let (tag, after) = after.split_once('>').unwrap_or((after, ""));
        rest = after;
        let name: String = tag.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '/').collect();
        // An image by itself is a figure.
        let name = name.trim_start_matches('/').to_lowercase().replace("figure", "p");
        let heading = name.len() == 2 && name.starts_with('h') && name.as_bytes()[1].is_ascii_digit();
        let name = if heading { "h".to_owned() } else { name };
        if tag.contains("class=\"absent\"") || tag.contains("class=\"tick\"") {
            rest = rest.split_once("</span>").map_or("", |(_, after)| after);
        } else if tag == "figcaption" {
            rest = rest.split_once("</figcaption>").map_or("", |(_, after)| after);
        } else if STRUCTURE.contains(&name.as_str()) {
            let sign = if tag.starts_with('/') { "/" } else { "" };
            tokens.push(Token::Tag(format!("{sign}{name}")));
        }
    }
    words(rest, &mut tokens);
    tokens
}

fn words(text: &str, tokens: &mut Vec<Token>) {
    let text = text.replace("&quot;", "\"").replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&");
    let words = text.split(|c: char| !c.is_alphanumeric()).filter(|word| !word.is_empty());
    tokens.extend(words.map(|word| Token::Word(word.to_owned())));
}

fn tags(tokens: &[Token]) -> Vec<&str> {
    let mut tags: Vec<&str> = Vec::new();
    for token in tokens {
        let Token::Tag(tag) = token else { continue };
        // A heading that says nothing is not printed.
        if tag == "/h" && tags.last() == Some(&"h") {
            tags.pop();
        } else {
            tags.push(tag);
        }
    }
    tags
}

/// Whether the words of `wanted` stand in `found` in this order.
fn in_order(wanted: &[Token], found: &[Token]) -> bool {
    let mut found = found.iter().filter(|token| matches!(token, Token::Word(_)));
    wanted.iter().filter(|token| matches!(token, Token::Word(_))).all(|word| found.any(|other| other == word))
}

#[test]
fn every_example_of_commonmark_keeps_its_words_and_its_structure() {
    let mut wrong = Vec::new();
    for example in examples::examples() {
        let text = format!("```experiment\ntitle = \"–\"\n```\n\n{}", example.markdown);
        let page = page(&text);
        let main = page.split_once("<main>").expect("a page has a main part").1;
        let main = main.split("<section").next().unwrap_or("");
        let (wanted, found) = (tokens(&example.html), tokens(main));
        let raw = reweigh::compute("n.md", example.markdown.as_bytes(), &Memory::default());
        let raw = raw.notebook.items.iter().any(|item| format!("{item:?}").contains("Html"));
        let same = raw || tags(&wanted) == tags(&found);
        if !same || !in_order(&wanted, &found) {
            wrong.push(format!(
                "example {}:\n{}\n{}\n---\n{main}",
                example.number, example.markdown, example.html
            ));
        }
    }
    assert!(wrong.is_empty(), "{} examples differ:\n{}", wrong.len(), wrong.join("\n=====\n"));
}

// ------------------------------------------------------------------------------------------------
// Nothing of a notebook means anything to a browser
// ------------------------------------------------------------------------------------------------

/// A notebook in which every name is markup.
const HOSTILE: &str = r#"# <img src=x onerror=alert(1)>

```experiment
title = "<script>alert(1)</script> \" & '"
authors = ["<b>a</b>", "\"><svg onload=alert(1)>"]
date = 2026-01-02
course = "</title><script>alert(1)</script>"
sample = "<!-- <a href='javascript:alert(1)'>x</a> -->"

[balance."<i>B</i>"]
readability = "0.1 mg"
```

- [x] <script>check</script>

```masses
unit: g
balance: <i>B</i>
trial: <b>A</b> "B"
event: <script>event</script>
</td>cup: 20.1234 21.1234 [<script>remark</script>]
</td>cup + <script>x</script>: 21.1234 22.2234
```

[a](javascript:alert(1)) [b](https://example.org/"><script>) <div onclick=alert(1)>raw</div>

![<script>](<https://example.org/"onerror=x>) $\text{<script>}$ text[^n] &lt;script&gt;

[^n]: <script>note</script>
"#;

#[test]
fn names_that_look_like_tags_do_nothing() {
    let page = page(HOSTILE);
    let opened: Vec<&str> = page.match_indices("<script").map(|(at, _)| &page[at..at + 40]).collect();
    assert_eq!(opened.len(), 1, "{opened:?}");
    assert!(opened[0].starts_with("<script type=\"application/json\""));
    let head = page.split_once("</style>").unwrap().1;
    for (at, _) in head.match_indices('<') {
        let tag: String = head[at + 1..].chars().take_while(|c| *c != '>').collect();
        let name: String = tag.chars().take_while(|c| c.is_ascii_alphanumeric() || *c == '/').collect();
        assert!(!name.is_empty() && name.is_ascii(), "a tag without a name: <{tag}>");
        assert!(!tag.contains(" on") || tag.contains("=\""), "<{tag}>");
        let bare = tag.split('"').step_by(2).collect::<String>();
        assert!(
            !bare.contains("onload") && !bare.contains("onerror") && !bare.contains("onclick"),
            "<{tag}>"
        );
        assert!(!tag.to_lowercase().contains("href=\"javascript"), "<{tag}>");
    }
}

#[test]
fn a_page_needs_nothing_from_outside() {
    for path in demos() {
        let (page, _) = demo_page(&path);
        let shown = body(&page);
        for attribute in ["src=\"", "poster=\"", "data=\"", "srcset=\""] {
            for (at, _) in shown.match_indices(&format!(" {attribute}")) {
                let value = &shown[at + 1 + attribute.len()..];
                assert!(value.starts_with("data:"), "{}: {}", path.display(), &value[..60.min(value.len())]);
            }
        }
        assert!(!shown.contains("<link") && !shown.contains("<iframe") && !shown.contains("url("));
        assert!(page.contains("default-src 'none'"));
    }
}

#[test]
fn every_id_is_there_once_and_every_reference_leads_to_one() {
    for path in demos() {
        let (page, _) = demo_page(&path);
        let page = body(&page);
        let values = |attribute: &str| -> Vec<String> {
            let wanted = format!(" {attribute}=\"");
            let at = page.match_indices(&wanted).map(|(at, _)| at + wanted.len());
            at.map(|at| page[at..].split('"').next().unwrap_or("").to_owned()).collect()
        };
        let all = values("id");
        let ids: BTreeSet<&String> = all.iter().collect();
        assert_eq!(ids.len(), all.len(), "{}: an id twice", path.display());
        let links = values("href").into_iter().filter_map(|to| to.strip_prefix('#').map(str::to_owned));
        let named = values("aria-labelledby").into_iter().chain(values("aria-describedby"));
        for reference in links.chain(named) {
            assert!(ids.contains(&reference), "{}: nothing is #{reference}", path.display());
        }
    }
}

// ------------------------------------------------------------------------------------------------
// A page that is handed in
// ------------------------------------------------------------------------------------------------

#[test]
fn a_page_carries_its_notebook_and_is_consistent_with_itself() {
    for path in demos() {
        let (page, _) = demo_page(&path);
        let notebook = std::fs::read(&path).unwrap();
        assert_eq!(carried(&page).unwrap()[0].bytes, notebook, "{}", path.display());
        let report = report_file::open(page.as_bytes()).expect("a page can be opened");
        let computed = report_file::for_author(&report);
        assert!(report_file::results_agree(&report, &computed).is_empty(), "{}", path.display());
        let said = report_file::page_agrees(page.as_bytes(), &report, &computed);
        assert!(said.iter().all(|finding| finding.message.contains("byte for byte")), "{said:?}");
    }
}

#[test]
fn a_page_that_was_changed_is_told() {
    let (page, computed) = demo_page(&root().join("notebooks/selenite.md"));
    let changed = page.replacen("20.85", "20.92", 1);
    let report = report_file::open(changed.as_bytes()).unwrap();
    let said = report_file::page_agrees(changed.as_bytes(), &report, &computed);
    assert!(said.iter().any(|finding| finding.message.contains("something was changed at line")), "{said:?}");
}

// ------------------------------------------------------------------------------------------------
// As text
// ------------------------------------------------------------------------------------------------

/// The body with a line for each element that opens, so that differences can be read.
fn laid_out(page: &str) -> String {
    let body = body(page).replace("><", ">\n<");
    body.lines().map(str::trim_end).filter(|line| !line.is_empty()).collect::<Vec<_>>().join("\n") + "\n"
}

#[test]
fn the_pages_of_a_few_notebooks() {
    let names = [
        "two-trials",
        "ignition-with-event",
        "uncertainty-in-full",
        "prose",
        "reactions-and-mixture",
        "empty",
    ];
    for name in names {
        let text =
            std::fs::read_to_string(root().join("tests/report_source").join(name).with_extension("md"));
        let laid_out = laid_out(&page(&text.expect("the notebook is there")));
        let kept = root().join("tests/report_html").join(name).with_extension("html");
        if std::env::var_os("REWEIGH_UPDATE").is_some() {
            std::fs::write(&kept, &laid_out).expect("the page is written");
        }
        let expected = std::fs::read_to_string(&kept).unwrap_or_default();
        assert!(laid_out == expected, "the page of {name} differs from {}:\n{laid_out}", kept.display());
    }
}

#[test]
fn the_same_notebook_gives_the_same_page() {
    let (one, _) = demo_page(&root().join("notebooks/china-clay.md"));
    let (two, _) = demo_page(&root().join("notebooks/china-clay.md"));
    assert_eq!(one, two);
}
