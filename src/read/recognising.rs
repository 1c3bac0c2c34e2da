//! What a file is, told from its first bytes; never from its name.
//!
//! Order of the questions: empty; a format with a fixed beginning (pcap, Parquet, MDF, …); UTF-16; a bus
//! log (a line that begins with `(digits.digits)`); binary; JSON; TOML; a table with a header; other
//! text. The bus log is asked before binary, so that one spoilt line does not hide a whole log.

use std::sync::OnceLock;

use regex::bytes::Regex;

/// What a file is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Kind {
    /// A SocketCAN text log.
    BusLogText,
    /// JSON: one object, an array, or JSON Lines.
    ScanReportJson,
    /// A table with a header line.
    Csv {
        /// The header line as it stands.
        header: String,
    },
    /// A network description.
    NetworkToml,
    /// A pipeline file.
    PipelineToml,
    /// Words by which reports of unknown layout are read.
    ReportWords,
    /// HTML, or XML that reads like it.
    Html,
    /// A PDF document.
    Pdf,
    /// A pcap or pcapng capture.
    Pcap,
    /// A Parquet file.
    Parquet,
    /// An Arrow IPC file.
    ArrowFile,
    /// An Arrow IPC stream.
    ArrowStream,
    /// An ASAM MDF measurement file.
    Mdf,
    /// No bytes, or only blanks.
    Empty,
    /// Text in UTF-16.
    Utf16,
    /// A known format that is not read, by its name.
    Foreign(&'static str),
    /// Bytes that are no text.
    Binary {
        /// Where the first byte stands that is no text.
        offset: usize,
    },
    /// Text of no known kind.
    UnknownText,
}

/// Formats with a fixed beginning.
const BEGINNINGS: [(&[u8], &str); 5] = [
    (b"PK\x03\x04", "zip archive (or office document)"),
    (b"\xFD7zXZ\x00", "xz file"),
    (b"BZh", "bzip2 file"),
    (b"7z\xBC\xAF", "7z archive"),
    (b"SQLite format 3\x00", "SQLite database"),
];

/// Tells what a file is from its first bytes (decompressed, byte order mark removed).
#[must_use]
pub fn recognise(first: &[u8]) -> Kind {
    if first.iter().all(u8::is_ascii_whitespace) {
        return Kind::Empty;
    }
    if is_pcap(first) {
        return Kind::Pcap;
    }
    if let Some(kind) = columnar(first) {
        return kind;
    }
    if first.starts_with(b"%PDF-") {
        return Kind::Pdf;
    }
    if let Some((_, name)) = BEGINNINGS.iter().find(|(start, _)| first.starts_with(start)) {
        return Kind::Foreign(name);
    }
    if is_utf16(first) {
        return Kind::Utf16;
    }
    if first.split(|&b| b == b'\n').take(50).any(|line| log_line().is_match(line)) {
        return Kind::BusLogText;
    }
    let beginning = &first[..first.len().min(4096)];
    if let Some(offset) = beginning.iter().position(|&b| !is_text(b)) {
        return Kind::Binary { offset };
    }
    recognise_text(&String::from_utf8_lossy(first))
}

fn recognise_text(text: &str) -> Kind {
    let trimmed = text.trim_start();
    let mut starts = trimmed.chars();
    let (first, second) = (starts.next(), starts.find(|c| !c.is_whitespace()));
    if first == Some('{') || (first == Some('[') && matches!(second, Some('{' | ']'))) {
        return Kind::ScanReportJson;
    }
    if first == Some('<') {
        return Kind::Html;
    }
    if let Some(kind) = recognise_toml(trimmed) {
        return kind;
    }
    let header = trimmed.lines().next().unwrap_or("").trim();
    if is_header(header) {
        return Kind::Csv { header: header.to_owned() };
    }
    Kind::UnknownText
}

/// Tables that only a file of report words has.
const WORD_TABLES: [&str; 5] =
    ["[labels]", "[answers]", "[sections]", "[months]", "[modules.classes]"];

