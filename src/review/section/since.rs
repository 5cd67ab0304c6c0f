//! What changed since an earlier run: each mark, from what to what, and why. Nothing is lowered unsaid.

use super::row::{MarkOfRow, Row, TemplateOfRow};
use crate::quantity::Decimal;
use serde::Deserialize;
use std::collections::BTreeMap;

/// As much of an earlier section file as is compared.
#[derive(Clone, Debug, Deserialize)]
pub struct Earlier {
    schema: String,
    program: Program,
    rows: Vec<EarlierRow>,
}

#[derive(Clone, Debug, Deserialize)]
struct Program {
    version: String,
}

#[derive(Clone, Debug, Deserialize)]
struct EarlierRow {
    file: String,
    sha256: Option<String>,
    unknown: Option<String>,
    template: Option<TemplateOfRow>,
    marks: Option<EarlierMarks>,
    results: Vec<EarlierResult>,
    decided: Vec<super::row::DecidedOfRow>,
}

#[derive(Clone, Debug, Deserialize)]
struct EarlierMarks {
    items: Vec<MarkOfRow>,
}

#[derive(Clone, Debug, Deserialize)]
struct EarlierResult {
    of: String,
    reference: super::row::ReferenceOfRow,
}

/// One mark that is another than before.
#[derive(Clone, Debug, PartialEq)]
pub struct Change {
    /// The notebook's file.
    pub file: String,
    /// The item; `None` is the notebook as a whole.
    pub item: Option<String>,
    /// The points before; `None` where they were not decided.
    pub was: Option<String>,
    /// The points now; `None` where they are not decided.
    pub now: Option<String>,
    /// Whether there are fewer points than before, or points that were given are open again.
    pub lowered: bool,
    /// Why.
    pub why: String,
}

impl Earlier {
    /// Reads an earlier section file.
    ///
    /// # Errors
    ///
    /// A sentence without the file's name: it is no such file.
    pub fn read(bytes: &[u8]) -> Result<Self, String> {
        let earlier: Earlier =
            serde_json::from_slice(bytes).map_err(|error| format!("is no section file: {error}"))?;
        match earlier.schema == super::forms::SCHEMA {
            true => Ok(earlier),
            false => Err(format!("is a file of the form {}, not {}", earlier.schema, super::forms::SCHEMA)),
        }
    }
}

/// Compares rows with those of an earlier run, one at a time.
pub struct Comparison<'a> {
    earlier: &'a Earlier,
    by_hash: BTreeMap<&'a str, usize>,
    by_file: BTreeMap<&'a str, usize>,
    seen: Vec<bool>,
    changes: Vec<Change>,
}

impl<'a> Comparison<'a> {
    /// A comparison with an earlier run.
    pub fn new(earlier: &'a Earlier) -> Self {
        let rows = || earlier.rows.iter().enumerate().rev();
        Comparison {
            by_hash: rows().filter_map(|(at, row)| Some((row.sha256.as_deref()?, at))).collect(),
            by_file: rows().map(|(at, row)| (row.file.as_str(), at)).collect(),
            seen: vec![false; earlier.rows.len()],
            changes: Vec::new(),
            earlier,
        }
    }

    /// Compares one row: with the earlier one of the same file, else of the same notebook.
    pub fn add(&mut self, row: &Row) {
        let of_file = self.by_file.get(row.file.as_str());
        let of_hash = row.sha256.as_deref().and_then(|sha256| self.by_hash.get(sha256));
        let Some(at) = of_file.or(of_hash).copied() else { return };
        self.seen[at] = true;
        let was = &self.earlier.rows[at];
        let (before, now) =
            (items(was.marks.as_ref().map(|m| &m.items)), items(row.marks.as_ref().map(|m| &m.items)));
        let names =
            now.iter().chain(before.iter().filter(|(name, _)| !now.iter().any(|(other, _)| other == name)));
        for (name, _) in names {
            let mark = |marks: &[(String, MarkOfRow)]| {
                marks.iter().find(|(other, _)| other == name).map(|(_, m)| m.clone())
            };
            let (old, new) = (mark(&before), mark(&now));
            let points = |mark: &Option<MarkOfRow>| mark.as_ref().and_then(|mark| mark.points.clone());
            if points(&old) != points(&new) || old.is_some() != new.is_some() {
                let why = self.why(was, row, name, old.as_ref(), new.as_ref());
                let (was, now) = (points(&old), points(&new));
                let lowered = is_lower(was.as_deref(), now.as_deref());
                self.changes.push(Change {
                    file: row.file.clone(),
                    item: Some(name.clone()),
                    was,
                    now,
                    lowered,
                    why,
                });
            }
        }
    }

