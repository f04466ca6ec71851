//! The plans that come with the program.

use alloc::vec::Vec;

const PLANS: &[(&str, &str)] = &[
    ("iec62353-recurrent-direct", include_str!("../../plans/iec62353-recurrent-direct.toml")),
    (
        "iec62353-recurrent-differential",
        include_str!("../../plans/iec62353-recurrent-differential.toml"),
    ),
    (
        "iec62353-recurrent-alternative",
        include_str!("../../plans/iec62353-recurrent-alternative.toml"),
    ),
    ("iec62353-after-repair", include_str!("../../plans/iec62353-after-repair.toml")),
    ("iec62353-acceptance", include_str!("../../plans/iec62353-acceptance.toml")),
    ("iec62353-system", include_str!("../../plans/iec62353-system.toml")),
    ("iec62353-installed", include_str!("../../plans/iec62353-installed.toml")),
    ("iec60601-1-leakage", include_str!("../../plans/iec60601-1-leakage.toml")),
    ("iec60601-1-leakage-1988", include_str!("../../plans/iec60601-1-leakage-1988.toml")),
    ("nfpa99-2012", include_str!("../../plans/nfpa99-2012.toml")),
    ("asnzs3551-2012", include_str!("../../plans/asnzs3551-2012.toml")),
    ("non-medical", include_str!("../../plans/non-medical.toml")),
    ("iec60065-touch", include_str!("../../plans/iec60065-touch.toml")),
    ("spot-check", include_str!("../../plans/spot-check.toml")),
];

/// Text of a plan that comes with the program.
#[must_use]
pub fn builtin(id: &str) -> Option<&'static str> {
    PLANS.iter().find(|(name, _)| *name == id).map(|(_, text)| *text)
}

/// Names of the plans that come with the program.
#[must_use]
pub fn builtin_ids() -> Vec<&'static str> {
    PLANS.iter().map(|(name, _)| *name).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::vec::Vec;

    use crate::limits::Table;
    use crate::plan::{check, parse, read};

    #[test]
    fn every_built_in_plan_reads_and_bears_its_name() {
        for id in builtin_ids() {
            assert_eq!(parse(builtin(id).unwrap()).unwrap().id, id);
        }
        assert_eq!(builtin("other"), None);
    }

    #[test]
    fn no_built_in_plan_has_a_fault() {
        let table = |(s, e)| Table::parse(Table::builtin(s, e).unwrap()).unwrap();
        let tables: Vec<Table> = Table::all().map(table).collect();
        for id in builtin_ids() {
            let (plan, lines) = read(builtin(id).unwrap()).unwrap();
            assert_eq!(check(&plan, &lines, &tables), [], "{id}");
        }
    }
}
