//! What a person decided: `decisions.toml`, keyed by the hash of the notebook and the claim or item.
//!
//! ```toml
//! [[decision]]
//! notebook = "5d41402abc4b"            # SHA-256 of the notebook, its first 12 digits or more
//! file     = "bench-07.md"             # for people, and to say which notebook has changed since
//! claim    = "w(water)[B]"
//! verdict  = "agrees"                  # or "differs"
//! reason   = "the printout of the balance shows 18.9381 g"
//!
//! [[decision]]
//! notebook = "5d41402abc4b"
//! mark     = "Discussion"              # an item of the template's marks
//! points   = 1.5
//! ```
//!
//! A decision about a notebook that has changed since is not applied, and that is said. One whose verdict or points are left
//! blank (`""`) has not been made yet.

use crate::finding::{Code, Finding};
use crate::quantity::{Decimal, Number};
use crate::span::Span;
use crate::template::marks::Marks;
use toml::de::{DeTable, DeValue};

/// Fewest digits of a hash that name a notebook.
pub const FEWEST_DIGITS: usize = 12;
const KEYS: [&str; 7] = ["notebook", "file", "claim", "mark", "verdict", "points", "reason"];

/// One decision.
#[derive(Clone, Debug, PartialEq)]
pub struct Decision {
    /// The SHA-256 of the notebook, or how it begins (small letters).
    pub notebook: String,
    /// The file it was about.
    pub file: Option<String>,
    /// What was decided.
    pub what: Decided,
    /// Why.
    pub reason: Option<String>,
    /// The line it stands on, from 1.
    pub line: usize,
}

/// What was decided.
#[derive(Clone, Debug, PartialEq)]
pub enum Decided {
    /// Whether a claim counts as right.
    Verdict {
        /// The claim (`w(water)[B]`, `mean w(water)`).
        claim: String,
        /// Whether it counts as right.
        right: bool,
    },
    /// The points of an item.
    Points {
        /// The item.
        mark: String,
        /// The points.
        points: Number,
    },
}

impl Decided {
    /// What the decision is about.
    pub fn about(&self) -> &str {
        match self {
            Decided::Verdict { claim, .. } => claim,
            Decided::Points { mark, .. } => mark,
        }
    }
}

/// The decisions of a file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Decisions {
    /// The file, as findings name it.
    pub name: String,
    /// In the order written.
    pub list: Vec<Decision>,
}

impl Decisions {
    /// The decisions about a notebook, with their places in the list.
    pub fn of<'a>(&'a self, sha256: &'a str) -> impl Iterator<Item = (usize, &'a Decision)> {
        self.list.iter().enumerate().filter(move |(_, decision)| sha256.starts_with(&decision.notebook))
    }

    /// Whether a decision says that it is about one of these files (each with its hash).
    pub fn names_any(&self, at: usize, files: &[(String, String)]) -> bool {
        let named = self.list.get(at).and_then(|decision| decision.file.as_ref());
        named.is_some_and(|named| files.iter().any(|(file, _)| is_file(file, named)))
    }

    /// A finding at the line of a decision.
    pub fn say(&self, at: usize, message: String) -> Finding {
        let mut finding = Finding::warning(Code::StaleDecision, None, message).in_file(&*self.name);
        finding.place = self.list.get(at).map(|decision| (decision.line, 1));
        finding
    }

    /// What there is to say of the decisions that no notebook took: `used` are the places in the list of those that one
    /// did, `hashes` the notebooks by their files.
    pub fn left_over(&self, used: &[bool], hashes: &[(String, String)]) -> Vec<Finding> {
        let unused = self.list.iter().enumerate().filter(|(at, _)| !used.get(*at).copied().unwrap_or(false));
        let one = |(at, decision): (usize, &Decision)| {
            let about = decision.what.about();
            let named = |file: &String| hashes.iter().find(|(other, _)| is_file(other, file));
            let message = match decision.file.as_ref().map(|file| (file, named(file))) {
                Some((file, Some((_, hash)))) => format!(
                    "{file} has changed since {about} was decided: its hash is now {}; the decision is not applied",
                    hash.get(..FEWEST_DIGITS).unwrap_or(hash)
                ),
                Some((file, None)) => {
                    format!("{file} is not among the notebooks; the decision about {about} is not applied")
                }
                None => format!("no notebook has this hash; the decision about {about} is not applied"),
            };
            let finding = self.say(at, message);
            finding.hint("look at the notebook again, then enter its hash, or take the decision out")
        };
        unused.map(one).collect()
    }
}

