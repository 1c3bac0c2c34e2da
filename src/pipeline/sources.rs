//! Finds all input files of a plan and reads the small ones; bus logs are only listed.

use std::collections::BTreeMap;
use std::sync::Arc;

use rayon::prelude::*;

use super::elsewhere::Engine;
use super::given::{Given, Taken, bare};
use super::logs::LogFile;
use super::objects;
use super::plan::Plan;
use super::text_reports::{self, TextReport};
use super::wanted::{Wanted, by_content, expected, fits, how_to_add, is_scan_table};
use crate::conditions::WeatherTable;
use crate::facts::KnownFiles;
use crate::read::finding::{Found, find};
use crate::read::frames::{LogTables, check_table_header, log_format};
use crate::read::networks::read_network;
use crate::read::objects::is_url;
use crate::read::opening::{Opened, read_whole};
use crate::read::recognising::Kind;
use crate::read::scan_reports::free_form::{Document, holds_codes, take_apart};
use crate::read::scan_reports::{read_scan_json, read_scan_table};
use crate::read::tables::{
    read_after_part, read_modules, read_service, read_severity, read_vehicles, read_weather,
};
use crate::read::test_terms::read_test_table;
use crate::read::{
    Account, AfterPartRow, ModuleRow, ScanReport, ServiceNote, SeverityRow, Tally, TestTable,
    VehicleRow, WeatherRow,
};
use crate::vocabulary::{Network, Place, Reject};

/// All inputs of a plan.
#[derive(Debug, Default)]
pub(super) struct Sources {
    pub logs: Vec<LogFile>,
    pub reports: Vec<ScanReport>,
    pub weather: WeatherTable,
    /// The coming weather, where a forecast was given.
    pub forecast: Option<WeatherTable>,
    pub after_part: Vec<AfterPartRow>,
    /// The user's table of severities; the shipped one when empty.
    pub severity: Vec<SeverityRow>,
    pub vehicles: Vec<VehicleRow>,
    pub modules: Vec<ModuleRow>,
    pub notes: Vec<ServiceNote>,
    pub networks: BTreeMap<String, Network>,
    /// The user's table of tests; the shipped one without.
    pub tests: Option<TestTable>,
    /// Files that should have been bus logs and were refused as a whole.
    pub refused_logs: Vec<Found>,
    pub tally: Tally,
    /// What each file was taken for, in order of name: for `check`.
    pub taken_for: Vec<(String, String)>,
    pub remarks: Vec<String>,
    /// Files of facts kept elsewhere that are still to be read.
    pub facts: Vec<Found>,
    /// Reports of unknown layout that are still to be read.
    pub texts: Vec<TextReport>,
    /// Files of report words, by name.
    pub words: Vec<(Arc<str>, Vec<u8>)>,
}

