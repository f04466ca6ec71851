//! How the next day is counted, of the configuration.

use tapline_protocols::due::{Anchor, Counting, Snap};

use super::table::{Faults, Table};

/// Reads `[due]`; what is left out has its usual value.
pub(super) fn read(root: &Table<'_>, faults: &mut Faults<'_>) -> Counting {
    let Some(table) = root.table(faults, "due") else { return Counting::default() };
    table.only(faults, &["from", "to"]);
    Counting {
        anchor: match table.word(faults, "from", &["done", "due"]) {
            "due" => Anchor::LastDue,
            _ => Anchor::LastDone,
        },
        snap: match table.word(faults, "to", &["day", "month_end"]) {
            "month_end" => Snap::MonthEnd,
            _ => Snap::Day,
        },
    }
}
