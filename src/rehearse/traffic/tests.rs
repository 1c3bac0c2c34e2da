//! Tests of the traffic: load, spacing, silence, bus-off.

use super::{Outcome, REST_BITS, Seen, Window, run, wire};
use crate::rehearse::chance::Chance;
use crate::rehearse::course::{Course, Hit, Span};
use crate::rehearse::model::{Model, ns};
use crate::rehearse::scenario::{How, Scenario};
use crate::vocabulary::{Identifier, seconds};

fn small() -> (Scenario, Model) {
    let scenario = Scenario::read(include_str!("../small.toml")).expect("the scenario reads");
    let model = Model::build(&scenario, &scenario.network[0]).expect("the model builds");
    (scenario, model)
}

fn play(model: &Model, course: &Course, length_s: f64) -> (Vec<Seen>, Outcome) {
    let sleeps = vec![i64::MAX; model.nodes.len()];
    let window = Window {
        model,
        bus: 0,
        course,
        span: Span { from: 0, to: ns(length_s) },
        sleeps: &sleeps,
        rest_v: 12.6,
        polls: &[],
    };
    let mut seen = Vec::new();
    let outcome = run(&window, Chance::of(5, &["test"]), &mut |one| seen.push(one));
    (seen, outcome)
}

fn with(model: &Model, how: How, nodes: Vec<usize>, from_s: f64, length_s: f64) -> Course {
    let mut course = Course::default();
    let hit = Hit { nodes, bus: 0, from: ns(from_s), length: ns(length_s), own_identifier: false };
    course.act(model, how, &hit, &mut Chance::of(9, &["course"]));
    course.settle();
    course
}

#[test]
fn frames_never_overlap_and_the_load_is_the_sum_of_their_bits() {
    let (_, model) = small();
    let (seen, outcome) = play(&model, &Course::default(), 10.0);
    assert!(outcome.accusations.is_empty(), "a healthy bus accuses nobody");
    let mut bits = 0;
    for pair in seen.windows(2) {
        let id = pair[1].id.expect("no errors on a healthy bus");
        let own = wire::frame_bits(id, &pair[1].data[..pair[1].length]);
        bits += own;
        assert!(pair[1].at - pair[0].at >= own * model.bit_ns[0], "overlap at {}", pair[1].at);
    }
    let load = seconds(bits * model.bit_ns[0]) / 10.0;
    assert!((0.03..0.6).contains(&load), "load {load}");
    assert_eq!(REST_BITS, 3);
}

#[test]
fn a_node_without_supply_is_silent_and_counts_from_zero() {
    let (_, model) = small();
    let node = model.node("steering-angle").expect("it is there");
    let course = with(&model, How::SupplyLost, vec![node], 4.0, 5.0);
    let (seen, _) = play(&model, &course, 14.0);
    let blocks: Vec<Span> = course.blocks.iter().map(|block| block.span).collect();
    let id = Some(Identifier::base(0x0E0));
    let own: Vec<&Seen> = seen.iter().filter(|one| one.id == id).collect();
    for one in &own {
        assert!(!blocks.iter().any(|span| span.holds(one.at - 300_000)), "heard at {}", one.at);
    }
    let back = blocks.last().expect("blocks").to;
    let first = own.iter().find(|one| one.at > back).expect("it comes back");
    assert_eq!(first.data[0] & 0x0F, 0);
}

#[test]
fn a_node_cut_off_keeps_counting_and_is_accused() {
    let (_, model) = small();
    let node = model.node("engine").expect("it is there");
    let course = with(&model, How::ConnectorOpen, vec![node], 6.0, 30.0);
    let (_, outcome) = play(&model, &course, 45.0);
    let heard_by: Vec<usize> =
        (0..model.nodes.len()).filter(|&other| model.nodes[other].hears[node]).collect();
    if !heard_by.is_empty() {
        assert!(outcome.accusations.iter().any(|set| set.accused == Some(node)));
    }
}

#[test]
fn a_node_whose_frames_fail_leaves_the_bus_for_its_own_fixed_time() {
    let (_, model) = small();
    let node = model.node("brake").expect("it is there");
    let course = with(&model, How::BusOff, vec![node], 3.0, 10.0);
    let (seen, outcome) = play(&model, &course, 16.0);
    let lengths: Vec<i64> = outcome.off[node].iter().map(|span| span.to - span.from).collect();
    assert!(lengths.len() >= 2, "{lengths:?}");
    assert!(lengths.windows(2).all(|pair| pair[0] == pair[1]), "{lengths:?}");
    assert!(seen.iter().any(|one| one.id.is_none()), "errors are on the wire");
}
