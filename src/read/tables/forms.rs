//! The forms of all tables: one list of fields per input, and the pipeline's renaming of columns.

use std::collections::BTreeMap;

use chrono_tz::Tz;

use crate::read::tables::units::Quantity;

/// What a cell holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Holds {
    /// Words.
    Text,
    /// Yes or no.
    Flag,
    /// A number of something.
    Number(Quantity),
    /// A time.
    Time,
    /// A day, or a time.
    Day,
}

/// One field of a form.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Field {
    /// The name of the field, and of its column unless the pipeline says otherwise.
    pub name: &'static str,
    /// Whether a table without the column is refused.
    pub required: bool,
    /// What its cells hold.
    pub holds: Holds,
    /// The smallest and largest value that can be true, in the unit we keep.
    pub range: (f64, f64),
}

/// The form of one kind of table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Form {
    /// The input's key in the pipeline: `weather`, `vehicles`, …
    pub input: &'static str,
    /// How the table is called in messages.
    pub title: &'static str,
    /// Its fields.
    pub fields: &'static [Field],
}

/// Where the pipeline says a field comes from.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ColumnChoice {
    /// The column's name; `None` keeps the field's own.
    pub column: Option<String>,
    /// The unit of its numbers.
    pub unit: Option<String>,
    /// The zone of its times without an offset.
    pub zone: Option<Tz>,
}

/// The choices for one table, by field name.
pub type ColumnChoices = BTreeMap<String, ColumnChoice>;

/// Ambient temperatures that can be true, °C.
pub const AMBIENT_C: (f64, f64) = (-60.0, 70.0);
/// Relative humidities that can be true, percent.
pub const HUMIDITY_PCT: (f64, f64) = (0.0, 100.0);
/// Battery voltages that can be true.
pub const BATTERY_V: (f64, f64) = (0.0, 60.0);
/// Odometer readings that can be true, km.
pub const ODOMETER_KM: (f64, f64) = (0.0, 10_000_000.0);
/// Spans since a start that can be true: up to a hundred days.
pub const SINCE_START_S: (f64, f64) = (0.0, 8_640_000.0);
/// Counts of occurrences that can be true.
pub const OCCURRENCES: (f64, f64) = (0.0, 4_294_967_295.0);

/// Degrees of severity: 1 is hardly noticed, 10 endangers people without a warning.
pub const SEVERITIES: (f64, f64) = (1.0, 10.0);

const ANY: (f64, f64) = (f64::NEG_INFINITY, f64::INFINITY);

const fn must(name: &'static str, holds: Holds) -> Field {
    Field { name, required: true, holds, range: ANY }
}

const fn may(name: &'static str, holds: Holds) -> Field {
    Field { name, required: false, holds, range: ANY }
}

const fn number(name: &'static str, quantity: Quantity, range: (f64, f64)) -> Field {
    Field { name, required: false, holds: Holds::Number(quantity), range }
}

/// The vehicles table.
pub const VEHICLES: Form = Form {
    input: "vehicles",
    title: "vehicles table",
    fields: &[
        must("vehicle", Holds::Text),
        may("network", Holds::Text),
        may("model", Holds::Text),
        may("site", Holds::Text),
        may("in_service", Holds::Day),
        number("odometer_km", Quantity::Distance, ODOMETER_KM),
    ],
};

/// The modules table.
pub const MODULES: Form = Form {
    input: "modules",
    title: "modules table",
    fields: &[
        must("vehicle", Holds::Text),
        must("node", Holds::Text),
        may("part_number", Holds::Text),
        may("hardware", Holds::Text),
        may("software", Holds::Text),
        may("batch", Holds::Text),
        may("built_on", Holds::Day),
        may("installed_on", Holds::Day),
        may("removed_on", Holds::Day),
        may("removal_reason", Holds::Text),
    ],
};

/// The weather table.
pub const WEATHER: Form = Form {
    input: "weather",
    title: "weather table",
    fields: &[
        must("site", Holds::Text),
        must("time", Holds::Time),
        number("temperature_c", Quantity::Temperature, AMBIENT_C),
        number("humidity_pct", Quantity::Share, HUMIDITY_PCT),
        number("precipitation_mm", Quantity::Rain, (0.0, 500.0)),
    ],
};

/// The service notes.
pub const SERVICE: Form = Form {
    input: "service",
    title: "service notes table",
    fields: &[
        must("time", Holds::Time),
        must("vehicle", Holds::Text),
        must("action", Holds::Text),
        may("target", Holds::Text),
        may("outcome", Holds::Text),
        may("note", Holds::Text),
    ],
};

/// What follows a replaced part, by class of module.
pub const AFTER_PART: Form = Form {
    input: "after_part",
    title: "table of what follows a replaced part",
    fields: &[
        must("class", Holds::Text),
        must("words", Holds::Text),
        must("needed", Holds::Text),
        may("caution", Holds::Text),
    ],
};