/// Finds and reads; logs that are `known` are not opened.
///
/// # Errors
/// In words, when logs in an object store cannot be listed or looked into.
pub(super) fn read(
    plan: &Plan,
    known: &KnownFiles,
    engine: Option<&dyn Engine>,
) -> Result<Sources, String> {
    let inputs = &plan.inputs;
    let wanted: [(&str, &[String], Wanted); 14] = [
        ("bus_logs", &inputs.bus_logs, Wanted::Log),
        ("scan_reports", &inputs.scan_reports, Wanted::Report),
        ("weather", &inputs.weather, Wanted::Weather),
        ("forecast", &inputs.forecast, Wanted::Forecast),
        ("vehicles", &inputs.vehicles, Wanted::Vehicles),
        ("modules", &inputs.modules, Wanted::Modules),
        ("service", &inputs.service, Wanted::Notes),
        ("networks", &inputs.networks, Wanted::Network),
        ("report_words", &inputs.report_words, Wanted::Words),
        ("after_part", &inputs.after_part, Wanted::AfterPart),
        ("severity", &inputs.severity, Wanted::Severity),
        ("tests", &inputs.tests, Wanted::Tests),
        ("facts", &inputs.facts, Wanted::Facts),
        ("folder", &inputs.by_content, Wanted::Anything),
    ];
    let mut sources = Sources::default();
    let mut files: Vec<(Found, Wanted)> = Vec::new();
    let mut taken: Vec<Taken> = Vec::new();
    for (key, patterns, wanted) in wanted {
        let patterns: Vec<String> = patterns.iter().filter(|p| !is_url(p)).cloned().collect();
        let mut finding = find(&plan.base, &patterns, Some(&plan.output.folder));
        if wanted == Wanted::Log {
            let (objects, empty) = objects::take_all(plan, known, engine)?;
            taken.extend(objects);
            finding.empty_patterns.extend(empty);
        }
        for pattern in finding.empty_patterns.iter().filter(|_| wanted != Wanted::Anything) {
            sources.remarks.push(format!(
                "`{key}`: nothing matches `{pattern}` (patterns are relative to the pipeline file); {}",
                how_to_add(wanted)
            ));
        }
        if wanted == Wanted::Anything && finding.files.is_empty() && !patterns.is_empty() {
            sources.remarks.push(
                "the folder is empty: put the bus logs and scan reports of one vehicle into it; for more vehicles \
                 `buswitness template DIR` writes a pipeline file to begin with"
                    .to_owned(),
            );
        }
        sources.tally.rejects.extend(finding.rejects);
        files.extend(finding.files.into_iter().map(|f| (f, wanted)));
    }
    let read = |(found, wanted)| take(plan, known, found, wanted, Found::open);
    taken.par_extend(files.into_par_iter().map(read));
    let (mut weather, mut forecast) = (Vec::new(), Vec::new());
    for one in taken {
        sources.pour(one, &mut weather, &mut forecast);
    }
    sources.sort_vehicles();
    text_reports::read(plan, &mut sources);
    sources.weather = WeatherTable::new(weather);
    sources.forecast = (!inputs.forecast.is_empty()).then(|| WeatherTable::new(forecast));
    sources.sort_reports();
    sources
        .notes
        .sort_by(|a, b| (&a.vehicle, a.time, &a.place).cmp(&(&b.vehicle, b.time, &b.place)));
    sources.logs.sort_by(|a, b| a.found.name.cmp(&b.found.name));
    sources.refused_logs.sort_by(|a, b| a.name.cmp(&b.name));
    sources.taken_for.sort();
    Ok(sources)
}

impl Sources {
    fn pour(
        &mut self,
        taken: Taken,
        weather: &mut Vec<WeatherRow>,
        forecast: &mut Vec<WeatherRow>,
    ) {
        if let (Some(wanted), true) = (bare(&taken.given), taken.account.rejects.is_empty()) {
            let remark = format!("{}: nothing in it yet; {}", taken.name, how_to_add(wanted));
            self.remarks.push(remark);
        }
        taken.account.pour_into(&mut self.tally);
        self.taken_for.push((taken.name.to_string(), taken.what));
        let tally = &mut self.tally;
        if !matches!(taken.given, Given::Log(_) | Given::Skipped(_)) {
            tally.bytes += taken.bytes;
        }
        let mut rows = |n: usize| tally.table_rows += n as u64;
        match taken.given {
            Given::Log(log) => self.logs.push(log),
            Given::Reports(reports) => {
                self.tally.scan_reports += reports.len() as u64;
                self.reports.extend(reports);
            }
            Given::Weather(list) => {
                rows(list.len());
                weather.extend(list);
            }
            Given::Forecast(list) => {
                rows(list.len());
                forecast.extend(list);
            }
            Given::AfterPart(list) => {
                rows(list.len());
                self.after_part.extend(list);
            }
            Given::Severity(list) => {
                rows(list.len());
                self.severity.extend(list);
            }
            Given::Vehicles(list) => {
                rows(list.len());
                self.vehicles.extend(list);
            }
            Given::Modules(list) => {
                rows(list.len());
                self.modules.extend(list);
            }
            Given::Notes(list) => {
                rows(list.len());
                self.notes.extend(list);
            }
            Given::Network(network) => {
                if self.networks.contains_key(&network.name) {
                    let reason = format!(
                        "a second description of network `{}`; the first one is used",
                        network.name
                    );
                    self.tally.rejects.push(Reject::one(Place::whole(&taken.name), reason));
                } else {
                    self.networks.insert(network.name.clone(), *network);
                }
            }
            Given::Facts(found) => self.facts.push(found),
            Given::Text(text) => self.texts.push(*text),
            Given::Words(name, bytes) => self.words.push((name, bytes)),
            Given::Tests(table) if self.tests.is_none() => self.tests = Some(*table),
            Given::Tests(_) => {
                let reason = "a second table of tests; the first one is used";
                self.tally.rejects.push(Reject::one(Place::whole(&taken.name), reason));
            }
            Given::Nothing => {}
            Given::RefusedLog(found) => self.refused_logs.push(found),
            Given::Skipped(why) => self.tally.skipped.push((taken.name.to_string(), why)),
        }
    }
}

