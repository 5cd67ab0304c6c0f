//! The examples of the CommonMark Spec 0.31.2 (`tests/commonmark/`).

/// An example.
pub struct Example {
    /// Its number, from 1.
    pub number: usize,
    /// What is written.
    pub markdown: String,
    /// What it comes to.
    pub html: String,
}

/// All of them.
pub fn examples() -> Vec<Example> {
    let text = include_str!("../commonmark/examples.txt");
    let fence = "`".repeat(32);
    let mut examples = Vec::new();
    let mut rest = text;
    while let Some((_, after)) = rest.split_once(&format!("{fence} example\n")) {
        let (body, after) = after.split_once(&format!("\n{fence}\n")).expect("an example has an end");
        let (markdown, html) = format!("{body}\n").replace('→', "\t").split_once("\n.\n").map_or_else(
            || (String::new(), body.to_owned()),
            |(markdown, html)| (markdown.to_owned() + "\n", html.to_owned()),
        );
        examples.push(Example { number: examples.len() + 1, markdown, html });
        rest = after;
    }
    examples
}
