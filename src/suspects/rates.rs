//! The one table of rates that the weights of evidence rest on.
//!
//! Marks: (M) METHODS 3.2 starting rates; (F) a fact of the trade (FACTS 4.5, 6.4, 8.1, 8.2); (J) our
//! judgement, common practice, no source. None is taken from the rehearsal's own parameters.

use crate::numerics::smooth::Curve;

/// A level of severity with its weight and the share of victims it strikes.
pub(super) type Level = (f64, f64);

/// A node that only others' codes name, in a vehicle whose description does not: as a share of the prior, and
/// how many listen to it. (J)
pub(super) const HEARSAY: f64 = 0.2;
pub(super) const HEARSAY_LISTENS: f64 = 0.02;
/// Prior weight of each class of suspects. (M, the share of `none` raised: J)
pub(super) const PRIOR_DROPS_OUT: f64 = 0.28;
/// Of the nodes that drop out: without power (restarts), or cut off from the bus with power. (J)
pub(super) const SHARE_DEAD: f64 = 0.5;
pub(super) const PRIOR_DISTURBS: f64 = 0.24;
/// Of the disturbers: goes bus-off itself, garbles but keeps talking, floods with its own identifiers, floods with
/// identifiers of nobody. (J)
pub(super) const SHARES_DISTURBER: [f64; 4] = [0.3, 0.46, 0.12, 0.12];
pub(super) const PRIOR_BRANCH: f64 = 0.16;
pub(super) const PRIOR_FEED: f64 = 0.08;
pub(super) const PRIOR_GROUND: f64 = 0.07;
pub(super) const PRIOR_WIRES: f64 = 0.05;
pub(super) const PRIOR_SUPPLY: f64 = 0.06;
pub(super) const PRIOR_ARTEFACT: f64 = 0.04;
pub(super) const PRIOR_STALE: f64 = 0.08;
/// None of these: the theory that lets all others be wrong. (M .03)
pub(super) const PRIOR_OTHER: f64 = 0.02;

/// One alien incident costs a hypothesis at most 10 log10(1/eps) dB. (M eps .05 to .1)
pub(super) const CONTAMINATION: f64 = 0.05;
/// Incidents of one vehicle are not independent: their joint weight is tempered, down to this as they
/// become many; a single one counts fully. (M .75)
pub(super) const TEMPER: f64 = 0.75;
/// What a theory foresees of one node or pair of nodes counts as so many earlier observations: victims and
/// reporters have peculiarities of their own, and repeats of one peculiarity say less and less. (M 3.3, J)
pub(super) const HABIT: f64 = 3.0;
/// Accusations are copies of few events. (M .1 to .4 for independent pairs; rows are mixed here: J)
pub(super) const ACCUSATIONS_COUNT: f64 = 0.65;
/// So are missing answers of one scan. (J)
pub(super) const ANSWERS_COUNT: f64 = 0.8;
/// Which node stands out, whether counters restart, and whether anybody stores that the bus was down, are properties of the
/// modules: however many incidents show them, they count as at most so many. (J)
pub(super) const PROPERTY_COUNTS: f64 = 2.0;

