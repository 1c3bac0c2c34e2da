//! The columns of codes, answers and events: what nodes and testers say. Part of the one schema.

use crate::facts::schema::{BUS, PLACE, START, VEHICLE};
use crate::facts::table_shape::Kind::{Flag, Number, Small, Time, Word};
use crate::facts::table_shape::{Kept, Table, may, must};

/// Codes that nodes told in a log.
pub const LOGGED_CODES: Table = Table {
    name: "logged_codes",
    kept: Kept::Store,
    meaning: "one code that a node told in the log, from when it was first told to when it was last",
    columns: &[
        BUS,
        START,
        must("reporter", Word, "", "the node that holds the code"),
        must("by", Word, "", "how it was told: `uds-19-02`, `obd-03`, `dm1`, …"),
        must("standard", Word, "", "`sae-j2012` or `sae-j1939`"),
        must("number", Small, "", "the 16-bit code, or the suspect parameter number"),
        may("failure", Small, "", "failure type byte, or failure mode; empty: none given"),
        must("certain", Flag, "", "the number is certain: its byte order is known"),
        may("status", Word, "", "`pending`, `confirmed`, `stored`, or the status byte as `0x2F`"),
        may("occurrences", Small, "times", "occurrences by the node's counter; empty: none given"),
        must("first", Time, "", "when it was first told"),
        must("last", Time, "", "when it was last told"),
        must("times", Small, "times", "how often it was told"),
        must("dated", Flag, "", "the log shows that it was not there before `first`"),
        PLACE,
    ],
};

/// Who was asked in a log.
pub const LOGGED_ANSWERS: Table = Table {
    name: "logged_answers",
    kept: Kept::Store,
    meaning: "requests to one node in a row with the same outcome",
    columns: &[
        BUS,
        START,
        must("node", Word, "", "the node that was asked"),
        must("reading", Word, "", "what came of it, in the words of `answers`"),
        must("first", Time, "", "the first request; where an answer broke off, its last frame"),
        must("last", Time, "", "the last request"),
        must("times", Small, "times", "how many requests"),
        PLACE,
    ],
};

/// Restarts, conflicts, clearings.
pub const BUS_EVENTS: Table = Table {
    name: "bus_events",
    kept: Kept::Store,
    meaning: "one event that a protocol tells of",
    columns: &[
        BUS,
        START,
        must("time", Time, "", "when"),
        must("node", Word, "", "the node"),
        must("kind", Word, "", "`codes-cleared`, `restarted`, `address-conflict`, `cannot-claim`"),
        PLACE,
    ],
};

/// Codes of the scan reports.
pub const CODES: Table = Table {
    name: "codes",
    kept: Kept::Output,
    meaning: "one code of one scan report, or of a session or broadcast in a log",
    columns: &[
        VEHICLE,
        must(
            "report",
            Small,
            "",
            "position of the report among the vehicle's, by time and then place, from 0",
        ),
        must("taken_at", Time, "", "when the report was taken"),
        must("reporter", Word, "", "the node that holds the code"),
        must("code", Word, "", "the code, as in `U0126` or `SPN 2003 FMI 9`"),
        may(
            "failure_type",
            Word,
            "",
            "failure type byte, two hex digits; empty: the report gave none",
        ),
        may(
            "status",
            Word,
            "",
            "`pending`, `confirmed`, `stored`, or the status byte as `0x2F`; empty: none given",
        ),
        may("occurrences", Small, "times", "occurrences by the node's counter; empty: none given"),
        may(
            "since_start_s",
            Number,
            "s",
            "seconds after a start at which it was set; empty: not known",
        ),
        must("kind", Word, "", "`not-heard`, `heard-invalid`, `bus-down`, `own-supply`, `other`"),
        may("accused", Word, "", "whom it accuses; empty: the bus, the reporter itself or nobody"),
        PLACE,
    ],
};

/// Answers to the tester.
pub const ANSWERS: Table = Table {
    name: "answers",
    kept: Kept::Output,
    meaning: "whether one node replied in one scan report, or in one session in a log",
    columns: &[
        VEHICLE,
        must(
            "report",
            Small,
            "",
            "position of the report among the vehicle's, by time and then place, from 0",
        ),
        must("taken_at", Time, "", "when the report was taken"),
        must("node", Word, "", "the node"),
        must("answered", Flag, "", "it replied"),
        must(
            "reading",
            Word,
            "",
            "`answered`, `late`, `not-answered`, `off-the-wire`, `alive-unserved`, `behind-gateway`, \
             `lost-after-pending`, `lost-in-answer`; a report of a tester tells only the first and third",
        ),
        PLACE,
    ],
};
