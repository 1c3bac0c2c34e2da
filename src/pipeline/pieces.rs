//! A vehicle on its way to other machines and its finding on the way back: what is sent, and what is done with it
//! there.
//!
//! Of each vehicle a sheet goes (what this machine alone has read) and a piece for each of its logs, which names
//! the entry of the store with its facts. Whoever can read the store puts the facts to the piece
//! ([`Piece::carried`]); whoever has all of a vehicle together weighs it ([`Basis::weigh`]). What is the same for
//! all vehicles of a load goes once, as its basis.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use super::plan::in_period;
use super::run::VehicleInput;
use super::scales::{Learned, Named, Scales, Told};
use super::sealed::{packed, sealed, unpacked, unsealed};
use crate::conditions::WeatherTable;
use crate::facts::StoredLog;
use crate::read::{ScanReport, ServiceNote, TestTable};
use crate::repairs::AfterTable;
use crate::vocabulary::{Instant, Network};

const PIECE: &str = "a piece of a vehicle";
const BASIS: &str = "a basis to weigh vehicles on";
const WEIGHED: &str = "a weighed vehicle";

/// From when to when.
pub(super) type Period = Option<(Option<Instant>, Option<Instant>)>;

/// What is the same for all vehicles of a load.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Basis {
    pub(super) tests: TestTable,
    pub(super) after: AfterTable,
    pub(super) weather: WeatherTable,
    pub(super) forecast: Option<WeatherTable>,
    pub(super) networks: BTreeMap<String, Network>,
    /// The plan's zone, by its name.
    pub(super) zone: String,
    pub(super) confidence: f64,
    pub(super) week: Option<Instant>,
    pub(super) period: Period,
    /// By family; `None` while it is still to be learned.
    pub(super) learned: Option<BTreeMap<String, Learned>>,
}

/// A part of a vehicle, for sending.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Piece {
    /// The vehicle.
    pub vehicle: String,
    /// Its place in the load.
    pub place: u64,
    what: What,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
enum What {
    Sheet(Box<Sheet>),
    Log(LogAt),
}

/// What is known of a vehicle beside its logs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Sheet {
    /// Its network by name, as in the basis.
    pub network: Option<String>,
    pub site: Option<String>,
    pub reports: Vec<ScanReport>,
    pub notes: Vec<ServiceNote>,
    /// How many logs it has.
    pub logs: u32,
}

/// Where the facts of a log are.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct LogAt {
    /// Its number among the logs of the vehicle.
    pub number: u32,
    /// The name shown to people.
    pub name: String,
    /// The folder of its entry in the store, absolute.
    pub folder: String,
    /// By how much its times are to be moved, nanoseconds.
    pub moved: i64,
}

/// What is wrong with what came of a vehicle.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Amiss {
    /// Something was lost or came twice: another try may do.
    Lost(String),
    /// It makes no sense, or facts are damaged.
    Useless(String),
}

/// What came of a vehicle elsewhere.
#[derive(Debug, Clone, Default, Serialize, Deserialize)]
pub(super) struct Weighed {
    /// What could be told of it.
    pub told: Told,
    /// What it teaches, where the rest has to wait until all is learned.
    pub lessons: Option<Learned>,
}

impl Weighed {
    pub(super) fn from_bytes(bytes: &[u8]) -> Result<Weighed, String> {
        unpacked(bytes, WEIGHED)
    }

    /// An error when it tells of another vehicle.
    pub(super) fn is_about(&self, vehicle: &str) -> Result<(), String> {
        match &self.told.now {
            Some(found) if found.0.vehicle != vehicle => {
                Err(format!("asked about {vehicle}, told about {}", found.0.vehicle))
            }
            _ => Ok(()),
        }
    }
}

impl Piece {
    pub(super) fn sheet(vehicle: &str, place: u64, sheet: Sheet) -> Piece {
        Piece { vehicle: vehicle.to_owned(), place, what: What::Sheet(Box::new(sheet)) }
    }

    pub(super) fn log(vehicle: &str, place: u64, log: LogAt) -> Piece {
        Piece { vehicle: vehicle.to_owned(), place, what: What::Log(log) }
    }

    pub(super) fn to_bytes(&self) -> Result<Vec<u8>, String> {
        sealed(self, PIECE)
    }

    /// The piece again.
    ///
    /// # Errors
    /// When the bytes are none, or were changed on the way.
    pub fn from_bytes(bytes: &[u8]) -> Result<Piece, String> {
        unsealed(bytes, PIECE)
    }

    /// The entry of the store that it names.
    #[must_use]
    pub fn entry(&self) -> Option<PathBuf> {
        match &self.what {
            What::Sheet(_) => None,
            What::Log(log) => Some(PathBuf::from(&log.folder)),
        }
    }

    /// The piece with the facts that it names, taken from `entry`: where the entry lies on this machine.
    ///
    /// # Errors
    /// In words, when there is no such entry.
    pub fn carried(&self, entry: Option<&Path>) -> Result<Vec<u8>, String> {
        let own = self.to_bytes()?;
        let facts = match (entry, &self.what) {
            (Some(entry), What::Log(_)) => {
                StoredLog::bytes_in_folder(entry).map_err(|e| e.chain())?
            }
            _ => Vec::new(),
        };
        Ok([&(own.len() as u64).to_le_bytes()[..], &own, &facts].concat())
    }

