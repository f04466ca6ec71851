//! What a reason does to a verdict.

/// What a reason holds back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hold {
    /// Nothing: it stands beside the verdict.
    Nothing,
    /// A pass: the value may be better than the truth, never worse.
    Pass,
    /// Pass and fail: the value says nothing.
    All,
}

/// What a closed word of the list `reason` holds back. An unknown word holds back everything.
///
/// A path that was not proved, an asset, a source or a test voltage not shown alive, a supply that
/// was not checked, a meter of unknown bandwidth, a direct share at less than the rated voltage:
/// each shows less current than there is, so that a value beyond the limit still fails. So does one
/// that a person typed: nothing but their word stands for it.
#[must_use]
pub fn hold(reason: &str) -> Hold {
    match reason {
        "near_limit" | "worse_than_before" | "nothing_earlier" | "conditions_declared" => {
            Hold::Nothing
        }
        "path_not_proved" | "not_alive" | "source_not_shown" | "voltage_not_shown"
        | "supply_not_checked" | "bandwidth_unknown" | "direct_share" | "typed" => Hold::Pass,
        _ => Hold::All,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::terms;

    #[test]
    fn only_words_of_the_closed_list_hold_less_than_all() {
        let less: alloc::vec::Vec<_> =
            terms::choices("reason").into_iter().filter(|r| hold(r) != Hold::All).collect();
        assert_eq!(less.len(), 12);
        assert_eq!(hold("something new"), Hold::All);
    }
}
