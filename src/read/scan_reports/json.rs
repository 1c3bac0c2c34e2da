//! Scan reports in JSON.
//!
//! A report needs `vehicle` (or a vehicle from the file's path) and `taken_at`; without them it is
//! refused. A bad code, value or node is refused alone. Numbers may stand as text and are counted. Unknown
//! keys are counted and ignored.

use std::io::Read;
use std::sync::Arc;

use chrono_tz::Tz;

use crate::read::account::{Account, Reading};
use crate::read::opening::read_whole;
use crate::read::scan_reports::codes::read_code;
use crate::read::scan_reports::located::{Json, Located, locate};
use crate::read::scan_reports::pieces::{Piece, pieces};
use crate::read::tables::{
    AMBIENT_C, BATTERY_V, HUMIDITY_PCT, OCCURRENCES, ODOMETER_KM, SINCE_START_S, check_range,
    parse_flag, parse_number, whole_number,
};
use crate::read::times::parse_time;
use crate::read::{CodeReport, NodeReport, ScanReport};
use crate::vocabulary::Place;

/// Reads scan reports in JSON: one object, an array, or JSON Lines.
pub fn read_scan_json(
    source: impl Read,
    name: &Arc<str>,
    path_vehicle: Option<&str>,
    zone: Tz,
) -> Reading<Vec<ScanReport>> {
    let mut account = Account::default();
    let bytes = read_whole(source, name, &mut account);
    let mut reader = Reader { name, path_vehicle, zone, account };
    let mut records = Vec::new();
    for piece in pieces(&bytes) {
        let located = match piece {
            Piece::Spoilt { line, reason } => Err((line, reason)),
            Piece::Whole { text, line } => locate(text, line).map_err(|reason| (line, reason)),
        };
        match located {
            Ok(located) => records.extend(reader.report(&located)),
            Err((line, reason)) => reader.refuse(line, format!("scan report: {reason}")),
        }
    }
    if records.is_empty() && reader.account.rejects.is_empty() {
        let reason = "no scan report in it, expected a JSON object, an array or JSON Lines";
        reader.account.reject(Place::whole(name), reason);
    }
    Reading { records, account: reader.account }
}

struct Reader<'r> {
    name: &'r Arc<str>,
    path_vehicle: Option<&'r str>,
    zone: Tz,
    account: Account,
}

type Members = [(String, Located)];

const REPORT_KEYS: [&str; 6] =
    ["schema", "vehicle", "taken_at", "odometer_km", "conditions", "nodes"];
const CONDITION_KEYS: [&str; 4] = ["ambient_c", "humidity_pct", "battery_v", "since_start_s"];
const NODE_KEYS: [&str; 3] = ["node", "answered", "codes"];
const CODE_KEYS: [&str; 5] = ["code", "failure_type", "status", "occurrences", "since_start_s"];

