//! Protective earth: probe, clips, leads, null.

use tapline_demo::hand::Hand;
use tapline_demo::person::{Deed, Does, What};
use tapline_demo::room::Clips;

use super::{Mistake, NONE, hand, slips};

const WRONG_POINT: &str = "which point a probe touches is what the person says: nothing reads the \
    name of a point, and a good one reads well";
const LOOK_AT_IT: &str = "read the point's name on the screen, then look at the probe; mark earthed \
    points on the asset, and keep other assets off the bench";

/// Where the clips go instead.
fn elsewhere(deed: Deed, from: &str, to: &str) -> Deed {
    match deed {
        Deed::Hand(Hand::Clips { to: Clips::On(point) }) if point == from => {
            hand(Hand::Clips { to: Clips::On(to.into()) })
        }
        other => other,
    }
}

/// Other leads while they are nulled, the bench's own for everything else.
fn nulled_by(null: bool, ohm: &str, deed: Deed) -> Vec<Deed> {
    let ohm = null.then(|| ohm.to_string());
    match deed {
        Deed::Hand(Hand::Clips { .. }) => vec![hand(Hand::Leads { ohm }), deed],
        _ => vec![deed],
    }
}

pub(super) const ALL: &[Mistake] = &[
    Mistake {
        id: "probe-slips",
        says: "the probe slips off and back within the window",
        sets: |case| slips(case, "pe", Does::Slips, What::Probe),
        ..NONE
    },
    Mistake {
        id: "probe-off",
        says: "the probe lies in the air",
        sets: |case| slips(case, "pe", Does::Loses, What::Probe),
        ..NONE
    },
    Mistake {
        id: "probe-left",
        says: "the probe stays on the point before",
        sets: |case| {
            for step in ["pe/2", "pe/3", "pe/4", "cord/1", "cord/2"] {
                slips(case, step, Does::Forgets, What::Probe);
            }
        },
        ..NONE
    },
    Mistake {
        id: "probe-left-key",
        says: "the probe stays on the point before, and a key takes the value",
        cannot: WRONG_POINT,
        instead: LOOK_AT_IT,
        does: |at, deed| match deed {
            Deed::Hand(Hand::Clips { to: Clips::Open }) if at.is("arm") => {
                let expect = at.expect();
                vec![Deed::Ask(serde_json::json!({ "do": "capture", "expect": expect }))]
            }
            Deed::Hand(Hand::Clips { to: Clips::On(point) }) if point == "rail" => Vec::new(),
            other => vec![other],
        },
        ..NONE
    },
    Mistake {
        id: "wrong-point",
        says: "the probe is lifted and touches the same point again instead of the rail",
        cannot: WRONG_POINT,
        instead: LOOK_AT_IT,
        does: |_, deed| vec![elsewhere(deed, "rail", "case screw")],
        ..NONE
    },
    Mistake {
        id: "clips-on-the-twin",
        says: "both clips on a good asset of the same kind that stands beside it",
        cannot: WRONG_POINT,
        instead: LOOK_AT_IT,
        does: |_, deed| vec![elsewhere(elsewhere(deed, "rail", "twin"), "case screw", "twin")],
        ..NONE
    },
    Mistake {
        id: "clip-on-paint",
        says: "the clip on paint: 50 kohm between it and the metal",
        does: |_, deed| vec![elsewhere(deed, "case screw", "paint")],
        ..NONE
    },
    Mistake {
        id: "both-clips",
        says: "both clips on the part, none on the plug: nothing but the leads is measured",
        does: |_, deed| match deed {
            Deed::Hand(Hand::Clips { to: Clips::On(point) }) => {
                vec![hand(Hand::Clips { to: Clips::Same(point) })]
            }
            other => vec![other],
        },
        ..NONE
    },
    Mistake {
        id: "clips-joined",
        says: "the clips are still joined from the null",
        does: |_, deed| match deed {
            Deed::Hand(Hand::Clips { to: Clips::On(_) }) => {
                vec![hand(Hand::Clips { to: Clips::Shorted })]
            }
            other => vec![other],
        },
        ..NONE
    },
    Mistake {
        id: "not-flexed",
        says: "the cord is not flexed",
        cannot: "nothing sees whether a hand bends the cord",
        instead: "bend the cord along its whole length while the window runs, above all at the \
            plug and where it enters the asset; the screen asks for it each time",
        does: |_, deed| match deed {
            Deed::Hand(Hand::Flex { on: true }) => Vec::new(),
            other => vec![other],
        },
        ..NONE
    },
    Mistake {
        id: "one-direction",
        says: "the measuring current is not turned round",
        sets: |case| {
            for step in ["pe/2", "pe/4", "cord/2"] {
                slips(case, step, Does::Forgets, What::Direction);
            }
        },
        ..NONE
    },
    Mistake {
        id: "cord-of-another",
        says: "a good cord from the drawer is measured for the asset's own",
        cannot: "a cord without a label of its own is whatever is said to be it",
        instead: "label every cord and register it with its asset; take cords out of drawers only \
            as spare parts that were measured",
        does: |_, deed| vec![elsewhere(deed, "cord", "other")],
        ..NONE
    },
    Mistake {
        id: "not-nulled",
        says: "the leads are not nulled",
        sets: |case| {
            for step in ["pe", "cord"] {
                slips(case, step, Does::Forgets, What::Null);
            }
        },
        ..NONE
    },
    Mistake {
        id: "null-open",
        says: "nulled with open clips",
        sets: |case| slips(case, "null", Does::Nulls, What::OpenLeads),
        ..NONE
    },
    Mistake {
        id: "null-through-asset",
        says: "nulled with the asset in the path",
        sets: |case| slips(case, "null", Does::Nulls, What::AssetPath),
        ..NONE
    },
    Mistake {
        id: "null-of-others",
        says: "nulled with leads of 0.100 ohm, measured with those of 0.058",
        does: |at, deed| {
            let null = at.is("null");
            nulled_by(null, "0.1 Ohm", deed)
        },
        ..NONE
    },
    Mistake {
        id: "null-of-like-ones",
        says: "nulled with leads of 0.070 ohm, measured with those of 0.058",
        does: |at, deed| {
            let null = at.is("null");
            nulled_by(null, "0.07 Ohm", deed)
        },
        ..NONE
    },
];
