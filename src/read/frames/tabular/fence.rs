//! A fence around the columnar libraries: what they would take the program down with becomes a reject.
//!
//! Their decoders are sound on sound files, but panic on some damaged ones. The panic is caught here,
//! and its message kept off the terminal, since the reject says what there is to say.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    static FENCED: Cell<bool> = const { Cell::new(false) };
}
static QUIET: Once = Once::new();

/// Runs foreign code; `None` when it panicked. The caller throws away what the code worked on.
pub(crate) fn fenced<T>(work: impl FnOnce() -> T) -> Option<T> {
    QUIET.call_once(|| {
        let before = take_hook();
        set_hook(Box::new(move |info| {
            if !FENCED.get() {
                before(info);
            }
        }));
    });
    FENCED.set(true);
    let done = catch_unwind(AssertUnwindSafe(work)).ok();
    FENCED.set(false);
    done
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_inside_is_none() {
        assert_eq!(fenced(|| 1), Some(1));
        let nothing: Vec<u8> = Vec::new();
        assert_eq!(fenced(|| nothing[std::hint::black_box(3)]), None);
    }
}
