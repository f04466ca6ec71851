//! What people do with the station itself.

use serde_json::json;
use tapline_demo::hand::Hand;
use tapline_demo::person::{Deed, Does, What};
use tapline_protocols::Fact;

use super::{Mistake, NONE, asks, slips};
use crate::validate::assets::OTHER_CLASS;
use crate::validate::case::At;

/// At the closing scan, so many times, something else first.
fn at_the_end(mut at: At<'_>, deed: Deed, times: u32, asks: &[serde_json::Value]) -> Vec<Deed> {
    let closing = at.is("close_scan") && matches!(deed, Deed::Hand(Hand::Scan { .. }));
    if !closing || !at.first(times) {
        return vec![deed];
    }
    asks.iter().cloned().map(Deed::Ask).collect()
}

/// Sets every captured value aside.
fn discards(at: &At<'_>, second: Option<&str>) -> Vec<serde_json::Value> {
    let values = at.lines.iter().filter(|line| matches!(line.fact, Fact::Value(_)));
    let discard = |line: &crate::station::event::Stored| json!({ "do": "discard", "seq": line.seq, "cause": "lead_slipped", "second": second });
    values.map(discard).collect()
}

pub(super) const ALL: &[Mistake] = &[
    Mistake {
        id: "neighbours-label",
        says: "the label of the neighbour is scanned, and its number stands on the record",
        cannot: "which asset is on the bench is what its label says: the record is the neighbour's, \
            with the neighbour's steps",
        instead: "scan the label on the asset itself, at the beginning and at the end, and keep no \
            other asset within reach of the scanner; compare the serial number on the screen",
        sets: |case| case.scene.asset = "P-0199".into(),
        ..NONE
    },
    Mistake {
        id: "label-of-other-class",
        says: "the label of a class II asset is scanned for one of class I, and otherwise",
        sets: |case| {
            let plastic = case.scene.asset == "P-0205";
            case.scene.asset = if plastic { "P-0199" } else { OTHER_CLASS }.into();
        },
        ..NONE
    },
    Mistake {
        id: "registered-fixed",
        says: "the register calls the detachable cord of an asset a fixed one",
        cannot: "what the register says of an asset decides its steps and limits: plug to part 0.300 \
            ohm instead of inlet to part 0.200, and the cord is not measured alone",
        instead: "compare class, cord and parts on the screen with the asset before anything is \
            measured; correct the register before going on",
        sets: |case| {
            case.register.assets =
                case.register.assets.replace(",no,detachable,cord,", ",no,fixed,,");
        },
        ..NONE
    },
    Mistake {
        id: "parked-between",
        says: "the inspection is parked before the leakage, and the leads are taken off meanwhile",
        does: |mut at, deed| match at.is("clear") && asks(&deed, "act") && at.first(1) {
            true => vec![
                Deed::Ask(json!({ "do": "park" })),
                Deed::Hand(Hand::Lead { to: None }),
                Deed::Ask(json!({ "do": "resume", "id": at.id() })),
            ],
            false => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "second-scan-wrong",
        says: "the closing scan takes the neighbour's label",
        sets: |case| slips(case, "close_scan", Does::Scans, What::Neighbour),
        ..NONE
    },
    Mistake {
        id: "second-scan-skipped",
        says: "the closing scan is left out",
        does: |at, deed| match deed {
            Deed::Hand(Hand::Scan { .. }) if at.is("close_scan") => Vec::new(),
            other => vec![other],
        },
        ..NONE
    },
    Mistake {
        id: "repeat-until-pass",
        says: "every step is measured again, three times",
        does: |at, deed| {
            let again = ["pe", "cord", "leak", "leak_case"];
            at_the_end(at, deed, 3, &again.map(|step| json!({ "do": "repeat", "step": step })))
        },
        ..NONE
    },
    Mistake {
        id: "discard",
        says: "every value is set aside, by one person",
        does: |at, deed| {
            let asks = discards(&at, None);
            at_the_end(at, deed, 1, &asks)
        },
        ..NONE
    },
    Mistake {
        id: "discard-by-two",
        says: "every value is set aside by two persons, and measured again",
        does: |at, deed| {
            let asks = discards(&at, Some("op-2"));
            at_the_end(at, deed, 1, &asks)
        },
        ..NONE
    },
    Mistake {
        id: "skipped",
        says: "measured steps are left out, with a reason",
        does: |at, deed| {
            let starts = ["arm", "connect"].iter().any(|state| at.is(state));
            let skip = json!({ "do": "skip", "reason": "no time" });
            if starts { vec![Deed::Ask(skip)] } else { vec![deed] }
        },
        ..NONE
    },
    Mistake {
        id: "excluded",
        says: "measured steps are left out as if the maker said so",
        does: |at, deed| {
            let starts = ["arm", "connect"].iter().any(|state| at.is(state));
            let skip = json!({ "do": "skip", "reason": "excluded" });
            if starts { vec![Deed::Ask(skip)] } else { vec![deed] }
        },
        ..NONE
    },
    Mistake {
        id: "override",
        says: "the gate of protective earth is opened by competence",
        sets: |case| slips(case, "pe", Does::Forgets, What::Null),
        // What waits for the gate is closed, so the end is reached without it.
        does: |mut at, deed| match at.is("close_scan") && at.first(1) {
            true => vec![Deed::Ask(json!({ "do": "override", "step": "leak", "reason": "hurry" }))],
            false => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "typed-ahead",
        says: "every act is given twice",
        does: |_, deed| match asks(&deed, "act") {
            true => vec![deed.clone(), deed],
            false => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "key-for-everything",
        says: "a key takes a value whenever the station waits for a hand",
        does: |at, deed| match matches!(deed, Deed::Hand(_)) && (at.is("arm") || at.is("live")) {
            true => {
                let expect = at.expect();
                vec![deed, Deed::Ask(json!({ "do": "capture", "expect": expect }))]
            }
            false => vec![deed],
        },
        ..NONE
    },
];
