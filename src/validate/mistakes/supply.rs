//! Supply and the box with its switches.

use tapline_demo::hand::Hand;
use tapline_demo::person::{Deed, Does, What};
use tapline_demo::world::Port;

use super::{Mistake, NONE, asks, declared, hand, slips, slips_live, stuck, switch};
use crate::validate::case::Case;

const NOTHING_WITNESSES: &str = "nothing witnesses the switches of this box: what they stand at \
    is what the person says";
const HAVE_CONTACTS: &str = "fit the box with contacts that the station reads; until then a second \
    person reads the switches before `clear`. The pass says `conditions_declared`";

const FROM_A_METER: &str = "read the three voltages off a meter at the outlet while they are \
    typed, never from memory; look twice at a value that is marked `near_limit`";

fn s5_left(case: &mut Case) {
    slips(case, "leak/2", Does::Forgets, What::S5);
    slips(case, "leak_case/2", Does::Forgets, What::S5);
}

fn floating(case: &mut Case) {
    case.scene.hookup.supply.stray_farad = Some(500e-12);
}

fn typed(deed: Deed, volts: [&str; 3]) -> Vec<Deed> {
    let [ln, npe, lpe] = volts;
    let supply = matches!(&deed, Deed::Ask(request) if request["what"] == "supply");
    let request =
        serde_json::json!({"do": "prove", "what": "supply", "ln": ln, "npe": npe, "lpe": lpe});
    vec![if supply { Deed::Ask(request) } else { deed }]
}

