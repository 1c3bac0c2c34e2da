//! Talks on the bus as frames, and the facts that must come of them.

use std::sync::Arc;

use proptest::prelude::*;

mod broadcasts;
mod lookalikes;

use super::{logged_reports, mark_answers};
use crate::observe::{
    AnswerReading, BusEventKind, CodeKind, LogFacts, Observer, Senders, testimony,
};
use crate::read::frames::{Frame, FrameKind};
use crate::vocabulary::{Bus, Identifier, Instant, Network, Node, Sent};

const MS: i64 = 1_000_000;

/// Frames of one log, in any order.
#[derive(Default)]
struct Log(Vec<Frame>);

impl Log {
    fn one(&mut self, at_ms: i64, id: &str, data: &str) -> &mut Log {
        let value = u32::from_str_radix(id, 16).unwrap();
        let id = if id.len() == 8 { Identifier::extended(value) } else { Identifier::base(value) };
        let bytes: Vec<u8> =
            data.split_whitespace().map(|b| u8::from_str_radix(b, 16).unwrap()).collect();
        let mut eight = [0; 8];
        eight[..bytes.len()].copy_from_slice(&bytes);
        self.0.push(Frame {
            time: Instant(1_000_000_000_000 + at_ms * MS),
            data: u64::from_be_bytes(eight),
            line: 0,
            id,
            channel: 0,
            length: u8::try_from(bytes.len()).unwrap(),
            kind: FrameKind::Data,
        });
        self
    }

    /// A frame each `every` milliseconds, with a counter, but not in `not`.
    fn cyclic(&mut self, id: &str, every: u16, to_ms: i64, not: (i64, i64)) -> &mut Log {
        let step = usize::from(every);
        let every = i64::from(every);
        for at in (0..to_ms).step_by(step).filter(|at| *at < not.0 || *at >= not.1) {
            self.one(at, id, &format!("{:02X} 00 00 00 00 00 00 00", (at / every) & 0xFF));
        }
        self
    }

    fn facts(&mut self, network: Option<&Network>) -> LogFacts {
        self.0.sort_by_key(|f| (f.time, f.id));
        for (line, frame) in (1..).zip(&mut self.0) {
            frame.line = line;
        }
        let mut observer = Observer::default();
        observer.push(&self.0, &["can0".to_owned()]);
        observer.finish(&Senders::new(network), None, &Arc::from("a.log"), 0).facts
    }
}

/// Node, reading and times of all answers.
fn answers(facts: &LogFacts) -> Vec<(&str, AnswerReading, u32)> {
    facts.logged_answers.iter().map(|r| (r.node.as_str(), r.reading, r.times)).collect()
}

/// Reporter, code, status and times of all codes.
fn codes(facts: &LogFacts) -> Vec<(&str, String, String, u32)> {
    let row = |r: &crate::observe::LoggedCodeRow| (r.code.to_string(), r.status.to_string());
    let rows = facts.logged_codes.iter().map(|r| (r.reporter.as_str(), row(r), r.times));
    rows.map(|(who, (code, status), times)| (who, code, status, times)).collect()
}

/// A described vehicle: name, cyclic identifier, request, response.
fn network(nodes: &[(&str, u32, u32, u32)]) -> Network {
    Network {
        name: "N".into(),
        buses: vec![Bus { name: "chassis".into(), bitrate: None, interface: Some("can0".into()) }],
        nodes: nodes
            .iter()
            .map(|(name, id, request, response)| Node {
                name: (*name).to_owned(),
                buses: vec!["chassis".into()],
                sends: vec![Sent { id: Identifier::base(*id), period_ms: Some(20.0) }],
                request: Some(Identifier::base(*request)),
                response: Some(Identifier::base(*response)),
                ..Node::default()
            })
            .collect(),
        branches: Vec::new(),
    }
}

const NEVER: (i64, i64) = (0, 0);

fn four() -> Network {
    network(&[
        ("engine", 0x100, 0x7E0, 0x7E8),
        ("brake", 0x200, 0x7E2, 0x7EA),
        ("body", 0x300, 0x760, 0x768),
        ("lift", 0x400, 0x761, 0x769),
    ])
}

/// Four described nodes for ten seconds; the third is gone for a while.
fn vehicle(gone: (i64, i64)) -> Log {
    let mut log = Log::default();
    log.cyclic("100", 20, 10_000, NEVER).cyclic("200", 20, 10_000, gone);
    log.cyclic("300", 20, 10_000, NEVER).cyclic("400", 20, 10_000, NEVER);
    log
}