fn recognise_toml(text: &str) -> Option<Kind> {
    for line in text.lines().map(str::trim).take(200) {
        if line.starts_with("[[bus") || line.starts_with("[[node") || line.starts_with("[[branch") {
            return Some(Kind::NetworkToml);
        }
        if line.starts_with("[inputs") || line.starts_with("[output") || line.starts_with("[period")
        {
            return Some(Kind::PipelineToml);
        }
        if WORD_TABLES.contains(&line) {
            return Some(Kind::ReportWords);
        }
        match line.split_once('=').map(|(key, _)| key.trim()) {
            Some("network") => return Some(Kind::NetworkToml),
            Some("view" | "timezone") => return Some(Kind::PipelineToml),
            Some("language" | "slash_dates") => return Some(Kind::ReportWords),
            _ => {}
        }
    }
    None
}

/// A header has two names or more, each with a letter in it and none empty.
fn is_header(line: &str) -> bool {
    [',', ';', '\t'].iter().any(|&separator| {
        let mut cells = line.split(separator).map(|cell| cell.trim().trim_matches('"'));
        line.contains(separator)
            && cells.all(|cell| cell.chars().any(char::is_alphabetic) && cell.len() <= 60)
    })
}

fn is_text(byte: u8) -> bool {
    matches!(byte, b'\t' | b'\n' | b'\r' | 0x0C | 0x20..=0x7E | 0x80..)
}

fn is_pcap(first: &[u8]) -> bool {
    let magic: &[[u8; 4]] = &[
        [0xA1, 0xB2, 0xC3, 0xD4],
        [0xD4, 0xC3, 0xB2, 0xA1],
        [0xA1, 0xB2, 0x3C, 0x4D],
        [0x4D, 0x3C, 0xB2, 0xA1],
        [0x0A, 0x0D, 0x0D, 0x0A],
    ];
    magic.iter().any(|m| first.starts_with(m))
}

/// Formats of columns and measurements, each with a beginning of its own.
fn columnar(first: &[u8]) -> Option<Kind> {
    if first.starts_with(b"PAR1") {
        return Some(Kind::Parquet);
    }
    if first.starts_with(b"ARROW1") {
        return Some(Kind::ArrowFile);
    }
    // `UnFinMF ` marks a measurement that its logger could not finish.
    if first.starts_with(b"MDF     ") || first.starts_with(b"UnFinMF ") {
        return Some(Kind::Mdf);
    }
    // A stream begins with a continuation mark and the length of the schema's message.
    let length = first.strip_prefix(&[0xFF; 4])?.first_chunk().map(|c| u32::from_le_bytes(*c))?;
    (8..1 << 24).contains(&length).then_some(Kind::ArrowStream)
}

/// A UTF-16 mark, or a zero in every other byte of the beginning.
fn is_utf16(first: &[u8]) -> bool {
    if first.starts_with(&[0xFF, 0xFE]) || first.starts_with(&[0xFE, 0xFF]) {
        return true;
    }
    let start = &first[..first.len().min(64) & !1];
    let zeros = |odd: usize| {
        start.iter().skip(odd).step_by(2).all(|&b| b == 0)
            && start.iter().skip(1 - odd).step_by(2).all(|&b| b != 0)
    };
    start.len() >= 8 && (zeros(0) || zeros(1))
}

fn log_line() -> &'static Regex {
    static FORM: OnceLock<Regex> = OnceLock::new();
    FORM.get_or_init(|| {
        Regex::new(r"^ *\([0-9]+[.,][0-9]+\)[ \t]")
            .expect("the pattern is a constant that tests compile")
    })
}

