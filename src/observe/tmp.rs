use std::io::Read;
#[test]
fn look() {
    let path = std::env::var("LOOK").unwrap();
    let mut bytes = Vec::new();
    std::fs::File::open(&path).unwrap().read_to_end(&mut bytes).unwrap();
    let name: std::sync::Arc<str> = "x".into();
    let mut log = crate::read::frames::TextLog::new(&name);
    let mut frames = Vec::new();
    log.push(&bytes, &mut frames);
    log.finish(&mut frames);
    let mut o = super::Observer::default();
    o.push(&frames, &log.interfaces);
    let seen = o.finish(&super::Senders::default(), None, &name, 0);
    let t0 = seen.facts.starts[0].begin;
    for s in &seen.facts.finer.clock_steps {
        println!("STEP {:.3} {:.6} {:?} {}", s.at.seconds_since(t0), s.step_s, s.agreed, s.place);
    }
    let mut g = seen.facts.finer.clock_groups.clone();
    g.sort_by_key(|m| (m.group, m.id));
    for m in &g {
        println!("GROUP {} {} {:.3} {:.3} {:.3}", m.group, m.id, m.skew.0, m.skew.1, m.confidence);
    }
    for r in seen.facts.identifiers.iter().filter(|r| r.cyclic && !g.iter().any(|m| m.id == r.id)) {
        println!("ALONE {} {:?} {:?}", r.id, r.period_s, r.jitter_s);
    }
    for s in &seen.facts.silences {
        println!(
            "SILENCE {} {:.3} {:.3}",
            s.node,
            s.due.seconds_since(t0),
            s.end.seconds_since(t0)
        );
    }
    for s in &seen.facts.disturbances {
        println!(
            "DIST {:?} {:.3} {:.3} {}",
            s.kind,
            s.begin.seconds_since(t0),
            s.end.seconds_since(t0),
            s.detail
        );
    }
    println!("{:?}", seen.facts.finer.locks);
    println!("{:?}", seen.facts.finer.returns);
    println!("{:?}", seen.facts.finer.orders);
    println!("{:?}", seen.leniencies);
}
