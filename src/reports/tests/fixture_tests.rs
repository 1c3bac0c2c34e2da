//! Invented next tests of the decided vehicle.

use crate::suspects::{NextTest, TestOutcome};
use crate::vocabulary::Suspect;

pub(super) fn next_tests() -> Vec<NextTest> {
    vec![
        NextTest {
            test: "disconnect the steering-angle module at a cold, wet start and watch the bus"
                .to_owned(),
            bits: 0.41,
            minutes: 25.0,
            meaning: "Bus stays up: the module or its connector. Bus still falls: the branch \
                          or the wires."
                .to_owned(),
            caution: "Steering and stability assistance will be missing; do not drive.".to_owned(),
            target: Some(Suspect::Node("steering-angle".to_owned())),
            setup: "let the vehicle stand over night in the cold".to_owned(),
            setup_minutes: 12.0,
            outcomes: vec![TestOutcome {
                outcome: "no incident in 5 starts".to_owned(),
                probability: 0.6,
                leader: Suspect::Node("steering-angle".to_owned()),
                leader_probability: 0.97,
                decided: true,
            }],
            order_holds: true,
        },
        NextTest {
            test: "wet the front splice with the vehicle standing".to_owned(),
            bits: 0.12,
            minutes: 40.0,
            meaning: "Incident follows: the splice. None in 9 tries: hardly the splice.".to_owned(),
            ..NextTest::default()
        },
    ]
}
