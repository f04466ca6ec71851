//! Counts the bytes that are held: the system's allocator with a counter in front.
#![allow(unsafe_code, reason = "an allocator can't be written without; each call is handed on")]

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering};

static HELD: AtomicUsize = AtomicUsize::new(0);

#[global_allocator]
static COUNTING: Counting = Counting;

struct Counting;

/// Bytes of this process's heap that are in use.
pub(crate) fn now() -> usize {
    HELD.load(Ordering::Relaxed)
}

// SAFETY: every call goes to the system's allocator with what it was given. `realloc` is the
// trait's own, which calls the two below.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        HELD.fetch_add(layout.size(), Ordering::Relaxed);
        // SAFETY: the caller keeps the rules of `GlobalAlloc::alloc`.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, memory: *mut u8, layout: Layout) {
        HELD.fetch_sub(layout.size(), Ordering::Relaxed);
        // SAFETY: `memory` came from `System` with this layout.
        unsafe { System.dealloc(memory, layout) }
    }
}