/// A struck node falls silent. (M .9 to .97)
pub(super) const STRUCK: f64 = 0.93;
/// A bystander falls silent: mostly rarely, sometimes the fault reaches further. (M .01 to .03)
pub(super) const BYSTANDER: [Level; 2] = [(0.85, 0.01), (0.15, 0.10)];
/// The same for answers: a node that the fault does not strike answers nearly always. (J)
pub(super) const BYSTANDER_MUTE: [Level; 2] = [(0.95, 0.01), (0.05, 0.10)];
/// Share of the others that a disturber silences. (M .85, spread: J)
pub(super) const DISTURBED: [Level; 4] = [(0.25, 0.985), (0.25, 0.8), (0.25, 0.4), (0.25, 0.05)];
/// The same when the disturber soon goes bus-off and leaves the bus alone. (F 4.5, J)
pub(super) const DISTURBED_SHORTLY: [Level; 3] = [(0.25, 0.92), (0.25, 0.4), (0.5, 0.04)];
/// Share of nodes that a fault of the bus wires silences: all when the wires are dead, as many as a disturber silences
/// when the bus limps. (M .97; F 4.5: dead or limping by which wire touches what, a lost terminator only disturbs;
/// spread: J)
pub(super) const WIRES: [Level; 4] = [(0.45, 0.97), (0.18, 0.8), (0.18, 0.4), (0.19, 0.05)];
/// Share of nodes that a dip of the supply stops: anything. (M .5, spread: F 8.1 cranking)
pub(super) const SUPPLY: [Level; 4] = [(0.25, 0.08), (0.25, 0.25), (0.25, 0.5), (0.25, 0.85)];
/// A talking disturber is itself unheard, as a share of what it does to others. (M .35)
pub(super) const TALKER_UNHEARD: f64 = 0.55;

/// Disturbance none, low, high, by manner. (M, spread: J)
pub(super) const LEVELS_DISTURBER: [f64; 3] = [0.06, 0.14, 0.80];
pub(super) const LEVELS_DROP_OUT: [f64; 3] = [0.66, 0.28, 0.06];
pub(super) const LEVELS_UNPOWERED: [f64; 3] = [0.76, 0.19, 0.05];
pub(super) const LEVELS_BRANCH: [f64; 3] = [0.40, 0.32, 0.28];
pub(super) const LEVELS_WIRES: [f64; 3] = [0.10, 0.12, 0.78];
pub(super) const LEVELS_SUPPLY: [f64; 3] = [0.66, 0.22, 0.12];
pub(super) const LEVELS_NONE: [f64; 3] = [0.90, 0.08, 0.02];
/// A logger whose logs hold no error frame at all records none. (METHODS 0.6: a channel that is missing is no "0
/// error frames"; the share: J)
pub(super) const NO_ERROR_CHANNEL: f64 = 0.5;
/// Without it only lost frames show a disturbance: that of a disturber mostly; of the bus wires, which may be dead, often;
/// the moment at which a contact opens hardly ever. None shows: by a disturber, by the wires, by anything else. (J)
pub(super) const UNNOTICED: (f64, f64, f64) = (0.2, 0.4, 0.95);
/// A flood of valid frames is seen: from a node that floods, from another disturber, from anything
/// else (no wire makes valid frames). (J)
pub(super) const FLOOD_SEEN: (f64, f64, f64) = (0.9, 0.08, 0.01);
/// Whoever floods does so with the strongest of its identifiers; otherwise with any of them. (J)
pub(super) const FLOODS_BY_STRONGEST: f64 = 0.6;
/// Whose the flooding identifier is, seen from a node that floods with its own, and from one that floods
/// with a strange one: its own, another node's, nobody's. (J)
pub(super) const FLOOD_BY_OWN: [f64; 3] = [0.93, 0.01, 0.06];
pub(super) const FLOOD_BY_STRAY: [f64; 3] = [0.01, 0.03, 0.96];
/// The same from any other hypothesis, for a flood that it does not explain: somebody's, nobody's. (J)
pub(super) const FLOOD_BY_CHANCE: (f64, f64) = (0.05, 0.5);
/// Loss a frame against what a node of that rate loses, ln ratio of intensities: share, mean and spread. A disturber
/// that keeps talking mostly spares its own frames, or garbles them less than others'. (F 4.3, 4.5; J)
pub(super) const LOSS_TALKER: [(f64, f64, f64); 2] = [(0.65, -3.0, 1.5), (0.35, -1.0, 0.5)];
/// The same for a node that is itself struck, and for a bystander.
pub(super) const LOSS_STRUCK: [(f64, f64, f64); 1] = [(1.0, 1.8, 0.9)];
pub(super) const LOSS_BYSTANDER: f64 = 0.5;
/// How loss may depend on a node's rate, in ln of intensity over ln of frames due. (J)
pub(super) const LOSS_BY_RATE: Curve = Curve { level: 3.0, slope: 1.0, wiggle: 0.7, length: 1.0 };
/// What a node loses beside its rate's share is partly a property of the node: however many incidents
/// show it, they count as at most so many. (J)
pub(super) const LOSS_COUNTS: f64 = 2.0;
/// Signs that are not so much the node's own habit count as at most so many. (J)
pub(super) const SIGNS_COUNT: f64 = 3.0;
/// Median share that the others lose: ln of the middle and spread, when the disturber soon goes
/// bus-off (32 tries, then a wait), and when the disturbance goes on. (F 4.3, 4.5; J)
pub(super) const OTHERS_LOSE_SHORTLY: (f64, f64) = (0.06, 1.0);
pub(super) const OTHERS_LOSE: (f64, f64) = (0.2, 0.9);
/// Median share lost by the nodes that are not silent: from here on the bus itself is disturbed. (J)
pub(super) const PARTLY_LOST: (f64, f64) = (0.03, 0.08);
/// Most that the losses of one incident may weigh, in natural logarithm. (J)
pub(super) const MOST_BY_LOSS: f64 = 3.5;
/// Frames that must have been due before a share says anything. (J)
pub(super) const FEWEST_DUE: f64 = 8.0;

