//! Working days.

use tapline::clock::wall_of;

/// Working days of a year, from its second Monday on.
pub(crate) const WORKING_DAYS: u64 = 220;

const DAY_US: i64 = 86_400_000_000;

/// Seven in the morning of the second Monday of a year, microseconds since 1970.
pub(crate) fn first(year: u32) -> i64 {
    let new_year = wall_of(&format!("{year}-01-08T07:00:00.000000Z")).expect("a right date");
    // 1970-01-01 was a Thursday.
    let weekday = (new_year / DAY_US + 3) % 7;
    new_year + (7 - weekday) % 7 * DAY_US
}

/// Microseconds from the first to the n-th working day.
pub(crate) fn offset_us(n: u64) -> u64 {
    (n / 5 * 7 + n % 5) * 86_400_000_000
}
