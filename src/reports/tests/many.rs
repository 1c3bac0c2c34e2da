//! Three thousand of everything still make a page that opens fast and says what it leaves out. Test builds only.

use std::collections::BTreeMap;

use super::fixture::{decided, heading, tally};
use crate::reports::{Told, View, pages};
use crate::suspects::VehicleFinding;

/// The heaviest page allowed, bytes.
const HEAVIEST: usize = 1_500_000;
const MANY: usize = 3_000;

fn page(view: View, findings: &[VehicleFinding], name: &str) -> String {
    // Without outlooks: what they cost to work out is no matter of the page.
    let (closer, tally) = (BTreeMap::new(), tally());
    let told = Told { findings, outlooks: &[], closer: &closer, week: None, tally: &tally };
    let all = pages::pages(&heading(view), &told);
    let page = all.expect("pages").into_iter().find(|o| o.name == name).expect("the page");
    String::from_utf8(page.bytes().expect("bytes")).expect("text")
}

/// As many as asked of what there is, again and again.
fn often<T: Clone>(some: &[T], many: usize) -> Vec<T> {
    some.iter().cycle().take(many).cloned().collect()
}

#[test]
fn a_vehicle_with_three_thousand_starts_incidents_and_remarks() {
    let mut finding = decided("LH-07");
    let day = 86_400_000_000_000_i64;
    finding.incidents = often(&finding.incidents, MANY);
    finding.exposures = often(&finding.exposures, MANY);
    for (n, exposure) in (0i64..).zip(&mut finding.exposures) {
        exposure.start.0 += n * day;
        exposure.end.0 += n * day;
    }
    for (incident, exposure) in finding.incidents.iter_mut().zip(&finding.exposures) {
        incident.start = exposure.start;
    }
    finding.remarks = (0..MANY).map(|n| format!("remark {n} {}", "word ".repeat(60))).collect();
    let page = page(View::Session, &[finding], "report.html");
    assert!(page.len() < HEAVIEST, "{} bytes", page.len());
    assert!(page.contains("The first 200 of 3000 incidents"));
    assert!(page.contains("The first 100 of 3000"), "the remarks are cut");
    assert!(page.contains("To keep the picture legible"), "the starts drawn are thinned out");
}
