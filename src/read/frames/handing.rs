//! Handing frames on in batches, so that a reader never holds more than one.

use super::frame::Frame;

/// Takes a batch of frames with the interface names by channel number; gives back an empty buffer.
pub type Give<'a> = dyn Fn(Vec<Frame>, &[String]) -> Vec<Frame> + 'a;

/// The interface of frames whose log names none; a bus of the path or the only bus stands in for it.
pub const NO_INTERFACE: &str = "can";

/// Frames of one batch.
const BATCH: usize = 8192;
/// Interfaces one log may name; a log with more is damaged.
const INTERFACES: usize = 64;
/// The longest interface name accepted, bytes.
const INTERFACE_BYTES: usize = 64;

/// The batch that a reader fills.
pub(super) struct Batches<'a> {
    give: &'a Give<'a>,
    frames: Vec<Frame>,
    interfaces: Vec<String>,
    last: usize,
}

impl<'a> Batches<'a> {
    pub(super) fn new(give: &'a Give<'a>) -> Batches<'a> {
        Batches { give, frames: Vec::with_capacity(BATCH), interfaces: Vec::new(), last: 0 }
    }

    /// Adds a frame; a full batch is handed on.
    pub(super) fn push(&mut self, frame: Frame) {
        self.frames.push(frame);
        if self.frames.len() >= BATCH {
            self.hand_on();
        }
    }

    /// The channel number of an interface. An empty name is [`NO_INTERFACE`].
    ///
    /// # Errors
    /// When the log names too many, or the name is no name.
    pub(super) fn channel(&mut self, name: &[u8]) -> Result<u16, &'static str> {
        let name = if name.is_empty() { NO_INTERFACE.as_bytes() } else { name };
        let is_it = |known: &String| known.as_bytes() == name;
        // Frames of one interface come in runs.
        if !self.interfaces.get(self.last).is_some_and(is_it) {
            self.last = match self.interfaces.iter().position(is_it) {
                Some(place) => place,
                None => self.add(name)?,
            };
        }
        u16::try_from(self.last).map_err(|_| "more than 64 interfaces in one log")
    }

    fn add(&mut self, name: &[u8]) -> Result<usize, &'static str> {
        let text = std::str::from_utf8(name).map_err(|_| "the interface name is not text")?;
        if text.len() > INTERFACE_BYTES || text.chars().any(char::is_control) {
            return Err("the interface name is too long or not plain text");
        }
        if self.interfaces.len() == INTERFACES {
            return Err("more than 64 interfaces in one log");
        }
        self.interfaces.push(text.to_owned());
        Ok(self.interfaces.len() - 1)
    }

    /// Hands on what is there.
    pub(super) fn hand_on(&mut self) {
        let full = std::mem::take(&mut self.frames);
        self.frames = (self.give)(full, &self.interfaces);
        self.frames.clear();
    }
}