impl Reader<'_> {
    fn refuse(&mut self, line: u64, reason: impl Into<String>) {
        self.account.reject(Place::line(self.name, line), reason);
    }

    fn report(&mut self, located: &Located) -> Option<ScanReport> {
        let Json::Object(members) = &located.value else {
            let reason = format!("expected a scan report object, found {}", located.kind());
            self.refuse(located.line, reason);
            return None;
        };
        self.check_schema(members);
        self.count_unknown(members, &REPORT_KEYS);
        let vehicle = self.text(members, "vehicle").or(self.path_vehicle.map(str::to_owned));
        let taken_at = self.text(members, "taken_at");
        let (Some(vehicle), Some(taken_at)) = (&vehicle, &taken_at) else {
            let missing = if vehicle.is_none() { "vehicle" } else { "taken_at" };
            self.refuse(located.line, format!("scan report without `{missing}`"));
            return None;
        };
        let taken_at = match parse_time(taken_at, self.zone) {
            Ok(read) => {
                if let Some(what) = read.leniency {
                    self.account.lenient(what);
                }
                read.instant
            }
            Err(reason) => {
                self.refuse(located.line, format!("scan report: `taken_at`: {reason}"));
                return None;
            }
        };
        let empty = Vec::new();
        let conditions = match member(members, "conditions") {
            Some(Located { value: Json::Object(inner), .. }) => inner,
            Some(other) if other.value != Json::Null => {
                let reason = format!("`conditions` should be an object, found {}", other.kind());
                self.refuse(other.line, reason);
                &empty
            }
            _ => &empty,
        };
        self.count_unknown(conditions, &CONDITION_KEYS);
        Some(ScanReport {
            vehicle: vehicle.clone(),
            taken_at,
            odometer_km: self.number(members, "odometer_km", ODOMETER_KM),
            ambient_c: self.number(conditions, "ambient_c", AMBIENT_C),
            humidity_pct: self.number(conditions, "humidity_pct", HUMIDITY_PCT),
            battery_v: self.number(conditions, "battery_v", BATTERY_V),
            since_start_s: self.number(conditions, "since_start_s", SINCE_START_S),
            nodes: self.nodes(members),
            place: Place::line(self.name, located.line),
        })
    }

    fn check_schema(&mut self, members: &Members) {
        if let Some(Located { value: Json::Text(schema), .. }) = member(members, "schema")
            && schema != "buswitness/scan-report/1"
        {
            let schema = crate::read::times::shortened(schema);
            self.account.lenient(&format!("scan report of schema `{schema}` read as ours"));
        }
    }

    fn nodes(&mut self, members: &Members) -> Vec<NodeReport> {
        let mut nodes = Vec::new();
        for item in self.list(members, "nodes") {
            let Json::Object(inner) = &item.value else {
                self.refuse(item.line, format!("expected a node object, found {}", item.kind()));
                continue;
            };
            self.count_unknown(inner, &NODE_KEYS);
            let Some(node) = self.text(inner, "node") else {
                self.refuse(item.line, "node without its name in `node`");
                continue;
            };
            let answered = self.flag(inner, "answered");
            let codes = self.codes(inner);
            nodes.push(NodeReport {
                node,
                answered,
                codes,
                place: Place::line(self.name, item.line),
            });
        }
        nodes
    }

    fn codes(&mut self, members: &Members) -> Vec<CodeReport> {
        let mut codes = Vec::new();
        for item in self.list(members, "codes") {
            let bare;
            let inner: &Members = match &item.value {
                Json::Object(inner) => inner,
                Json::Text(_) => {
                    self.account.lenient("code as a bare text read");
                    bare = [("code".to_owned(), item.clone())];
                    &bare
                }
                _ => {
                    self.refuse(
                        item.line,
                        format!("expected a code object, found {}", item.kind()),
                    );
                    continue;
                }
            };
            self.count_unknown(inner, &CODE_KEYS);
            let text = |reader: &mut Self, key| reader.text(inner, key).unwrap_or_default();
            let (code, failure, status) =
                (text(self, "code"), text(self, "failure_type"), text(self, "status"));
            match read_code(&code, &failure, &status, &mut self.account) {
                Ok((code, status)) => codes.push(CodeReport {
                    code: code.into(),
                    status,
                    occurrences: self
                        .number(inner, "occurrences", OCCURRENCES)
                        .and_then(whole_number),
                    since_start_s: self.number(inner, "since_start_s", SINCE_START_S),
                    place: Place::line(self.name, item.line),
                }),
                Err(reason) => self.refuse(item.line, reason),
            }
        }
        codes
    }

    /// A list; one object in its place counts as a list of one.
    fn list<'m>(&mut self, members: &'m Members, key: &str) -> Vec<&'m Located> {
        match member(members, key) {
            Some(Located { value: Json::List(items), .. }) => items.iter().collect(),
            None | Some(Located { value: Json::Null, .. }) => Vec::new(),
            Some(other) => {
                self.refuse(
                    other.line,
                    format!("`{key}` should be a list, found {}", other.kind()),
                );
                Vec::new()
            }
        }
    }

    /// A text that is not empty; a number in its place is taken as it prints.
    fn text(&mut self, members: &Members, key: &str) -> Option<String> {
        let found = member(members, key)?;
        match &found.value {
            Json::Text(text) => {
                let text = text.trim();
                (!text.is_empty()).then(|| text.to_owned())
            }
            Json::Null => None,
            Json::Number(number) => {
                self.account.lenient("number read where a text is expected");
                Some(number.to_string())
            }
            _ => {
                self.refuse(
                    found.line,
                    format!("`{key}` should be a text, found {}", found.kind()),
                );
                None
            }
        }
    }

    fn number(&mut self, members: &Members, key: &str, range: (f64, f64)) -> Option<f64> {
        let found = member(members, key)?;
        let value = match &found.value {
            Json::Number(number) => Ok(*number),
            Json::Null => return None,
            Json::Text(text) => parse_number(text),
            _ => Err(format!("expected a number, found {}", found.kind())),
        };
        match value.and_then(|value| check_range(value, range).map(|()| value)) {
            Ok(value) => {
                if matches!(found.value, Json::Text(_)) {
                    self.account.lenient("text read where a number is expected");
                }
                Some(value)
            }
            Err(reason) => {
                self.refuse(found.line, format!("`{key}`: {reason}"));
                None
            }
        }
    }

    fn flag(&mut self, members: &Members, key: &str) -> Option<bool> {
        let found = member(members, key)?;
        let flag = match &found.value {
            Json::Flag(flag) => return Some(*flag),
            Json::Null => return None,
            Json::Text(text) => parse_flag(text),
            _ => None,
        };
        if flag.is_some() {
            self.account.lenient("text read where true or false is expected");
        } else {
            let reason = format!("`{key}` should be true or false, found {}", found.kind());
            self.refuse(found.line, reason);
        }
        flag
    }

    fn count_unknown(&mut self, members: &Members, known: &[&str]) {
        for (key, _) in members.iter().filter(|(key, _)| !known.contains(&key.as_str())) {
            let key = crate::read::times::shortened(key);
            self.account.lenient(&format!("unknown field `{key}` ignored"));
        }
    }
}

/// The member of that name; of two, the first.
fn member<'m>(members: &'m Members, key: &str) -> Option<&'m Located> {
    members.iter().find(|(name, _)| name == key).map(|(_, value)| value)
}
