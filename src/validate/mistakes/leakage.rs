//! Leakage: what stands between the asset and the voltmeter.

use tapline_demo::hand::Hand;
use tapline_demo::person::{Deed, Does, What};

use super::{Mistake, NONE, hand, slips_live};

/// A second earth at the connection.
fn earthed(deed: Deed, ohm: &str) -> Vec<Deed> {
    match deed {
        Deed::Hand(Hand::SecondEarth { .. }) => {
            vec![hand(Hand::SecondEarth { ohm: Some(ohm.into()) })]
        }
        other => vec![other],
    }
}

/// The lead of the network on something else.
fn lead(deed: Deed, to: &str) -> Vec<Deed> {
    match deed {
        Deed::Hand(Hand::Lead { to: Some(_) }) => vec![hand(Hand::Lead { to: Some(to.into()) })],
        other => vec![other],
    }
}

/// A data cable, plugged in or pulled.
fn cable(there: bool) -> Deed {
    hand(Hand::SecondEarth { ohm: there.then(|| "1 Ohm".into()) })
}

pub(super) const ALL: &[Mistake] = &[
    Mistake {
        id: "data-cable",
        says: "a data cable earths the asset with 1 ohm",
        sets: |case| slips_live(case, Does::Forgets, What::DataCable),
        ..NONE
    },
    Mistake {
        id: "second-earth-1k",
        says: "a second earth of 1 kohm",
        does: |_, deed| earthed(deed, "1 kOhm"),
        ..NONE
    },
    Mistake {
        id: "second-earth-5k",
        says: "a second earth of 5 kohm",
        does: |_, deed| earthed(deed, "5 kOhm"),
        ..NONE
    },
    Mistake {
        id: "second-earth-30k",
        says: "a second earth of 30 kohm, a damp tray",
        cannot: "the network is read to 0.4 %: what leaves it by a path above 22 kohm is less than \
            4.4 % of the current, and what lies as near to its limit is missed",
        instead: "stand the asset on a dry, insulating mat; look twice at a value that is marked \
            `near_limit`",
        does: |_, deed| earthed(deed, "30 kOhm"),
        ..NONE
    },
    Mistake {
        id: "cable-after-proof",
        says: "a data cable is plugged in when the network has been read, and stays",
        does: |at, deed| match matches!(deed, Deed::Hand(_)) && at.is("clear") {
            true => vec![deed, cable(true)],
            false => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "cable-while-live",
        says: "a data cable is in while the asset is energised, and pulled before it is read again",
        cannot: "the path is shown before and after the asset is energised, not meanwhile: a cable \
            that comes and goes between two readings of the network is not seen",
        instead: "keep every data cable and accessory that is not under test off the bench before \
            `connected` is said; hands are clear while the supply is on",
        does: |at, deed| match (&deed, at.asked.state.as_str()) {
            (Deed::Hand(_), "clear") => vec![deed, cable(true)],
            (Deed::Hand(Hand::Switch { .. }), "dead") => vec![cable(false), deed],
            _ => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "lead-off",
        says: "the lead of the network lies in the air; with class II: no foil",
        sets: |case| slips_live(case, Does::Forgets, What::NetworkLead),
        ..NONE
    },
    Mistake {
        id: "lead-on-paint",
        says: "the lead of the network on paint: 50 kohm between it and the metal",
        does: |_, deed| lead(deed, "paint"),
        ..NONE
    },
    Mistake {
        id: "foil-too-small",
        says: "a corner of the foil touches the housing: 100 pF instead of the hand of a patient",
        cannot: "how much of a housing a foil covers is what the person says: with class II \
            nothing reads the contact",
        instead: "press a foil of 20 cm by 10 cm, or the whole housing if it is smaller, against \
            it with a weight, and join it with all metal that can be touched",
        does: |_, deed| lead(deed, "spot"),
        ..NONE
    },
    Mistake {
        id: "lead-comes-off",
        says: "the lead of the network comes off when the network has been read",
        does: |at, deed| match matches!(deed, Deed::Hand(_)) && at.is("clear") {
            true => vec![deed, hand(Hand::Lead { to: None })],
            false => vec![deed],
        },
        ..NONE
    },
    Mistake {
        id: "lead-on-the-bar",
        says: "the lead of the network is on the earthing bar of the bench",
        does: |_, deed| lead(deed, "bar"),
        ..NONE
    },
    Mistake {
        id: "network-bypassed",
        says: "a wire lies across the network",
        sets: |case| slips_live(case, Does::Bypasses, What::Network),
        ..NONE
    },
    Mistake {
        id: "other-network",
        says: "another network: 500 ohm instead of 1 kohm",
        sets: |case| case.scene.hookup.network.r2_ohm = 500.0,
        ..NONE
    },
    Mistake {
        id: "network-capacitor",
        says: "the network's capacitor has ten times its value: 1 kHz is damped away",
        cannot: "a reading of its resistance says nothing of its capacitor",
        instead: "have network and voltmeter calibrated as one at 1 kHz and above, each year and \
            after any repair; hold them against a check standard on the day",
        sets: |case| case.scene.hookup.network.c1_farad = 150e-9,
        ..NONE
    },
    Mistake {
        id: "asset-off",
        says: "the asset's own switch is off",
        sets: |case| slips_live(case, Does::Forgets, What::AssetSwitch),
        ..NONE
    },
    Mistake {
        id: "asset-standby",
        says: "the asset is off or in standby, and its indicator is confirmed all the same",
        cannot: "no instrument of this bench reads the asset's own current: whoever confirms an \
            indicator is believed",
        instead: "switch the asset to full operation and see it work, heater and motor too, before \
            it is said to be alive; list its operating states in the register, so that each is \
            asked for by name",
        sets: |case| slips_live(case, Does::Forgets, What::AssetSwitch),
        sees: |sight| sight.lit = true,
        ..NONE
    },
];
