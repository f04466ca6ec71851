//! Reports to be printed: one as a record of the demonstration gave it, and what can be made of it.

#![allow(dead_code, reason = "each test takes what it needs")]

use tapline_paper::moment::Moment;
use tapline_paper::report::{
    Amount, Aside, Change, Entered, Field, Group, History, Limit, Meter, Outcome, Remark, Report,
    Signature, Value,
};
use tapline_paper::seal::Word;

/// A pass with two measurements, as `tapline report … --as json` told it of a scene.
pub(crate) fn pass() -> Report {
    let report: Report = serde_json::from_str(include_str!("../data/pass.json")).unwrap();
    let address = ["Werkstraße 1", "00000 Musterort"].map(String::from);
    Report {
        site: tapline_paper::report::Site { address: address.into(), ..report.site },
        ..report
    }
}

pub(crate) fn amount(digits: &str, unit: &str) -> Amount {
    Amount { mark: String::new(), digits: digits.into(), unit: unit.into() }
}

fn leakage(part: &str, digits: &str, word: Word, reasons: &[&str]) -> Group {
    let one = |polarity: &str, n: usize| Value {
        points: vec![part.to_owned()],
        set: vec![("S5".into(), polarity.into()), ("S7".into(), "closed".into())],
        sent: amount(digits, "V"),
        corrections: vec![
            ("network".into(), "1 kΩ".into()),
            ("mains_scaling".into(), "230/226".into()),
        ],
        result: Some(amount(digits.trim_start_matches("0.0"), "uA")),
        known: Some("witnessed".into()),
        meter: "LK-1".into(),
        readings: 40 + n,
        worst: n == 0,
        ..Value::default()
    };
    Group {
        step: "part".into(),
        measurand: "applied_part_leakage".into(),
        method: "direct".into(),
        limit: Some(Limit {
            direction: "max".into(),
            value: amount("50", "uA"),
            inclusive: true,
            standard: "IEC 62353:2014".into(),
            clause: "5.3.4 Table 3".into(),
            confidence: "confirmed_here".into(),
            layer: "standard".into(),
        }),
        result: Some(amount(digits.trim_start_matches("0.0"), "uA")),
        doubt: Some(("0.6863".into(), "2".into())),
        share: Some("94.2".into()),
        probability: Some("0.998".into()),
        word,
        reasons: reasons.iter().map(ToString::to_string).collect(),
        values: vec![one("normal", 0), one("reversed", 1)],
        history: History::default(),
    }
}

/// Values of the years before the station was.
fn from_paper() -> Vec<(String, u32, f32)> {
    let values = [("2021-03-02", 18_688, 0.112), ("2022-03-05", 19_056, 0.131)];
    values.map(|(day, since, value)| (day.to_owned(), since, value)).to_vec()
}

/// Eight measurements, earlier values, a value that was set aside, a second signature: as much as
/// a usual inspection has.
pub(crate) fn full() -> Report {
    let mut report = pass();
    let line = leakage("fluid line", "0.0471", Word::Pass, &["near_limit"]);
    let sensor = leakage("pressure sensor", "0.0121", Word::Pass, &[]);
    report.groups.extend([line, sensor]);
    let slipped = Value {
        sent: amount("0.412", "Ohm"),
        aside: Some("lead_slipped".into()),
        corrections: Vec::new(),
        result: None,
        worst: false,
        ..report.groups[0].values[0].clone()
    };
    report.groups[0].values.insert(1, slipped);
    for (group, values) in [(0, [0.104, 0.109, 0.120]), (1, [151.2, 149.0, 158.54])] {
        let days = [("2024-11-20", 20_047), ("2025-11-25", 20_417), ("2026-11-27", 20_784)];
        let points = days.iter().zip(values).map(|((day, n), v)| ((*day).into(), *n, v));
        let limit = if group == 0 { 0.3 } else { 500.0 };
        let unit = if group == 0 { "Ohm" } else { "uA" };
        report.groups[group].history = History {
            points: points.collect(),
            limit,
            unit: unit.into(),
            of: String::new(),
            paper: if group == 0 { from_paper() } else { Vec::new() },
        };
    }
    report.asset.parts = vec!["fluid line (CF)".into(), "pressure sensor (CF)".into()];
    report.aside = vec![Aside {
        step: "pe/1".into(),
        value: amount("0.412", "Ohm"),
        cause: "lead_slipped".into(),
        who: "R. Feld (op-7)".into(),
        second: Some("M. Auer (op-9)".into()),
        counts: false,
    }];
    report.clock_kept = true;
    report.words = vec!["near_limit".into(), "set_aside".into()];
    report.remarks = vec![Remark {
        code: "note".into(),
        who: "R. Feld (op-7)".into(),
        text: "cleaned".into(),
        ..Remark::default()
    }];
    report.signatures.push(Signature {
        meaning: "reviewed".into(),
        name: "M. Auer".into(),
        id: "op-9".into(),
        at: Moment::read("2026-11-27T14:02:11+00:00"),
        auth: "badge".into(),
    });
    report
}

