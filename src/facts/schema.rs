//! Every table's columns: name, type, unit, whether a cell may be empty, and what it means.
//!
//! This is the one place where a stored or written column is defined: the arrow schema, the check
//! of what is read back and the documentation are all made from it. An empty cell means "not
//! known" or "does not apply", never zero. Columns are found by name; their order is that of
//! the written file. A stored column that changes moves every address in the store, so that nothing
//! old is misread.

pub use crate::facts::testimony_schema::{
    ANSWERS, BUS_EVENTS, CODES, LOGGED_ANSWERS, LOGGED_CODES,
};

pub use crate::facts::finer_schema::*;
use crate::facts::table_shape::Kind::{Count, Flag, Number, Small, Text, Texts, Time, Word};
use crate::facts::table_shape::{Column, Kept, Table, may, must};

/// Raise this when the same log would give other facts than before, though no column changed.
pub const FACTS_VERSION: u32 = 4;

/// The column that stands in front of a table of many logs.
pub(crate) const VEHICLE: Column = must("vehicle", Word, "", "the vehicle");
pub(super) const BUS: Column = must("bus", Word, "", "the bus");
pub(super) const START: Column = must("start", Time, "", "begin of the start");
pub(super) const PLACE: Column =
    must("place", Text, "", "where it was read: file and line, or file and byte");

/// Starts as one log saw them on one bus.
pub const STARTS: Table = Table {
    name: "starts",
    kept: Kept::StoreAndOutput,
    meaning: "one waking of the network as one log saw it on one bus",
    columns: &[
        BUS,
        must("begin", Time, "", "first frame after sleep"),
        must("end", Time, "", "last frame before sleep, or end of the log"),
        must("woke", Flag, "", "the log shows the bus asleep just before `begin`"),
        must("slept", Flag, "", "the log shows the bus asleep after `end`"),
        must("frames", Count, "frames", "data frames"),
        must(
            "error_frames",
            Count,
            "frames",
            "error message frames; logger overflow is not among them",
        ),
        may("load", Number, "0 to 1", "mean bus load; empty: the bit rate is not known"),
        must("judged", Flag, "", "silence can be judged in this start"),
        must("why", Text, "", "why it cannot be judged; no text when it can"),
        PLACE,
    ],
};

/// Nodes as seen in one start.
pub const PRESENCES: Table = Table {
    name: "presences",
    kept: Kept::Store,
    meaning: "one node as seen in one start",
    columns: &[
        BUS,
        START,
        must("node", Word, "", "the node"),
        must("first", Time, "", "its first frame"),
        must("last", Time, "", "its last frame"),
        must("frames", Count, "frames", "its frames"),
        may(
            "fastest_period_s",
            Number,
            "s",
            "period of its fastest cyclic identifier; empty: it sends only on events",
        ),
    ],
};

/// Silences of nodes.
pub const SILENCES: Table = Table {
    name: "silences",
    kept: Kept::StoreAndOutput,
    meaning: "one span in which all cyclic identifiers of a node that should have come did not",
    columns: &[
        BUS,
        START,
        must("node", Word, "", "the node"),
        must("last_heard", Time, "", "its last frame before the silence"),
        must("due", Time, "", "when its next frame was due"),
        must("end", Time, "", "when it was heard again, or the end of the start"),
        must("returned", Flag, "", "it was heard again in this start"),
        may("restarted", Flag, "", "it restarted meanwhile; null when that cannot be told"),
        must(
            "identifiers",
            Small,
            "identifiers",
            "how many of its cyclic identifiers were missing",
        ),
        PLACE,
    ],
};

