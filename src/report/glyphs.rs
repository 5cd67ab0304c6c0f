//! The fonts of a report for a browser: their files by number, how a browser shapes a word in them, and outlines.

use rustybuzz::ttf_parser::{GlyphId, OutlineBuilder};
use rustybuzz::{UnicodeBuffer, shape};
use std::collections::HashMap;
use std::fmt::Write;
use std::sync::{LazyLock, Mutex, PoisonError};
use typst::text::{Font, FontInstance, Glyph};

use super::drawing::rounded;
use super::versions::DESK;

/// Most words whose shapes are kept.
const MOST_WORDS: usize = 50_000;
/// How far two advances may be apart, in units of the size of the type.
const SAME: f64 = 0.001;

/// The built-in fonts by their numbers.
static NUMBERS: LazyLock<HashMap<Font, usize>> = LazyLock::new(|| {
    let all = (0..).map_while(|number| DESK.fonts.font(number));
    all.enumerate().map(|(number, font)| (font, number)).filter(|(font, _)| font.index() == 0).collect()
});

/// The file of a font by its number.
pub fn font_file(number: usize) -> Option<Vec<u8>> {
    DESK.fonts.font(number).filter(|font| font.index() == 0).map(|font| font.data().to_vec())
}

/// A word in a font.
type Key = (usize, String);
/// The glyphs of a word: number and advance, in units of the size of the type.
type Shaped = std::sync::Arc<[(u16, f64)]>;

/// The fonts, and the words shaped so far.
#[derive(Default)]
pub(super) struct Fonts {
    words: Mutex<HashMap<Key, Shaped>>,
}

impl Fonts {
    /// For the words of one page.
    pub(super) fn shaping(&self) -> Shaping<'_> {
        Shaping { fonts: self, last: None }
    }

    /// The number of a font whose file a browser can be given.
    pub(super) fn number(&self, font: &FontInstance) -> Option<usize> {
        NUMBERS.get(font.font()).copied()
    }

    fn shaped(&self, number: usize, font: &FontInstance, word: &str) -> Shaped {
        let key = (number, word.to_owned());
        let mut words = self.words.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(known) = words.get(&key) {
            return known.clone();
        }
        let shaped = shaped(font, word);
        if words.len() >= MOST_WORDS {
            words.clear();
        }
        words.insert(key, shaped.clone());
        shaped
    }
}

/// Looks words up for one page.
pub(super) struct Shaping<'a> {
    fonts: &'a Fonts,
    /// The font of the last word: most words have the font of the one before.
    last: Option<(Font, usize)>,
}

impl Shaping<'_> {
    /// The font in which a browser gives just these glyphs for a word, and how far it comes with them, in units of the
    /// size of the type.
    pub(super) fn by_itself(
        &mut self,
        font: &FontInstance,
        word: &str,
        glyphs: &[Glyph],
    ) -> Option<(usize, f64)> {
        let number = self.number(font)?;
        if word.is_empty() || !font.variations().0.is_empty() {
            return None;
        }
        let shaped = self.fonts.shaped(number, font, word);
        is_same(&shaped, glyphs).then(|| (number, shaped.iter().map(|(_, advance)| advance).sum()))
    }

    fn number(&mut self, font: &FontInstance) -> Option<usize> {
        if let Some((last, number)) = &self.last
            && std::ptr::eq(last.data().as_slice(), font.font().data().as_slice())
        {
            return Some(*number);
        }
        let number = self.fonts.number(font)?;
        self.last = Some((font.font().clone(), number));
        Some(number)
    }
}

/// Whether a browser's glyphs are those of the typesetter. The advance of the last one says where the next word
/// stands, and that is seen there.
fn is_same(shaped: &[(u16, f64)], glyphs: &[Glyph]) -> bool {
    let last = glyphs.len().saturating_sub(1);
    shaped.len() == glyphs.len()
        && shaped.iter().zip(glyphs).enumerate().all(|(index, ((number, advance), glyph))| {
            let offset = glyph.x_offset.get() != 0.0 || glyph.y_offset.get() != 0.0;
            let near = index == last || (advance - glyph.x_advance.get()).abs() < SAME;
            *number == glyph.id && near && !offset
        })
}

fn shaped(font: &FontInstance, word: &str) -> Shaped {
    let mut buffer = UnicodeBuffer::new();
    buffer.push_str(word);
    buffer.guess_segment_properties();
    let shaped = shape(font.rusty(), &[], buffer);
    let positions = shaped.glyph_positions().iter();
    let glyphs = shaped.glyph_infos().iter().zip(positions).map(|(glyph, position)| {
        // What a browser would put elsewhere is no glyph of the typesetter's.
        let moved = position.x_offset != 0 || position.y_offset != 0;
        let number = if moved { u16::MAX } else { u16::try_from(glyph.glyph_id).unwrap_or(u16::MAX) };
        (number, f64::from(position.x_advance) / font.units_per_em())
    });
    glyphs.collect()
}

/// Outlines of glyphs in the words of SVG, downwards.
pub(super) struct Outline {
    pub(super) d: String,
    scale: f64,
    left: f64,
    up: f64,
}

impl Outline {
    /// With so many points to a unit of the font.
    pub(super) fn new(scale: f64) -> Self {
        Outline { d: String::new(), scale, left: 0.0, up: 0.0 }
    }

    /// Adds a glyph so far to the right and up.
    pub(super) fn glyph(&mut self, font: &FontInstance, number: u16, left: f64, up: f64) {
        (self.left, self.up) = (left, up);
        font.ttf().outline_glyph(GlyphId(number), self);
    }

    fn points(&mut self, command: char, points: &[(f32, f32)]) {
        self.d.push(command);
        for (index, (x, y)) in points.iter().enumerate() {
            let right = f64::from(*x) * self.scale + self.left;
            let down = -(f64::from(*y) * self.scale + self.up);
            let blank = if index > 0 { " " } else { "" };
            // Writing into a text cannot fail.
            let _ = write!(self.d, "{blank}{} {}", rounded(right), rounded(down));
        }
    }
}

impl OutlineBuilder for Outline {
    fn move_to(&mut self, x: f32, y: f32) {
        self.points('M', &[(x, y)]);
    }

    fn line_to(&mut self, x: f32, y: f32) {
        self.points('L', &[(x, y)]);
    }

    fn quad_to(&mut self, x1: f32, y1: f32, x: f32, y: f32) {
        self.points('Q', &[(x1, y1), (x, y)]);
    }

    fn curve_to(&mut self, x1: f32, y1: f32, x2: f32, y2: f32, x: f32, y: f32) {
        self.points('C', &[(x1, y1), (x2, y2), (x, y)]);
    }

    fn close(&mut self) {
        self.d.push('Z');
    }
}