/// How severe a fault of a class of module is.
pub const SEVERITY: Form = Form {
    input: "severity",
    title: "table of severities",
    fields: &[
        must("class", Holds::Text),
        may("words", Holds::Text),
        Field { required: true, ..number("severity", Quantity::Count, SEVERITIES) },
        may("safety", Holds::Flag),
        may("hands_off", Holds::Flag),
        may("why", Holds::Text),
    ],
};

/// Scan reports as a table: a row per code.
pub const SCAN_REPORTS: Form = Form {
    input: "scan_reports",
    title: "scan report table",
    fields: &[
        must("taken_at", Holds::Time),
        may("vehicle", Holds::Text),
        must("node", Holds::Text),
        may("answered", Holds::Flag),
        may("code", Holds::Text),
        may("failure_type", Holds::Text),
        may("status", Holds::Text),
        number("occurrences", Quantity::Count, OCCURRENCES),
        number("odometer_km", Quantity::Distance, ODOMETER_KM),
        number("ambient_c", Quantity::Temperature, AMBIENT_C),
        number("humidity_pct", Quantity::Share, HUMIDITY_PCT),
        number("battery_v", Quantity::Voltage, BATTERY_V),
        number("since_start_s", Quantity::Duration, SINCE_START_S),
        number("code_since_start_s", Quantity::Duration, SINCE_START_S),
    ],
};

/// Bus logs as a table; read by the log readers, listed here for its column names and units.
pub const BUS_LOGS: Form = Form {
    input: "bus_logs",
    title: "bus log table",
    fields: &[
        must("time", Holds::Time),
        may("bus", Holds::Text),
        must("id", Holds::Text),
        may("extended", Holds::Flag),
        may("dlc", Holds::Number(Quantity::Count)),
        must("data", Holds::Text),
        may("fd", Holds::Flag),
        may("esi", Holds::Flag),
        may("remote", Holds::Flag),
        may("error", Holds::Flag),
        may("direction", Holds::Text),
    ],
};

/// All forms.
pub const FORMS: [&Form; 8] =
    [&VEHICLES, &MODULES, &WEATHER, &SERVICE, &SCAN_REPORTS, &BUS_LOGS, &AFTER_PART, &SEVERITY];

impl Form {
    /// The form of an input by its key.
    #[must_use]
    pub fn of_input(input: &str) -> Option<&'static Form> {
        FORMS.into_iter().find(|form| form.input == input)
    }

    /// The field of that name, with its position.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<(usize, &'static Field)> {
        self.fields.iter().enumerate().find(|(_, field)| field.name == name)
    }

    /// How many columns of a header line bear names of this form.
    #[must_use]
    pub fn likeness(&self, header: &str) -> usize {
        let separator = super::cells::separator_of(header);
        let cells = super::cells::split_cells(header, separator).unwrap_or_default();
        let is_field = |cell: &&String| self.field(&cell.to_lowercase()).is_some();
        cells.iter().filter(is_field).count()
    }

    /// The names of all fields.
    #[must_use]
    pub fn names(&self) -> Vec<&'static str> {
        self.fields.iter().map(|field| field.name).collect()
    }

    /// Which table a header line belongs to: the one whose required columns all stand in it and
    /// that knows most of its columns; `None` when there is none, or two fit equally well.
    #[must_use]
    pub fn of_header(header: &str) -> Option<&'static Form> {
        let separator = super::cells::separator_of(header);
        let cells = super::cells::split_cells(header, separator).unwrap_or_default();
        let columns: Vec<String> = cells.iter().map(|cell| cell.to_lowercase()).collect();
        let has = |field: &Field| columns.iter().any(|column| column == field.name);
        let mut fitting: Vec<(usize, &'static Form)> = FORMS
            .into_iter()
            .filter(|form| form.fields.iter().all(|field| !field.required || has(field)))
            .map(|form| (form.fields.iter().filter(|field| has(field)).count(), form))
            .collect();
        fitting.sort_by_key(|(known, _)| std::cmp::Reverse(*known));
        match fitting.as_slice() {
            [(best, _), (second, _), ..] if best == second => None,
            [(_, form), ..] => Some(form),
            [] => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_header_names_its_table() {
        for (header, input) in [
            ("vehicle,network,model,site,in_service,odometer_km", Some("vehicles")),
            ("vehicle,node,part_number,batch,installed_on", Some("modules")),
            ("site;time;temperature_c", Some("weather")),
            ("time,vehicle,action,target,outcome,note", Some("service")),
            ("taken_at,vehicle,node,answered,code,failure_type,status", Some("scan_reports")),
            ("time,bus,id,extended,dlc,data", Some("bus_logs")),
            ("class,words,needed,caution", Some("after_part")),
            ("class,words,severity,safety,hands_off,why", Some("severity")),
            ("a,b", None),
        ] {
            assert_eq!(Form::of_header(header).map(|form| form.input), input, "{header}");
        }
    }
}
