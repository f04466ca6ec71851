use alloc::format;

use super::*;

const FAIL: Word = Word::Fail;

#[test]
fn a_policy_is_one_of_four() {
    for good in ["none", "all", "fails", "sample 1 %", "sample 10 %", "sample 99 %"] {
        assert!(is_review_policy(good), "{good}");
    }
    let bad = ["", "some", "sample", "sample 0 %", "sample 010 %", "sample 100 %", "sample 10%"];
    for bad in bad.into_iter().chain(["sample -1 %", "sample +1 %", "ALL", "sample 1.5 %"]) {
        assert!(!is_review_policy(bad), "{bad}");
    }
}

/// Of 4 096 heads spread over all there are, a tenth and no other: by the number they begin with.
#[test]
fn a_sample_is_drawn_by_the_head_alone() {
    let head = |n: u32| format!("{n:03x}{}", "0".repeat(61));
    let drawn =
        |policy: &str| (0..4096).filter(|n| asks_for_review(policy, &head(*n), Word::Pass)).count();
    assert_eq!([drawn("none"), drawn("all"), drawn("fails")], [0, 4096, 0]);
    assert_eq!(drawn("sample 10 %"), 410);
    assert_eq!(drawn("sample 50 %"), 2048);
    assert!(asks_for_review("sample 1 %", "not a head", Word::Pass));
    assert!(asks_for_review("fails", &head(9), FAIL));
}

fn sign(outcome: Word) -> Fact {
    Fact::Sign(SignFact {
        meaning: "performed".into(),
        auth: "badge".into(),
        outcome,
        words: Vec::new(),
        open: Vec::new(),
        tag: None,
        reason: None,
    })
}

fn told<'a>(fact: &'a Fact, by: &'a str) -> Told<'a> {
    Told { seq: 1, at: Now(0), fact, by: Some(by) }
}

fn signed(outcome: Word, policy: &str) -> Life {
    let mut life = Life::begin("K3-20261124-0007", &"0".repeat(64));
    life.take(told(&sign(outcome), "op-7"));
    life.policy = policy.into();
    life.ends();
    life
}

fn review(accepted: bool) -> Fact {
    Fact::Review(ReviewFact { accepted, remark: None })
}

#[test]
fn what_is_put_right_has_to_be_looked_through_once_more() {
    let mut life = signed(Word::Pass, "all");
    assert!(life.waits() && life.later().is_none());
    life.addendum("K3-20261124-0007+1", "aa");
    life.add(told(&review(true), "op-2"));
    assert!(!life.waits() && life.is_reviewed() && life.state() == State::Reviewed);
    assert_eq!(life.next().follows, "K3-20261124-0007+1");
    life.addendum("K3-20261124-0007+2", "bb");
    let amend = AmendFact {
        reason: "typing_error".into(),
        text: "the ward was another".into(),
        fields: Vec::new(),
        second: None,
        label: false,
    };
    life.add(told(&Fact::Amend(amend.into()), "op-7"));
    assert!(life.waits() && !life.is_reviewed() && life.state() == State::Amended);
    assert_eq!(life.acted.iter().collect::<Vec<_>>(), ["op-7"]);
}

#[test]
fn what_is_rejected_waits_for_no_review_and_is_not_released() {
    let mut life = signed(FAIL, "fails");
    assert!(life.waits());
    life.addendum("K3-20261124-0007+1", "aa");
    life.add(told(&review(false), "op-2"));
    assert!(!life.waits() && !life.is_reviewed());
    assert_eq!(life.later().unwrap().state, "rejected");
    assert_eq!(life.outcome(), FAIL);
}
