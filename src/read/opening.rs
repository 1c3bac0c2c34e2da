//! The door: the only place where input files are opened.
//!
//! In: a path and the name to show for it. Out: a stream of decompressed bytes and what they are.
//! Gzip and zstd are told by their first bytes and may be nested once; a UTF-8 byte order mark is
//! dropped and counted. The stream holds a few buffers, never the file. When packed data break off,
//! everything before the break is delivered; then the stream fails with an error that says how many
//! bytes came before, and the reader makes a reject of it.

use std::fs::File;
use std::io::{self, BufReader, Read};
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use flate2::read::MultiGzDecoder;

use crate::read::account::Account;
use crate::read::anywhere::Anywhere;
use crate::read::recognising::{Kind, recognise};
use crate::vocabulary::{Place, Reject};

/// How many decompressed bytes are looked at to tell what a file is.
const LOOKED_AT: usize = 1 << 16;
/// How often a file may be packed.
const DEEPEST_PACKING: usize = 2;

/// Unpacked bytes that are never too many, and how many more there may be for each byte on disk. A log
/// packs to a tenth or a thirtieth; what grows more than this is made to fill memory or time.
pub(super) const UNPACKED_AT_LEAST: u64 = 1 << 30;
const UNPACKED_TIMES: u64 = 1000;
/// The largest window a packer may ask for, as a power of two: memory does not follow the header.
const LARGEST_WINDOW: u32 = 27;

/// The largest small file that is held whole (a JSON report file, a TOML file), decompressed.
pub const LARGEST_WHOLE: u64 = 256 << 20;
/// The largest packed file that is held whole because its format is read at any offset, decompressed.
pub const LARGEST_HELD: u64 = 1 << 30;

/// A stream of bytes that may cross threads.
pub type Bytes = Box<dyn Read + Send>;

/// An opened input.
pub struct Opened {
    /// The name shown to people.
    pub name: Arc<str>,
    /// What the content is.
    pub kind: Kind,
    /// All decompressed bytes from the first, without a byte order mark.
    pub bytes: Bytes,
    /// Bytes on disk.
    pub size: u64,
    /// The packings found, outermost first: `gzip`, `zstd`.
    pub packings: Vec<&'static str>,
    /// Leniencies used so far.
    pub account: Account,
    /// The file itself, when its bytes stand in it as they are read.
    file: Option<File>,
}

impl Opened {
    /// The bytes at any offset, for formats that are not read from front to end: of the file itself,
    /// or, when it is packed, held whole (at most [`LARGEST_HELD`]). When packed data break off, what
    /// came before the break is given with the reject.
    ///
    /// # Errors
    /// When a packed file is too large to be held.
    pub fn anywhere(self) -> Result<(Anywhere, Option<Reject>), Reject> {
        if let Some(file) = self.file {
            return Ok((Anywhere::of_file(file, self.size), None));
        }
        let mut held = Vec::new();
        let mut failure = None;
        if let Err(error) = self.bytes.take(LARGEST_HELD + 1).read_to_end(&mut held) {
            failure =
                Some(Reject::one(Place::byte(&self.name, held.len() as u64), error.to_string()));
        }
        if held.len() as u64 > LARGEST_HELD {
            let reason = format!(
                "packed, and larger than {} MiB when unpacked; unpack it by hand",
                LARGEST_HELD >> 20
            );
            return Err(Reject::one(Place::whole(&self.name), reason));
        }
        Ok((Anywhere::of_bytes(held), failure))
    }

    /// The refusal of this file where `expected` was wanted, at the file as a whole.
    #[must_use]
    pub fn refusal(&self, expected: &str) -> Reject {
        let reason = match (&self.kind, self.packings.first()) {
            (Kind::Empty, Some(packing)) => {
                format!("{packing} file with nothing in it, expected {expected}")
            }
            (kind, _) => kind.refusal(expected),
        };
        Reject::one(Place::whole(&self.name), reason)
    }
}

/// Opens a file.
///
/// # Errors
/// When the file cannot be opened, or nothing at all can be unpacked from it.
pub fn open(path: &Path, name: &Arc<str>) -> Result<Opened, Reject> {
    open_counted(path, name, &[])
}

/// Opens a file; bytes are added to each of `counters` as they are taken from disk. Bytes that a format takes
/// at any offset are not counted.
///
/// # Errors
/// As [`open`].
pub fn open_counted(
    path: &Path,
    name: &Arc<str>,
    counters: &[Arc<AtomicU64>],
) -> Result<Opened, Reject> {
    let refused =
        |what: &str, error: io::Error| Reject::one(Place::whole(name), format!("{what}: {error}"));
    let file = File::open(path).map_err(|e| refused("cannot open the file", e))?;
    let about = file.metadata().map_err(|e| refused("cannot ask for the file's size", e))?;
    if about.is_dir() {
        let reason = "a folder, expected a file; name the files in it, for example with `*`";
        return Err(Reject::one(Place::whole(name), reason));
    }
    let again = file.try_clone().ok();
    let source: Bytes = match counters {
        [] => Box::new(file),
        counters => Box::new(Counted { file, counters: counters.to_vec() }),
    };
    let mut opened = unpack(source, about.len(), name)?;
    if opened.packings.is_empty() && opened.account.leniencies.is_empty() {
        opened.file = again;
    }
    Ok(opened)
}

/// Hands a file's bytes, as they stand on disk, piece by piece to `each`: for its content hash.
///
/// # Errors
/// When the file cannot be opened or read.
pub fn raw(path: &Path, name: &Arc<str>, each: &mut dyn FnMut(&[u8])) -> Result<(), Reject> {
    let refused = |error: io::Error| {
        Reject::one(Place::whole(name), format!("cannot read the file: {error}"))
    };
    let mut file = File::open(path).map_err(refused)?;
    let mut piece = vec![0u8; 1 << 20];
    loop {
        match file.read(&mut piece) {
            Ok(0) => return Ok(()),
            Ok(n) => each(&piece[..n]),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => return Err(refused(error)),
        }
    }
}

