//! The pages of a report for the screen: what stands on each, and where its values stand.
//!
//! All of it is taken from the typesetter's frames: letters, shapes and pictures for a browser that draws the page by
//! itself ([`super::drawing`]), and the rectangle around whatever stands between the marks of a value
//! ([`super::marked_typst_source`]). A page with something that only the typesetter can draw is a picture of its
//! outlines, with its words for whoever marks or hears them.
//!
//! One [`Standing`] sets one notebook version after version. It keeps its files, so that the typesetter sees what
//! changed and does only that again.

use super::continued;
use super::drawing::{Drawing, Item, rounded, solid};
use super::glyphs::Fonts;
use super::in_view::{InView, Versions};
use super::press::{Job, Problem, evict, problems};
use super::versions::Report;
use rayon::prelude::*;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;
use typst::foundations::{Bytes, Value};
use typst::introspection::{MetadataElem, Tag};
use typst::layout::{Abs, Frame, FrameItem, Point, Size, Transform};
use typst::text::TextItem;
use typst_layout::{Page as SetPage, PagedDocument, PagedIntrospector};
use typst_svg::WebImage;

pub use super::glyphs::font_file;

/// How many versions a result of the typesetter is kept without being used.
const MOST_AGE: usize = 24;
/// How what begins a marked value says so; its node follows, or the name of a figure.
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
    /// How it looks.
    pub look: Look,
    /// Its values, in the order set.
    pub values: Vec<MarkedValue>,
}

/// How a page looks.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum Look {
    /// For a browser that draws it: what stands on it, and the pictures among that by their names.
    Drawn(Vec<Item>, BTreeMap<String, Image>),
    /// A picture (SVG), and its words.
    Picture(#[serde(with = "shared")] Arc<str>, Vec<Words>),
}

impl Default for Look {
    fn default() -> Self {
        Look::Drawn(Vec::new(), BTreeMap::new())
    }
}

/// A picture on a page.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Image {
    /// What kind of file it is.
    pub mime: String,
    /// The file.
    #[serde(with = "in_letters")]
    pub bytes: Arc<[u8]>,
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
    /// Its node in the derivation graph, or the name of a figure that has none (`s w(water)`).
    pub of: String,
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

/// Bytes as a text that JSON holds.
mod in_letters {
    use super::Arc;
    use base64::Engine;
    use base64::engine::general_purpose::STANDARD;
    use serde::{Deserialize, Deserializer, Serializer, de::Error};

    pub(super) fn serialize<S: Serializer>(bytes: &Arc<[u8]>, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&STANDARD.encode(bytes))
    }

    pub(super) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Arc<[u8]>, D::Error> {
        let text = String::deserialize(deserializer)?;
        STANDARD.decode(text).map(Arc::from).map_err(D::Error::custom)
    }
}

/// Sets the versions of one notebook in this process.
#[derive(Default)]
pub struct Standing {
    report: Option<Report>,
    /// What the version before knew of itself.
    known: Option<Arc<PagedIntrospector>>,
    in_view: InView,
    fonts: Fonts,
    /// The pictures of the version before, by their frames: what is the same is not drawn again.
    drawn: HashMap<u128, Arc<str>>,
    /// The files of pictures on the pages of the version before, by their names.
    images: BTreeMap<String, Image>,
}

impl Standing {
    /// The pages of a version.
    ///
    /// # Errors
    ///
    /// Why it could not be set.
    pub fn set(&mut self, job: &Job) -> Result<Vec<Page>, Vec<Problem>> {
        self.set_from(job, None, &mut |_| {})
    }

    /// The pages of a version; `first` is given those in view, from the first to the last (counted from 0), before the
    /// others are set, where that is any sooner.
    ///
    /// What is in view is then set without what comes later: how many pages there are is until then what it was in the
    /// version before.
    ///
    /// # Errors
    ///
    /// Why it could not be set.
    pub fn set_from(
        &mut self,
        job: &Job,
        in_view: Option<(usize, usize)>,
        first: &mut dyn FnMut(Vec<Page>),
    ) -> Result<Vec<Page>, Vec<Problem>> {
        let before = self.report.as_ref().map_or(Vec::new(), Report::statements);
        let report = Report::after(self.report.take(), job);
        let report = report.ok_or_else(|| vec![Problem::saying("a path that it cannot name")])?;
        if let (Some(in_view), Some(known)) = (in_view, &self.known) {
            let versions = Versions { report: &report, before: &before, known };
            let document = self.in_view.set(&versions, in_view);
            let (from, to) = in_view;
            if let Some(pages) = document.as_ref().and_then(|document| document.pages().get(from..=to)) {
                first(pages.par_iter().map(|page| self.page(page).1).collect());
            }
        }
        let outcome = continued::compile(&report, self.known.take());
        let pages = match outcome {
            Ok(document) => {
                self.known = Some(document.introspector().clone());
                Ok(self.draw(&document))
            }
            Err(errors) => Err(problems(errors, &report)),
        };
        self.report = Some(report);
        pages
    }