/// Whether a path is the one named, in full or by its last parts.
fn is_file(path: &str, named: &str) -> bool {
    let (path, named) = (path.replace('\\', "/"), named.replace('\\', "/"));
    path == named || path.ends_with(&format!("/{named}"))
}

/// Reads a file of decisions; what cannot be used is said at its place and left out.
pub fn read(name: &str, text: &str) -> (Decisions, Vec<Finding>) {
    let text = text.trim_start_matches('\u{feff}');
    let mut findings = Vec::new();
    let (table, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        let place = error.span().map(Span::from);
        let message = error.message().trim().replace('\n', "; ").to_lowercase();
        findings.push(Finding::error(Code::BadToml, place, message));
    }
    let mut list = Vec::new();
    if errors.is_empty() {
        for (key, value) in table.get_ref().iter() {
            match (key.get_ref().as_ref(), value.get_ref()) {
                ("decision", DeValue::Array(entries)) => {
                    let each = entries.iter().filter_map(|entry| entry_of(entry, text, &mut findings));
                    list = each.collect();
                }
                _ => {
                    let message = format!("the key `{}` is not known", key.get_ref());
                    let finding = Finding::warning(Code::UnknownKey, Span::from(key.span()), message);
                    findings.push(finding.hint("each decision begins with `[[decision]]`"));
                }
            }
        }
    }
    let findings = findings.into_iter().map(|finding| finding.in_text(name, text)).collect();
    let mut decisions = Decisions { name: name.to_owned(), list };
    let mut findings: Vec<Finding> = findings;
    findings.extend(decisions.without_contradictions());
    (decisions, findings)
}

impl Decisions {
    /// Two decisions about one thing take each other away.
    fn without_contradictions(&mut self) -> Vec<Finding> {
        let same = |a: &Decision, b: &Decision| {
            let hashes = a.notebook.starts_with(&b.notebook) || b.notebook.starts_with(&a.notebook);
            hashes && a.what.about() == b.what.about()
        };
        let twice =
            |at: usize| (0..self.list.len()).find(|o| *o != at && same(&self.list[at], &self.list[*o]));
        let others: Vec<Option<usize>> = (0..self.list.len()).map(twice).collect();
        let one = |(at, other): (usize, usize)| {
            let (decision, line) = (&self.list[at], self.list[other].line);
            let about = decision.what.about();
            self.say(at, format!("{about} is decided here and on line {line}; neither is applied"))
        };
        let pairs = others.iter().enumerate().filter_map(|(at, other)| Some((at, (*other)?)));
        let findings: Vec<Finding> = pairs.map(one).collect();
        let mut keep = others.iter().map(Option::is_none);
        self.list.retain(|_| keep.next().unwrap_or(true));
        findings
    }
}

