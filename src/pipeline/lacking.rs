//! What one more input would have decided about a vehicle, from what this run lacked.
//!
//! In: a finding and what was given for its vehicle. Out: sentences, each naming the input, what it lacked for,
//! and what could be told with it; where even that would not be enough, the sentence says so. Nothing is
//! said of a vehicle without incidents, and nothing of an input that was there and whole.

use crate::numerics::logs::ln_choose;
use crate::suspects::{ONE_MORE_INPUT, VehicleFinding};
use crate::vocabulary::{Suspect, Verdict};

/// Above this smallest p value the page says "too few starts to tell".
const TELLING_P: f64 = 0.05;

/// What was given for a vehicle.
#[derive(Debug, Clone, Copy)]
pub(super) struct Given {
    /// A weather table with rows was read.
    pub weather: bool,
    /// The vehicles table names the site of the vehicle.
    pub site: bool,
    pub notes: usize,
    pub logs: usize,
    pub reports: usize,
}

/// The sentences about one vehicle.
pub(super) fn lacking(finding: &VehicleFinding, given: Given) -> Vec<String> {
    if finding.incidents.is_empty() {
        return Vec::new();
    }
    let found = [
        network(finding),
        weather(finding, given),
        notes(finding, given),
        logs(finding, given),
        reports(finding, given),
    ];
    found.into_iter().flatten().map(|text| format!("{ONE_MORE_INPUT}{text}")).collect()
}

fn network(finding: &VehicleFinding) -> Option<String> {
    if finding.network.is_some() {
        return None;
    }
    let first = finding.suspects.first()?;
    let leads = match (&first.suspect, &finding.verdict) {
        (node @ Suspect::Node(_), Verdict::Suspect(_)) => {
            format!("{} is named", node.the_in_words())
        }
        (node @ Suspect::Node(_), _) => format!("{} leads", node.the_in_words()),
        _ => return None,
    };
    let unnamed = match finding.unnamed_senders.len() {
        0 => String::new(),
        1 => ", and one sender would have its name".to_owned(),
        n => format!(", and {n} senders would have their names"),
    };
    Some(format!(
        "a network description would tell a module from the branch, feed or ground that it hangs on ({leads}, \
         and without a description it stands for its wiring too){unnamed}"
    ))
}

fn weather(finding: &VehicleFinding, given: Given) -> Option<String> {
    let judged: Vec<_> = finding.exposures.iter().filter(|e| e.judged).collect();
    let cold = judged.iter().filter(|e| e.ambient_c.is_none()).count();
    let wet = judged.iter().filter(|e| e.wet.is_none()).count();
    if cold + wet == 0 {
        return None;
    }
    let what = match (given.weather, given.site) {
        (false, _) => "an hourly weather table of the site",
        (true, false) => "the vehicle's site in the vehicles table",
        (true, true) => "weather rows for the times of these starts",
    };
    let hit = judged.iter().filter(|e| e.incidents > 0).count();
    let (all, hit) = (judged.len() as u64, hit as u64);
    // The clearest that these starts could come out: all incidents under the condition, none without it.
    let best = if hit == 0 || hit == all { 1.0 } else { (-ln_choose(all, hit)).exp() };
    let could = if best > TELLING_P {
        format!(
            "but {hit} of {all} starts with an incident are too few or too many to tell, whatever it says"
        )
    } else {
        "and with it whether cold or wet starts have the incidents".to_owned()
    };
    Some(format!(
        "{what} would give the temperature of {cold} and the wetness of {wet} of {all} starts that have none, {could}"
    ))
}

fn notes(finding: &VehicleFinding, given: Given) -> Option<String> {
    if given.notes > 0 {
        return None;
    }
    let first = finding.suspects.first()?;
    let what = "service notes (what was unplugged, replaced or repaired, and when) would say whether a change \
                has held";
    Some(match finding.verdict {
        Verdict::Undecided => format!(
            "{what}; clean starts after a change to {} can weigh up to 10 dB, and 6 dB between the leaders are \
             asked for",
            first.suspect.the_in_words()
        ),
        _ => format!("{what}, and what was tried before in vain"),
    })
}

fn logs(finding: &VehicleFinding, given: Given) -> Option<String> {
    let unseen = finding.incidents.iter().filter(|i| !i.logged).count();
    let all = finding.incidents.len();
    if unseen * 2 < all {
        return None;
    }
    let which = if given.logs == 0 { "bus logs" } else { "bus logs of more starts" };
    Some(format!(
        "{which} would show who fell silent and whether the bus was disturbed: {unseen} of {all} incidents \
         are known from reports only"
    ))
}

fn reports(finding: &VehicleFinding, given: Given) -> Option<String> {
    let asked =
        finding.incidents.iter().any(|i| !i.answered.is_empty() || !i.unanswered.is_empty());
    let accused = finding.incidents.iter().any(|i| !i.accusations.is_empty());
    if given.reports > 0 || asked || accused {
        return None;
    }
    Some(
        "a scan report after an incident would say who missed whom and who no longer answers: no code of this \
         vehicle is known"
            .to_owned(),
    )
}
