//! Who may work at the same time: as many hands as threads, and files come first.
//!
//! Each file under way takes a hand. As long as files wait, a hand that comes free takes the next
//! file; when none waits any more, a file under way may borrow free hands and be split among them.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};

/// The hands of a run. What is done never depends on how many there are, only how fast.
#[derive(Debug)]
pub struct Hands {
    free: AtomicUsize,
    files_waiting: AtomicUsize,
    stopped: AtomicBool,
}

/// A hand at work; it is free again when this is dropped.
#[derive(Debug)]
pub struct Hand<'a>(&'a Hands);

impl Hands {
    /// `threads` hands (at least one) for `files` files.
    #[must_use]
    pub fn new(threads: usize, files: usize) -> Hands {
        Hands {
            free: AtomicUsize::new(threads.max(1)),
            files_waiting: AtomicUsize::new(files),
            stopped: AtomicBool::new(false),
        }
    }

    /// A hand for the next file. It is given even when none is free: the file's own thread is there.
    pub fn begin_file(&self) -> Hand<'_> {
        let less = |n: usize| Some(n.saturating_sub(1));
        // The closures always give a value, so neither update can fail.
        let _ = self.files_waiting.fetch_update(Ordering::SeqCst, Ordering::SeqCst, less);
        let _ = self.free.fetch_update(Ordering::SeqCst, Ordering::SeqCst, less);
        Hand(self)
    }

    /// A further hand for a file under way; `None` while files wait or all hands are at work.
    #[must_use]
    pub fn lend(&self) -> Option<Hand<'_>> {
        if self.files_waiting.load(Ordering::SeqCst) > 0 || self.stopped() {
            return None;
        }
        let take = |n: usize| n.checked_sub(1);
        self.free.fetch_update(Ordering::SeqCst, Ordering::SeqCst, take).ok().map(|_| Hand(self))
    }

    /// Asks all work under way to end soon; what it has come to is then of no use.
    pub fn stop(&self) {
        self.stopped.store(true, Ordering::SeqCst);
    }

    /// Whether the work was asked to end.
    #[must_use]
    pub fn stopped(&self) -> bool {
        self.stopped.load(Ordering::SeqCst)
    }
}

impl Drop for Hand<'_> {
    fn drop(&mut self) {
        self.0.free.fetch_add(1, Ordering::SeqCst);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_come_before_pieces_of_files() {
        let hands = Hands::new(2, 2);
        let first = hands.begin_file();
        assert!(hands.lend().is_none(), "a file waits");
        let second = hands.begin_file();
        assert!(hands.lend().is_none(), "both hands are at work");
        drop(second);
        let lent = hands.lend();
        assert!(lent.is_some());
        assert!(hands.lend().is_none());
        drop((first, lent));
        assert!(hands.lend().is_some());
        hands.stop();
        assert!(hands.lend().is_none(), "no new work after a stop");
    }
}
