//! Images beside the notebook: read, checked, and named for the typesetter.
//!
//! A remote image is never fetched. A picture is taken by its content, not by its name; its size is read
//! from its head before anything decodes it, so that a small file cannot ask for gigabytes.

use std::collections::BTreeMap;

use crate::files::Files;
use crate::notebook::Notebook;

/// Most pixels of one image.
const MOST_PIXELS: u64 = 50_000_000;
/// Most bytes of one SVG drawing.
const MOST_SVG_BYTES: usize = 4 << 20;
/// Most elements and texts of one.
const MOST_SVG_NODES: u32 = 200_000;

/// The images of a notebook, by destination as written.
#[derive(Clone, Debug, Default)]
pub struct Pictures {
    by_destination: BTreeMap<String, Result<Picture, String>>,
}

/// An image that was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Picture {
    /// Its path as the typesetter knows it.
    pub path: String,
    /// Its path relative to the notebook.
    pub name: String,
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// What it is.
    pub format: Format,
}

/// The kinds of image that can be set.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Format {
    /// PNG.
    Png,
    /// JPEG.
    Jpeg,
    /// GIF.
    Gif,
    /// WebP.
    WebP,
    /// SVG.
    Svg,
}

impl Format {
    /// The usual ending of a file name.
    pub fn ending(self) -> &'static str {
        match self {
            Format::Png => "png",
            Format::Jpeg => "jpg",
            Format::Gif => "gif",
            Format::WebP => "webp",
            Format::Svg => "svg",
        }
    }

    /// The media type.
    pub fn mime(self) -> &'static str {
        match self {
            Format::Png => "image/png",
            Format::Jpeg => "image/jpeg",
            Format::Gif => "image/gif",
            Format::WebP => "image/webp",
            Format::Svg => "image/svg+xml",
        }
    }
}

impl Pictures {
    /// Reads every image that the notebook names.
    pub fn of(notebook: &Notebook, files: &dyn Files) -> Self {
        let mut pictures = Pictures::default();
        for destination in destinations(notebook) {
            let number = pictures.by_destination.len();
            pictures
                .by_destination
                .entry(destination.clone())
                .or_insert_with(|| read(&destination, number, files));
        }
        pictures
    }

    /// The typesetter's path of an image, or why it is not shown.
    pub fn get(&self, destination: &str) -> Result<&str, &str> {
        match self.by_destination.get(destination) {
            Some(Ok(picture)) => Ok(&picture.path),
            Some(Err(problem)) => Err(problem),
            None => Err("it was not read"),
        }
    }

    /// An image that was read.
    pub(super) fn picture(&self, destination: &str) -> Option<&Picture> {
        self.by_destination.get(destination)?.as_ref().ok()
    }

    /// Every image that was read.
    pub fn read(&self) -> impl Iterator<Item = &Picture> {
        self.by_destination.values().filter_map(|picture| picture.as_ref().ok())
    }

    /// Takes an image out because the typesetter cannot set it.
    pub fn refuse(&mut self, path: &str, problem: &str) -> bool {
        let at_path =
            |picture: &&mut Result<Picture, String>| matches!(picture, Ok(picture) if picture.path == path);
        match self.by_destination.values_mut().find(at_path) {
            Some(picture) => {
                *picture = Err(problem.to_owned());
                true
            }
            None => false,
        }
    }
}

/// The destinations of the images in the prose, in the order written.
fn destinations(notebook: &Notebook) -> Vec<String> {
    use crate::notebook::Item;
    use pulldown_cmark::{Event, Tag};
    let destination = |item: &Item| match item {
        Item::Event(Event::Start(Tag::Image { dest_url, .. }), _) => Some(dest_url.to_string()),
        _ => None,
    };
    notebook.items.iter().filter_map(destination).collect()
}

fn read(destination: &str, number: usize, files: &dyn Files) -> Result<Picture, String> {
    if is_remote(destination) {
        return Err("only files beside the notebook are shown, nothing is fetched".to_owned());
    }
    let name = percent_decoded(destination);
    let bytes = files.read(&name).map_err(|problem| problem.to_string())?;
    let format = format_of(&bytes)?;
    let path = format!("pictures/{number}.{}", format.ending());
    Ok(Picture { path, name, bytes, format })
}

