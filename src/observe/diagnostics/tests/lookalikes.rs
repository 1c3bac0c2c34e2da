//! Ordinary traffic whose counters look like the words of a tester for a few frames.

use super::Log;

/// `303` counts in its first byte and has 03 behind it (a request for codes, when the counter is 1),
/// `443` likewise with 43 (its answer).
fn lookalikes(every: u16) -> Log {
    let mut log = Log::default();
    let step = usize::from(every);
    for at in (0..20_000i64).step_by(step) {
        let count = (at / i64::from(every)) & 0xFF;
        log.one(at, "303", &format!("{count:02X} 03 30 07 00 00 00 00"));
        log.one(at + 3, "443", &format!("{count:02X} 43 00 07 00 00 00 00"));
        log.one(at + 5, "0A0", &format!("{count:02X} 00 00 00 00 00 00 00"));
    }
    log
}

#[test]
fn counters_that_look_like_a_talk_stay_ordinary_traffic() {
    for every in [10, 20, 100] {
        let facts = lookalikes(every).facts(None);
        assert_eq!(facts.logged_answers, [], "{every} ms");
        assert_eq!(facts.logged_codes, [], "{every} ms");
        assert_eq!(facts.bus_events, [], "{every} ms");
        let cyclic: Vec<u32> =
            facts.identifiers.iter().filter(|row| row.cyclic).map(|row| row.id.value()).collect();
        assert_eq!(cyclic, [0x0A0, 0x303, 0x443], "{every} ms");
    }
}

/// The same identifiers as a true talk of the maker's own.
#[test]
fn the_same_identifiers_with_nothing_but_a_talk_are_a_talk() {
    let mut log = Log::default();
    log.cyclic("0A0", 10, 20_000, (0, 0));
    for at in (1_000..19_000).step_by(1_000) {
        log.one(at, "303", "01 03 00 00 00 00 00 00");
        log.one(at + 10, "443", "02 43 00 00 00 00 00 00");
    }
    let facts = log.facts(None);
    assert_eq!(facts.logged_answers.len(), 1, "{:?}", facts.logged_answers);
    assert_eq!(facts.logged_answers[0].times, 18);
}
