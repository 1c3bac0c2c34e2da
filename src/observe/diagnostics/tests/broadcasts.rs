//! J1939: lists of codes, claims, and names by address.

use std::sync::Arc;

use super::{Log, NEVER, codes};
use crate::observe::diagnostics::logged_reports;
use crate::observe::{BusEventKind, CodeKind, testimony};

/// A J1939 vehicle: engine 0, transmission 3, brakes 11.
fn truck(gone: (i64, i64)) -> Log {
    let mut log = Log::default();
    log.cyclic("0CF00400", 20, 20_000, NEVER)
        .cyclic("0CF00203", 20, 20_000, gone)
        .cyclic("18F0010B", 100, 20_000, NEVER);
    log
}

/// EX-3u, 3v: broadcasts, single and by transport, become facts once for each change.
#[test]
fn ex_3u_3v_broadcasts_are_told_once_and_accuse_by_address() {
    let mut log = truck((8000, 12_000));
    for at in (500..20_000).step_by(1000) {
        if (9_000..15_000).contains(&at) {
            log.one(at, "18FECA0B", "04 FF D3 07 09 01 FF FF");
        } else {
            log.one(at, "18FECA0B", "00 FF 00 00 00 00 FF FF");
        }
        log.one(at, "1CECFF00", "20 0E 00 02 FF CA FE 00")
            .one(at + 60, "1CEBFF00", "01 04 FF D3 07 13 01 7F")
            .one(at + 120, "1CEBFF00", "02 02 09 05 A8 00 12 02");
    }
    let facts = log.facts(None);
    let mut found = codes(&facts);
    found.sort();
    let told = |who, code: &str, times| (who, code.to_owned(), "confirmed".to_owned(), times);
    assert_eq!(
        found,
        [
            told("brakes", "SPN 2003 FMI 9", 6),
            told("engine-1", "SPN 168 FMI 18", 20),
            told("engine-1", "SPN 2003 FMI 19", 20),
            told("engine-1", "SPN 639 FMI 9", 20)
        ]
    );
    assert_eq!(facts.silences[0].node, "transmission-1");
    let reports = logged_reports("V", &[(Arc::from("a.log"), facts)]);
    assert_eq!(reports.len(), 2, "held from the beginning, and come");
    let (rows, answers) = testimony(&reports, None);
    assert_eq!(answers, []);
    let said: Vec<_> = rows
        .iter()
        .map(|r| (r.reporter.as_str(), r.kind, r.accused.as_deref(), r.since_start_s))
        .collect();
    assert_eq!(
        said,
        [
            ("engine-1", CodeKind::HeardInvalid, Some("transmission-1"), None),
            ("engine-1", CodeKind::BusDown, None, None),
            ("engine-1", CodeKind::OwnSupply, None, None),
            ("brakes", CodeKind::NotHeard, Some("transmission-1"), Some(9.5))
        ]
    );
}

#[test]
fn ex_3e_a_claim_tells_of_a_restart_only_when_nobody_asked() {
    const NAME: &str = "01 00 00 40 05 00 00 00";
    let silent = (8000, 12_000);
    for (what, frames, events, restarted) in [
        ("none", &[][..], 0, None),
        ("after the silence", &[(12_000, "18EEFF03", NAME)][..], 1, Some(true)),
        ("while up", &[(16_000, "18EEFF03", NAME)], 1, None),
        ("at the wake-up", &[(10, "18EEFF03", NAME)], 0, None),
        ("asked for", &[(16_000, "18EAFFF9", "00 EE 00"), (16_050, "18EEFF03", NAME)], 0, None),
    ] {
        let mut log = truck(silent);
        for (at, id, data) in frames {
            log.one(*at, id, data);
        }
        let facts = log.facts(None);
        assert_eq!(facts.bus_events.len(), events, "{what}");
        assert_eq!(facts.silences.len(), 1, "{what}");
        if restarted.is_some() {
            assert_eq!(facts.silences[0].restarted, restarted, "{what}");
        }
    }
    let mut log = truck(NEVER);
    log.one(5000, "18EEFF03", NAME).one(5020, "18EEFF03", "02 00 00 40 05 00 00 00");
    log.one(5300, "18EEFFFE", NAME);
    let kinds: Vec<_> = log.facts(None).bus_events.iter().map(|e| e.kind).collect();
    assert!(kinds.contains(&BusEventKind::AddressConflict), "{kinds:?}");
    assert!(kinds.contains(&BusEventKind::CannotClaim), "{kinds:?}");
}

#[test]
fn names_by_address_only_where_the_standard_rules() {
    let node = |ids: &[&str]| {
        let mut log = Log::default();
        for id in ids {
            log.cyclic(id, 50, 3000, NEVER);
        }
        log.facts(None).identifiers[0].node.clone()
    };
    assert_eq!(node(&["0CF00400", "18FEF100"]), "engine-1");
    assert_eq!(node(&["0CF004A0", "18FEF1A0"]), "sender-address-160");
    assert_eq!(node(&["04FF1900", "08F01A00"]), "sender-00", "some maker's own identifiers");
    assert_eq!(node(&["09F10D00", "0DF80100", "0DF11900"]), "sender-address-0", "a vessel");
}
