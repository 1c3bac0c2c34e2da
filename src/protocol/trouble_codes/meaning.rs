//! Whom a generic network code (U0xxx, U3xxx) accuses.
//!
//! `u_codes.csv` beside this file holds the U0xxx codes: code, class of the accused, its name, the
//! kind of testimony, and the lists that carry the row (W, M and C are three open lists; a row with
//! only W is weak). The U3xxx block is about the reporter's own supply and stands in a table here.

use std::sync::OnceLock;

/// What kind of testimony a network code is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum NetworkCodeKind {
    /// The bus itself is faulty or was off.
    BusFault,
    /// The bus works, but badly.
    BusPerformance,
    /// The reporter does not hear the accused.
    LostCommunication,
    /// The reporter hears the accused, but what it says is wrong: the accused was alive.
    InvalidData,
    /// The software levels do not fit.
    SoftwareMismatch,
    /// The reporter's battery supply or a supply input.
    OwnSupply,
    /// The reporter's ground.
    OwnGround,
    /// The reporter's ignition input or wake line.
    OwnWake,
    /// The reporter's clock: its time stamps are not to be trusted.
    OwnClock,
    /// The reporter itself: an internal fault, or a wrong identity.
    OwnInternal,
}

impl NetworkCodeKind {
    /// Whether the code is about the module that reports it, and accuses nobody else.
    #[must_use]
    pub fn is_own(self) -> bool {
        matches!(
            self,
            NetworkCodeKind::OwnSupply
                | NetworkCodeKind::OwnGround
                | NetworkCodeKind::OwnWake
                | NetworkCodeKind::OwnClock
                | NetworkCodeKind::OwnInternal
        )
    }
}

/// The meaning of one generic network code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct NetworkCode {
    /// The code's 16-bit word.
    pub word: u16,
    /// Class of the accused: `brake`, `bus`, `self`, …
    pub accused_class: &'static str,
    /// Name of the accused, in words.
    pub accused_name: &'static str,
    /// The kind of testimony.
    pub kind: NetworkCodeKind,
    /// The lists that carry the row.
    pub source_mark: &'static str,
}

impl NetworkCode {
    /// Whether only one list carries the row.
    #[must_use]
    pub fn is_weak(&self) -> bool {
        self.source_mark == "W"
    }
}

/// The meaning of a network code; `None` for a maker's own, an undefined one, or no U code at all.
#[must_use]
pub fn network_code(word: u16) -> Option<&'static NetworkCode> {
    let table = table();
    table.binary_search_by_key(&word, |code| code.word).ok().map(|at| &table[at])
}

/// Whether the code belongs to the maker (U1xxx, U2xxx): its meaning needs a maker's table.
#[must_use]
pub fn is_maker_defined(word: u16) -> bool {
    (0xD000..=0xEFFF).contains(&word)
}

const U_CODES: &str = include_str!("u_codes.csv");

/// The U3xxx codes, as ranges of words with what they say about the reporter.
const OWN: [(u16, u16, NetworkCodeKind, &str); 19] = [
    (0xF000, 0xF000, NetworkCodeKind::OwnInternal, "internal fault"),
    (0xF001, 0xF001, NetworkCodeKind::OwnSupply, "improper shutdown"),
    (0xF002, 0xF002, NetworkCodeKind::OwnInternal, "vehicle number does not match"),
    (0xF003, 0xF003, NetworkCodeKind::OwnSupply, "battery voltage"),
    (0xF006, 0xF006, NetworkCodeKind::OwnSupply, "supply input A"),
    (0xF007, 0xF007, NetworkCodeKind::OwnSupply, "supply input B"),
    (0xF008, 0xF008, NetworkCodeKind::OwnGround, "ground A"),
    (0xF009, 0xF009, NetworkCodeKind::OwnGround, "ground B"),
    (0xF00A, 0xF011, NetworkCodeKind::OwnWake, "ignition input"),
    (0xF012, 0xF012, NetworkCodeKind::OwnSupply, "improper wake-up"),
    (0xF013, 0xF013, NetworkCodeKind::OwnSupply, "supply input C"),
    (0xF014, 0xF014, NetworkCodeKind::OwnSupply, "supply input D"),
    (0xF015, 0xF015, NetworkCodeKind::OwnGround, "ground C"),
    (0xF016, 0xF016, NetworkCodeKind::OwnGround, "ground D"),
    (0xF017, 0xF017, NetworkCodeKind::OwnClock, "clock"),
    (0xF01A, 0xF021, NetworkCodeKind::OwnWake, "wake-up circuit"),
    (0xF022, 0xF022, NetworkCodeKind::OwnWake, "ignition input"),
    (0xF033, 0xF036, NetworkCodeKind::OwnInternal, "certificate or authentication"),
    (0xF500, 0xF50B, NetworkCodeKind::OwnSupply, "supply input range"),
];

