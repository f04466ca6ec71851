//! Counts how often memory is asked for: the system's allocator with a counter in front.
#![allow(unsafe_code, reason = "an allocator can't be written without; each call is handed on")]

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicU64, Ordering};

static ASKED: AtomicU64 = AtomicU64::new(0);

#[global_allocator]
static COUNTING: Counting = Counting;

struct Counting;

/// Allocations and reallocations of this process so far.
pub(crate) fn so_far() -> u64 {
    ASKED.load(Ordering::Relaxed)
}

// SAFETY: every call goes to the system's allocator with what it was given.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        ASKED.fetch_add(1, Ordering::Relaxed);
        // SAFETY: the caller keeps the rules of `GlobalAlloc::alloc`.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, memory: *mut u8, layout: Layout) {
        // SAFETY: `memory` came from `System` with this layout.
        unsafe { System.dealloc(memory, layout) }
    }

    unsafe fn realloc(&self, memory: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        ASKED.fetch_add(1, Ordering::Relaxed);
        // SAFETY: `memory` came from `System` with this layout.
        unsafe { System.realloc(memory, layout, size) }
    }
}
