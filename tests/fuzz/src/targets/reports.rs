//! Scan reports of unknown layout: bounded lines and cells, and what gives no report gives a reason.

use chrono_tz::Tz;

use super::file;
use crate::read::recognising::{Kind, recognise};
use crate::read::scan_reports::free_form::{
    Around, LONGEST_LINE, MOST_CELLS, MOST_LINES, Words, read_free_form, take_apart,
};

/// Text, HTML and PDF: as the content says, and as each of the others.
pub fn free_form(data: &[u8]) {
    let words = Words::english();
    let around = Around {
        words: &words,
        path_vehicle: Some("V"),
        path_start: None,
        zone: Tz::Europe__Helsinki,
        vehicles: &[],
        network_of: &|_| None,
    };
    let own = recognise(data);
    let others = [Kind::UnknownText, Kind::Html].into_iter().filter(|kind| *kind != own);
    for kind in std::iter::once(own.clone()).chain(others) {
        let document = take_apart(data, &kind, &file());
        assert!(document.lines.len() <= MOST_LINES);
        for line in &document.lines {
            assert!(!line.cells.is_empty() && line.cells.len() <= MOST_CELLS);
            let length: usize = line.cells.iter().map(|c| c.text.chars().count()).sum();
            assert!(length <= LONGEST_LINE, "{length} characters in a line");
        }
        let read = read_free_form(document, &file(), &around);
        assert!(read.records.report.is_some() || !read.account.rejects.is_empty());
    }
}