impl Kind {
    /// Why the file cannot be read where `expected` was wanted (a fragment such as
    /// "a SocketCAN text log"). For kinds that could be read it says that they are something else.
    #[must_use]
    pub fn refusal(&self, expected: &str) -> String {
        match self {
            Kind::Empty => format!("empty file, expected {expected}"),
            Kind::Binary { offset } => format!(
                "binary file (first byte that is not text at offset {offset}), expected {expected}"
            ),
            Kind::Utf16 => {
                format!("UTF-16 text, expected {expected} in UTF-8; save it as UTF-8")
            }
            Kind::Pcap => format!("a packet capture, expected {expected}"),
            Kind::Parquet => format!("a Parquet file, expected {expected}"),
            Kind::ArrowFile => format!("an Arrow IPC file, expected {expected}"),
            Kind::ArrowStream => format!("an Arrow IPC stream, expected {expected}"),
            Kind::Mdf => format!("an MDF measurement file, expected {expected}"),
            Kind::Foreign(name) => {
                format!("{name}, which this version does not read; expected {expected}")
            }
            Kind::UnknownText => format!("text of no known kind, expected {expected}"),
            Kind::BusLogText => format!("a SocketCAN text log, expected {expected}"),
            Kind::ScanReportJson => format!("JSON, expected {expected}"),
            Kind::Csv { header } => format!(
                "a table with the header `{}`, expected {expected}",
                crate::read::times::shortened(header)
            ),
            Kind::NetworkToml => format!("a network description, expected {expected}"),
            Kind::PipelineToml => format!("a pipeline file, expected {expected}"),
            Kind::ReportWords => format!("a file of report words, expected {expected}"),
            Kind::Html => format!("HTML or XML document, expected {expected}"),
            Kind::Pdf => format!("PDF document, expected {expected}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_by_its_content() {
        let header = |h: &str| Kind::Csv { header: h.into() };
        for (bytes, kind) in [
            (&b""[..], Kind::Empty),
            (b" \r\n\n", Kind::Empty),
            (b"(1767600000.123456) can0 1A0#00\n", Kind::BusLogText),
            (b" (000.005001)  can0  18FEDF00   [8]  8A\n", Kind::BusLogText),
            (b"\x00garbage\n(1.5) can0 1A0#00\n", Kind::BusLogText),
            (b"{\"vehicle\": 1}", Kind::ScanReportJson),
            (b"[\n  {\"vehicle\": 1}]", Kind::ScanReportJson),
            (b"[inputs]\nweather = \"a\"", Kind::PipelineToml),
            (b"# x\nnetwork = \"HT4\"\n", Kind::NetworkToml),
            (b"[[node]]\nname = \"a\"", Kind::NetworkToml),
            (b"site,time\nquay,x\n", header("site,time")),
            (b"site;time\r\nquay;x\r\n", header("site;time")),
            (b"\xD4\xC3\xB2\xA1\x02\x00", Kind::Pcap),
            (b"\x0A\x0D\x0D\x0A\x1C\x00", Kind::Pcap),
            (b"PAR1....", Kind::Parquet),
            (b"ARROW1\0\0", Kind::ArrowFile),
            (b"\xFF\xFF\xFF\xFF\x88\x01\0\0", Kind::ArrowStream),
            (b"MDF     4.10    ", Kind::Mdf),
            (b"UnFinMF 4.10    ", Kind::Mdf),
            (b"%PDF-1.7\n%\xE2\xE3", Kind::Pdf),
            (b" <!doctype html>", Kind::Html),
            (b"language = \"Deutsch\"\n[labels]\n", Kind::ReportWords),
            (b"\xFF\xFEa\x00", Kind::Utf16),
            (b"a\x00b\x00c\x00d\x00", Kind::Utf16),
            (b"abc\x01\x00\xFF", Kind::Binary { offset: 3 }),
            (b"just words", Kind::UnknownText),
            (b"1,2,3\n", Kind::UnknownText),
        ] {
            assert_eq!(recognise(bytes), kind, "{:?}", String::from_utf8_lossy(bytes));
        }
    }

    #[test]
    fn refusals_name_found_and_expected() {
        let text = Kind::Binary { offset: 7 }.refusal("a vehicles table");
        assert_eq!(
            text,
            "binary file (first byte that is not text at offset 7), expected a vehicles table"
        );
        assert_eq!(Kind::Pcap.refusal("x"), "a packet capture, expected x");
        assert!(Kind::Utf16.refusal("x").contains("save it as UTF-8"));
    }
}
