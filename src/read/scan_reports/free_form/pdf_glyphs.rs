//! The letters of a PDF's fonts: what bytes mean and how wide they are, in sizes of the font.
//!
//! Widths come from the font where it gives them, else from a table of a plain sans-serif face (the
//! fourteen standard fonts carry none). They only serve to tell a gap between words from one between
//! columns, so a rough width is enough.

use std::collections::BTreeMap;

use lopdf::{Dictionary, Document as Pdf, Encoding, Object};

use super::pdf::LARGEST_STREAM;

/// Widths of the letters from blank to `~` of a plain sans-serif face, in thousandths; common knowledge
/// of the trade, from memory.
const PLAIN: [u16; 95] = [
    278, 278, 355, 556, 556, 889, 667, 191, 333, 333, 389, 584, 278, 333, 278, 278, 556, 556, 556,
    556, 556, 556, 556, 556, 556, 556, 278, 278, 584, 584, 584, 556, 1015, 667, 667, 722, 722, 667,
    611, 778, 722, 278, 500, 667, 556, 833, 722, 778, 667, 778, 722, 667, 611, 722, 667, 944, 667,
    667, 611, 278, 278, 278, 469, 556, 333, 556, 556, 500, 556, 556, 278, 556, 556, 222, 222, 500,
    222, 833, 556, 556, 556, 556, 333, 500, 278, 556, 500, 722, 500, 500, 500, 334, 260, 334, 584,
];

/// A font as far as reading needs it.
pub(super) struct Font<'f> {
    encoding: Option<Encoding<'f>>,
    /// Two bytes make a letter.
    wide: bool,
    /// Widths by code, in thousandths.
    widths: BTreeMap<u32, f64>,
    /// The width of codes that `widths` lacks, when the font has widths at all.
    other: f64,
    fixed: bool,
}

/// The fonts of a page or form.
pub(super) fn fonts<'f>(
    pdf: &'f Pdf,
    named: BTreeMap<Vec<u8>, &'f Dictionary>,
) -> BTreeMap<Vec<u8>, Font<'f>> {
    named.into_iter().map(|(name, font)| (name, read(pdf, font))).collect()
}

fn read<'f>(pdf: &'f Pdf, font: &'f Dictionary) -> Font<'f> {
    let name = |key: &[u8]| font.get_deref(key, pdf).ok().and_then(|o| o.as_name().ok());
    let wide = name(b"Subtype") == Some(b"Type0");
    let base = String::from_utf8_lossy(name(b"BaseFont").unwrap_or(b"")).to_lowercase();
    let mut widths = BTreeMap::new();
    let mut other = 500.0;
    if wide {
        let descendant = || {
            let list = font.get_deref(b"DescendantFonts", pdf).ok()?.as_array().ok()?;
            pdf.dereference(list.first()?).ok()?.1.as_dict().ok()
        };
        if let Some(descendant) = descendant() {
            other = descendant.get_deref(b"DW", pdf).ok().and_then(real).unwrap_or(1000.0);
            let list = descendant.get_deref(b"W", pdf).ok().and_then(|w| w.as_array().ok());
            composite(pdf, list.map_or(&[], Vec::as_slice), &mut widths);
        }
    } else {
        let first = font.get_deref(b"FirstChar", pdf).ok().and_then(whole).unwrap_or(0);
        let list = font.get_deref(b"Widths", pdf).ok().and_then(|w| w.as_array().ok());
        for (code, width) in (first..).zip(list.map_or(&[][..], Vec::as_slice)).take(256) {
            let width = pdf.dereference(width).ok().and_then(|(_, w)| real(w));
            widths.insert(code, width.unwrap_or(500.0));
        }
    }
    Font {
        encoding: font.get_font_encoding_with_limit(pdf, LARGEST_STREAM).ok(),
        wide,
        widths,
        other,
        fixed: base.contains("courier") || base.contains("mono"),
    }
}

/// The widths of a composite font: `first [w w w]` or `first last w`.
fn composite(pdf: &Pdf, list: &[Object], widths: &mut BTreeMap<u32, f64>) {
    let mut items = list.iter();
    while let Some(first) = items.next().and_then(whole) {
        let Some(next) = items.next() else { return };
        let Ok((_, next)) = pdf.dereference(next) else { return };
        if let Ok(each) = next.as_array() {
            for (code, width) in (first..).zip(each).take(65_536) {
                widths.insert(code, real(width).unwrap_or(500.0));
            }
        } else {
            let (Some(last), Some(width)) = (whole(next), items.next().and_then(real)) else {
                return;
            };
            for code in (first..=last).take(65_536) {
                widths.insert(code, width);
            }
        }
    }
}

fn real(object: &Object) -> Option<f64> {
    object.as_float().ok().map(f64::from).filter(|value| value.is_finite())
}

fn whole(object: &Object) -> Option<u32> {
    object.as_i64().ok().and_then(|value| u32::try_from(value).ok())
}

impl Font<'_> {
    /// The text of some bytes, its width in sizes of the font, how many letters and how many blanks.
    pub(super) fn read(&self, bytes: &[u8]) -> (String, f64, f64, f64) {
        let text = match &self.encoding {
            Some(encoding) => Pdf::decode_text(encoding, bytes).unwrap_or_default(),
            None => bytes.iter().map(|b| char::from(*b)).collect(),
        };
        let text: String = text.chars().filter(|c| !c.is_control()).collect();
        let mut width = 0.0;
        let mut letters = 0.0;
        let step = if self.wide { 2 } else { 1 };
        for code in bytes.chunks(step) {
            let code = code.iter().fold(0_u32, |code, byte| code * 256 + u32::from(*byte));
            width += self.width(code);
            letters += 1.0;
        }
        let blanks = if self.wide { 0 } else { bytes.iter().filter(|b| **b == b' ').count() };
        (text, width / 1000.0, letters, blanks as f64)
    }

    fn width(&self, code: u32) -> f64 {
        if let Some(width) = self.widths.get(&code) {
            return *width;
        }
        if self.fixed {
            return 600.0;
        }
        if self.wide || !self.widths.is_empty() {
            return self.other;
        }
        let at = code.checked_sub(32).and_then(|at| usize::try_from(at).ok());
        at.and_then(|at| PLAIN.get(at)).map_or(556.0, |width| f64::from(*width))
    }
}
