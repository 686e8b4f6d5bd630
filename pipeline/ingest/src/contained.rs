//! Decoders that are not ours, held to our promise that nothing panics on data.

use std::cell::Cell;
use std::panic::{AssertUnwindSafe, catch_unwind, set_hook, take_hook};
use std::sync::Once;

thread_local! {
    /// Whether a panic of this thread is expected, and answered by a message of our own.
    static EXPECTED: Cell<bool> = const { Cell::new(false) };
}

static HOOK: Once = Once::new();

/// What a decoder gives; `None` where it panicked on what it read. What it was working on must not be used again.
///
/// The Parquet crate takes some damage for impossible: a page that names a dictionary that is not there, a chunk of negative length.
pub(crate) fn contained<T>(decode: impl FnOnce() -> T) -> Option<T> {
    HOOK.call_once(|| {
        let usual = take_hook();
        set_hook(Box::new(move |panic| {
            if !EXPECTED.get() {
                usual(panic);
            }
        }));
    });
    let outer = EXPECTED.replace(true);
    let decoded = catch_unwind(AssertUnwindSafe(decode));
    EXPECTED.set(outer);
    decoded.ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_panic_of_a_decoder_is_no_answer_and_ends_nothing() {
        assert_eq!(contained(|| 1), Some(1));
        let empty: Vec<u8> = Vec::new();
        assert_eq!(contained(|| empty[7]), None);
        assert_eq!(contained(|| 2), Some(2));
    }
}
