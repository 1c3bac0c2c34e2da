//! No report makes the reader panic, grow without bound, or say nothing.

use std::io::Cursor;
use std::sync::Arc;

use buswitness::read::recognising::{Kind, recognise};
use buswitness::read::scan_reports::free_form::{
    Around, LONGEST_LINE, MOST_CELLS, MOST_LINES, Words, read_free_form, take_apart,
};
use chrono_tz::Tz;
use proptest::prelude::*;

use crate::program::{files, project};

fn name() -> Arc<str> {
    "any".into()
}

/// A report of unknown layout from the test folder, with bytes changed, doubled or cut out.
fn any_report() -> impl Strategy<Value = Vec<u8>> {
    let folder = project().join("tests/free_form/layouts");
    let mut whole: Vec<Vec<u8>> = files(&folder).into_values().collect();
    whole.push(b"<table><tr><td rowspan=9999 colspan=9999>U0126<td>".to_vec());
    whole.push(b"| U0126 | BCM |\n|||\n\x0c\r\r\nStatus: : = 0x2F\n".to_vec());
    let changes = prop::collection::vec((any::<prop::sample::Index>(), any::<u8>(), 0u8..4), 0..12);
    (prop::sample::select(whole), changes, any::<prop::sample::Index>()).prop_map(
        |(mut bytes, changes, cut)| {
            for (at, byte, how) in changes {
                let at = at.index(bytes.len().max(1)).min(bytes.len().saturating_sub(1));
                match how {
                    0 => bytes.insert(at, byte),
                    1 if bytes.len() > 1 => drop(bytes.remove(at)),
                    2 => {
                        let piece: Vec<u8> = bytes.iter().skip(at).take(60).copied().collect();
                        bytes.splice(at..at, piece);
                    }
                    _ => bytes[at] = byte,
                }
            }
            let keep = cut.index(3 * bytes.len() + 1);
            bytes.truncate(keep.max(1));
            bytes
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 250,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn no_bytes_make_the_free_form_reader_panic(bytes in any_report()) {
        let words = Words::english();
        let around = Around {
            words: &words,
            path_vehicle: Some("V"),
            path_start: None,
            zone: Tz::UTC,
            vehicles: &[],
            network_of: &|_| None,
        };
        // What the content says, and every other way to take it.
        for kind in [recognise(&bytes), Kind::UnknownText, Kind::Html] {
            let document = take_apart(Cursor::new(&bytes), &kind, &name());
            prop_assert!(document.lines.len() <= MOST_LINES);
            for line in &document.lines {
                prop_assert!(!line.cells.is_empty() && line.cells.len() <= MOST_CELLS);
                let length: usize = line.cells.iter().map(|c| c.text.chars().count()).sum();
                prop_assert!(length <= LONGEST_LINE, "{length} characters in a line");
            }
            let read = read_free_form(document, &name(), &around);
            prop_assert!(read.records.report.is_some() || !read.account.rejects.is_empty(),
                "a report that is refused has a reason");
        }
    }
}

/// A PDF of one page whose stream claims and unpacks to far more than it is.
fn swollen_pdf() -> Vec<u8> {
    use flate2::{Compression, write::ZlibEncoder};
    use std::io::Write as _;
    let mut packer = ZlibEncoder::new(Vec::new(), Compression::best());
    let blanks = vec![b' '; 1 << 20];
    for _ in 0..64 {
        packer.write_all(&blanks).expect("packed");
    }
    let packed = packer.finish().expect("packed");
    let mut pdf = b"%PDF-1.5\n".to_vec();
    let mut offsets = Vec::new();
    let mut object = |pdf: &mut Vec<u8>, body: &[u8]| {
        offsets.push(pdf.len());
        pdf.extend_from_slice(body);
    };
    object(&mut pdf, b"1 0 obj <</Type /Catalog /Pages 2 0 R>> endobj\n");
    object(&mut pdf, b"2 0 obj <</Type /Pages /Kids [3 0 R] /Count 2000000000>> endobj\n");
    object(&mut pdf, b"3 0 obj <</Type /Page /Parent 2 0 R /Contents 4 0 R>> endobj\n");
    let head = format!("4 0 obj <</Filter /FlateDecode /Length {}>> stream\n", packed.len());
    object(&mut pdf, &[head.as_bytes(), &packed, b"\nendstream endobj\n"].concat());
    let at = pdf.len();
    pdf.extend_from_slice(b"xref\n0 5\n0000000000 65535 f \n");
    for offset in offsets {
        pdf.extend_from_slice(format!("{offset:010} 00000 n \n").as_bytes());
    }
    pdf.extend_from_slice(
        format!("trailer <</Size 5 /Root 1 0 R>>\nstartxref\n{at}\n%%EOF\n").as_bytes(),
    );
    pdf
}

#[test]
fn a_small_file_that_claims_to_be_huge_is_refused() {
    let words = Words::english();
    let around = Around {
        words: &words,
        path_vehicle: Some("V"),
        path_start: None,
        zone: Tz::UTC,
        vehicles: &[],
        network_of: &|_| None,
    };
    let refused = |bytes: &[u8]| {
        let document = take_apart(bytes, &recognise(bytes), &name());
        assert!(document.lines.is_empty(), "nothing is read from it");
        let read = read_free_form(document, &name(), &around);
        assert!(read.records.report.is_none());
        read.account.rejects.first().map(|r| r.reason.clone()).expect("a reason")
    };
    let pdf = swollen_pdf();
    assert!(pdf.len() < 70_000);
    let reason = refused(&pdf);
    assert!(reason.contains("page 1") && reason.contains("decompress"), "{reason}");
    // A length, a count and a table of objects far beyond the file.
    let claims = b"%PDF-1.4\n1 0 obj <</Length 99999999999>> stream\nx\nendstream endobj\nxref\n0 4294967295\ntrailer <</Size 4294967295 /Root 1 0 R>>\nstartxref\n60\n%%EOF\n";
    assert!(!refused(claims).is_empty());
}