fn is_remote(destination: &str) -> bool {
    let scheme = destination.split_once(':').map_or("", |(scheme, _)| scheme);
    let named = scheme.len() > 1 && scheme.chars().all(|c| c.is_ascii_alphanumeric() || "+-.".contains(c));
    named || destination.starts_with("//")
}

/// `a%20b.png` is the file `a b.png`. A `%` that encodes nothing stays.
fn percent_decoded(text: &str) -> String {
    let mut bytes = Vec::with_capacity(text.len());
    let mut rest = text.as_bytes();
    while let Some((first, after)) = rest.split_first() {
        let code = (*first == b'%').then(|| hexadecimal(after)).flatten();
        bytes.push(code.unwrap_or(*first));
        rest = if code.is_some() { after.get(2..).unwrap_or(&[]) } else { after };
    }
    String::from_utf8(bytes).unwrap_or_else(|_| text.to_owned())
}

fn hexadecimal(bytes: &[u8]) -> Option<u8> {
    let pair = std::str::from_utf8(bytes.get(..2)?).ok()?;
    if pair.starts_with('+') { None } else { u8::from_str_radix(pair, 16).ok() }
}

/// The format by the first bytes, with the size checked.
pub(super) fn format_of(bytes: &[u8]) -> Result<Format, String> {
    let (format, size) = if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        (Format::Png, png_size(bytes))
    } else if bytes.starts_with(b"\xff\xd8") {
        (Format::Jpeg, jpeg_size(bytes))
    } else if bytes.starts_with(b"GIF8") {
        (Format::Gif, gif_size(bytes))
    } else if bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP") {
        (Format::WebP, webp_size(bytes))
    } else if looks_like_svg(bytes) {
        return svg(bytes);
    } else {
        return Err("it is no PNG, JPEG, GIF, WebP or SVG image".to_owned());
    };
    match size {
        None | Some((0, _) | (_, 0)) => Err("its head is broken".to_owned()),
        Some((width, height)) if u64::from(width) * u64::from(height) > MOST_PIXELS => {
            Err(format!("it has {width} × {height} pixels, more than {MOST_PIXELS} in all"))
        }
        Some(_) => Ok(format),
    }
}

fn svg(bytes: &[u8]) -> Result<Format, String> {
    if bytes.len() > MOST_SVG_BYTES {
        return Err(format!("it is a drawing of more than {MOST_SVG_BYTES} bytes"));
    }
    let text = std::str::from_utf8(bytes).map_err(|_| "it is a drawing that is not UTF-8".to_owned())?;
    let rules =
        roxmltree::ParsingOptions { allow_dtd: true, nodes_limit: MOST_SVG_NODES, ..Default::default() };
    let drawing = roxmltree::Document::parse_with_options(text, rules)
        .map_err(|error| format!("it is a drawing that cannot be read: {error}"))?;
    if drawing.descendants().any(|node| is_filtered(&node)) {
        return Err(
            "it is a drawing with a filter, such as a blur or a shadow, which is not shown".to_owned()
        );
    }
    Ok(Format::Svg)
}

/// Whether an element is a filter or wants one. A filter is worked out dot by dot, over an area as large as the drawing says.
fn is_filtered(node: &roxmltree::Node) -> bool {
    let name = node.tag_name().name();
    let sheet = name == "style" && node.text().is_some_and(|text| text.contains("filter"));
    let asks = |attribute: roxmltree::Attribute| {
        attribute.name() == "filter" || attribute.name() == "style" && attribute.value().contains("filter")
    };
    name == "filter" || sheet || node.attributes().any(asks)
}

fn looks_like_svg(bytes: &[u8]) -> bool {
    let head = String::from_utf8_lossy(bytes.get(..bytes.len().min(1000)).unwrap_or(&[]));
    let head = head.trim_start_matches('\u{feff}').trim_start();
    head.starts_with('<') && head.contains("<svg")
}

fn be16(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from(u16::from_be_bytes(bytes.get(at..at + 2)?.try_into().ok()?)))
}

fn le16(bytes: &[u8], at: usize) -> Option<u32> {
    Some(u32::from(u16::from_le_bytes(bytes.get(at..at + 2)?.try_into().ok()?)))
}

fn png_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let side = |at: usize| Some(u32::from_be_bytes(bytes.get(at..at + 4)?.try_into().ok()?));
    Some((side(16)?, side(20)?))
}