    /// A carried piece and its facts.
    fn taken_apart(bytes: &[u8]) -> Result<(Piece, &[u8]), String> {
        let cut = || format!("not {PIECE}: {} bytes", bytes.len());
        let (length, rest) = bytes.split_first_chunk::<8>().ok_or_else(cut)?;
        let length = usize::try_from(u64::from_le_bytes(*length)).map_err(|_| cut())?;
        let (own, facts) = rest.split_at_checked(length).ok_or_else(cut)?;
        Ok((Piece::from_bytes(own)?, facts))
    }
}

impl Basis {
    /// The basis for sending.
    ///
    /// # Errors
    /// In words; there is no known way to it.
    pub fn to_bytes(&self) -> Result<Vec<u8>, String> {
        packed(self, BASIS)
    }

    /// The basis again.
    ///
    /// # Errors
    /// When the bytes are none, or were changed on the way.
    pub fn from_bytes(bytes: &[u8]) -> Result<Basis, String> {
        unpacked(bytes, BASIS)
    }

    /// Weighs one vehicle, of which these carried pieces came, in any order.
    ///
    /// # Errors
    /// When they are not the pieces of one vehicle, each once, or facts are damaged.
    pub fn weigh(&self, carried: &[&[u8]]) -> Result<Vec<u8>, Amiss> {
        let (vehicle, sheet, logs) = put_together(carried)?;
        let useless = |why: String| Amiss::Useless(format!("{vehicle}: {why}"));
        let network = match &sheet.network {
            None => None,
            Some(name) => {
                let of = self.networks.get(name);
                Some(of.ok_or_else(|| useless(format!("its network `{name}` did not come")))?)
            }
        };
        let zone = self.zone.parse();
        let scales = Scales {
            tests: &self.tests,
            after: &self.after,
            weather: &self.weather,
            forecast: self.forecast.as_ref(),
            zone: zone.map_err(|_| useless(format!("no time zone `{}`", self.zone)))?,
            confidence: self.confidence,
            week: self.week,
        };
        let mut input =
            VehicleInput { reports: sheet.reports, notes: sheet.notes, ..VehicleInput::default() };
        for (at, facts) in logs.into_values() {
            let name = at.name.as_str().into();
            let log = StoredLog::from_bytes(facts, &name);
            let mut facts = log.map_err(|e| useless(format!("{name}: {}", e.chain())))?.facts;
            facts.shift(at.moved);
            facts.keep_starts(|begin| in_period(self.period, begin));
            input.logs.push((name, facts));
        }
        let one = Named { vehicle: &vehicle, network, site: sheet.site.as_deref() };
        let (told, waiting) = scales.put_on(one, &mut input);
        let weighed = match (&self.learned, waiting) {
            (None, waiting) => Weighed { told, lessons: waiting.map(|waiting| waiting.lessons()) },
            (Some(_), None) => Weighed::default(),
            (Some(learned), Some(waiting)) => {
                let none = Learned::default();
                let learned = learned.get(&one.family()).unwrap_or(&none);
                Weighed { told: scales.read_off(one, waiting, learned), lessons: None }
            }
        };
        packed(&weighed, WEIGHED).map_err(useless)
    }
}

/// A vehicle, its sheet, and its logs by number.
type Whole<'b> = (String, Sheet, BTreeMap<u32, (LogAt, &'b [u8])>);

/// The pieces of one vehicle, each of which must have come once.
fn put_together<'b>(carried: &[&'b [u8]]) -> Result<Whole<'b>, Amiss> {
    let (mut whole, mut logs) = (None, BTreeMap::new());
    let mut of: Option<(String, u64)> = None;
    for bytes in carried {
        let (piece, facts) = Piece::taken_apart(bytes).map_err(Amiss::Useless)?;
        let Piece { vehicle, place, what } = piece;
        let (first, its) = of.get_or_insert_with(|| (vehicle.clone(), place));
        if (&vehicle, place) != (&*first, *its) {
            return Err(Amiss::Lost(format!("{first}: a piece of {vehicle} came with it")));
        }
        let again = match what {
            What::Sheet(sheet) => whole.replace(*sheet).is_some(),
            What::Log(log) => logs.insert(log.number, (log, facts)).is_some(),
        };
        if again {
            return Err(Amiss::Lost(format!("{vehicle}: a piece of it came twice")));
        }
    }
    let vehicle = of.map(|(vehicle, _)| vehicle).unwrap_or_default();
    let Some(sheet) = whole else {
        return Err(Amiss::Lost(format!("{vehicle}: its sheet did not come")));
    };
    if !logs.keys().copied().eq(0..sheet.logs) {
        let (came, all) = (logs.len(), sheet.logs);
        return Err(Amiss::Lost(format!("{vehicle}: facts of {came} of {all} logs came")));
    }
    Ok((vehicle, sheet, logs))
}
