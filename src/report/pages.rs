//! The pages of a report for the screen: a picture of each, the words on it, and where its values stand.
//!
//! The typesetter draws letters as outlines, so what can be read out, marked and chosen is taken from the laid-out
//! frames: every run of letters with its place, and the rectangle around whatever stands between the marks of a value
//! ([`super::marked_typst_source`]).
//!
//! One [`Standing`] sets one notebook version after version. It keeps its files, so that the typesetter sees what
//! changed and does only that again.

use super::press::{Job, Problem, Report, evict, problems};
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::sync::Arc;
use typst::foundations::Value;
use typst::introspection::{MetadataElem, Tag};
use typst::layout::{Abs, Frame, FrameItem, Point, Size, Transform};
use typst::text::TextItem;
use typst_layout::{Page as SetPage, PagedDocument};

/// How many versions a result of the typesetter is kept without being used.
const MOST_AGE: usize = 8;
/// How what begins a marked value says so; its node follows.
const BEGINS: &str = "value ";
/// What ends a marked value.
const ENDS: &str = "end of value";

/// One page.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Page {
    /// Its width in points.
    pub width: f64,
    /// Its height in points.
    pub height: f64,
    /// Its picture (SVG).
    #[serde(with = "shared")]
    pub svg: Arc<str>,
    /// Its words, in the order set.
    pub words: Vec<Words>,
    /// Its values, in the order set.
    pub values: Vec<MarkedValue>,
}

/// Words that stand on one line in one size.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Words {
    /// Their left end in points.
    pub left: f64,
    /// Their baseline in points.
    pub line: f64,
    /// Their width in points.
    pub width: f64,
    /// The size of the type in points.
    pub size: f64,
    /// What they say.
    pub text: String,
}

/// A value on a page.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct MarkedValue {
    /// Its node in the derivation graph.
    pub node: u32,
    /// Left, top, width and height in points.
    pub place: [f64; 4],
}

/// A shared text as a text.
mod shared {
    use super::Arc;
    use serde::{Deserialize, Deserializer, Serializer};

    pub(super) fn serialize<S: Serializer>(text: &Arc<str>, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(text)
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Arc<str>, D::Error> {
        String::deserialize(deserializer).map(Arc::from)
    }
}

/// Sets the versions of one notebook in this process.
#[derive(Default)]
pub struct Standing {
    report: Option<Report>,
    /// The pictures of the version before, by what can be seen of them: what looks the same is not drawn again.
    drawn: HashMap<u128, Arc<str>>,
}

impl Standing {
    /// The pages of a version.
    ///
    /// # Errors
    ///
    /// Why it could not be set.
    pub fn set(&mut self, job: &Job) -> Result<Vec<Page>, Vec<Problem>> {
        let report = match self.report.take() {
            Some(before) => before.next(job),
            None => Report::new(job),
        };
        let report = report.ok_or_else(|| vec![Problem::saying("a path that it cannot name")])?;
        let outcome = typst::compile::<PagedDocument>(&report).output;
        let pages = match outcome {
            Ok(document) => Ok(self.draw(&document)),
            Err(errors) => Err(problems(errors, &report)),
        };
        self.report = Some(report);
        evict(MOST_AGE);
        pages
    }

