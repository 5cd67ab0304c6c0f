//! A page as a browser draws it by itself: letters in the report's own fonts, shapes, pictures.
//!
//! A browser needs some hundred milliseconds for a page of outlines, and a twentieth of that for the same page as
//! letters. So letters are sent as letters. The typesetter says which glyph stands where; each word is shaped once
//! more, as a browser shapes it, and where that gives the same glyphs the word goes out as text in its font. Any other
//! glyph (a sign of a formula in a form of its own) goes out as its outline. What neither covers (gradients, clipped
//! groups) makes the whole page a picture.

use super::glyphs::{Fonts, Outline, Shaping};
use serde::{Deserialize, Serialize};
use typst::layout::{Abs, Point, Ratio, Size, Transform};
use typst::text::{Glyph, TextItem};
use typst::visualize::{CurveItem, FillRule, FixedStroke, Geometry, LineCap, LineJoin, Paint, Shape};

/// How far letters may stand from their place, in points.
const NEAR: f64 = 0.02;

/// Something on a page; what comes later lies above.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Item {
    /// Letters.
    Text(Text),
    /// A shape, or the outlines of glyphs.
    Path(Path),
    /// A picture.
    Image(Image),
}

/// Letters of one font on one line.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Text {
    /// What stands between them and what was said before: nothing, a blank or a new line.
    pub before: String,
    /// The letters.
    pub text: String,
    /// The font, by its number.
    pub font: usize,
    /// The size of the type in points.
    pub size: f64,
    /// The left end in points.
    pub x: f64,
    /// The baseline in points.
    pub y: f64,
    /// The colour; empty for letters that are only read out, their outlines being drawn.
    pub colour: String,
    /// How much wider than by itself each blank is, in points.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub gap: f64,
    /// The width in points, where the letters are only read out.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub width: f64,
    /// How it is turned or scaled; `x` and `y` are then in the system this makes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub matrix: Option<[f64; 6]>,
}

/// A shape.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Path {
    /// What it is, in the words of SVG.
    pub d: String,
    /// Where it is.
    pub matrix: [f64; 6],
    /// The colour inside; empty for none.
    pub fill: String,
    /// Whether what is inside twice is outside.
    #[serde(default, skip_serializing_if = "is_false")]
    pub even_odd: bool,
    /// The line along it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stroke: Option<Stroke>,
}

/// A line along a shape.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Stroke {
    /// Its colour.
    pub colour: String,
    /// Its width in points.
    pub width: f64,
    /// Its ends, in the words of SVG.
    pub cap: String,
    /// Its corners, in the words of SVG.
    pub join: String,
    /// The limit of its corners.
    pub miter: f64,
    /// Lengths of dashes and gaps; none for an unbroken line.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub dashes: Vec<f64>,
    /// How far into the dashes it begins.
    #[serde(default, skip_serializing_if = "is_zero")]
    pub phase: f64,
}

/// A picture.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Image {
    /// Its name: a hash of what it shows.
    pub name: String,
    /// Its width and height in points.
    pub size: [f64; 2],
    /// Where it is.
    pub matrix: [f64; 6],
}

fn is_zero(number: &f64) -> bool {
    *number == 0.0
}

fn is_false(flag: &bool) -> bool {
    !flag
}

/// What is put down for one page.
pub(super) struct Drawing<'a> {
    fonts: &'a Fonts,
    shaping: Shaping<'a>,
    pub(super) items: Vec<Item>,
    /// Whether something came that only a picture shows.
    pub(super) is_beyond: bool,
    /// Where what was said last ends: left, baseline and size.
    said: Option<[f64; 3]>,
}

impl<'a> Drawing<'a> {
    pub(super) fn new(fonts: &'a Fonts) -> Self {
        Drawing { fonts, shaping: fonts.shaping(), items: Vec::new(), is_beyond: false, said: None }
    }

    /// A shape at its place.
    pub(super) fn shape(&mut self, shape: &Shape, here: Transform) {
        let fill = shape.fill.as_ref().map_or(Some(String::new()), solid);
        let stroke = shape.stroke.as_ref().map(stroke);
        match (fill, stroke) {
            (Some(fill), stroke) if !matches!(stroke, Some(None)) => self.items.push(Item::Path(Path {
                d: path(&shape.geometry),
                matrix: matrix(here),
                fill,
                even_odd: shape.fill_rule == FillRule::EvenOdd,
                stroke: stroke.flatten(),
            })),
            _ => self.is_beyond = true,
        }
    }

    /// A picture at its place.
    pub(super) fn image(&mut self, name: String, size: Size, here: Transform) {
        let size = [size.x, size.y].map(|length| rounded(length.to_pt()));
        self.items.push(Item::Image(Image { name, size, matrix: matrix(here) }));
    }

