//! The isolated source: mains on an applied part.

use serde_json::json;
use tapline_demo::hand::Hand;
use tapline_demo::person::Deed;

use super::{Mistake, NONE, hand};

const UNREAD: &str = "no voltmeter of the source is read by the station: a voltage that was read off \
    nothing looks like one that was measured";
const READ_IT: &str = "read the source's own voltmeter while it is on and type what it shows, in \
    each condition anew; hands off the source until the value is there";

/// The source stays off.
fn off(deed: Deed) -> Deed {
    match deed {
        Deed::Hand(Hand::Source { .. }) => hand(Hand::Source { on: false }),
        other => other,
    }
}

fn tells_volts(deed: &Deed) -> bool {
    matches!(deed, Deed::Ask(request) if request["what"] == "source")
}

/// 230 V, whatever the voltmeter shows.
fn from_memory(deed: Deed) -> Deed {
    match tells_volts(&deed) {
        true => Deed::Ask(json!({ "do": "prove", "what": "source", "ln": "230" })),
        false => deed,
    }
}

/// The lead to a part elsewhere.
fn lead(deed: Deed, from: &str, to: Option<&str>) -> Vec<Deed> {
    match deed {
        Deed::Hand(Hand::Lead { to: Some(part) }) if part == from => {
            vec![hand(Hand::Lead { to: to.map(Into::into) })]
        }
        other => vec![other],
    }
}

pub(super) const ALL: &[Mistake] = &[
    Mistake {
        id: "source-off",
        says: "the isolated source is off, and its voltmeter is read",
        does: |_, deed| vec![off(deed)],
        ..NONE
    },
    Mistake {
        id: "source-off-from-memory",
        says: "the isolated source is off, and its voltage written from memory",
        cannot: UNREAD,
        instead: READ_IT,
        does: |_, deed| vec![from_memory(off(deed))],
        ..NONE
    },
    Mistake {
        id: "source-off-second",
        says: "the isolated source is off in the second polarity, and its voltmeter is read",
        does: |at, deed| if at.last() { vec![off(deed)] } else { vec![deed] },
        ..NONE
    },
    Mistake {
        id: "source-not-shown",
        says: "the isolated source is off in the second polarity, and nothing is entered",
        does: |at, deed| match at.last() {
            true if tells_volts(&deed) => Vec::new(),
            true => vec![off(deed)],
            false => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "source-off-after",
        says: "the isolated source is switched off when its voltage has been entered",
        cannot: "the source is shown on before a value, not while it is captured",
        instead: READ_IT,
        does: |mut at, deed| match tells_volts(&deed) {
            true if at.first(u32::MAX) && at.count.is_multiple_of(2) => {
                vec![deed, hand(Hand::Source { on: false })]
            }
            _ => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "source-half",
        says: "the isolated source gives 115 V",
        sets: |case| case.scene.hookup.source.volts = 115.0,
        ..NONE
    },
    Mistake {
        id: "past-the-source",
        says: "the lead goes past the isolated source, which is on",
        cannot: "the station reads neither where a lead goes nor what a source gives",
        instead: "join lead and source by a plug of their own that fits nowhere else; compare with \
            what the same part read before",
        does: |_, deed| lead(deed, "line B", Some("bare")),
        ..NONE
    },
    Mistake {
        id: "part-a-for-b",
        says: "the lead on applied part A while B is asked for",
        cannot: "which part a lead touches is what the person says",
        instead: "read the part's name on the screen, then look at the lead; mark the parts",
        does: |_, deed| lead(deed, "line B", Some("line A")),
        ..NONE
    },
    Mistake {
        id: "part-lead-off",
        says: "the lead to an applied part lies in the air",
        does: |_, deed| lead(deed, "line B", None),
        ..NONE
    },
];