/// How often errors stand where a frame of one node was due: so far beyond chance, as a part of what chance leaves,
/// or so many times chance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Keeping {
    Beyond(f64),
    Times(f64),
}
/// Seen from a node whose own frames fail; from one that disturbs (at its own frames, or anywhere but at these); from
/// a bad contact; and by chance, where beats in step make some more of it. (F 4.5: errors only when that node sends; J)
pub(super) const KEEPS_BUS_OFF: [(f64, Keeping); 3] =
    [(0.4, Keeping::Beyond(0.6)), (0.3, Keeping::Beyond(0.25)), (0.3, Keeping::Times(1.0))];
pub(super) const KEEPS_TALKER: [(f64, Keeping); 4] = [
    (0.2, Keeping::Beyond(0.6)),
    (0.2, Keeping::Beyond(0.25)),
    (0.3, Keeping::Times(1.0)),
    (0.3, Keeping::Times(0.45)),
];
pub(super) const KEEPS_CUT_OFF: [(f64, Keeping); 2] =
    [(0.3, Keeping::Beyond(0.4)), (0.7, Keeping::Times(1.0))];
pub(super) const KEEPS_BY_CHANCE: [(f64, Keeping); 4] = [
    (0.25, Keeping::Times(0.6)),
    (0.4, Keeping::Times(1.0)),
    (0.25, Keeping::Times(1.6)),
    (0.1, Keeping::Times(2.6)),
];
/// Moments of errors count as so many at most: those of one incident are not independent. (J)
pub(super) const MOST_MOMENTS: f64 = 25.0;
/// Failed tries before a frame passes, ln against the middle of the other nodes: share, mean and spread, of a disturber
/// that keeps talking (it mostly spares its own frames), and of a node whose own frames fail. (F 4.3: error events by
/// sending node tell the bad one; M .85 others, .35 itself; J)
pub(super) const TRIES_TALKER: [(f64, f64, f64); 2] = [(0.65, -1.8, 1.0), (0.35, -0.5, 0.5)];
pub(super) const TRIES_STRUCK: [(f64, f64, f64); 2] = [(0.6, 1.8, 1.2), (0.4, 0.5, 0.6)];
/// How much the nodes of one bus differ in it, ln: a stronger frame may pass between the tries of a weaker. (J)
pub(super) const TRIES_SCATTER: f64 = 0.4;
/// Silences of one length again and again: of a node that goes bus-off, of victims of a disturbed bus (each by its own
/// wait), of any other. (F 4.3: a strong mark; J)
pub(super) const WAITS: (f64, f64, f64) = (0.5, 0.25, 0.04);
/// A node's CAN FD frames say that it is error passive: its own errors, a disturbed bus, otherwise. (F 4.6: names a sick
/// sender; J)
pub(super) const PASSIVE: (f64, f64, f64) = (0.45, 0.2, 0.01);
/// A transceiver names a fault of the wires: theirs, a branch's, otherwise. Most never name any. (F 4.7; J)
pub(super) const WIRES_NAMED: (f64, f64, f64) = (0.12, 0.06, 0.006);
/// Weight with which the culprit falls first among others of weight 1, and with which a talking disturber does. (M)
pub(super) const FALLS_FIRST: f64 = 8.0;
pub(super) const TALKER_FALLS: f64 = 0.3;
/// Pairs of nodes whose order is told count as so many at most, and nodes that come back. (J)
pub(super) const PAIRS_COUNT: f64 = 2.0;
pub(super) const NODES_COUNT: f64 = 3.0;