    /// Why the points of an item are others, as far as the two files tell.
    fn why(
        &self,
        was: &EarlierRow,
        row: &Row,
        item: &str,
        old: Option<&MarkOfRow>,
        new: Option<&MarkOfRow>,
    ) -> String {
        let mut reasons: Vec<String> = Vec::new();
        if was.sha256 != row.sha256 {
            reasons.push("the notebook is another one".into());
        }
        if was.unknown != row.unknown {
            reasons.push("the notebook names another unknown".into());
        }
        reasons.extend(template_changed(was.template.as_ref(), row.template.as_ref()));
        if item.starts_with("accuracy of ") {
            reasons.extend(reference_changed(was, row, item));
        }
        let decided = |all: &[super::row::DecidedOfRow]| -> Vec<String> {
            all.iter().map(|one| format!("{}: {}", one.about, one.decision)).collect()
        };
        let (before, now) = (decided(&was.decided), decided(&row.decided));
        reasons.extend(now.iter().filter(|one| !before.contains(one)).map(|one| format!("decided: {one}")));
        reasons.extend(
            before.iter().filter(|one| !now.contains(one)).map(|one| format!("no longer decided: {one}")),
        );
        if self.earlier.program.version != env!("CARGO_PKG_VERSION") {
            reasons.push(format!("reviewed by version {} before", self.earlier.program.version));
        }
        if let (Some(old), Some(new)) = (old, new)
            && old.why != new.why
        {
            reasons.push(format!("“{}” is now “{}”", old.why, new.why));
        }
        match reasons.is_empty() {
            true => "the two files do not tell why".to_owned(),
            false => reasons.join("; "),
        }
    }

    /// The changes, those that lower a mark first, and the notebooks of before that have no row any more.
    pub fn finish(mut self) -> Vec<Change> {
        let gone =
            self.earlier.rows.iter().zip(&self.seen).filter(|(row, seen)| !**seen && row.marks.is_some());
        let gone: Vec<Change> = gone
            .map(|(row, _)| Change {
                file: row.file.clone(),
                item: None,
                was: None,
                now: None,
                lowered: true,
                why: "it had marks before, and is not among the notebooks any more".to_owned(),
            })
            .collect();
        self.changes.extend(gone);
        self.changes.sort_by_key(|change| !change.lowered);
        self.changes
    }
}

fn items(marks: Option<&Vec<MarkOfRow>>) -> Vec<(String, MarkOfRow)> {
    marks.into_iter().flatten().map(|mark| (mark.item.clone(), mark.clone())).collect()
}

fn is_lower(was: Option<&str>, now: Option<&str>) -> bool {
    let number = |text: &str| Decimal::parse(text, false).ok().map(|decimal| decimal.to_number());
    match (was.and_then(number), now.and_then(number)) {
        (Some(was), Some(now)) => now < was,
        (Some(was), None) => !was.is_zero(),
        _ => false,
    }
}

fn template_changed(was: Option<&TemplateOfRow>, now: Option<&TemplateOfRow>) -> Option<String> {
    let said = |template: Option<&TemplateOfRow>| {
        template.map_or("no template".to_owned(), |template| format!("{} {}", template.id, template.version))
    };
    let hash = |template: Option<&TemplateOfRow>| template.map(|template| template.sha256.clone());
    let marks =
        |template: Option<&TemplateOfRow>| template.and_then(|template| template.marks_sha256.clone());
    let (before, after) = (said(was), said(now));
    if before != after {
        return Some(format!("the template was {before} and is {after}"));
    }
    match (hash(was) != hash(now), marks(was) != marks(now)) {
        (true, true) => Some(format!("the template {after} and its marks were changed")),
        (true, false) => Some(format!("the template {after} was changed")),
        (false, true) => Some(format!("the marks of {after} were changed")),
        (false, false) => None,
    }
}

fn reference_changed(was: &EarlierRow, row: &Row, item: &str) -> Option<String> {
    let of = item.strip_prefix("accuracy of ")?;
    let before = was.results.iter().find(|result| result.of == of).map(|result| &result.reference);
    let after = row.results.iter().find(|result| result.of == of).map(|result| &result.reference);
    let value = |reference: Option<&super::row::ReferenceOfRow>| {
        let reference = reference?;
        let unit = reference.unit.as_deref().unwrap_or("");
        Some(format!("{} {unit}", reference.value.as_ref()?).trim_end().to_owned())
    };
    let unknown = row.unknown.as_deref().unwrap_or("the unknown");
    match (value(before), value(after)) {
        (None, Some(now)) => Some(format!("the reference value of {unknown} was released: {now}")),
        (Some(was), None) => {
            Some(format!("the reference value of {unknown}, {was}, is not released any more"))
        }
        (Some(was), Some(now)) if was != now => {
            Some(format!("the reference value of {unknown} was {was} and is {now}"))
        }
        _ => None,
    }
}
