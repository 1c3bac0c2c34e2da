//! The columns of the finer tables: what more a log tells of a disturbance, a silence, a clock, a sender.

use crate::facts::schema::{BUS, PLACE, START};
use crate::facts::table_shape::Kind::{Count, Flag, Number, Small, Text, Time, Word};
use crate::facts::table_shape::{Column, Kept, Table, may, must};

const DISTURBANCE: Column = must("begin", Time, "", "begin of the disturbance");
const NODE: Column = must("node", Word, "", "the node");

/// Error frames of disturbances by class and place.
pub const ERROR_DETAILS: Table = Table {
    name: "error_details",
    kept: Kept::Store,
    meaning: "the error frames of one disturbance that have one class and stand at one place",
    columns: &[
        BUS,
        START,
        DISTURBANCE,
        must("class", Text, "", "class and kind in words, as `protocol violation: stuff`"),
        may("spot", Text, "", "where in the frame, or which wire; empty: no place is named"),
        must("frames", Count, "frames", "how many"),
        must("wires", Flag, "", "it names a fault of the wires"),
    ],
};

/// Whose schedule disturbances keep.
pub const LOCKS: Table = Table {
    name: "locks",
    kept: Kept::Store,
    meaning: "whether one disturbance keeps the schedule of one node",
    columns: &[
        BUS,
        START,
        DISTURBANCE,
        NODE,
        must("basis", Text, "", "`error-frames` or `missing-frames`"),
        must("moments", Count, "moments", "moments of disturbance; those within 5 ms are one"),
        must("hits", Count, "moments", "of these, moments at which a frame of the node was due"),
        must("expected", Number, "moments", "how many would be by chance"),
        must("p", Number, "", "binomial upper tail times the nodes tested, at most 1"),
    ],
};

/// How nodes came back.
pub const RETURNS: Table = Table {
    name: "returns",
    kept: Kept::Store,
    meaning: "how one node came back from one silence; no row where nothing tells",
    columns: &[
        BUS,
        START,
        NODE,
        must("due", Time, "", "the `due` of the silence"),
        must("kind", Word, "", "`in-phase`, `restarted`, `bus-off`"),
        must("why", Text, "", "what tells"),
    ],
};

/// Who fell silent first.
pub const ORDERS: Table = Table {
    name: "orders",
    kept: Kept::Store,
    meaning: "one node fell silent before another, probability above 0.95 by their periods",
    columns: &[
        BUS,
        START,
        must("begin", Time, "", "last frame of the earlier node"),
        must("earlier", Text, "", "who fell silent first"),
        must("later", Text, "", "who later"),
        must("probability", Number, "0 to 1", "probability of this order"),
    ],
};

/// Error passive nodes.
pub const PASSIVES: Table = Table {
    name: "passives",
    kept: Kept::Store,
    meaning: "one node whose CAN FD frames say that it is error passive",
    columns: &[
        BUS,
        START,
        NODE,
        must("frames", Count, "frames", "frames of the log with the error state indicator"),
        must("first", Time, "", "the first of them"),
        must("last", Time, "", "the last of them"),
        PLACE,
    ],
};

/// Steps of the log's clock.
pub const CLOCK_STEPS: Table = Table {
    name: "clock_steps",
    kept: Kept::Store,
    meaning: "one step of the log's clock, taken out of all times",
    columns: &[
        BUS,
        must("at", Time, "", "when, in repaired time"),
        must("step_s", Number, "s", "how far the clock jumped; negative: back"),
        must("agreed", Small, "identifiers", "whose beats moved by this"),
        must("of", Small, "identifiers", "that could tell; 0: only the stamps do"),
        PLACE,
    ],
};

/// Identifiers by clock.
pub const CLOCK_GROUPS: Table = Table {
    name: "clock_groups",
    kept: Kept::Store,
    meaning: "one identifier that runs by the same clock as others of the log",
    columns: &[
        BUS,
        must("identifier", Small, "", "the identifier, bit 31 set when it has 29 bits"),
        must("group", Small, "", "number of the group in this log and bus"),
        must("skew_ppm", Number, "ppm", "off the group's first identifier"),
        must("skew_error_ppm", Number, "ppm", "standard error of it"),
        must("confidence", Number, "0 to 1", "that the group is one sender, as far as chance goes"),
    ],
};

/// What a disturbance cost a node.
pub const LOSSES: Table = Table {
    name: "losses",
    kept: Kept::Store,
    meaning: "what one disturbance cost one node",
    columns: &[
        BUS,
        START,
        must("begin", Time, "", "begin of the disturbance"),
        must("node", Word, "", "the node"),
        must("expected", Number, "frames", "cyclic frames that were due"),
        must("missing", Number, "frames", "of these, frames that did not come"),
        may(
            "failed",
            Small,
            "frames",
            "error frames right before its frames, by and large its own failed tries; empty without error frames",
        ),
    ],
};