    /// Forgets what has not been used for some versions: for a moment in which nobody waits.
    pub fn rest(&mut self) {
        evict(MOST_AGE);
    }

    /// What stands on every page, read on every core.
    fn draw(&mut self, document: &PagedDocument) -> Vec<Page> {
        let read = |page: &SetPage| self.page(page);
        let pages: Vec<(u128, Page)> = document.pages().par_iter().map(read).collect();
        let (mut drawn, mut images) = (HashMap::new(), BTreeMap::new());
        for (frame, page) in &pages {
            match &page.look {
                Look::Picture(svg, _) => drop(drawn.insert(*frame, svg.clone())),
                Look::Drawn(_, own) => images.extend(own.clone()),
            }
        }
        (self.drawn, self.images) = (drawn, images);
        pages.into_iter().map(|(_, page)| page).collect()
    }

    /// A page; with its frame as a number where it is a picture.
    fn page(&self, page: &SetPage) -> (u128, Page) {
        let mut reader = Reader::new(&self.fonts, &self.images);
        let white = page.fill_or_white().as_ref().and_then(solid).as_deref() == Some("#ffffff");
        reader.drawing.is_beyond = !white;
        reader.frame(&page.frame, Transform::identity());
        let (frame, look) = match reader.drawing.is_beyond {
            false => (0, Look::Drawn(reader.drawing.items, reader.images)),
            true => {
                let frame = typst::utils::hash128(&(&page.frame, page.fill_or_white()));
                let known = self.drawn.get(&frame).cloned();
                let svg = || typst_svg::svg(page, &typst_svg::SvgOptions::default()).into();
                (frame, Look::Picture(known.unwrap_or_else(svg), reader.words))
            }
        };
        let (width, height) = (page.frame.width().to_pt(), page.frame.height().to_pt());
        (frame, Page { width, height, look, values: reader.values })
    }
}

/// Reads the frames of a page in the order set.
struct Reader<'a> {
    drawing: Drawing<'a>,
    /// Pictures on the page, and those of the version before.
    images: BTreeMap<String, Image>,
    known: &'a BTreeMap<String, Image>,
    words: Vec<Words>,
    values: Vec<MarkedValue>,
    /// Marked values that have begun: what they are, and the corners of what was seen of it.
    open: Vec<(String, Option<[f64; 4]>)>,
}

impl<'a> Reader<'a> {
    fn new(fonts: &'a Fonts, known: &'a BTreeMap<String, Image>) -> Self {
        Reader {
            drawing: Drawing::new(fonts),
            images: BTreeMap::new(),
            known,
            words: Vec::new(),
            values: Vec::new(),
            open: Vec::new(),
        }
    }

    fn frame(&mut self, frame: &Frame, to_page: Transform) {
        for (at, item) in frame.items() {
            let here = to_page.pre_concat(Transform::translate(at.x, at.y));
            match item {
                FrameItem::Group(group) => {
                    self.drawing.is_beyond |= group.clip.is_some();
                    self.frame(&group.frame, here.pre_concat(group.transform));
                }
                FrameItem::Text(text) => {
                    self.drawing.text(text, here);
                    self.text(text, here);
                }
                FrameItem::Shape(shape, _) => self.drawing.shape(shape, here),
                FrameItem::Image(image, size, _) => {
                    let name = self.image(&WebImage::new(image));
                    self.drawing.image(name, *size, here);
                }
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

    /// The name of a picture, its file being kept.
    fn image(&mut self, image: &WebImage) -> String {
        let mime = image.format.mime();
        let name = format!("{:032x}", typst::utils::hash128(&(mime, &image.data)));
        let file = |data: &Bytes| Image { mime: mime.to_owned(), bytes: Arc::from(data.as_slice()) };
        let known = self.known.get(&name).cloned();
        self.images.entry(name.clone()).or_insert_with(|| known.unwrap_or_else(|| file(&image.data)));
        name
    }

    fn mark(&mut self, mark: &str) {
        if let Some(of) = mark.strip_prefix(BEGINS) {
            self.open.push((of.to_owned(), None));
        } else if mark == ENDS
            && let Some((of, Some([left, top, right, bottom]))) = self.open.pop()
        {
            self.values.push(MarkedValue { of, place: [left, top, right - left, bottom - top].map(rounded) });
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
