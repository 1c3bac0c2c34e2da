//! Whoever watches and weighs elsewhere, the reports are the same: a run whose every order, facts and finding went
//! through bytes both ways against one that kept all to itself.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::Path;
use std::sync::Mutex;

use buswitness::facts::StoredLog;
use buswitness::pipeline::plan::Plan;
use buswitness::pipeline::{
    Amiss, Answer, Basis, Counts, Desk, Engine, Entry, Hands, Load, Order, Outcome, Piece, Quiet,
    RunError, Settings, add_counts, run, run_on,
};

use crate::program::{differences, files, reports, sample, write};

/// How another room does what it is asked.
#[derive(Debug, Clone, Copy, PartialEq)]
enum How {
    Well,
    /// It cannot read the store.
    CannotRead,
    /// It cannot any more, once all has been learned.
    CannotReadLater,
    /// A byte of the last answer is another.
    ChangesAByte,
    /// One vehicle is another one.
    MixesUp,
    /// One vehicle does not come back.
    LosesOne,
}

/// Another machine, as far as bytes are concerned.
struct Room {
    how: How,
    weighed: Mutex<BTreeSet<String>>,
    loads: Mutex<u32>,
}

impl Room {
    fn that_does(how: How) -> Room {
        Room { how, weighed: Mutex::default(), loads: Mutex::default() }
    }

    fn weighed(&self) -> usize {
        self.weighed.lock().expect("names").len()
    }
}

impl Engine for Room {
    fn watch(&self, orders: &[&Order], desk: &dyn Desk) -> Result<(), String> {
        let hands = Hands::new(1, 0);
        for (at, order) in orders.iter().enumerate() {
            let order = Order::from_bytes(&order.to_bytes()?)?;
            let bytes = order.obey(&order.file(), &hands)?.to_bytes()?;
            desk.take(at, Answer::from_bytes(&bytes, &order.name)?);
        }
        Ok(())
    }

    fn count(&self, entries: &[Entry], _: &dyn Fn(&str)) -> Result<Option<Counts>, String> {
        let mut counts = Counts::new();
        for entry in entries {
            let log = StoredLog::in_folder(&entry.place()).map_err(|e| e.chain())?;
            add_counts(&mut counts, &entry.vehicle, &log.ok_or("no entry")?);
        }
        Ok(Some(counts))
    }

    fn weigh(&self, load: &Load, tell: &dyn Fn(&str)) -> Result<Option<Vec<Vec<u8>>>, String> {
        *self.loads.lock().expect("a number") += 1;
        let later = *self.loads.lock().expect("a number") > 1;
        if self.how == How::CannotRead || (self.how == How::CannotReadLater && later) {
            tell("the store cannot be read here");
            return Ok(None);
        }
        let basis = Basis::from_bytes(&load.basis)?;
        let mut vehicles: BTreeMap<u64, Vec<Vec<u8>>> = BTreeMap::new();
        // The order in which pieces come must not matter.
        for bytes in load.pieces.iter().rev() {
            let piece = Piece::from_bytes(bytes)?;
            self.weighed.lock().expect("names").insert(piece.vehicle.clone());
            let carried = piece.carried(piece.entry().as_deref())?;
            vehicles.entry(piece.place).or_default().push(carried);
        }
        assert_eq!(vehicles.len(), load.vehicles);
        let weigh = |pieces: &Vec<Vec<u8>>| {
            let pieces: Vec<&[u8]> = pieces.iter().map(Vec::as_slice).collect();
            basis.weigh(&pieces).map_err(|amiss| format!("{amiss:?}"))
        };
        if let Some(pieces) = vehicles.values().next() {
            lacks_are_seen(&basis, &pieces.iter().map(Vec::as_slice).collect::<Vec<_>>());
        }
        let mut answers = vehicles.values().map(weigh).collect::<Result<Vec<_>, _>>()?;
        match (self.how, answers.len()) {
            (How::ChangesAByte, _) => {
                let last = answers.last_mut().expect("an answer");
                let middle = last.len() / 2;
                last[middle] ^= 1;
            }
            (How::MixesUp, many) if many > 1 => answers.swap(0, many - 1),
            (How::LosesOne, _) => drop(answers.pop()),
            _ => {}
        }
        Ok(Some(answers))
    }
}

/// A vehicle of which something is missing, doubled, changed or mixed up is never weighed.
fn lacks_are_seen(basis: &Basis, pieces: &[&[u8]]) {
    let lost = |pieces: &[&[u8]]| matches!(basis.weigh(pieces), Err(Amiss::Lost(_)));
    for at in [0, pieces.len() - 1] {
        let mut fewer = pieces.to_vec();
        let one = fewer.remove(at);
        assert!(lost(&fewer), "piece {at} of {} is missing", pieces.len());
        let mut more = pieces.to_vec();
        more.push(one);
        assert!(lost(&more), "piece {at} of {} came twice", pieces.len());
        for spot in [0, 20, one.len() / 2, one.len() - 1] {
            let mut changed = one.to_vec();
            changed[spot] ^= 0x20;
            let mut others = pieces.to_vec();
            others[at] = &changed;
            assert!(matches!(basis.weigh(&others), Err(Amiss::Useless(_))), "byte {spot}");
            others[at] = &one[..spot];
            assert!(matches!(basis.weigh(&others), Err(Amiss::Useless(_))), "cut at {spot}");
        }
    }
}

fn plan(work: &Path, name: &str) -> Plan {
    Plan::read(&work.join(format!("pipelines/{name}.toml"))).expect("a plan")
}

/// All that is concluded, to the bit: numbers are printed so that they can be told apart.
fn found(outcome: &Outcome) -> [String; 4] {
    let Outcome { findings, outlooks, week, batches, .. } = outcome;
    [
        format!("{findings:#?}"),
        format!("{outlooks:#?}"),
        format!("{week:#?}"),
        format!("{batches:#?}"),
    ]
}