fn table() -> &'static [NetworkCode] {
    static TABLE: OnceLock<Vec<NetworkCode>> = OnceLock::new();
    TABLE.get_or_init(|| {
        let mut codes: Vec<NetworkCode> = U_CODES.lines().skip(1).filter_map(row).collect();
        for (first, last, kind, accused_name) in OWN {
            codes.extend((first..=last).map(|word| NetworkCode {
                word,
                accused_class: "self",
                accused_name,
                kind,
                source_mark: "W+C",
            }));
        }
        codes.sort_by_key(|code| code.word);
        codes
    })
}

/// One row of the data file. A row that does not read is left out; a test counts the rows.
fn row(line: &'static str) -> Option<NetworkCode> {
    let mut cells = line.split(',');
    let code = super::parse_code(cells.next()?).ok()?;
    let accused_class = cells.next()?;
    let accused_name = cells.next()?;
    let kind = match cells.next()? {
        "bus_fault" => NetworkCodeKind::BusFault,
        "bus_performance" => NetworkCodeKind::BusPerformance,
        "lost_communication" => NetworkCodeKind::LostCommunication,
        "invalid_data" => NetworkCodeKind::InvalidData,
        "software_incompat" => NetworkCodeKind::SoftwareMismatch,
        _ => return None,
    };
    let source_mark = cells.next()?;
    Some(NetworkCode { word: code.word, accused_class, accused_name, kind, source_mark })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::protocol::trouble_codes::parse_code;

    fn meaning(text: &str) -> Option<(NetworkCodeKind, &'static str)> {
        network_code(parse_code(text).unwrap().word).map(|c| (c.kind, c.accused_class))
    }

    #[test]
    fn ex_2a_to_2i() {
        use NetworkCodeKind as K;
        assert_eq!(meaning("U0121"), Some((K::LostCommunication, "brake")));
        assert_eq!(meaning("U0073"), Some((K::BusFault, "bus")));
        assert_eq!(meaning("U0002"), Some((K::BusPerformance, "bus")));
        assert_eq!(meaning("U0428"), Some((K::InvalidData, "steering_angle_sensor")));
        assert_eq!(meaning("U0300"), Some((K::SoftwareMismatch, "self")));
        assert_eq!(meaning("U1900"), None);
        assert!(is_maker_defined(0xD900) && !is_maker_defined(0xC121));
        let shorted = network_code(0xC009).unwrap();
        assert_eq!(shorted.kind, K::BusFault);
        assert_eq!(shorted.accused_name, "HS-CAN: wires shorted together");
        assert_eq!(meaning("U029A").unwrap().1, "hv_battery");
        assert_eq!(meaning("U00FF"), None);
        assert_eq!(meaning("P0562"), None);
    }

    #[test]
    fn twins_accuse_the_same_class_with_another_kind() {
        for (lost, invalid) in [
            ("U0100", "U0401"),
            ("U0101", "U0402"),
            ("U0121", "U0415"),
            ("U0122", "U0416"),
            ("U0128", "U0417"),
            ("U0129", "U0418"),
            ("U0131", "U0420"),
            ("U0140", "U0422"),
            ("U0155", "U0423"),
            ("U0164", "U0424"),
            ("U0126", "U0428"),
            ("U0212", "U0429"),
            ("U0151", "U0452"),
            ("U0146", "U0447"),
            ("U0123", "U0513"),
            ("U0124", "U0536"),
            ("U0125", "U0432"),
        ] {
            let (a, b) = (meaning(lost).expect(lost), meaning(invalid).expect(invalid));
            assert_eq!(a, (NetworkCodeKind::LostCommunication, b.1), "{lost} and {invalid}");
            assert_eq!(b.0, NetworkCodeKind::InvalidData, "{invalid}");
        }
    }

    #[test]
    fn the_reporters_own_troubles_accuse_nobody_else() {
        use NetworkCodeKind as K;
        for (text, kind) in [
            ("U3000", K::OwnInternal),
            ("U3003", K::OwnSupply),
            ("U3009", K::OwnGround),
            ("U300B", K::OwnWake),
            ("U3017", K::OwnClock),
            ("U301F", K::OwnWake),
            ("U3505", K::OwnSupply),
        ] {
            let (found, class) = meaning(text).expect(text);
            assert_eq!((found, class), (kind, "self"), "{text}");
            assert!(found.is_own());
        }
        assert_eq!(meaning("U3030"), None);
    }

    #[test]
    fn every_row_of_the_data_file_is_read_and_no_word_stands_twice() {
        let rows = U_CODES.lines().skip(1).count();
        assert_eq!(U_CODES.lines().skip(1).filter_map(row).count(), rows);
        assert_eq!(rows, 1054);
        assert!(table().windows(2).all(|pair| pair[0].word < pair[1].word));
    }

    #[test]
    fn a_row_of_a_single_list_is_weak() {
        assert!(network_code(0xC100).is_some_and(|code| !code.is_weak()));
        assert!(table().iter().filter(|code| code.is_weak()).count() > 300);
    }
}