fn gif_size(bytes: &[u8]) -> Option<(u32, u32)> {
    Some((le16(bytes, 6)?, le16(bytes, 8)?))
}

/// Walks the segments to the frame header (ITU-T T.81, annex B).
fn jpeg_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let mut at = 2;
    loop {
        let marker = *bytes.get(at + 1)?;
        if *bytes.get(at)? != 0xff {
            return None;
        }
        if matches!(marker, 0xc0..=0xcf) && !matches!(marker, 0xc4 | 0xc8 | 0xcc) {
            return Some((be16(bytes, at + 7)?, be16(bytes, at + 5)?));
        }
        at += if matches!(marker, 0xff) { 1 } else { 2 + usize::try_from(be16(bytes, at + 2)?).ok()? };
    }
}

/// The three forms of the first chunk (RFC 9649).
fn webp_size(bytes: &[u8]) -> Option<(u32, u32)> {
    let le24 = |at: usize| Some(le16(bytes, at)? | u32::from(*bytes.get(at + 2)?) << 16);
    match bytes.get(12..16)? {
        b"VP8 " => Some((le16(bytes, 26)? & 0x3fff, le16(bytes, 28)? & 0x3fff)),
        b"VP8L" => {
            let bits = u32::from_le_bytes(bytes.get(21..25)?.try_into().ok()?);
            Some(((bits & 0x3fff) + 1, (bits >> 14 & 0x3fff) + 1))
        }
        b"VP8X" => Some((le24(24)? + 1, le24(27)? + 1)),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn png_head(width: u32, height: u32) -> Vec<u8> {
        let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR".to_vec();
        bytes.extend(width.to_be_bytes());
        bytes.extend(height.to_be_bytes());
        bytes
    }

    #[test]
    fn a_picture_is_known_by_its_content() {
        assert_eq!(format_of(&png_head(3, 4)), Ok(Format::Png));
        assert_eq!(format_of(b"GIF89a\x01\0\x01\0"), Ok(Format::Gif));
        assert_eq!(
            format_of(b"<?xml version='1.0'?>\n<svg xmlns='http://www.w3.org/2000/svg'/>"),
            Ok(Format::Svg)
        );
        assert!(format_of(b"hello").is_err());
    }

    #[test]
    fn a_head_that_asks_for_too_much_is_refused() {
        assert!(format_of(&png_head(100_000, 100_000)).is_err());
        assert!(format_of(&png_head(0, 4)).is_err());
        assert!(format_of(b"\x89PNG\r\n\x1a\n").is_err());
    }

    #[test]
    fn a_drawing_with_a_filter_is_refused() {
        let svg = |inside: &str| {
            format_of(format!("<svg xmlns='http://www.w3.org/2000/svg'>{inside}</svg>").as_bytes())
        };
        assert_eq!(svg("<text>filter: paper</text>"), Ok(Format::Svg));
        for filtered in [
            "<filter id='f'><feGaussianBlur stdDeviation='5000'/></filter>",
            "<rect filter='blur(5000)'/>",
            "<rect style='f&#105;lter: blur(5000px)'/>",
            "<style>rect { filter: blur(5000px) }</style>",
        ] {
            assert!(svg(filtered).is_err_and(|why| why.contains("filter")), "{filtered}");
        }
        assert!(svg("<g>").is_err_and(|why| why.contains("cannot be read")));
    }

    #[test]
    fn jpeg_heads_are_walked() {
        let bytes = [0xff, 0xd8, 0xff, 0xe0, 0, 4, 0, 0, 0xff, 0xc0, 0, 11, 8, 0, 16, 0, 32, 3];
        assert_eq!(jpeg_size(&bytes), Some((32, 16)));
        assert_eq!(jpeg_size(&bytes[..9]), None);
    }

    #[test]
    fn nothing_remote_is_read() {
        assert!(is_remote("https://example.org/a.png"));
        assert!(is_remote("data:image/png;base64,AAAA"));
        assert!(is_remote("//example.org/a.png"));
        assert!(!is_remote("pictures/a.png"));
    }

    #[test]
    fn names_are_decoded() {
        assert_eq!(percent_decoded("a%20b%2.png"), "a b%2.png");
        assert_eq!(percent_decoded("%ff"), "%ff");
    }
}
