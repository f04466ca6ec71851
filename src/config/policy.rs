//! Policy of the configuration.

use tapline_drivers::Number;
use tapline_protocols::fact::{Policy, Release};
use tapline_protocols::life::is_review_policy;

use super::table::{Faults, Table};

/// Reads `[policy]`; what is left out has its usual value.
pub(super) fn read(root: &Table<'_>, faults: &mut Faults<'_>) -> Policy {
    let Some(table) = root.table(faults, "policy") else { return Policy::default() };
    let known = [
        "guard_ms",
        "null_max_age_min",
        "decision_rule",
        "out_of_calibration",
        "unconfirmed_limits",
        "release",
        "review",
        "sign",
    ];
    table.only(faults, &known);
    let rules = ["simple", "guard_band", "guard_band_zones"];
    let limits = ["undecided", "judge_and_say_so"];
    Policy {
        guard_ms: table.whole(faults, "guard_ms", 100..=60_000, 500),
        null_max_age_min: table.whole(faults, "null_max_age_min", 1..=1440, 60),
        decision_rule: table.word(faults, "decision_rule", &rules).into(),
        out_of_calibration: table.word(faults, "out_of_calibration", &["block", "override"]).into(),
        unconfirmed_limits: table.word(faults, "unconfirmed_limits", &limits).into(),
        release: release(&table, faults),
        review: review(&table, faults),
        sign: table.word(faults, "sign", &["badge", "badge_and_pin"]).into(),
        ..Policy::default()
    }
}

fn review(policy: &Table<'_>, faults: &mut Faults<'_>) -> String {
    let usual = Policy::default().review;
    let review = policy.text(faults, "review").unwrap_or(&usual);
    if !is_review_policy(review) {
        let say = "must be \"none\", \"all\", \"fails\", or \"sample 10 %\" with 1 to 99";
        faults.note(policy.place("review"), "policy.review", say);
        return usual;
    }
    review.into()
}

fn release(policy: &Table<'_>, faults: &mut Faults<'_>) -> Release {
    let usual = Release::default();
    let Some(table) = policy.table(faults, "release") else { return usual };
    table.only(faults, &["seconds", "readings", "factor"]);
    let seconds = table.text(faults, "seconds").unwrap_or("0.5");
    let fits = |n: Number| !n.negative && (-3..=0).contains(&n.exponent) && n.digits > 0;
    if !Number::parse(seconds).is_some_and(fits) {
        let say = "must be a decimal above zero in quotes, at most three places, such as \"0.5\"";
        faults.note(table.place("seconds"), "policy.release.seconds", say);
    }
    Release {
        seconds: seconds.into(),
        readings: table.whole(faults, "readings", 1..=100, usual.readings),
        factor: table.whole(faults, "factor", 2..=1000, usual.factor),
    }
}
