//! The skeleton of a template that is not shipped, filled in a confined process.

use super::confined::{reason, run};
use crate::files::Memory;
use crate::finding::{Code, Finding};
use crate::template::skeleton::{SKELETON, Student, fill};
use crate::template::{Origin, Template, load};
use serde_json::{Value, json};
use std::collections::BTreeMap;

/// Most seconds that filling may take, for all students of a roster together.
const SECONDS: u64 = 60;

/// Fills the skeleton of a template for each student.
///
/// # Errors
///
/// A finding that names the line of the skeleton.
pub(super) fn fill_all(template: &Template, students: &[Student]) -> Result<Vec<String>, Box<Finding>> {
    if template.origin == Origin::Shipped {
        return students.iter().map(|student| fill(template, student)).collect();
    }
    let said = |message: String| {
        Box::new(Finding::error(Code::BadSkeleton, None, message).in_file(template.path(SKELETON)))
    };
    let run = run(&["skeleton"], question(template, students), SECONDS)
        .map_err(|error| said(format!("the process for the skeleton could not be started: {error}")))?;
    let answer = run.answer.as_deref().and_then(|answer| serde_json::from_slice::<Value>(answer).ok());
    let Some(answer) = answer else { return Err(said(reason("the skeleton", &run, SECONDS))) };
    let texts = |value: &Value| -> Vec<String> {
        let items = value.as_array().into_iter().flatten();
        items.filter_map(|item| item.as_str().map(str::to_owned)).collect()
    };
    match answer.get("filled") {
        Some(filled) => Ok(texts(filled)),
        None => {
            let mut finding = said(answer["message"].as_str().unwrap_or("it could not be filled").to_owned());
            let number = |key: &str| answer[key].as_u64().and_then(|number| usize::try_from(number).ok());
            finding.place = number("line").zip(number("column"));
            finding.hints = texts(&answer["hints"]);
            Err(finding)
        }
    }
}

fn question(template: &Template, students: &[Student]) -> Vec<u8> {
    let text = |bytes: &Vec<u8>| String::from_utf8_lossy(bytes).into_owned();
    let texts = ["template.toml", "local.toml", SKELETON];
    let files: BTreeMap<&str, String> =
        texts.into_iter().filter_map(|path| Some((path, text(template.files.get(path)?)))).collect();
    let one =
        |student: &Student| json!({ "name": student.name, "unknown": student.unknown, "row": student.row });
    let students: Vec<Value> = students.iter().map(one).collect();
    serde_json::to_vec(&json!({ "files": files, "students": students })).unwrap_or_default()
}

/// What the confined process answers.
pub(super) fn answer(bytes: &[u8]) -> Option<Vec<u8>> {
    let question: Value = serde_json::from_slice(bytes).ok()?;
    let map = |value: &Value| -> BTreeMap<String, String> {
        let entries = value.as_object().into_iter().flatten();
        entries.filter_map(|(key, text)| Some((key.clone(), text.as_str()?.to_owned()))).collect()
    };
    let files = map(&question["files"]).into_iter().map(|(path, text)| (path, text.into_bytes())).collect();
    let template = load(&Memory(files), Origin::Shipped);
    let word = |student: &Value, key: &str| student[key].as_str().unwrap_or_default().to_owned();
    let one = |student: &Value| Student {
        name: word(student, "name"),
        unknown: word(student, "unknown"),
        row: map(&student["row"]),
    };
    let students = question["students"].as_array()?.iter().map(one);
    let filled: Result<Vec<String>, Box<Finding>> =
        students.map(|student| fill(&template, &student)).collect();
    let answer = match filled {
        Ok(filled) => json!({ "filled": filled }),
        Err(finding) => json!({
            "message": finding.message,
            "hints": finding.hints,
            "line": finding.place.map(|(line, _)| line),
            "column": finding.place.map(|(_, column)| column),
        }),
    };
    serde_json::to_vec(&answer).ok()
}