/// A silent node of this kind restarts: without power, or cut off. (F 4.5)
pub(super) const RESTARTS: (f64, f64) = (0.85, 0.08);
/// The culprit stands out among many silent: it is silent much longer. (J)
pub(super) const STANDS_OUT: f64 = 0.6;
/// So does a node that floods, at times: its own frames wait behind the flood in its own buffers. (J)
pub(super) const FLOODER_STANDS_OUT: f64 = 0.25;

/// How readily time-outs mature into codes, by incident. (M .6 to .7, spread: J)
pub(super) const HITS: [Level; 3] = [(0.33, 0.3), (0.34, 0.6), (0.33, 0.9)];
/// While the whole bus is disturbed, a reporter may itself be off the bus (and lose everybody), or be
/// spared: shares and what they lose; the rest loses what the bus loses. (F 8.1; J)
pub(super) const ROW_OFF: (f64, f64) = (0.25, 0.9);
pub(super) const ROW_SPARED: (f64, f64) = (0.25, 0.03);
/// A reporter never stores network codes. (J)
pub(super) const STORES_NOTHING: f64 = 0.15;
/// A code without cause. (M .02)
pub(super) const FALSE_CODE: f64 = 0.01;
/// Whether one node listens to another before anything is known. (J)
pub(super) const LISTENS: f64 = 0.5;
/// A reporter loses a node that is off the bus; that is not. (M .7 to .95)
pub(super) const LOSES: (f64, f64) = (0.9, 0.02);
/// A node cut off with power loses those beyond the cut. (M .6)
pub(super) const CUT_OFF_LOSES: f64 = 0.8;
/// The nodes beyond an open branch have lost one another, too: without a terminator of its own a stretch of wire may carry
/// nothing. (F 4.5: split in two halves, edges weak; J)
pub(super) const LOST_TO_ONE_ANOTHER: f64 = 0.5;
/// A node without power accuses others. (M .03)
pub(super) const DEAD_ACCUSES: f64 = 0.06;
/// Time-out constant of reporters, seconds. (F 8.2: 0.5 to 10.6 s)
pub(super) const TIME_OUT_S: f64 = 1.5;

/// A scan falls into the time of the fault. (J)
pub(super) const SCAN_DURING: f64 = 0.5;
/// A struck node is mute during the fault; anybody is mute otherwise. (M .9 / .03; the second lowered:
/// a sound node hardly ever misses a sound tester: J)
pub(super) const MUTE: (f64, f64) = (0.88, 0.02);

/// Share of the weight of a missing answer: a gateway says it; the answer came late, or was announced and never
/// came (2 to 3 dB); and of an answer: its frames came, only no answer (about -1 dB). (F 6.4; J)
pub(super) const BY_GATEWAY: f64 = 0.85;
pub(super) const LATE: f64 = 0.15;
pub(super) const UNSERVED: f64 = 0.11;

