//! A roster: one line for each student or bench, from a CSV file, with file names that are safe anywhere.

use super::skeleton::Student;
use std::collections::BTreeMap;

/// Most lines of a roster.
const MOST_LINES: usize = 5_000;
/// Most bytes of a file name, its ending left out.
const MOST_NAME: usize = 80;

/// One line of a roster.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Entry {
    /// The file name of the notebook.
    pub file: String,
    /// For whom it is.
    pub student: Student,
}

/// Reads the text of a roster. Lines without a name are passed over; there is at least one entry.
///
/// # Errors
///
/// A sentence that names the line.
pub fn read(text: &str) -> Result<Vec<Entry>, String> {
    let entries = entries(text.trim_start_matches('\u{feff}'))?;
    match entries.is_empty() {
        true => Err("no line has a name".to_owned()),
        false => Ok(entries),
    }
}

fn entries(text: &str) -> Result<Vec<Entry>, String> {
    let first = text.lines().next().unwrap_or("");
    let delimiter = if first.contains(';') && !first.contains(',') { b';' } else { b',' };
    let mut reader =
        csv::ReaderBuilder::new().delimiter(delimiter).trim(csv::Trim::All).from_reader(text.as_bytes());
    let heads: Vec<String> =
        reader.headers().map_err(|error| error.to_string())?.iter().map(str::to_lowercase).collect();
    if !heads.iter().any(|head| head == "name") {
        return Err(format!("the first line has no column `name`; found `{}`", heads.join("`, `")));
    }
    let mut taken: BTreeMap<String, (u64, String)> = BTreeMap::new();
    let mut found = Vec::new();
    for record in reader.records() {
        let record = record.map_err(|error| error.to_string())?;
        let line = record.position().map_or(0, csv::Position::line);
        let row: BTreeMap<String, String> =
            heads.iter().cloned().zip(record.iter().map(str::to_owned)).collect();
        let get = |key: &str| row.get(key).cloned().unwrap_or_default();
        let (name, file) = (get("name"), get("file"));
        if name.is_empty() {
            continue;
        }
        let file = file_name(if file.is_empty() { &name } else { file.trim_end_matches(".md") });
        let Some(file) = file else {
            return Err(format!("line {line}: no file can be named after “{name}”; add a column `file`"));
        };
        if let Some((other, other_name)) = taken.insert(file.to_lowercase(), (line, name.clone())) {
            return Err(format!(
                "lines {other} (“{other_name}”) and {line} (“{name}”) would both be {file}; add a column `file` that tells them apart"
            ));
        }
        found.push(Entry { file, student: Student { name, unknown: get("unknown"), row } });
        if found.len() > MOST_LINES {
            return Err(format!("more than {MOST_LINES} lines"));
        }
    }
    Ok(found)
}

/// A name as a file name: letters and digits of any script, `-` for everything else.
fn file_name(name: &str) -> Option<String> {
    let mut safe = String::new();
    for c in name.chars() {
        let c = if c.is_alphanumeric() || c == '_' { c } else { '-' };
        if !(c == '-' && (safe.is_empty() || safe.ends_with('-'))) && safe.len() + c.len_utf8() <= MOST_NAME {
            safe.push(c);
        }
    }
    let safe = safe.trim_end_matches('-');
    if safe.is_empty() {
        return None;
    }
    // Names of devices that some systems do not take as files.
    let lower = safe.to_lowercase();
    let device = matches!(lower.as_str(), "con" | "prn" | "aux" | "nul")
        || (lower.len() == 4
            && (lower.starts_with("com") || lower.starts_with("lpt"))
            && lower.ends_with(|c: char| c.is_ascii_digit()));
    Some(if device { format!("{safe}-1.md") } else { format!("{safe}.md") })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_become_safe_file_names() {
        let name = |text| file_name(text).unwrap_or_default();
        assert_eq!(name("Zoë O’Neil, 2nd"), "Zoë-O-Neil-2nd.md");
        assert_eq!(name("../../etc/passwd"), "etc-passwd.md");
        assert_eq!(name("CON"), "CON-1.md");
        assert_eq!(name("   "), "");
        assert!(name(&"é".repeat(300)).len() <= MOST_NAME + 3);
    }

    #[test]
    fn lines_become_entries_and_duplicates_are_told() {
        let found = entries("name,unknown\nBench 1,U-7\nBench 2,\n,\n").expect("a roster");
        assert_eq!(found.len(), 2);
        assert_eq!((found[0].file.as_str(), found[0].student.unknown.as_str()), ("Bench-1.md", "U-7"));
        let twice = entries("name;unknown\nLee;1\nLEE;2\n").expect_err("two of one name");
        assert!(twice.contains("lines 2 (“Lee”) and 3 (“LEE”)"), "{twice}");
        assert!(entries("student\nA\n").expect_err("no name").contains("no column `name`"));
    }
}
