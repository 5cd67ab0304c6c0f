//! `method.md`: the instructor's own formulas.

use super::model::Template;
use crate::finding::{Code, Finding};
use crate::notebook::blocks::{Block, BlockKind};
use crate::notebook::read_blocks;
use crate::notebook::settings::DecimalMark;

/// The path of the method in its folder.
pub const METHOD: &str = "method.md";

/// Reads the method's blocks; what does not belong there is said and left out.
pub(super) fn read(template: &mut Template) {
    if template.method_text.is_empty() {
        return;
    }
    let comma = template.rules.decimal == DecimalMark::Comma;
    let (blocks, findings) = read_blocks(&template.method_text, comma);
    let (kept, others): (Vec<Block>, Vec<Block>) = blocks.into_iter().partition(is_of_a_method);
    let stray = |block: &Block| {
        let message = "this block does not belong in a method";
        let finding = Finding::error(Code::BadTemplate, block.span, message);
        finding.hint("a method holds `working`, `theory`, `reaction` and `mixture` blocks, and prose")
    };
    let mut said: Vec<Finding> = findings.into_iter().chain(others.iter().map(stray)).collect();
    if kept.is_empty() {
        said.push(Finding::error(Code::BadTemplate, None, "the method holds no formula"));
    }
    template.method = kept;
    let text = &template.method_text;
    template.findings.extend(said.into_iter().map(|finding| finding.in_text(METHOD, text)));
}

fn is_of_a_method(block: &Block) -> bool {
    matches!(
        block.kind,
        BlockKind::Working(_) | BlockKind::Theory(_) | BlockKind::Reaction(_) | BlockKind::Mixture(_)
    )
}