    /// Every page as a picture, with its words and values. Drawing costs most, so it is done on every core, and only
    /// for what looks different.
    fn draw(&mut self, document: &PagedDocument) -> Vec<Page> {
        let before = &self.drawn;
        let pages: Vec<(u128, Page)> = document.pages().par_iter().map(|page| draw(page, before)).collect();
        self.drawn = pages.iter().map(|(look, page)| (*look, page.svg.clone())).collect();
        pages.into_iter().map(|(_, page)| page).collect()
    }
}

fn draw(page: &SetPage, before: &HashMap<u128, Arc<str>>) -> (u128, Page) {
    let mut reader = Reader::default();
    reader.frame(&page.frame, Transform::identity());
    let seen = (reader.look, page.frame.size(), page.fill_or_white());
    let look = typst::utils::hash128(&seen);
    let known = before.get(&look).cloned();
    let page = Page {
        width: page.frame.width().to_pt(),
        height: page.frame.height().to_pt(),
        svg: known.unwrap_or_else(|| typst_svg::svg(page, &typst_svg::SvgOptions::default()).into()),
        words: reader.words,
        values: reader.values,
    };
    (look, page)
}

/// Reads the frames of a page in the order set.
#[derive(Default)]
struct Reader {
    words: Vec<Words>,
    values: Vec<MarkedValue>,
    /// Marked values that have begun: node, and the corners of what was seen of it.
    open: Vec<(u32, Option<[f64; 4]>)>,
    /// What can be seen: letters, shapes and pictures at their places, as bytes that are the same for what looks the
    /// same. Where it is written in the generated document is no part of it.
    look: Vec<u8>,
}

impl Reader {
    fn frame(&mut self, frame: &Frame, to_page: Transform) {
        for (at, item) in frame.items() {
            let here = to_page.pre_concat(Transform::translate(at.x, at.y));
            match item {
                FrameItem::Group(group) => {
                    self.see(&(1, &group.clip));
                    self.frame(&group.frame, here.pre_concat(group.transform));
                    self.see(&2);
                }
                FrameItem::Text(text) => {
                    self.see(&(here, &text.font, text.size, &text.fill, &text.stroke));
                    for glyph in &text.glyphs {
                        self.look.extend_from_slice(&glyph.id.to_le_bytes());
                        for length in [glyph.x_advance, glyph.x_offset, glyph.y_offset] {
                            self.look.extend_from_slice(&length.get().to_le_bytes());
                        }
                    }
                    self.text(text, here);
                }
                FrameItem::Shape(shape, _) => self.see(&(here, shape)),
                FrameItem::Image(image, size, _) => self.see(&(here, image, size)),
                FrameItem::Tag(Tag::Start(element, _)) => {
                    if let Some(mark) = element.to_packed::<MetadataElem>()
                        && let Value::Str(mark) = &mark.value
                    {
                        self.mark(mark.as_str());
                    }
                }
                _ => {}
            }
        }
    }

    fn see(&mut self, what: &impl std::hash::Hash) {
        self.look.extend_from_slice(&typst::utils::hash128(what).to_le_bytes());
    }

    fn mark(&mut self, mark: &str) {
        if let Some(node) = mark.strip_prefix(BEGINS).and_then(|node| node.parse().ok()) {
            self.open.push((node, None));
        } else if mark == ENDS
            && let Some((node, Some([left, top, right, bottom]))) = self.open.pop()
        {
            self.values
                .push(MarkedValue { node, place: [left, top, right - left, bottom - top].map(rounded) });
        }
    }

    fn text(&mut self, text: &TextItem, here: Transform) {
        let size = Size::new(text.width(), text.size);
        let corner = |x: Abs, y: Abs| Point::new(x, y).transform(here);
        // From a little below the baseline to the height of capitals.
        let (low, high) = (corner(Abs::zero(), size.y * 0.22), corner(size.x, size.y * -0.72));
        let seen =
            [low.x.min(high.x), low.y.min(high.y), low.x.max(high.x), low.y.max(high.y)].map(Abs::to_pt);
        for (_, corners) in &mut self.open {
            *corners = Some(corners.map_or(seen, |old| joined(old, seen)));
        }
        let line = corner(Abs::zero(), Abs::zero());
        let scale = here.sy.get().abs();
        let (left, line, width) = (line.x.to_pt(), line.y.to_pt(), high.x.to_pt() - low.x.to_pt());
        self.say([left, line, width, text.size.to_pt() * scale].map(rounded), &text.text);
    }

    /// Adds words; to those before them where they follow on the same line in the same size.
    fn say(&mut self, [left, line, width, size]: [f64; 4], text: &str) {
        if let Some(last) = self.words.last_mut() {
            let gap = left - (last.left + last.width);
            if last.line == line && last.size == size && gap.abs() < 0.4 * size {
                // A gap without a letter of its own is a blank between words.
                if gap > 0.1 * size && !last.text.ends_with(' ') && !text.starts_with(' ') {
                    last.text.push(' ');
                }
                last.text.push_str(text);
                last.width = rounded(left + width - last.left);
                return;
            }
        }
        if !text.trim().is_empty() {
            self.words.push(Words { left, line, width, size, text: text.to_owned() });
        }
    }
}

fn joined(a: [f64; 4], b: [f64; 4]) -> [f64; 4] {
    [a[0].min(b[0]), a[1].min(b[1]), a[2].max(b[2]), a[3].max(b[3])]
}

/// To a hundredth of a point.
fn rounded(points: f64) -> f64 {
    (points * 100.0).round() / 100.0
}
