//! The plans that come with the program.

use alloc::vec::Vec;

const PLANS: &[(&str, &str)] =
    &[("iec62353-recurrent-direct", include_str!("../../plans/iec62353-recurrent-direct.toml"))];

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
    use crate::plan::parse;

    #[test]
    fn every_built_in_plan_reads_and_bears_its_name() {
        for id in builtin_ids() {
            assert_eq!(parse(builtin(id).unwrap()).unwrap().id, id);
        }
        assert_eq!(builtin("other"), None);
    }
}