/// Disturbances of a bus.
pub const DISTURBANCES: Table = Table {
    name: "disturbances",
    kept: Kept::StoreAndOutput,
    meaning: "one span in which the bus was garbled, flooded or thinned out",
    columns: &[
        BUS,
        START,
        must(
            "kind",
            Word,
            "",
            "`error-frames`, `flood`, `unknown-identifiers`, `thinned`, `starved`",
        ),
        must("begin", Time, "", "begin of the disturbance"),
        must("end", Time, "", "end of the disturbance"),
        must("count", Count, "frames", "error, unknown, surplus or missing frames, by `kind`"),
        may(
            "identifier",
            Small,
            "",
            "the identifier that floods, bit 31 set when it has 29 bits; empty: none does",
        ),
        may("node", Word, "", "the node that owns the identifier; empty: not known"),
        must("detail", Text, "", "in words: classes of the error frames, rates"),
        PLACE,
    ],
};

/// Spans without recording.
pub const BLIND_SPOTS: Table = Table {
    name: "blind_spots",
    kept: Kept::Store,
    meaning: "one span in which the logger itself did not record; never evidence of silence",
    columns: &[
        BUS,
        START,
        must("begin", Time, "", "last frame before"),
        must("end", Time, "", "first frame after"),
        must("why", Text, "", "why this is the logger's doing"),
        PLACE,
    ],
};

/// Identifiers of one log.
pub const IDENTIFIERS: Table = Table {
    name: "identifiers",
    kept: Kept::Store,
    meaning: "one identifier in one log",
    columns: &[
        BUS,
        must("identifier", Small, "", "the identifier, bit 31 set when it has 29 bits"),
        must("node", Word, "", "the node that sends it; an unnamed sender has a name of its own"),
        must("frames", Count, "frames", "its frames"),
        must("cyclic", Flag, "", "it is cyclic: only then can it be missed"),
        may("period_s", Number, "s", "median period; empty: too few frames"),
        may(
            "jitter_s",
            Number,
            "s",
            "1.4826 times the median absolute deviation of the gaps; empty: too few frames",
        ),
    ],
};

/// Physical values from a log.
pub const SIGNALS: Table = Table {
    name: "signals",
    kept: Kept::Store,
    meaning: "one physical value read from the log",
    columns: &[
        must("time", Time, "", "when"),
        must(
            "quantity",
            Word,
            "",
            "what, with its unit: `ambient_c`, `coolant_c`, `intake_c`, `supply_v`, `engine_rpm`, `engine_run_s`",
        ),
        must("value", Number, "as `quantity` says", "the value"),
        PLACE,
    ],
};

/// What reading a log came to.
pub const READING: Table = Table {
    name: "reading",
    kept: Kept::Store,
    meaning: "what reading the log came to; one row",
    columns: &[
        must("frames", Count, "frames", "data, remote and error frames"),
        must("bytes", Count, "bytes", "bytes read as they stand on disk"),
        may("skipped", Text, "", "why the file was not used; empty: it was"),
    ],
};

/// Leniencies used while reading a log.
pub const LENIENCIES: Table = Table {
    name: "leniencies",
    kept: Kept::Store,
    meaning: "one leniency used while reading the log",
    columns: &[
        must("what", Text, "", "what was let pass or repaired"),
        must("times", Count, "times", "how often"),
    ],
};

/// Rejected records of a log.
pub const REJECTS: Table = Table {
    name: "rejects",
    kept: Kept::Store,
    meaning: "one rejected line or record, or a run of them counted as one",
    columns: &[
        PLACE,
        must("records", Count, "records", "how many records this stands for"),
        must("reason", Text, "", "what was expected and what was found"),
    ],
};

