//! PDF as lines of cells, page by page.
//!
//! The objects are parsed by a library; where the words stand on the page is worked out here. A file
//! may be made to do harm, so: the library runs on a thread of its own whose panic becomes a refusal,
//! every stream may unpack to [`LARGEST_STREAM`] bytes at most, and pages, operations and words are
//! counted. Words on one height are a line; a gap wider than a letter or so parts cells. Larger type marks
//! a heading. An encrypted file that needs a password, and one that only holds pictures, are refused.

use std::collections::BTreeMap;
use std::sync::Arc;

use lopdf::content::Content;
use lopdf::{Dictionary, Document as Pdf, LoadOptions, Object, ObjectId};

use super::document::Document;
use super::pdf_glyphs::{Font, fonts};
use super::pdf_lines::{Piece, lines};
use crate::vocabulary::Place;

/// The most bytes that a stream may unpack to.
pub(super) const LARGEST_STREAM: usize = 16 << 20;
/// The most pages that are read.
const MOST_PAGES: usize = 400;
/// The most operations that are read on all pages.
const MOST_OPERATIONS: usize = 3_000_000;
/// The most pieces of text on all pages.
const MOST_PIECES: usize = 500_000;
/// How deep forms may lie in each other.
const DEEPEST_FORM: u32 = 4;
/// Stack of the library's thread, bytes.
const STACK: usize = 32 << 20;

/// Splits a PDF into lines and cells.
pub(super) fn read_pdf(bytes: &[u8], name: &Arc<str>) -> Document {
    let mut document = Document::new("PDF");
    let pages = std::thread::scope(|scope| {
        let reader = std::thread::Builder::new().stack_size(STACK);
        match reader.spawn_scoped(scope, || pages(bytes)) {
            Ok(thread) => thread.join().unwrap_or_else(|_| {
                Err("the PDF library gave up on the file; print it to a new PDF".to_owned())
            }),
            Err(error) => Err(format!("cannot start a thread for the PDF: {error}")),
        }
    });
    match pages {
        Err(reason) => document.account.reject(Place::whole(name), reason),
        Ok(read) => {
            for reason in read.faults {
                document.account.reject(Place::whole(name), reason);
            }
            for (page, pieces) in (1..).zip(read.pages) {
                lines(page, pieces, name, &mut document);
            }
            if document.lines.is_empty() && document.account.rejects.is_empty() {
                let reason = "PDF without text (pictures of pages?); export the report as text";
                document.account.reject(Place::whole(name), reason);
            }
        }
    }
    document
}

#[derive(Default)]
struct Pages {
    pages: Vec<Vec<Piece>>,
    faults: Vec<String>,
}

fn pages(bytes: &[u8]) -> Result<Pages, String> {
    let options = LoadOptions::with_max_decompressed_size(LARGEST_STREAM);
    let pdf = Pdf::load_mem_with_options(bytes, options)
        .map_err(|error| format!("not a PDF that can be read: {error}"))?;
    if pdf.is_encrypted() {
        return Err("encrypted PDF; save it without a password".to_owned());
    }
    let mut read = Pages::default();
    let mut reader = Reader { pdf: &pdf, operations: 0, pieces: 0 };
    let numbered = pdf.get_pages();
    if numbered.len() > MOST_PAGES {
        let reason = format!("{} pages, only {MOST_PAGES} are read", numbered.len());
        read.faults.push(reason);
    }
    for (number, id) in numbered.into_iter().take(MOST_PAGES) {
        let mut pieces = Vec::new();
        match pdf.get_page_content_with_limit(id, LARGEST_STREAM) {
            Err(error) => read.faults.push(format!("page {number}: {error}")),
            Ok(content) => {
                let fonts = page_fonts(&pdf, id);
                let resources = resources_of(&pdf, id);
                let frame = Frame { fonts: &fonts, resources, depth: 0 };
                if let Err(reason) = reader.run(&content, &frame, IDENTITY, &mut pieces) {
                    read.faults.push(format!("page {number}: {reason}"));
                }
            }
        }
        read.pages.push(pieces);
    }
    Ok(read)
}