pub(super) const ALL: &[Mistake] = &[
    Mistake { id: "s5-left", says: "S5 not moved, seen by contacts", sets: s5_left, ..NONE },
    Mistake {
        id: "s5-left-declared",
        says: "S5 not moved on a box that nothing witnesses",
        cannot: NOTHING_WITNESSES,
        instead: HAVE_CONTACTS,
        sets: |case| {
            s5_left(case);
            declared(case);
        },
        ..NONE
    },
    Mistake {
        id: "s5-reversed",
        says: "S5 reversed all the time: both polarities the same, seen by contacts",
        does: |_, deed| vec![stuck(deed, "S5", "reversed")],
        ..NONE
    },
    Mistake {
        id: "s5-reversed-declared",
        says: "S5 reversed all the time on a box that nothing witnesses",
        cannot: NOTHING_WITNESSES,
        instead: HAVE_CONTACTS,
        sets: declared,
        does: |_, deed| vec![stuck(deed, "S5", "reversed")],
        ..NONE
    },
    Mistake {
        id: "s5-back",
        says: "S5 moved for the contacts and moved back with the supply on",
        does: |at, deed| {
            let on = at.is("live") && matches!(deed, Deed::Hand(_));
            if on { vec![deed, switch(&[("S5", "normal")])] } else { vec![deed] }
        },
        ..NONE
    },
    Mistake {
        id: "s7-left",
        says: "S7 not opened, seen by contacts",
        sets: |case| slips_live(case, Does::Forgets, What::S7),
        ..NONE
    },
    Mistake {
        id: "s7-left-declared",
        says: "S7 not opened on a box that nothing witnesses",
        sets: |case| {
            slips_live(case, Does::Forgets, What::S7);
            declared(case);
        },
        ..NONE
    },
    Mistake {
        id: "s7-closed-again",
        says: "S7 closed again after the network was read, on a box that nothing witnesses",
        sets: declared,
        does: |at, deed| match at.is("clear") && matches!(deed, Deed::Hand(_)) {
            true => vec![stuck(deed, "S7", "closed")],
            false => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "s1-open",
        says: "S1 left open: the neutral is interrupted",
        does: |at, deed| match at.is("clear") && matches!(deed, Deed::Hand(_)) {
            true => vec![deed, switch(&[("S1", "open")])],
            false => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "not-on",
        says: "supply not switched on, and the indicator confirmed all the same, with contacts",
        sees: |sight| sight.lit = true,
        does: |_, deed| vec![stuck(deed, "supply", "off")],
        ..NONE
    },
    Mistake {
        id: "not-on-declared",
        says: "the same on a box that nothing witnesses",
        sets: declared,
        sees: |sight| sight.lit = true,
        does: |_, deed| vec![stuck(deed, "supply", "off")],
        ..NONE
    },
    Mistake {
        id: "box-contact-bridged",
        says: "the contact of S5 is bridged: it always says reversed",
        wires: |port, mut bytes, _| {
            if port == Port::Contacts && bytes.len() > 2 {
                bytes[2] = b'1';
            }
            bytes
        },
        ..NONE
    },
    Mistake {
        id: "box-contacts-gone",
        says: "the cable of the contacts is off",
        wires: |port, bytes, _| if port == Port::Contacts { Vec::new() } else { bytes },
        ..NONE
    },
    Mistake {
        id: "box-contact-stuck",
        says: "the contact of S5 sticks and never closes",
        wires: |port, mut bytes, _| {
            if port == Port::Contacts && bytes.len() > 2 {
                bytes[2] = b'0';
            }
            bytes
        },
        ..NONE
    },
    Mistake {
        id: "box-contact-late",
        says: "the contact of S5 reports each change only when the next one comes",
        wires: |port, mut bytes, held| {
            if port == Port::Contacts && bytes.len() > 2 {
                let now = std::mem::replace(held, vec![bytes[2]]);
                bytes[2] = now.first().copied().unwrap_or(b'0');
            }
            bytes
        },
        ..NONE
    },
    Mistake {
        id: "wall",
        says: "the plug in an outlet of the wall, past the box",
        does: |at, deed| match deed {
            Deed::Hand(Hand::Plug { plugged }) if at.is("connect") => {
                vec![hand(Hand::Wall { plugged })]
            }
            other => vec![other],
        },
        ..NONE
    },
    Mistake {
        id: "isolated-supply",
        says: "an isolating transformer feeds the bench; its voltages are measured",
        sets: floating,
        ..NONE
    },
    Mistake {
        id: "isolated-supply-from-memory",
        says: "an isolating transformer feeds the bench; its voltages are written from memory",
        cannot: "no voltmeter at the outlet is read by the station: voltages that were read off \
            nothing look like those that were measured",
        instead: FROM_A_METER,
        sets: floating,
        does: |_, deed| typed(deed, ["230", "0.1", "230"]),
        ..NONE
    },
    Mistake {
        id: "supply-typed-high",
        says: "the voltage of the mains typed as 253 V",
        cannot: "the supply check is typed: one that is wrong by less than a tenth scales the \
            leakage by as much, and what lies as near to its limit is missed",
        instead: FROM_A_METER,
        does: |_, deed| typed(deed, ["253", "0.1", "253"]),
        ..NONE
    },
    Mistake {
        id: "supply-from-memory",
        says: "230 V written from memory, while the mains has another voltage",
        cannot: "the supply check is typed: a voltage within a tenth of the rated one is believed, \
            and the leakage is not scaled by the true one",
        instead: FROM_A_METER,
        does: |_, deed| typed(deed, ["230", "0.1", "230"]),
        ..NONE
    },
    Mistake {
        id: "supply-unchecked",
        says: "the supply is not checked",
        does: |_, deed| match &deed {
            Deed::Ask(request) if request["what"] == "supply" => Vec::new(),
            _ => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "supply-check-mixed-up",
        says: "phase to earth and neutral to earth typed for each other",
        does: |_, deed| typed(deed, ["230", "230", "0.1"]),
        ..NONE
    },
    Mistake {
        id: "live-at-once",
        says: "`clear` is said before anything was read, and the supply switched on",
        does: |at, deed| match asks(&deed, "act") && at.is("connect") {
            true => vec![deed, switch(&[("S7", "open"), ("supply", "on")])],
            false => vec![deed],
        },
        ..NONE
    },
];
