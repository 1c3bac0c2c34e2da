//! Pieces of text on a page become lines of cells.
//!
//! Pieces on one height are a line; a gap wider than a letter or so parts cells, and so do runs of blanks inside
//! a piece. A distance to the line above that is larger than usual parts blocks; a larger type is a heading.

use std::sync::Arc;

use super::document::{Cell, Document, Line};
use super::plain::by_blanks;
use crate::vocabulary::Place;

/// A piece of text where it stands.
#[derive(Debug, Clone)]
pub(super) struct Piece {
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub size: f64,
    pub text: String,
}

/// The lines of one page, from top to bottom.
pub(super) fn lines(page: u32, mut pieces: Vec<Piece>, name: &Arc<str>, document: &mut Document) {
    let mut pieces: Vec<Piece> = pieces.drain(..).flat_map(apart).collect();
    pieces.sort_by(|a, b| b.y.total_cmp(&a.y).then(a.x.total_cmp(&b.x)));
    let mut sizes: Vec<f64> = pieces.iter().map(|piece| piece.size).collect();
    sizes.sort_by(f64::total_cmp);
    let usual = sizes.get(sizes.len() / 2).copied().unwrap_or(10.0).max(1.0);
    let mut rows: Vec<Vec<Piece>> = Vec::new();
    for piece in pieces {
        match rows.last_mut() {
            Some(row) if row.first().is_some_and(|f| (f.y - piece.y).abs() <= 0.4 * usual) => {
                row.push(piece);
            }
            _ => rows.push(vec![piece]),
        }
    }
    let mut steps: Vec<f64> = rows
        .windows(2)
        .filter_map(|pair| Some(pair.first()?.first()?.y - pair.get(1)?.first()?.y))
        .collect();
    steps.sort_by(f64::total_cmp);
    let step = steps.get(steps.len() / 2).copied().unwrap_or(usual).max(usual);
    let mut above: Option<f64> = None;
    for (number, mut row) in (1..).zip(rows) {
        row.sort_by(|a, b| a.x.total_cmp(&b.x));
        let y = row.first().map_or(0.0, |piece| piece.y);
        let size = row.iter().map(|piece| piece.size).fold(0.0, f64::max);
        let cells = cells(&row, usual);
        let gap = above.is_none_or(|above| above - y > 1.4 * step);
        let heading = cells.len() == 1 && size > 1.12 * usual;
        above = Some(y);
        let place = Place::page(name, page, number);
        if !document.push(Line { place, cells, gap, heading, table: 0 }) {
            return;
        }
    }
}

/// A piece with runs of blanks in it, as several; where they stand is told by their share of its width.
fn apart(piece: Piece) -> Vec<Piece> {
    let signs = piece.text.chars().count().max(1) as f64;
    let parts = by_blanks(&piece.text, 0);
    if parts.len() == 1 && !piece.text.starts_with("  ") {
        return vec![piece];
    }
    let at = |share: usize| piece.width * share as f64 / signs;
    let one = |cell: Cell| Piece {
        x: piece.x + at(cell.column),
        width: at(cell.text.chars().count()),
        text: cell.text,
        ..piece.clone()
    };
    parts.into_iter().map(one).collect()
}

/// The cells of a row of pieces; columns in units of a small letter's width.
fn cells(row: &[Piece], usual: f64) -> Vec<Cell> {
    let mut cells: Vec<Cell> = Vec::new();
    let mut end = f64::NEG_INFINITY;
    for piece in row {
        let gap = piece.x - end;
        let text = piece.text.trim();
        let spaced = piece.text.starts_with(' ') || gap > 0.12 * piece.size;
        #[expect(
            clippy::cast_possible_truncation,
            reason = "a place on a page; the cast saturates"
        )]
        #[expect(clippy::cast_sign_loss, reason = "not below 0 by max")]
        let column = (piece.x / (0.5 * usual)).max(0.0) as usize;
        match cells.last_mut() {
            Some(cell) if gap <= 0.85 * piece.size => {
                if spaced || cell.text.ends_with(' ') {
                    cell.text.push(' ');
                }
                cell.text.push_str(text);
                if piece.text.ends_with(' ') {
                    cell.text.push(' ');
                }
            }
            _ => cells.push(Cell { text: text.to_owned(), column }),
        }
        end = end.max(piece.x + piece.width);
    }
    for cell in &mut cells {
        cell.text = cell.text.split_whitespace().collect::<Vec<_>>().join(" ");
    }
    cells
}
