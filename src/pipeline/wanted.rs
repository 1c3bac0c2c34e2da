//! What an input file is wanted as, and whether its content fits.

use super::plan::Plan;
use crate::read::frames::{EXPECTED, log_format};
use crate::read::recognising::Kind;
use crate::read::tables::{Form, SCAN_REPORTS};

/// What a file is wanted as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Wanted {
    Log,
    Report,
    Weather,
    Forecast,
    AfterPart,
    Severity,
    Vehicles,
    Modules,
    Notes,
    Network,
    Words,
    Tests,
    /// Facts kept elsewhere; they are read by themselves, each folder as a whole.
    Facts,
    /// Whatever its content says.
    Anything,
}

/// What a file is by its content; `None` for what is no input.
pub(super) fn by_content(kind: &Kind) -> Option<Wanted> {
    match kind {
        Kind::ScanReportJson => Some(Wanted::Report),
        Kind::NetworkToml => Some(Wanted::Network),
        Kind::ReportWords => Some(Wanted::Words),
        Kind::Html | Kind::Pdf | Kind::UnknownText | Kind::Utf16 => Some(Wanted::Report),
        Kind::Csv { header } => match Form::of_header(header).map_or("", |form| form.input) {
            "" => Some(Wanted::Report),
            "weather" => Some(Wanted::Weather),
            "vehicles" => Some(Wanted::Vehicles),
            "modules" => Some(Wanted::Modules),
            "service" => Some(Wanted::Notes),
            "scan_reports" => Some(Wanted::Report),
            "bus_logs" => Some(Wanted::Log),
            "after_part" => Some(Wanted::AfterPart),
            "severity" => Some(Wanted::Severity),
            _ => None,
        },
        kind if log_format(kind).is_some() => Some(Wanted::Log),
        _ => None,
    }
}

/// Whether content may be read as what it is wanted as.
pub(super) fn fits(kind: &Kind, wanted: Wanted) -> bool {
    match wanted {
        Wanted::Log => log_format(kind).is_some(),
        Wanted::Report => matches!(
            kind,
            Kind::ScanReportJson
                | Kind::Csv { .. }
                | Kind::Html
                | Kind::Pdf
                | Kind::UnknownText
                | Kind::Utf16
        ),
        Wanted::Words => matches!(kind, Kind::ReportWords | Kind::UnknownText),
        // A comment with commas at the head of a TOML file looks like the header of a table.
        Wanted::Tests => matches!(kind, Kind::UnknownText | Kind::Csv { .. }),
        Wanted::Network => matches!(kind, Kind::NetworkToml | Kind::UnknownText),
        Wanted::Weather
        | Wanted::Forecast
        | Wanted::AfterPart
        | Wanted::Severity
        | Wanted::Vehicles
        | Wanted::Modules
        | Wanted::Notes => {
            matches!(kind, Kind::Csv { .. } | Kind::UnknownText)
        }
        Wanted::Facts | Wanted::Anything => false,
    }
}

/// How a person adds an input that is missing.
pub(super) fn how_to_add(wanted: Wanted) -> &'static str {
    match wanted {
        Wanted::Log => {
            "put logs there in any format that the README names, in a folder named after the vehicle where the \
             pattern has {vehicle}"
        }
        Wanted::Report => {
            "put reports there as the tester saved them: JSON, CSV, text, HTML or PDF"
        }
        Wanted::Weather => {
            "a CSV with the columns site, time, temperature_c, humidity_pct, precipitation_mm; `site` as in the \
             vehicles table"
        }
        Wanted::Forecast => "a CSV with the columns of the weather, for the days to come",
        Wanted::AfterPart => {
            "a CSV with the columns class, words, needed, caution; without it the shipped one holds"
        }
        Wanted::Severity => {
            "a CSV with the columns class, words, severity, safety, hands_off, why; without it the shipped one holds"
        }
        Wanted::Vehicles => {
            "a CSV with the column vehicle, and network, site, model, in_service, odometer_km where known"
        }
        Wanted::Modules => {
            "a CSV with the columns vehicle and node, and part_number, batch, built_on, installed_on, removed_on, \
             removal_reason where known"
        }
        Wanted::Notes => {
            "a CSV with the columns time, vehicle, action, and target, outcome, note where known, a row for each \
             thing done to a vehicle"
        }
        Wanted::Network => {
            "a TOML file for each vehicle model; `buswitness template DIR` writes one to fill in"
        }
        Wanted::Words => {
            "a TOML file with the words of your reports; without it the English ones hold"
        }
        Wanted::Tests => "a TOML file of the kinds of test; without it the shipped one holds",
        Wanted::Facts => "Parquet tables of facts, a folder for each part of the fleet",
        Wanted::Anything => "put logs and reports there",
    }
}

/// What was expected, in words.
pub(super) fn expected(wanted: Wanted) -> &'static str {
    match wanted {
        Wanted::Log => EXPECTED,
        Wanted::Report => "a scan report (JSON, CSV, text, HTML or PDF)",
        Wanted::Weather => "a weather table (CSV)",
        Wanted::Forecast => "a weather forecast (CSV, as the weather table)",
        Wanted::AfterPart => "a table of what follows a replaced part (CSV)",
        Wanted::Severity => "a table of severities (CSV)",
        Wanted::Vehicles => "a vehicles table (CSV)",
        Wanted::Modules => "a modules table (CSV)",
        Wanted::Notes => "a table of service notes (CSV)",
        Wanted::Network => "a network description (TOML)",
        Wanted::Words => "report words (TOML)",
        Wanted::Tests => "a table of tests (TOML)",
        Wanted::Facts => "a table of facts (Parquet)",
        Wanted::Anything => "an input",
    }
}

/// Whether a table is one of ours: three of its columns are ours, or the pipeline names
/// its columns.
pub(super) fn is_scan_table(plan: &Plan, kind: &Kind) -> bool {
    let Kind::Csv { header } = kind else { return false };
    !plan.columns_of("scan_reports").is_empty() || SCAN_REPORTS.likeness(header) >= 3
}