/// Opens one file, if it must be opened, and reads it, if it is a small one.
pub(super) fn take(
    plan: &Plan,
    known: &KnownFiles,
    found: Found,
    wanted: Wanted,
    open: impl FnOnce(&Found) -> Result<Opened, Reject>,
) -> Taken {
    let name = Arc::clone(&found.name);
    let mut taken = Taken {
        given: Given::Nothing,
        account: Account::default(),
        bytes: 0,
        name: Arc::clone(&name),
        what: String::new(),
    };
    if wanted == Wanted::Facts {
        // Read later, each folder as a whole.
        taken.what = "kept facts".to_owned();
        taken.given = Given::Facts(found);
        return taken;
    }
    let stamp = (wanted == Wanted::Log).then(|| found.stamp()).flatten();
    if let Some(file) = stamp.as_ref().and_then(|stamp| known.of(&name, stamp)) {
        let (size, content) = (file.size, Some(file.content));
        taken.given = Given::Log(LogFile { found, size, stamp, content });
        return taken;
    }
    let opened = match open(&found) {
        Ok(opened) => opened,
        Err(reject) => {
            taken.what = format!("refused: {}", reject.reason);
            taken.account.rejects.push(reject);
            return taken.refused(wanted, found);
        }
    };
    taken.bytes = opened.size;
    let asked = if wanted == Wanted::Anything { by_content(&opened.kind) } else { Some(wanted) };
    let Some(asked) = asked else {
        let why = opened.refusal("a bus log, scan report, table or network description").reason;
        taken.what = format!("skipped: {why}");
        taken.given = Given::Skipped(why);
        return taken;
    };
    if !fits(&opened.kind, asked) {
        let reject = opened.refusal(expected(asked));
        taken.what = format!("refused: {}", reject.reason);
        taken.account.rejects.push(reject);
        return taken.refused(asked, found);
    }
    if let (Wanted::Log, Kind::Csv { header }) = (asked, &opened.kind) {
        let tables = LogTables { choices: plan.columns_of("bus_logs"), zone: plan.timezone };
        if let Err(reason) = check_table_header(header, &tables) {
            taken.what = format!("refused: {reason}");
            taken.account.reject(Place::whole(&name), reason);
            return taken.refused(asked, found);
        }
    }
    let packed = opened.packings.first().map(|p| format!(", {p}")).unwrap_or_default();
    let vehicle = found.captures.vehicle.as_deref().or(plan.only_vehicle.as_deref());
    let zone = plan.timezone;
    let bytes = opened.bytes;
    taken.account.join(opened.account);
    let is_table = is_scan_table(plan, &opened.kind);
    let kind = opened.kind;
    let mut account = Account::default();
    let (given, what) = match asked {
        Wanted::Log => {
            let size = opened.size;
            let what = format!("bus log, {}", log_format(&kind).unwrap_or("unknown"));
            // What was let pass on opening is told anew each time: such a log is opened again.
            let stamp = stamp.filter(|_| taken.account == Account::default());
            (Given::Log(LogFile { found, size, stamp, content: None }), what)
        }
        Wanted::Report => {
            if !is_table && kind != Kind::ScanReportJson {
                return text_report(taken, wanted, take_apart(bytes, &kind, &name), found);
            }
            let reading = if is_table {
                read_scan_table(bytes, &name, vehicle, &plan.columns_of("scan_reports"), zone)
            } else {
                read_scan_json(bytes, &name, vehicle, zone)
            };
            account = reading.account;
            let what = format!("{} scan report(s)", reading.records.len());
            (Given::Reports(reading.records), what)
        }
        Wanted::Weather | Wanted::Forecast => {
            let reading = read_weather(bytes, &name, &plan.columns_of("weather"), zone);
            account = reading.account;
            let rows = reading.records.len();
            match asked {
                Wanted::Weather => {
                    (Given::Weather(reading.records), format!("weather, {rows} rows"))
                }
                _ => (Given::Forecast(reading.records), format!("forecast, {rows} rows")),
            }
        }
        Wanted::AfterPart => {
            let reading = read_after_part(bytes, &name, &plan.columns_of("after_part"), zone);
            account = reading.account;
            let what = format!("after the part, {} classes", reading.records.len());
            (Given::AfterPart(reading.records), what)
        }
        Wanted::Severity => {
            let reading = read_severity(bytes, &name, &plan.columns_of("severity"), zone);
            account = reading.account;
            let what = format!("severities, {} classes", reading.records.len());
            (Given::Severity(reading.records), what)
        }
        Wanted::Vehicles => {
            let reading = read_vehicles(bytes, &name, &plan.columns_of("vehicles"), zone);
            account = reading.account;
            let what = format!("vehicles, {} rows", reading.records.len());
            (Given::Vehicles(reading.records), what)
        }
        Wanted::Modules => {
            let reading = read_modules(bytes, &name, &plan.columns_of("modules"), zone);
            account = reading.account;
            let what = format!("modules, {} rows", reading.records.len());
            (Given::Modules(reading.records), what)
        }
        Wanted::Notes => {
            let reading = read_service(bytes, &name, &plan.columns_of("service"), zone);
            account = reading.account;
            let what = format!("service notes, {} rows", reading.records.len());
            (Given::Notes(reading.records), what)
        }
        Wanted::Network => {
            let whole = read_whole(bytes, &name, &mut account);
            let reading = read_network(&whole, &name);
            account.join(reading.account);
            match reading.records {
                Some(network) => {
                    let what = format!("network {}, {} nodes", network.name, network.nodes.len());
                    (Given::Network(Box::new(network)), what)
                }
                None => (Given::Nothing, "refused: no network description".to_owned()),
            }
        }
        Wanted::Words => {
            let whole = read_whole(bytes, &name, &mut account);
            (Given::Words(Arc::clone(&name), whole), "report words".to_owned())
        }
        Wanted::Tests => {
            let whole = read_whole(bytes, &name, &mut account);
            let reading = read_test_table(&whole, &name);
            account.join(reading.account);
            (Given::Tests(Box::new(reading.records)), "table of tests".to_owned())
        }
        Wanted::Facts | Wanted::Anything => (Given::Nothing, String::new()),
    };
    let rejected = account.rejects.len();
    taken.account.join(account);
    taken.given = given;
    let wrong = if rejected > 0 { format!(", {rejected} rejected") } else { String::new() };
    taken.what = format!("{what}{packed}{wrong}");
    taken
}

/// A report of unknown layout. A file that nobody called a report and that holds no code is left alone.
fn text_report(mut taken: Taken, wanted: Wanted, document: Document, found: Found) -> Taken {
    if wanted == Wanted::Anything && !holds_codes(&document) {
        let why =
            "text without a trouble code, no bus log, scan report, table or network description";
        taken.what = format!("skipped: {why}");
        taken.given = Given::Skipped(why.to_owned());
        return taken;
    }
    taken.given = Given::Text(Box::new(TextReport { found, document }));
    taken
}