/// Unpacks a stream of `size` bytes and tells what it is. The stream fails when it unpacks to far more
/// than a log of that size can hold.
///
/// # Errors
/// When nothing at all can be unpacked, or it is packed more than twice.
pub fn unpack(source: Bytes, size: u64, name: &Arc<str>) -> Result<Opened, Reject> {
    let mut packings = Vec::new();
    let mut bytes = source;
    loop {
        let mut looked = Looked::at(bytes);
        let Some(packing) = packing_of(&looked.first) else {
            return tell(looked, size, packings, name);
        };
        if packings.len() == DEEPEST_PACKING {
            let reason = format!("packed more than {DEEPEST_PACKING} times; unpack it by hand");
            return Err(Reject::one(Place::whole(name), reason));
        }
        looked.at = 0;
        packings.push(packing);
        let most = UNPACKED_AT_LEAST.saturating_add(size.saturating_mul(UNPACKED_TIMES));
        bytes = unpacker(packing, looked, most).map_err(|e| {
            Reject::one(Place::whole(name), format!("cannot unpack {packing}: {e}"))
        })?;
    }
}

/// Reads a stream to its end, at most [`LARGEST_WHOLE`] bytes. A break makes a reject, and what came
/// before it is given.
pub fn read_whole(mut bytes: impl Read, name: &Arc<str>, account: &mut Account) -> Vec<u8> {
    let mut whole = Vec::new();
    if let Err(error) = bytes.by_ref().take(LARGEST_WHOLE + 1).read_to_end(&mut whole) {
        account.reject(Place::byte(name, whole.len() as u64), error.to_string());
    }
    if whole.len() as u64 > LARGEST_WHOLE {
        let reason = format!("larger than {} MiB; split it into files", LARGEST_WHOLE >> 20);
        account.reject(Place::whole(name), reason);
        whole.clear();
    }
    whole
}

fn tell(
    mut looked: Looked,
    size: u64,
    packings: Vec<&'static str>,
    name: &Arc<str>,
) -> Result<Opened, Reject> {
    let mut account = Account::default();
    if looked.first.starts_with(&[0xEF, 0xBB, 0xBF]) {
        looked.at = 3;
        account.lenient("byte order mark skipped");
    }
    if let (true, Some(error)) = (looked.first.is_empty(), &looked.failure) {
        return Err(Reject::one(Place::byte(name, 0), error.to_string()));
    }
    let kind = recognise(&looked.first[looked.at..]);
    let (name, bytes) = (Arc::clone(name), Box::new(looked));
    Ok(Opened { name, kind, bytes, size, packings, account, file: None })
}

fn packing_of(first: &[u8]) -> Option<&'static str> {
    if first.starts_with(&[0x1F, 0x8B]) {
        Some("gzip")
    } else if first.starts_with(&[0x28, 0xB5, 0x2F, 0xFD]) {
        Some("zstd")
    } else {
        None
    }
}

fn unpacker(packing: &'static str, packed: Looked, most: u64) -> io::Result<Bytes> {
    let source: Bytes = if packing == "gzip" {
        Box::new(MultiGzDecoder::new(BufReader::with_capacity(LOOKED_AT, packed)))
    } else {
        let mut decoder = zstd::stream::read::Decoder::new(packed)?;
        decoder.window_log_max(LARGEST_WINDOW)?;
        Box::new(decoder)
    };
    Ok(Box::new(Unpacked { source, packing, given: 0, most }))
}

/// A file that tells how far it has been read.
struct Counted {
    file: File,
    counters: Vec<Arc<AtomicU64>>,
}

impl Read for Counted {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        let count = self.file.read(into)?;
        for counter in &self.counters {
            counter.fetch_add(count as u64, Ordering::Relaxed);
        }
        Ok(count)
    }
}

/// A stream whose first bytes were looked at and are given again.
struct Looked {
    first: Vec<u8>,
    at: usize,
    failure: Option<io::Error>,
    rest: Bytes,
}

impl Looked {
    fn at(mut source: Bytes) -> Looked {
        let mut first = Vec::new();
        let failure = source.by_ref().take(LOOKED_AT as u64).read_to_end(&mut first).err();
        Looked { first, at: 0, failure, rest: source }
    }
}

impl Read for Looked {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.at < self.first.len() {
            let taken = into.len().min(self.first.len() - self.at);
            into[..taken].copy_from_slice(&self.first[self.at..self.at + taken]);
            self.at += taken;
            return Ok(taken);
        }
        match self.failure.take() {
            Some(error) => Err(error),
            None => self.rest.read(into),
        }
    }
}

/// An unpacker that says in its errors how far it came.
struct Unpacked {
    source: Bytes,
    packing: &'static str,
    given: u64,
    most: u64,
}

impl Read for Unpacked {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        if self.given > self.most {
            return Err(io::Error::other(format!(
                "{} data unpack to more than {} bytes, far more than a log of this size holds; \
                 what came before was read, unpack it by hand for the rest",
                self.packing, self.most
            )));
        }
        match self.source.read(into) {
            Ok(count) => {
                self.given += count as u64;
                Ok(count)
            }
            Err(e) if e.kind() == io::ErrorKind::Interrupted => Err(e),
            Err(e) => Err(io::Error::new(
                e.kind(),
                format!(
                    "{} data break off after {} unpacked bytes ({e}); what came before was read, \
                     copy the file again for the rest",
                    self.packing, self.given
                ),
            )),
        }
    }
}