fn page_fonts(pdf: &Pdf, id: ObjectId) -> BTreeMap<Vec<u8>, Font<'_>> {
    pdf.get_page_fonts(id).map(|found| fonts(pdf, found)).unwrap_or_default()
}

fn resources_of(pdf: &Pdf, id: ObjectId) -> Option<&Dictionary> {
    let (own, inherited) = pdf.get_page_resources(id).ok()?;
    own.or_else(|| inherited.first().and_then(|id| pdf.get_dictionary(*id).ok()))
}

/// A matrix `a b c d e f` of the standard.
type Matrix = [f64; 6];
const IDENTITY: Matrix = [1.0, 0.0, 0.0, 1.0, 0.0, 0.0];

/// `first`, then `second`.
fn product(first: Matrix, second: Matrix) -> Matrix {
    let [a, b, c, d, e, f] = first;
    let [g, h, i, j, k, l] = second;
    [
        a * g + b * i,
        a * h + b * j,
        c * g + d * i,
        c * h + d * j,
        e * g + f * i + k,
        e * h + f * j + l,
    ]
}

struct Frame<'f> {
    fonts: &'f BTreeMap<Vec<u8>, Font<'f>>,
    resources: Option<&'f Dictionary>,
    depth: u32,
}

struct Reader<'r> {
    pdf: &'r Pdf,
    operations: usize,
    pieces: usize,
}

/// The text state of the standard, as far as places depend on it.
#[derive(Clone)]
struct State<'f> {
    page: Matrix,
    text: Matrix,
    line: Matrix,
    font: Option<&'f Font<'f>>,
    size: f64,
    leading: f64,
    letter: f64,
    word: f64,
    scale: f64,
    rise: f64,
}

