//! Where a layout is while it runs, so that one that does not end can be stopped at its line.
//!
//! The layout is set once more with a probe before each of its statements: a read of a file that is not there, whose
//! name is the statement's place. The world that answers notes the place. This costs time, so it is done only
//! after a layout ran into a limit.

use typst::foundations::Bytes;
use typst::syntax::{LinkedNode, SyntaxKind, ast};

/// Where the places go.
type Note = Box<dyn Fn(&str, usize) + Send + Sync>;

static NOTE: std::sync::OnceLock<Note> = std::sync::OnceLock::new();

/// Has every passed probe noted, with file and byte, for the rest of the process.
pub fn note_places(note: Note) {
    drop(NOTE.set(note));
}

/// What a probe reads; `None` where a path is none.
pub(super) fn passed(path: &str) -> Option<Bytes> {
    let note = NOTE.get()?;
    let (file, offset) = path.strip_prefix("probe/")?.rsplit_once('/')?;
    note(file, offset.parse().ok()?);
    Some(Bytes::new(Vec::new()))
}

/// The text of a layout with a probe before each statement of its code.
pub fn with_probes(file: &str, text: &str) -> String {
    let root = typst::syntax::parse(text);
    let mut places = Vec::new();
    collect(&LinkedNode::new(&root), true, &mut places);
    places.sort_unstable_by_key(|(offset, _)| *offset);
    let mut probed = String::with_capacity(text.len() * 2);
    let mut at = 0;
    for (offset, markup) in places {
        probed.push_str(text.get(at..offset).unwrap_or(""));
        let hash = if markup { "#" } else { "" };
        probed.push_str(&format!("{hash}let _ = std.read(\"/probe/{file}/{offset}\"); "));
        at = offset;
    }
    probed.push_str(text.get(at..).unwrap_or(""));
    probed
}

/// The places before statements: in code blocks, and (`true`) before a `#` at the top of the file.
fn collect(node: &LinkedNode, top: bool, places: &mut Vec<(usize, bool)>) {
    let children: Vec<LinkedNode> = node.children().collect();
    for (index, child) in children.iter().enumerate() {
        let is_statement = node.kind() == SyntaxKind::Code && child.get().cast::<ast::Expr>().is_some();
        let opens = top
            && node.kind() == SyntaxKind::Markup
            && child.kind() == SyntaxKind::Hash
            && children.get(index + 1).is_some_and(|next| is_top_statement(next.kind()));
        if is_statement || opens {
            places.push((child.offset(), opens));
        }
        collect(child, top && node.kind() != SyntaxKind::Markup, places);
    }
}

fn is_top_statement(kind: SyntaxKind) -> bool {
    matches!(
        kind,
        SyntaxKind::LetBinding
            | SyntaxKind::SetRule
            | SyntaxKind::ShowRule
            | SyntaxKind::ModuleImport
            | SyntaxKind::ForLoop
            | SyntaxKind::WhileLoop
            | SyntaxKind::Conditional
            | SyntaxKind::FuncCall
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn statements_get_probes_and_the_text_stays() {
        let text = "#let f(n) = {\n  let x = 1\n  while true { x += 1 }\n  [a #x b]\n}\ntext #f(1)\n";
        let probed = with_probes("a.typ", text);
        let places: Vec<usize> = [0, 16, 28, 41, 52, 68].to_vec();
        let mut expected = text.to_owned();
        for place in places.iter().rev() {
            let hash = if text[*place..].starts_with('#') { "#" } else { "" };
            expected.insert_str(*place, &format!("{hash}let _ = std.read(\"/probe/a.typ/{place}\"); "));
        }
        assert_eq!(probed, expected);
    }
}