/// Incidents.
pub const INCIDENTS: Table = Table {
    name: "incidents",
    kept: Kept::Output,
    meaning: "one incident, with the conditions of its start",
    columns: &[
        VEHICLE,
        START,
        must("begin", Time, "", "first sign"),
        must("end", Time, "", "last sign; equals `begin` when only codes tell of it"),
        must("seconds", Number, "s", "from first to last sign"),
        may("bus", Word, "", "the bus; empty: not known"),
        may(
            "since_start_s",
            Number,
            "s",
            "from start to first sign; empty: only an undated code tells of it",
        ),
        must("logged", Flag, "", "a log covers it"),
        may("silent", Texts, "", "nodes that fell silent, in order; empty cell: no log covers it"),
        may("alive", Texts, "", "nodes alive throughout; empty cell: no log covers it"),
        may("disturbed", Flag, "", "the bus was disturbed; empty: no log covers it"),
        may(
            "disturbances",
            Texts,
            "",
            "kinds of the disturbances, each once; empty cell: no log covers it",
        ),
        must("accusations", Count, "accusations", "codes by which one node speaks of another"),
        must("accused", Texts, "", "the accused, each once, by name"),
        must("bus_down", Texts, "", "nodes that said the bus was down or that they were bus-off"),
        must("own_supply", Texts, "", "nodes that said their own supply was low or missing"),
        must("answered", Texts, "", "nodes that replied to the tester"),
        must("unanswered", Texts, "", "nodes that did not"),
        may("supply_v", Number, "V", "lowest supply voltage known for the start; empty: not known"),
        may("ambient_c", Number, "°C", "ambient temperature; empty: not known"),
        may("humidity_pct", Number, "%", "relative humidity; empty: not known"),
        may(
            "wet",
            Flag,
            "",
            "rain in the hours before, or air close to its dew point; empty: not known",
        ),
        may("soak_s", Number, "s", "since the end of the start before; empty: not known"),
        must(
            "places",
            Texts,
            "",
            "where its signs stand, each once: silences, disturbances, reports",
        ),
    ],
};

/// Exposures.
pub const EXPOSURES: Table = Table {
    name: "exposures",
    kept: Kept::Output,
    meaning: "one start of one vehicle with its conditions, with or without an incident",
    columns: &[
        VEHICLE,
        START,
        must("end", Time, "", "last frame, or the time of the report"),
        must("logged", Flag, "", "a log covers it"),
        must("judged", Flag, "", "it could have shown an incident"),
        must("incidents", Small, "incidents", "how many happened in it"),
        may("ambient_c", Number, "°C", "ambient temperature; empty: not known"),
        may("ambient_source", Word, "", "`log`, `report` or `weather`"),
        may("ambient_age_s", Number, "s", "start less time of the value; negative: it is younger"),
        may("humidity_pct", Number, "%", "relative humidity; empty: not known"),
        may("humidity_source", Word, "", "`log`, `report` or `weather`"),
        may("humidity_age_s", Number, "s", "start less time of the value; negative: it is younger"),
        may("dew_spread_k", Number, "K", "temperature less dew point; empty: not known"),
        may(
            "rain_12h_mm",
            Number,
            "mm",
            "precipitation in the 12 whole hours before; empty: not known",
        ),
        may(
            "wet",
            Flag,
            "",
            "rain in the hours before, or air close to its dew point; empty: not known",
        ),
        may(
            "washed",
            Flag,
            "",
            "a wash noted in the 12 hours before; empty: washes are not noted on both sides of it",
        ),
        may("soak_s", Number, "s", "since the end of the start before; empty: not known"),
        may(
            "first_of_day",
            Flag,
            "",
            "first start of the local day; empty: starts are not logged without gaps",
        ),
        may("supply_v", Number, "V", "lowest supply voltage; empty: not known"),
        may("supply_source", Word, "", "`log`, `report` or `weather`"),
        may("supply_age_s", Number, "s", "start less time of the value; negative: it is younger"),
        may("odometer_km", Number, "km", "by the readings around the start; empty: not known"),
        PLACE,
    ],
};

/// All tables, in the order of the documentation.
pub const TABLES: [&Table; 25] = [
    &STARTS,
    &PRESENCES,
    &SILENCES,
    &DISTURBANCES,
    &LOSSES,
    &ERROR_DETAILS,
    &LOCKS,
    &RETURNS,
    &ORDERS,
    &PASSIVES,
    &BLIND_SPOTS,
    &CLOCK_STEPS,
    &IDENTIFIERS,
    &CLOCK_GROUPS,
    &SIGNALS,
    &LOGGED_CODES,
    &LOGGED_ANSWERS,
    &BUS_EVENTS,
    &READING,
    &LENIENCIES,
    &REJECTS,
    &CODES,
    &ANSWERS,
    &INCIDENTS,
    &EXPOSURES,
];