/// EX-6a: request, first frame, flow control, consecutive frames on the bus.
#[test]
fn ex_6a_codes_of_many_frames_with_their_place() {
    let mut log = vehicle(NEVER);
    log.one(5001, "7E0", "03 19 02 FF 00 00 00 00")
        .one(5011, "7E8", "10 0F 59 02 FF C1 21 87")
        .one(5012, "7E0", "30 00 14 00 00 00 00 00")
        .one(5032, "7E8", "21 2F C0 73 88 08 C1 40")
        .one(5052, "7E8", "22 87 08 00 00 00 00 00");
    let facts = log.facts(Some(&four()));
    let told = |code: &str, status: &str| ("engine", code.to_owned(), status.to_owned(), 1);
    assert_eq!(
        codes(&facts),
        [told("U0121-87", "0x2F"), told("U0073-88", "0x08"), told("U0140-87", "0x08")]
    );
    assert_eq!(answers(&facts), [("engine", AnswerReading::Answered, 1)]);
    let line = log.0.iter().find(|f| f.id == Identifier::base(0x7E8)).unwrap().line;
    assert_eq!(facts.logged_codes[0].place.to_string(), format!("a.log:{line}"));
    // As a report: U0121 accuses the brake, U0073-88 says the bus was down.
    let reports = logged_reports("V", &[(Arc::from("a.log"), facts)]);
    let (rows, _) = testimony(&reports, Some(&four()));
    let said: Vec<_> = rows.iter().map(|r| (r.kind, r.accused.as_deref())).collect();
    assert_eq!(
        said,
        [
            (CodeKind::NotHeard, Some("brake")),
            (CodeKind::BusDown, None),
            (CodeKind::NotHeard, Some("body"))
        ]
    );
}