/// All codes of an incident are history already when they are first read: codes of an old fault, or
/// codes of a living one. (J)
pub(super) const ALL_HISTORY: (f64, f64) = (0.9, 0.1);
/// A later report repeats the same codes unchanged: codes of an old fault, of a living one. (J)
pub(super) const REPEATED: (f64, f64) = (0.98, 0.75);
/// Most such reports that count. (J)
pub(super) const MOST_REPEATS: u32 = 6;
/// A repair of an accused node was noted before these codes were first read. (J)
pub(super) const REPAIRED_BEFORE: (f64, f64) = (0.4, 0.06);
/// Several nodes are mute, and nobody stored a word about any of them: the tester's doing, a living
/// fault. (J)
pub(super) const UNCORROBORATED: (f64, f64) = (0.9, 0.4);
/// Such an incident is the only one of its vehicle: codes of an old fault, the tester's doing, a living fault, which
/// mostly shows again in what else was recorded. (From rehearsal: 0.93, 0.99, 0.08; the first two lowered, the last
/// raised: J)
pub(super) const ALONE: (f64, f64, f64) = (0.9, 0.8, 0.15);
/// A node says that the bus was down: in a fault of the whole bus, cut off, otherwise. (J; F 8.1)
/// In many networks no module stores such a code. (J)
pub(super) const NEVER_SAYS_DOWN: f64 = 0.5;
pub(super) const SAYS_DOWN: (f64, f64, f64) = (0.4, 0.3, 0.04);
/// Lowest voltage known: as low as a failed crank, flat, weak at rest, sound; by supply, feed or ground,
/// otherwise. A tester mostly measures after the dip. (M .95 / .12 / .05, spread: J)
pub(super) const VOLTAGE_SUPPLY: [f64; 4] = [0.40, 0.22, 0.18, 0.20];
pub(super) const VOLTAGE_FEED: [f64; 4] = [0.05, 0.04, 0.11, 0.80];
pub(super) const VOLTAGE_OTHER: [f64; 4] = [0.03, 0.03, 0.10, 0.84];
/// A reporter stores a code about its own supply, by level: when the battery dips; when it hangs on a lost feed
/// or ground; when it is itself the culprit; and without cause. (J)
pub(super) const OWN_SUPPLY_DIP: [Level; 3] = [(0.25, 0.02), (0.35, 0.2), (0.40, 0.6)];
pub(super) const OWN_SUPPLY_LINE: [Level; 2] = [(0.6, 0.02), (0.4, 0.5)];
pub(super) const OWN_SUPPLY_CHANCE: [Level; 2] = [(0.8, 0.01), (0.2, 0.3)];
pub(super) const OWN_SUPPLY_FALSE: f64 = 0.01;
/// First sign within the seconds of cranking: supply, otherwise. (F 8.1)
pub(super) const EARLY: (f64, f64) = (0.92, 0.35);
/// These seconds. (F 8.1: discount accusations within 5 s of a start attempt)
pub(super) const CRANKING_S: f64 = 8.0;
/// Volts of a 12 V supply below which modules stop, below which a battery is flat, and below which one at rest
/// is weak; a 24 V supply has twice these. (F 8.1; the others: common practice, no source)
pub(super) const CRANK_FAILS_V: f64 = 9.6;
pub(super) const FLAT_V: f64 = 11.3;
pub(super) const WEAK_AT_REST_V: f64 = 12.0;
/// Above this, a vehicle has a 24 V supply. (J)
pub(super) const HIGHEST_12V: f64 = 16.5;

/// `recovered`, `no change`, `worse`, when the target was the culprit, and when it was not. (J)
pub(super) const OUTCOMES: [(f64, f64); 3] = [(0.88, 0.15), (0.08, 0.75), (0.04, 0.10)];
/// An incident in spite of a cure. (M .01)
pub(super) const RESIDUAL: f64 = 0.02;
/// Re-seating a connector cures a bad contact. (M .2 to .4)
pub(super) const RESEATED: f64 = 0.3;
/// Most that clean starts after a change may weigh, decibans: weather may have changed too. (J)
pub(super) const MOST_BY_STARTS_DB: f64 = 10.0;

/// Verdict: the leader must have this probability …
pub(super) const DECIDED: f64 = 0.75;
/// … and stand so many decibans before the next.
pub(super) const SEPARATED_DB: f64 = 6.0;