/// A monitor: 246 values of one step.
pub(crate) fn sweep() -> Report {
    let mut report = pass();
    let mut group = leakage("x", "0.0121", Word::Fail, &[]);
    group.result = Some(amount("61.4", "uA"));
    group.share = Some("122.8".into());
    group.values = (1..=246)
        .map(|n| {
            let worst = n == 101;
            let digits =
                if worst { "61.4".to_owned() } else { format!("{}.{}", 9 + n % 20, n % 10) };
            Value {
                points: vec![format!("ECG, electrode {n}")],
                set: vec![
                    ("S1".into(), "closed".into()),
                    ("S5".into(), if n % 2 == 0 { "normal" } else { "reversed" }.into()),
                ],
                sent: amount(&digits, "uA"),
                result: Some(amount(&digits, "uA")),
                corrections: vec![("mains_scaling".into(), "230/226".into())],
                worst,
                ..group.values[0].clone()
            }
        })
        .collect();
    report.groups.push(group);
    report.outcome = Outcome::Signed(Word::Fail);
    report.tag = Some("attached".into());
    report.next = tapline_paper::report::Next { day: None, why: "not_passed".into() };
    report
}

/// Everything as long as a register takes it.
pub(crate) fn long() -> Report {
    let mut report = full();
    report.asset.what = "mobile patient monitor with invasive pressure and cardiac output".into();
    report.asset.maker = "Vereinigte Werkstätten für Überwachungstechnik Quellhof & Söhne".into();
    report.asset.place = "North/12/Intensive care, paediatric, isolation room 4/bed 2, left".into();
    report.asset.owner = "Foundation for the care of children of the invented valley".into();
    report.site.workshop = "Clinical engineering, workshop of the northern houses".into();
    report.plan.title = "Recurrent test of a system with several items, direct method".into();
    report.outcome = Outcome::Signed(Word::ConditionalFail);
    report.groups[1].word = Word::ConditionalFail;
    report.groups[0].values[0].points =
        vec!["equipotential bonding stud at the rear, left of the fan".into()];
    report.meters.push(Meter {
        id: "DA-77-EXTRA".into(),
        what: "differential ammeter with a window, average responding, calibrated in r.m.s.".into(),
        serial: "2019-0000-44718".into(),
        certificate: "C-2026-119/rev 3".into(),
        due: "2027-03-31".into(),
        ..Meter::default()
    });
    report.remarks.push(Remark {
        code: "note".into(),
        who: "R. Feld (op-7)".into(),
        text: "The housing shows an old scratch that goes through the paint and not deeper; the \
               ward asks that the second channel be looked at when the battery is renewed next."
            .into(),
        ..Remark::default()
    });
    report
}

/// What was typed in by hand: two values, the voltage of the isolated source, the temperature of
/// the asset.
pub(crate) fn typed() -> Report {
    let mut report = full();
    for supply in &mut report.supply {
        supply.known = "typed".into();
    }
    let one = |what: &str, step: &str, digits: &str, places: &[&str]| Entered {
        what: what.into(),
        step: step.into(),
        places: places.iter().map(ToString::to_string).collect(),
        digits: digits.into(),
        read_from: String::new(),
        known: "typed".into(),
    };
    // One from a display, and one that was set aside.
    let group = &mut report.groups[0];
    group.reasons.push("typed".into());
    for at in [1, 2] {
        (group.values[at].typed, group.values[at].readings) = (true, 0);
    }
    let warm = one("temperature", &report.groups[0].step, "23.5", &["case screw"]);
    report.entered = vec![
        one("source", "part", "229.6", &["fluid line", "pressure sensor"]),
        Entered { read_from: "thermometer on the housing".into(), ..warm },
    ];
    report
}

/// An inspection that nobody signed yet.
pub(crate) fn open() -> Report {
    Report {
        outcome: Outcome::Open,
        closed: None,
        signatures: Vec::new(),
        head: None,
        groups: Vec::new(),
        ..pass()
    }
}

/// A fail that was amended and moved to another asset.
pub(crate) fn amended() -> Report {
    let first = pass();
    let (one, two) = (format!("{}+1", first.id), format!("{}+2", first.id));
    let field = |name: &str, before: &str, after: &str| Field {
        name: name.into(),
        before: Some(before.into()),
        after: after.into(),
    };
    let amended = Change {
        id: one.clone(),
        replaces: first.id.clone(),
        what: "amended".into(),
        who: "R. Feld (op-7)".into(),
        second: Some("A. Berg (op-3)".into()),
        at: first.closed,
        reason: "wrong_answer".into(),
        text: "the wrong row was ticked, as the second person saw on the photograph".into(),
        fields: vec![
            field("answer/look/housing", "fail", "pass"),
            field("value/212", "0.33 Ohm", "lead_slipped"),
            field("owner", "Nordklinik", "Südklinik"),
            field("tag", "refused", "attached"),
        ],
    };
    let moved = Change {
        id: two.clone(),
        replaces: one.clone(),
        what: "reattached".into(),
        text: "the labels were mixed up".into(),
        fields: vec![field("asset", "P-0101", "P-0102")],
        reason: String::new(),
        ..amended.clone()
    };
    Report {
        later: vec![one, two],
        changes: vec![amended, moved],
        signed_as: Some(Word::Fail),
        signed_for: Some("P-0101".into()),
        newest: Some([7; 32]),
        ..first
    }
}