fn entry_of(entry: &toml::Spanned<DeValue<'_>>, text: &str, findings: &mut Vec<Finding>) -> Option<Decision> {
    let place = Span::from(entry.span());
    let DeValue::Table(table) = entry.get_ref() else {
        findings.push(Finding::error(Code::BadSetting, place, "a decision is a table: `[[decision]]`"));
        return None;
    };
    for (key, _) in table.iter().filter(|(key, _)| !KEYS.contains(&key.get_ref().as_ref())) {
        let message = format!("the key `{}` of a decision is not known", key.get_ref());
        let finding = Finding::warning(Code::UnknownKey, Span::from(key.span()), message);
        findings.push(finding.hint(format!("known are `{}`", KEYS.join("`, `"))));
    }
    if is_blank(table) {
        return None;
    }
    match decision(table, place, text) {
        Ok(decision) => Some(decision),
        Err((span, message)) => {
            findings.push(Finding::error(Code::BadSetting, span, format!("{message}; it is not applied")));
            None
        }
    }
}

/// Whether everything that would decide is there to be filled in and left blank.
fn is_blank(table: &DeTable) -> bool {
    let blank = |key: &str| {
        let value = table.get(key).map(|value| value.get_ref());
        value.map(|value| matches!(value, DeValue::String(text) if text.trim().is_empty()))
    };
    let decides = [blank("verdict"), blank("points"), blank("reason")];
    (decides[0].is_some() || decides[1].is_some()) && decides.into_iter().flatten().all(|blank| blank)
}

fn decision(table: &DeTable, place: Span, text: &str) -> Result<Decision, (Span, String)> {
    let at = |key: &str| table.get(key).map_or(place, |value| value.span().into());
    let words = |key: &str| match table.get(key).map(|value| value.get_ref()) {
        None => Ok(None),
        Some(DeValue::String(words)) if !words.trim().is_empty() => Ok(Some(words.trim().to_owned())),
        Some(DeValue::String(_)) => Err((at(key), format!("`{key}` is blank"))),
        Some(_) => Err((at(key), format!("`{key}` is a text in quotation marks"))),
    };
    let notebook = words("notebook")?.unwrap_or_default().to_lowercase();
    if notebook.len() < FEWEST_DIGITS || !notebook.chars().all(|c| c.is_ascii_hexdigit()) {
        let message =
            format!("`notebook` is the SHA-256 of a notebook, its first {FEWEST_DIGITS} digits or more");
        return Err((at("notebook"), message));
    }
    let reason = words("reason")?;
    let what = match (words("claim")?, words("mark")?) {
        (Some(claim), None) => {
            let right = match words("verdict")?.as_deref() {
                Some("agrees") => true,
                Some("differs") => false,
                _ => return Err((at("verdict"), "`verdict` is `agrees` or `differs`".to_owned())),
            };
            if reason.is_none() {
                return Err((place, format!("the verdict on {claim} needs a `reason`")));
            }
            Decided::Verdict { claim, right }
        }
        (None, Some(mark)) => {
            let points = points(table).ok_or_else(|| {
                (at("points"), "`points` is a number, not below zero, such as `1.5`".to_owned())
            })?;
            Decided::Points { mark, points }
        }
        _ => return Err((place, "a decision has either a `claim` or a `mark`".to_owned())),
    };
    let line = text.get(..place.start).map_or(1, |before| before.matches('\n').count() + 1);
    Ok(Decision { notebook, file: words("file")?, what, reason, line })
}

fn points(table: &DeTable) -> Option<Number> {
    let written = match table.get("points")?.get_ref() {
        DeValue::Integer(number) => number.as_str(),
        DeValue::Float(number) => number.as_str(),
        _ => return None,
    };
    let number = Decimal::parse(written, false).ok()?.to_number();
    (!number.is_negative()).then_some(number)
}