    /// Letters at their place.
    pub(super) fn text(&mut self, item: &TextItem, here: Transform) {
        let upright = item.glyphs.iter().all(|glyph| glyph.y_advance.get() == 0.0);
        let colour = solid(&item.fill).filter(|_| item.stroke.is_none() && upright);
        let Some(colour) = colour else {
            self.is_beyond = true;
            return;
        };
        let mut line = Line { item, here, colour, at: 0.0, open: None };
        for word in words(item) {
            let advance: f64 = word.glyphs.iter().map(|glyph| glyph.x_advance.at(item.size).to_pt()).sum();
            match word.kind {
                Kind::Blank => line.blank(&word, advance),
                Kind::Letters => match self.shaping.by_itself(&item.font, &word.text, word.glyphs) {
                    Some((font, natural)) => {
                        let closed = line.letters(&word.text, font, natural * item.size.to_pt());
                        self.put(closed, item, here);
                    }
                    None => {
                        let closed = line.open.take();
                        self.put(closed, item, here);
                        self.outlines(&line, &word, advance);
                    }
                },
            }
            line.at += advance;
        }
        self.put(line.open.take(), item, here);
    }

    /// Puts letters down that are complete.
    fn put(&mut self, open: Option<Open>, item: &TextItem, here: Transform) {
        let Some(mut open) = open else { return };
        let size = item.size.to_pt();
        let moved = here.sx == Ratio::one() && here.sy == Ratio::one();
        let moved = moved && here.kx.get() == 0.0 && here.ky.get() == 0.0;
        let place = Point::new(Abs::pt(open.from), Abs::zero()).transform(here);
        let scale = here.sy.get().abs();
        open.text.before = self.before([place.x.to_pt(), place.y.to_pt(), size * scale]);
        let end = Point::new(Abs::pt(open.end), Abs::zero()).transform(here);
        let blank = if open.text.text.ends_with([' ', '\u{a0}']) { size } else { 0.0 };
        self.said = Some([end.x.to_pt() + 0.11 * blank, end.y.to_pt(), size * scale]);
        if moved {
            (open.text.x, open.text.y) = (rounded(place.x.to_pt()), rounded(place.y.to_pt()));
        } else {
            (open.text.x, open.text.y, open.text.matrix) = (rounded(open.from), 0.0, Some(matrix(here)));
        }
        self.items.push(Item::Text(open.text));
    }

    /// What stands before letters at a place: nothing where they follow on, a blank on the same line, else a new line.
    fn before(&self, [left, line, size]: [f64; 3]) -> String {
        let Some([end, last, before]) = self.said else { return String::new() };
        let gap = left - end;
        // What is raised or lowered stands on the line all the same.
        let on_the_line = (line - last).abs() < 0.6 * size.max(before) && gap > -0.4 * size;
        match on_the_line {
            true if gap < 0.1 * size => String::new(),
            true => " ".to_owned(),
            false => "\n".to_owned(),
        }
    }

    /// The outlines of a word, and the word for those who hear it.
    fn outlines(&mut self, line: &Line, word: &Word, advance: f64) {
        let item = line.item;
        let mut outline = Outline::new(item.size.to_pt() / item.font.units_per_em());
        let mut at = line.at;
        for glyph in word.glyphs {
            let left = at + glyph.x_offset.at(item.size).to_pt();
            outline.glyph(&item.font, glyph.id, left, glyph.y_offset.at(item.size).to_pt());
            at += glyph.x_advance.at(item.size).to_pt();
        }
        if !outline.d.is_empty() {
            let matrix = matrix(line.here);
            let fill = line.colour.clone();
            self.items.push(Item::Path(Path { d: outline.d, matrix, fill, ..Path::default() }));
        }
        if !word.text.trim().is_empty() {
            let font = self.fonts.number(&item.font).unwrap_or(0);
            let text = Text {
                text: word.text.clone(),
                font,
                size: rounded(item.size.to_pt()),
                width: rounded(advance),
                ..Text::default()
            };
            let open = Open { from: line.at, end: line.at + advance, gap: None, text };
            self.put(Some(open), item, line.here);
        }
    }
}

/// A run of glyphs while it is read from left to right.
struct Line<'t> {
    item: &'t TextItem,
    here: Transform,
    colour: String,
    /// Where the next glyph stands, from the beginning of the run.
    at: f64,
    open: Option<Open>,
}

/// Letters that others may follow.
struct Open {
    from: f64,
    /// Where a browser comes to with them.
    end: f64,
    gap: Option<f64>,
    text: Text,
}

