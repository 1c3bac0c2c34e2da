//! What was begun is finished: an interrupt waits until nothing stands half-written.
//!
//! Whoever puts files in place holds a [`Finishing`] from the first byte to the last rename. Whoever ends
//! the program calls [`none_under_way`] first; from then on nothing new can begin.

use std::sync::{PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard};

static UNDER_WAY: RwLock<()> = RwLock::new(());

/// Held while files are put in place. Never held while anything is read or computed, and never twice by
/// one thread: an interrupt waits for it.
#[derive(Debug)]
#[must_use = "what is written after it was dropped may be cut off by an interrupt"]
pub struct Finishing {
    _held: RwLockReadGuard<'static, ()>,
}

impl Finishing {
    /// Begins; waits for good when the program is ending.
    pub fn begin() -> Finishing {
        Finishing { _held: UNDER_WAY.read().unwrap_or_else(PoisonError::into_inner) }
    }
}

/// Nothing is being put in place while this lives, and nothing can begin.
#[derive(Debug)]
#[must_use = "writing goes on when it is dropped"]
pub struct NoneUnderWay {
    _held: RwLockWriteGuard<'static, ()>,
}

/// Waits until everything begun is in place.
pub fn none_under_way() -> NoneUnderWay {
    NoneUnderWay { _held: UNDER_WAY.write().unwrap_or_else(PoisonError::into_inner) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicBool, Ordering};
    use std::time::Duration;

    #[test]
    fn the_end_waits_for_what_was_begun() {
        let done = AtomicBool::new(false);
        let begun = Finishing::begin();
        std::thread::scope(|scope| {
            let end = scope.spawn(|| {
                let _end = none_under_way();
                done.load(Ordering::SeqCst)
            });
            std::thread::sleep(Duration::from_millis(20));
            done.store(true, Ordering::SeqCst);
            drop(begun);
            assert!(end.join().expect("no panic"), "ended while a file was being written");
        });
    }
}
