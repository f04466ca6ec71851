//! The one clock: nothing else in the house reads one.

/// A moment: wall clock for people, boot-time clock for intervals. Order is by `seq`, never by
/// either.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Stamp {
    /// Microseconds since 1970-01-01 UTC.
    pub wall_us: i64,
    /// Microseconds of the boot-time clock (it counts through suspend).
    pub boot_us: u64,
}