impl Line<'_> {
    /// Adds a word; gives back letters that it does not follow on.
    fn letters(&mut self, word: &str, font: usize, natural: f64) -> Option<Open> {
        let at = self.at;
        if let Some(open) = &mut self.open
            && (open.end - at).abs() < NEAR
        {
            open.text.text.push_str(word);
            open.end += natural;
            return None;
        }
        let text = Text {
            text: word.to_owned(),
            font,
            size: rounded(self.item.size.to_pt()),
            colour: self.colour.clone(),
            ..Text::default()
        };
        self.open.replace(Open { from: at, end: at + natural, gap: None, text })
    }

    /// A blank: as wide as the others of its letters, else what follows has a place of its own.
    fn blank(&mut self, word: &Word, advance: f64) {
        let Some(open) = &mut self.open else { return };
        let natural = word.glyphs.first().and_then(|glyph| self.item.font.x_advance(glyph.id));
        let natural = natural.map_or(0.0, |natural| natural.at(self.item.size).to_pt());
        let gap = *open.gap.get_or_insert_with(|| thousandths(advance - natural));
        open.text.gap = gap;
        open.text.text.push_str(&word.text);
        open.end += natural + gap;
    }
}

/// A word of a run, or the blank between two.
struct Word<'t> {
    kind: Kind,
    text: String,
    glyphs: &'t [Glyph],
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Letters,
    Blank,
}

/// The words and blanks of a run, in order.
fn words(item: &TextItem) -> Vec<Word<'_>> {
    let kind = |glyph: &Glyph| match item.text.get(glyph.range()) {
        Some(" " | "\u{a0}") => Kind::Blank,
        _ => Kind::Letters,
    };
    let same = |a: &Glyph, b: &Glyph| kind(a) == Kind::Letters && kind(b) == Kind::Letters;
    let word = |glyphs: &'_ [Glyph]| {
        let written: String = glyphs
            .iter()
            .map(|glyph| glyph.range())
            .fold((String::new(), usize::MAX), |(mut text, last), range| {
                // A hyphen at the end of a line is not in the text; several glyphs of one letter are there once.
                if range.is_empty() {
                    text.push('-');
                } else if range.start != last {
                    text.push_str(item.text.get(range.clone()).unwrap_or(""));
                }
                (text, range.start)
            })
            .0;
        (glyphs.first().map_or(Kind::Letters, kind), written)
    };
    let groups = item.glyphs.chunk_by(same);
    groups
        .map(|glyphs| {
            let (kind, text) = word(glyphs);
            Word { kind, text, glyphs }
        })
        .collect()
}

/// The colour of a paint that is one.
pub(super) fn solid(paint: &Paint) -> Option<String> {
    match paint {
        Paint::Solid(colour) => Some(colour.to_hex().to_string()),
        _ => None,
    }
}

/// A line along a shape; `None` where it has more than one colour.
fn stroke(stroke: &FixedStroke) -> Option<Stroke> {
    let (dashes, phase) = stroke.dash.as_ref().map_or((Vec::new(), 0.0), |dash| {
        (dash.array.iter().map(|length| rounded(length.to_pt())).collect(), rounded(dash.phase.to_pt()))
    });
    let cap = match stroke.cap {
        LineCap::Butt => "butt",
        LineCap::Round => "round",
        LineCap::Square => "square",
    };
    let join = match stroke.join {
        LineJoin::Miter => "miter",
        LineJoin::Round => "round",
        LineJoin::Bevel => "bevel",
    };
    Some(Stroke {
        colour: solid(&stroke.paint)?,
        width: thousandths(stroke.thickness.to_pt()),
        cap: cap.to_owned(),
        join: join.to_owned(),
        miter: stroke.miter_limit.get(),
        dashes,
        phase,
    })
}

/// A geometry in the words of SVG.
fn path(geometry: &Geometry) -> String {
    let at = |point: &Point| format!("{} {}", thousandths(point.x.to_pt()), thousandths(point.y.to_pt()));
    match geometry {
        Geometry::Line(to) => format!("M0 0L{}", at(to)),
        Geometry::Rect(size) => {
            let (width, height) = (thousandths(size.x.to_pt()), thousandths(size.y.to_pt()));
            format!("M0 0H{width}V{height}H0Z")
        }
        Geometry::Curve(curve) => curve.0.iter().fold(String::new(), |path, item| {
            path + &match item {
                CurveItem::Move(to) => format!("M{}", at(to)),
                CurveItem::Line(to) => format!("L{}", at(to)),
                CurveItem::Cubic(a, b, to) => format!("C{} {} {}", at(a), at(b), at(to)),
                CurveItem::Close => "Z".to_owned(),
            }
        }),
    }
}

/// A transformation in the order of SVG.
fn matrix(transform: Transform) -> [f64; 6] {
    let Transform { sx, ky, kx, sy, tx, ty } = transform;
    let [a, b, c, d] = [sx, ky, kx, sy].map(|ratio| ratio.get());
    [a, b, c, d, thousandths(tx.to_pt()), thousandths(ty.to_pt())]
}

/// To a hundredth of a point.
pub(super) fn rounded(points: f64) -> f64 {
    (points * 100.0).round() / 100.0
}

/// To a thousandth of a point.
fn thousandths(points: f64) -> f64 {
    (points * 1000.0).round() / 1000.0
}