/// Runs a pipeline of the sample here and then with another room, and insists on the same; how many vehicles
/// were weighed there, and how many there are. With `fresh` logs are watched there, too.
fn same(name: &str, how: How, fresh: bool, prepare: impl Fn(&Path)) -> (usize, usize) {
    let work = sample();
    prepare(work.path());
    let plan = plan(work.path(), name);
    let alone = run(&plan, Settings::default(), &Quiet).expect("a run");
    let out = work.path().join("reports").join(name);
    let ours = reports(&out);
    for name in ours.keys() {
        fs::remove_file(out.join(name)).expect("removed");
    }
    let room = Room::that_does(how);
    let settings = Settings { fresh, ..Settings::default() };
    let both = run_on(&plan, Some(&room), settings, &Quiet).expect("a run");
    for (one, other) in found(&alone).iter().zip(&found(&both)) {
        let first = one.lines().zip(other.lines()).find(|(one, other)| one != other);
        assert!(one == other, "{name}, {how:?}: {first:?}");
    }
    let told = differences(("here", &ours), ("there", &reports(&out)));
    assert!(told.is_empty(), "{name}, {how:?}: {}", told.join("\n"));
    (room.weighed(), alone.findings.len())
}

fn as_it_is(_: &Path) {}

#[test]
fn a_week_weighed_elsewhere_is_the_same() {
    let (weighed, all) = same("weekly", How::Well, true, as_it_is);
    assert!(weighed > 10 && weighed <= all, "{weighed} of {all}");
}

#[test]
fn other_views_weighed_elsewhere_are_the_same() {
    assert_eq!(same("session", How::Well, false, as_it_is), (1, 1));
    let (weighed, all) = same("batches", How::Well, false, as_it_is);
    assert!(weighed > 10 && weighed <= all, "{weighed} of {all}");
}

#[test]
fn a_period_and_a_forecast_hold_elsewhere_too() {
    let (weighed, _) = same("weekly", How::Well, false, |work| {
        let path = work.join("pipelines/weekly.toml");
        let text = fs::read_to_string(&path).expect("a pipeline");
        let text = text.replace(
            "timezone = \"UTC\"",
            "timezone = \"Europe/Berlin\"\nperiod = { from = 2026-01-08, to = 2026-01-27 }",
        );
        let forecast = "[inputs]\nforecast = [\"../sample-logs/weather.csv\"]";
        fs::write(path, text.replace("[inputs]", forecast)).expect("written");
    });
    assert!(weighed > 10, "{weighed}");
}

/// Logs of one van whose clock begins at 0: some with their start in the path, some without.
fn without_a_clock(work: &Path) {
    let logs = files(&work.join("sample-logs/bus/LH-09"));
    let mut packed = 0;
    for (name, bytes) in logs {
        let name = name.to_string_lossy().into_owned();
        let Some(start) = name.strip_suffix(".log.zst") else { continue };
        let text = zstd::decode_all(bytes.as_slice()).expect("a log");
        let text = String::from_utf8(text).expect("a text log");
        let whole = |line: &str| line.get(1..)?.split('.').next()?.parse::<i64>().ok();
        let first = text.lines().find_map(whole).expect("a stamp");
        let moved = |line: &str| match whole(line) {
            Some(at) => {
                format!("{}\n", line.replacen(&at.to_string(), &(at - first).to_string(), 1))
            }
            None => format!("{line}\n"),
        };
        let moved: String = text.lines().map(moved).collect();
        let path = match packed % 2 {
            0 => format!("moved/LH-09/{start}.log"),
            _ => format!("bare/LH-09/{start}.log"),
        };
        write(&work.join(path), moved.as_bytes());
        packed += 1;
    }
    assert!(packed > 3, "{packed} logs");
    let path = work.join("pipelines/weekly.toml");
    let text = fs::read_to_string(&path).expect("a pipeline");
    let all = "bus_logs = [\"../moved/{vehicle}/{start}.log\", \"../bare/{vehicle}/*.log\"]";
    let line = text.lines().find(|line| line.starts_with("bus_logs")).expect("the logs");
    fs::write(path, text.replace(line, all)).expect("written");
}

#[test]
fn times_that_were_moved_here_are_moved_elsewhere_too() {
    let (weighed, _) = same("weekly", How::Well, false, without_a_clock);
    assert_eq!(weighed, 1);
}

#[test]
fn where_the_store_cannot_be_read_vehicles_are_weighed_here() {
    assert_eq!(same("weekly", How::CannotRead, false, as_it_is).0, 0);
    let (weighed, all) = same("weekly", How::CannotReadLater, false, as_it_is);
    assert!(weighed > 10 && weighed <= all, "{weighed} of {all}");
}

#[test]
fn what_is_lost_or_changed_is_an_error_and_nothing_is_written() {
    let work = sample();
    let plan = plan(work.path(), "weekly");
    run(&plan, Settings::default(), &Quiet).expect("a run");
    let out = work.path().join("reports/weekly");
    for name in reports(&out).keys() {
        fs::remove_file(out.join(name)).expect("removed");
    }
    for (how, why) in [
        (How::ChangesAByte, "it was changed on the way"),
        (How::MixesUp, "told about"),
        (How::LosesOne, "vehicles came back"),
    ] {
        let room = Room::that_does(how);
        let outcome = run_on(&plan, Some(&room), Settings::default(), &Quiet);
        let Err(RunError::Elsewhere(said)) = outcome else { panic!("{how:?}: {outcome:?}") };
        assert!(said.contains(why), "{how:?}: {said}");
        assert!(reports(&out).is_empty(), "{how:?}");
    }
}