impl Reader<'_> {
    fn run(
        &mut self,
        content: &[u8],
        frame: &Frame<'_>,
        page: Matrix,
        pieces: &mut Vec<Piece>,
    ) -> Result<(), String> {
        let content = Content::decode(content).map_err(|error| error.to_string())?;
        let mut state = State {
            page,
            text: IDENTITY,
            line: IDENTITY,
            font: None,
            size: 1.0,
            leading: 0.0,
            letter: 0.0,
            word: 0.0,
            scale: 1.0,
            rise: 0.0,
        };
        let mut kept: Vec<State<'_>> = Vec::new();
        for operation in &content.operations {
            self.operations += 1;
            if self.operations > MOST_OPERATIONS || self.pieces > MOST_PIECES {
                return Err("more drawing than a report has; the rest is not read".to_owned());
            }
            let operands = operation.operands.as_slice();
            let number = |at: usize| operands.get(at).and_then(real).unwrap_or(0.0);
            match operation.operator.as_str() {
                "q" if kept.len() < 256 => kept.push(state.clone()),
                "Q" => state = kept.pop().unwrap_or(state),
                "cm" => state.page = product(matrix(operands), state.page),
                "BT" => (state.text, state.line) = (IDENTITY, IDENTITY),
                "Tf" => {
                    let name = operands.first().and_then(|o| o.as_name().ok());
                    state.font = name.and_then(|name| frame.fonts.get(name));
                    state.size = number(1);
                }
                "TL" => state.leading = number(0),
                "Tc" => state.letter = number(0),
                "Tw" => state.word = number(0),
                "Tz" => state.scale = number(0) / 100.0,
                "Ts" => state.rise = number(0),
                "Td" => state.down(number(0), number(1)),
                "TD" => {
                    state.leading = -number(1);
                    state.down(number(0), number(1));
                }
                "Tm" => {
                    state.line = matrix(operands);
                    state.text = state.line;
                }
                "T*" => state.down(0.0, -state.leading),
                "Tj" => self.show(&mut state, operands, pieces),
                "'" => {
                    state.down(0.0, -state.leading);
                    self.show(&mut state, operands, pieces);
                }
                "\"" => {
                    (state.word, state.letter) = (number(0), number(1));
                    state.down(0.0, -state.leading);
                    self.show(&mut state, operands.get(2..).unwrap_or(&[]), pieces);
                }
                "TJ" => {
                    if let Some(Object::Array(items)) = operands.first() {
                        self.show(&mut state, items, pieces);
                    }
                }
                "Do" => self.form(&state, operands, frame, pieces)?,
                _ => {}
            }
        }
        Ok(())
    }

    /// Shows strings, moved by the numbers between them.
    fn show(&mut self, state: &mut State<'_>, items: &[Object], pieces: &mut Vec<Piece>) {
        for item in items {
            if let Some(back) = real(item) {
                state.shift(-back / 1000.0 * state.size);
                continue;
            }
            let (Ok(bytes), Some(font)) = (item.as_str(), state.font) else { continue };
            let (text, width, letters, blanks) = font.read(bytes);
            let width = width * state.size + letters * state.letter + blanks * state.word;
            let place =
                product(product([1.0, 0.0, 0.0, 1.0, 0.0, state.rise], state.text), state.page);
            let [a, b, c, d, x, y] = place;
            let (wide, high) = (a.hypot(b), c.hypot(d));
            let size = (state.size * high).abs();
            if !text.is_empty() && x.is_finite() && y.is_finite() && size.is_finite() {
                self.pieces += 1;
                let width = (width * state.scale * wide).abs();
                pieces.push(Piece { x, y, width, size, text });
            }
            state.shift(width);
        }
    }

    /// A form is content within content.
    fn form(
        &mut self,
        state: &State<'_>,
        operands: &[Object],
        frame: &Frame<'_>,
        pieces: &mut Vec<Piece>,
    ) -> Result<(), String> {
        let form = || {
            let name = operands.first()?.as_name().ok()?;
            let forms = frame.resources?.get_deref(b"XObject", self.pdf).ok()?.as_dict().ok()?;
            let stream = forms.get_deref(name, self.pdf).ok()?.as_stream().ok()?;
            (stream.dict.get(b"Subtype").ok()?.as_name().ok()? == b"Form").then_some(stream)
        };
        let Some(stream) = form() else { return Ok(()) };
        if frame.depth >= DEEPEST_FORM {
            return Err(format!("forms nested more than {DEEPEST_FORM} deep"));
        }
        let content = stream
            .get_plain_content_with_limit(LARGEST_STREAM)
            .map_err(|error| error.to_string())?;
        let resources = stream.dict.get_deref(b"Resources", self.pdf).ok();
        let resources = resources.and_then(|r| r.as_dict().ok()).or(frame.resources);
        let named = || {
            let all = resources?.get_deref(b"Font", self.pdf).ok()?.as_dict().ok()?;
            let mut named = BTreeMap::new();
            for (name, font) in all {
                if let Ok((_, Object::Dictionary(font))) = self.pdf.dereference(font) {
                    named.insert(name.clone(), font);
                }
            }
            Some(fonts(self.pdf, named))
        };
        let fonts = named().unwrap_or_default();
        let own = stream.dict.get(b"Matrix").ok().and_then(|m| m.as_array().ok());
        let page = product(own.map_or(IDENTITY, |m| matrix(m)), state.page);
        let frame = Frame { fonts: &fonts, resources, depth: frame.depth + 1 };
        self.run(&content, &frame, page, pieces)
    }
}

impl State<'_> {
    fn down(&mut self, x: f64, y: f64) {
        self.line = product([1.0, 0.0, 0.0, 1.0, x, y], self.line);
        self.text = self.line;
    }

    fn shift(&mut self, x: f64) {
        self.text = product([1.0, 0.0, 0.0, 1.0, x * self.scale, 0.0], self.text);
    }
}

fn real(object: &Object) -> Option<f64> {
    object.as_float().ok().map(f64::from).filter(|value| value.is_finite())
}

fn matrix(operands: &[Object]) -> Matrix {
    let number = |at: usize, none: f64| operands.get(at).and_then(real).unwrap_or(none);
    [number(0, 1.0), number(1, 0.0), number(2, 0.0), number(3, 1.0), number(4, 0.0), number(5, 0.0)]
}