/// What there is to say of a decision about points that the marks do not bear; `None` where they do.
pub fn fits(decision: &Decision, marks: &Marks) -> Option<String> {
    let Decided::Points { mark, points } = &decision.what else { return None };
    match marks.item(mark) {
        None => {
            let names: Vec<&str> = marks.items.iter().map(|item| item.name.as_str()).collect();
            Some(format!("no item is called `{mark}`; there are `{}`", names.join("`, `")))
        }
        Some(item) if *points > item.points => {
            let most = crate::review::marks::points_text(&item.points);
            Some(format!("`{mark}` gives {most} points at most"))
        }
        Some(_) => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const HASH: &str = "0123456789ab";

    fn said(text: &str) -> Vec<String> {
        read("d.toml", text)
            .1
            .iter()
            .map(|f| format!("{} {}", f.elsewhere().unwrap_or_default(), f.message))
            .collect()
    }

    #[test]
    fn verdicts_and_points_are_read() {
        let text = format!(
            "[[decision]]\nnotebook = \"{HASH}\"\nclaim = \"w(water)[B]\"\nverdict = \"agrees\"\nreason = \"seen\"\n\n\
             [[decision]]\nnotebook = \"{HASH}\"\nfile = \"a.md\"\nmark = \"Discussion\"\npoints = 1.5\n"
        );
        let (decisions, findings) = read("d.toml", &text);
        assert!(findings.is_empty(), "{findings:?}");
        assert_eq!(decisions.list[0].what, Decided::Verdict { claim: "w(water)[B]".into(), right: true });
        assert_eq!(decisions.list[1].line, 7);
        assert_eq!(decisions.of(&format!("{HASH}cdef")).count(), 2);
        assert_eq!(decisions.of("ffff456789ab").count(), 0);
    }

    #[test]
    fn what_cannot_be_used_is_said_at_its_line() {
        assert!(said("[[decision]]\nnotebook = \"12\"\n")[0].starts_with("d.toml:2:"));
        let needs = format!("[[decision]]\nnotebook = \"{HASH}\"\nclaim = \"x\"\nverdict = \"agrees\"\n");
        assert!(said(&needs)[0].contains("needs a `reason`"));
        let both = format!("[[decision]]\nnotebook = \"{HASH}\"\nclaim = \"x\"\nmark = \"y\"\n");
        assert!(said(&both)[0].contains("either a `claim` or a `mark`"));
        let points = format!("[[decision]]\nnotebook = \"{HASH}\"\nmark = \"y\"\npoints = -1\n");
        assert!(said(&points)[0].contains("not below zero"));
        assert!(said("[decision]\n")[0].contains("is not known"));
        assert!(said("[[decision\n")[0].starts_with("d.toml:1:"));
    }

    #[test]
    fn what_is_left_blank_decides_nothing() {
        let head = format!("[[decision]]\nnotebook = \"{HASH}\"\n");
        let blank = format!(
            "{head}claim = \"x\"\nverdict = \"\"\nreason = \" \"\n{head}mark = \"y\"\npoints = \"\"\n"
        );
        let (decisions, findings) = read("d.toml", &blank);
        assert!(decisions.list.is_empty() && findings.is_empty(), "{findings:?}");
        let half = format!("{head}claim = \"x\"\nverdict = \"\"\nreason = \"seen\"\n");
        assert!(said(&half)[0].contains("`verdict`"), "{:?}", said(&half));
    }

    #[test]
    fn two_decisions_about_one_thing_are_not_applied() {
        let one = format!("[[decision]]\nnotebook = \"{HASH}\"\nmark = \"y\"\npoints = 1\n");
        let (decisions, findings) = read("d.toml", &format!("{one}{one}"));
        assert!(decisions.list.is_empty());
        assert!(findings[0].message.contains("decided here and on line 5"), "{findings:?}");
    }

    #[test]
    fn a_decision_about_a_changed_notebook_is_told() {
        let text =
            format!("[[decision]]\nnotebook = \"{HASH}\"\nfile = \"a.md\"\nmark = \"y\"\npoints = 1\n");
        let (decisions, _) = read("d.toml", &text);
        let hashes = [("folder/a.md".to_owned(), "f".repeat(64))];
        let said = decisions.left_over(&[false], &hashes);
        assert!(said[0].message.contains("a.md has changed since y was decided"), "{said:?}");
        assert!(decisions.left_over(&[true], &hashes).is_empty());
    }
}