/// EX-6g to 6i and the table of FACTS 6.4, each against a node that is there or gone.
#[test]
fn ex_6g_to_6i_readings_of_answers() {
    use AnswerReading as R;
    type Frames<'a> = &'a [(i64, &'a str, &'a str)];
    type Case<'a> = (&'a str, (i64, i64), Frames<'a>, &'a [(&'a str, R, u32)]);
    let gone = (4000, 6000);
    let cases: [Case<'_>; 13] = [
        (
            "6g: asked with all, others answer, its frames are gone",
            gone,
            &[(5001, "7DF", "02 01 00"), (5019, "7E8", "06 41 00 00 00 00 00")],
            &[("brake", R::OffTheWire, 1), ("engine", R::Answered, 1)],
        ),
        (
            "the same while its frames come: other services, no word",
            NEVER,
            &[(5001, "7DF", "02 01 00"), (5019, "7E8", "06 41 00 00 00 00 00")],
            &[("engine", R::Answered, 1)],
        ),
        ("asked alone, gone", gone, &[(5001, "7E2", "02 10 03")], &[("brake", R::OffTheWire, 1)]),
        (
            "asked alone, alive",
            NEVER,
            &[(5001, "7E2", "02 10 03")],
            &[("brake", R::AliveUnserved, 1)],
        ),
        (
            "6h: pending, and no more",
            NEVER,
            &[(1001, "7E2", "03 19 02 FF"), (1031, "7EA", "03 7F 19 78")],
            &[("brake", R::LostAfterPending, 1)],
        ),
        (
            "pending, then the answer after two seconds",
            NEVER,
            &[
                (1001, "7E2", "03 19 02 FF"),
                (1031, "7EA", "03 7F 19 78"),
                (3000, "7EA", "03 59 02 FF"),
            ],
            &[("brake", R::Answered, 1)],
        ),
        (
            "6i: late",
            NEVER,
            &[(5001, "7E2", "02 3E 00"), (5062, "7EA", "02 7E 00")],
            &[("brake", R::Late, 1)],
        ),
        (
            "in time, thrice: one row",
            NEVER,
            &[
                (5001, "7E2", "02 3E 00"),
                (5020, "7EA", "02 7E 00"),
                (6001, "7E2", "02 3E 00"),
                (6020, "7EA", "02 7E 00"),
                (7001, "7E2", "02 3E 00"),
                (7020, "7EA", "03 7F 3E 12"),
            ],
            &[("brake", R::Answered, 3)],
        ),
        (
            "a gateway says that the node behind it is mute",
            gone,
            &[(5001, "7E2", "03 19 02 FF"), (5020, "7EA", "03 7F 19 25")],
            &[("brake", R::BehindGateway, 1)],
        ),
        (
            "lost in mid-answer",
            (5040, 7000),
            &[
                (5001, "7E2", "03 19 02 FF"),
                (5011, "7EA", "10 20 59 02 FF C1 21 87"),
                (5012, "7E2", "30 00 00"),
                (5021, "7EA", "21 2F C0 73 88 08 C1 40"),
            ],
            &[("brake", R::LostInAnswer, 1)],
        ),
        (
            "no flow control: the tester is lost, not the node",
            NEVER,
            &[(5001, "7E2", "03 19 02 FF"), (5011, "7EA", "10 20 59 02 FF C1 21 87")],
            &[("brake", R::Answered, 1)],
        ),
        ("no answer wanted", NEVER, &[(5001, "7E2", "02 3E 80")], &[]),
        ("nobody is known at this request", gone, &[(5001, "7E5", "02 10 03")], &[]),
    ];
    for (what, gone, frames, expected) in cases {
        let mut log = vehicle(gone);
        for (at, id, data) in frames {
            log.one(*at, id, data);
        }
        let facts = log.facts(Some(&four()));
        let mut found = answers(&facts);
        found.sort_unstable();
        assert_eq!(found, expected, "{what}");
    }
}

#[test]
fn pairs_are_learned_and_the_tester_is_no_node() {
    let mut log = Log::default();
    log.cyclic("100", 20, 20_000, NEVER).cyclic("200", 50, 20_000, NEVER);
    for at in [1001, 3001, 5001, 7001] {
        log.one(at, "760", "02 3E 00").one(at + 10, "768", "02 7E 00");
        log.one(at + 500, "761", "03 19 02 FF").one(at + 510, "769", "03 59 02 FF");
    }
    // From here on 768 is mute, and the tester goes on.
    for at in [9001, 11_001] {
        log.one(at, "760", "02 3E 00");
        log.one(at + 500, "761", "03 19 02 FF").one(at + 510, "769", "03 59 02 FF");
    }
    let facts = log.facts(None);
    let mut found = answers(&facts);
    found.sort_unstable();
    use AnswerReading::{Answered, NotAnswered};
    assert_eq!(
        found,
        [("ecu-768", Answered, 4), ("ecu-768", NotAnswered, 2), ("ecu-769", Answered, 6)]
    );
    assert!(facts.presences.iter().all(|p| p.node != "tester" && p.node != "sender-id-760"));
    assert_eq!(facts.silences, []);
    let node = |id: u32| {
        let row = facts.identifiers.iter().find(|r| r.id == Identifier::base(id)).unwrap();
        (row.node.clone(), row.cyclic)
    };
    assert_eq!(node(0x760), ("tester".to_owned(), false));
    assert_eq!(node(0x768), ("ecu-768".to_owned(), false));
    assert_eq!(node(0x100), ("sender-id-100".to_owned(), true));
    // Two sessions: in the second the node's outcome changed.
    let logs = [(Arc::from("a.log"), facts)];
    let reports = logged_reports("V", &logs);
    let (_, mut rows) = testimony(&reports, None);
    mark_answers(&mut rows, &logs);
    let told: Vec<_> = rows.iter().map(|r| (r.report, r.node.as_str(), r.answered)).collect();
    assert_eq!(
        told,
        [(0, "ecu-768", true), (0, "ecu-769", true), (1, "ecu-769", true), (1, "ecu-768", false)]
    );
}

#[test]
fn ordinary_traffic_that_looks_like_requests_is_none() {
    let mut log = Log::default();
    log.cyclic("100", 20, 20_000, NEVER);
    for at in (3..20_000).step_by(20) {
        log.one(at, "310", "02 10 03 00 00 00 00 00").one(at + 5, "311", "02 77 00 00 00 00 00 00");
    }
    let facts = log.facts(None);
    assert_eq!(answers(&facts), []);
    for name in ["sender-id-100", "sender-id-310", "sender-id-311"] {
        let row = facts.presences.iter().find(|p| p.node == name);
        assert!(row.is_some_and(|r| r.fastest_period_s.is_some()), "{name}");
    }
}

#[test]
fn ex_1a_legislated_codes_and_live_values() {
    let mut log = vehicle(NEVER);
    log.one(1001, "7E0", "01 03")
        .one(1011, "7E8", "06 43 02 C1 00 C0 73 00")
        .one(2001, "7E0", "01 07")
        .one(2011, "7E8", "02 47 00")
        .one(3001, "7E0", "07 01 05 0F 1F 42 46 0C")
        .one(3011, "7E8", "10 0F 41 05 7B 0F 32 1F")
        .one(3012, "7E0", "30 00 00")
        .one(3021, "7E8", "21 01 2C 42 36 B0 46 21")
        .one(3031, "7E8", "22 0C 1A")
        .one(4001, "7E0", "01 04")
        .one(4011, "7E8", "01 44");
    let facts = log.facts(None);
    let mut found = codes(&facts);
    found.sort();
    let told = |code: &str| ("engine-7e8", code.to_owned(), "confirmed".to_owned(), 1);
    assert_eq!(found, [told("U0073"), told("U0100")]);
    let values: Vec<_> = facts.signals.iter().map(|s| (s.quantity.as_str(), s.value)).collect();
    assert_eq!(
        values,
        [
            ("coolant_c", 83.0),
            ("intake_c", 10.0),
            ("engine_run_s", 300.0),
            ("supply_v", 14.0),
            ("ambient_c", -7.0)
        ]
    );
    let events: Vec<_> = facts.bus_events.iter().map(|e| (e.node.as_str(), e.kind)).collect();
    assert_eq!(events, [("engine-7e8", BusEventKind::CodesCleared)]);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_frames_make_it_panic_and_facts_are_bounded(
        frames in prop::collection::vec(
            (
                prop::sample::select(vec![
                    "7DF", "7E0", "7E8", "7EA", "760", "768", "18DA00F1", "18DAF100", "18DB33F1",
                    "18FECA0B", "1CECFF0B", "1CEBFF0B", "18ECF90B", "18EEFF0B", "18EEFFFE", "18EAFFF9",
                ]),
                prop::sample::select(vec![
                    [2u8, 0x19, 2, 0xFF, 0, 0, 0, 0], [0x10, 0x0F, 0x59, 2, 0xFF, 0xC1, 0x21, 0x87],
                    [0x21, 0x2F, 0xC0, 0x73, 0x88, 8, 0xC1, 0x40], [3, 0x7F, 0x19, 0x78, 0, 0, 0, 0],
                    [0x30, 0, 0, 0, 0, 0, 0, 0], [0x20, 0x0E, 0, 2, 0xFF, 0xCA, 0xFE, 0],
                    [1, 4, 0xFF, 0xD3, 7, 9, 1, 0x7F], [2, 2, 9, 5, 0xCF, 4, 0x13, 2],
                    [3, 0x59, 2, 0xFF, 0, 0, 0, 0], [0x10, 0, 0xFF, 0xFF, 0xFF, 0xFF, 0x41, 5],
                ]),
                any::<prop::sample::Index>(), any::<u8>(), 0u8..65, 0i64..3000,
            ), 0..400)
    ) {
        let mut log = Vec::new();
        let mut time = 0i64;
        for (n, (id, mut data, at, byte, length, gap)) in frames.iter().cloned().enumerate() {
            if n % 3 == 0 {
                data[at.index(8)] = byte;
            }
            time += gap * MS;
            let value = u32::from_str_radix(id, 16).unwrap();
            let id = if id.len() == 8 { Identifier::extended(value) } else { Identifier::base(value) };
            let length = if n % 5 == 0 { length } else { 8 };
            log.push(Frame {
                time: Instant(time), data: u64::from_be_bytes(data), line: n as u64 + 1, id,
                channel: 0, length, kind: FrameKind::Data,
            });
        }
        let mut observer = Observer::default();
        observer.push(&log, &["can0".to_owned()]);
        let network = four();
        let seen = observer.finish(&Senders::new(Some(&network)), None, &Arc::from("a.log"), 0);
        prop_assert!(seen.facts.logged_codes.len() <= log.len() * 4);
        prop_assert!(seen.facts.logged_answers.len() <= log.len() * 4);
        let reports = logged_reports("V", &[(Arc::from("a.log"), seen.facts)]);
        let _ = testimony(&reports, Some(&network));
    }
}
