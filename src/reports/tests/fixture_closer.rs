//! The closer look at invented incidents, and everything of an invented run written to a folder.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use super::fixture;
use crate::observe::{BlindSpotRow, Excerpt, ExcerptFrame, ExcerptRow};
use crate::read::Tally;
use crate::read::frames::FrameKind;
use crate::reports::{
    Closer, Formats, Heading, OnsetExcerpt, ReportError, Told, View, drawn_incidents,
    render_reports, write_folder,
};
use crate::suspects::VehicleFinding;
use crate::vocabulary::Identifier;

/// A blind spot inside, and the frames around the first silence, of every drawn incident.
pub(super) fn closer(findings: &[VehicleFinding]) -> BTreeMap<String, Vec<Closer>> {
    let of = |finding: &VehicleFinding| {
        let look = |place: usize| one(finding, place);
        drawn_incidents(finding).into_iter().filter_map(look).collect::<Vec<_>>()
    };
    findings.iter().map(|f| (f.vehicle.clone(), of(f))).filter(|(_, c)| !c.is_empty()).collect()
}

fn one(finding: &VehicleFinding, incident: usize) -> Option<Closer> {
    let happened = finding.incidents.get(incident)?;
    let silent = happened.silent.first()?;
    let frame = |line: u64, offset_s: f64, own: bool| {
        ExcerptRow::Frame(ExcerptFrame {
            line,
            offset_s,
            id: Identifier::base(if own { 0x1A0 } else { 0x2B4 }),
            length: if own { 8 } else { 64 },
            data: 0x0102_0304_0506_0708 + line,
            kind: FrameKind::Data,
            own,
        })
    };
    let rows = vec![
        frame(20_316, -0.010, true),
        frame(20_317, -0.004, false),
        frame(20_318, 0.0, true),
        frame(20_319, 0.006, false),
        frame(20_320, 0.016, false),
        ExcerptRow::Skipped(7_312, 73.5),
        frame(27_633, 73.6, true),
    ];
    let node = silent.node.clone();
    let bus = happened.bus.clone().unwrap_or_default();
    Some(Closer {
        incident,
        blind_spots: vec![BlindSpotRow {
            bus,
            start: happened.start,
            begin: happened.start.plus_seconds(64.0),
            end: happened.start.plus_seconds(66.5),
            why: format!("the logger says that frames were lost {}", fixture::HOSTILE),
            place: silent.place.clone(),
        }],
        excerpts: vec![OnsetExcerpt {
            what: format!("{node} falls silent"),
            place: silent.place.clone(),
            due_s: Some(0.010),
            senders: rows
                .iter()
                .map(|row| match row {
                    ExcerptRow::Frame(frame) if frame.own => node.clone(),
                    ExcerptRow::Frame(_) => fixture::HOSTILE.to_owned(),
                    ExcerptRow::Skipped(..) => String::new(),
                })
                .collect(),
            frames: Excerpt { rows, returned: true },
            node: Some(node),
        }],
    })
}

/// Writes the reports of a run over a fleet.
pub(super) fn write(
    folder: &Path,
    formats: Formats,
    findings: &[VehicleFinding],
    tally: &Tally,
    tables: &[(String, Vec<u8>)],
) -> Result<Vec<PathBuf>, ReportError> {
    let heading = fixture::heading(View::Fleet);
    telling(findings, tally, |told| write_reports(folder, &heading, formats, told, tables))
}

/// What a run over a fleet has to tell, for whoever turns it into files.
pub(super) fn telling<T>(
    findings: &[VehicleFinding],
    tally: &Tally,
    turn: impl FnOnce(&Told<'_>) -> T,
) -> T {
    let (outlooks, closer) = (fixture::outlooks(findings), closer(findings));
    turn(&Told { findings, outlooks: &outlooks, closer: &closer, week: None, tally })
}

/// Everything into a folder.
pub(super) fn write_reports(
    folder: &Path,
    heading: &Heading,
    formats: Formats,
    told: &Told<'_>,
    tables: &[(String, Vec<u8>)],
) -> Result<Vec<PathBuf>, ReportError> {
    write_folder(folder, heading, &render_reports(heading, formats, told, tables)?)
}
