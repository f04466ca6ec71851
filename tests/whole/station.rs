//! The station of the bench, its register, and what came of an inspection.

use std::collections::BTreeMap;

use tapline::clock::Zone;
use tapline::station::{BenchSettings, LinkSettings, StationSettings};
use tapline_protocols::Fact;
use tapline_protocols::fact::Policy;

const INSTRUMENTS: &str = include_str!("../plans/bench/instruments.toml");
/// Instruments that talk by themselves, by the link that they hang on.
pub(super) const TALKERS: [(&str, &str); 5] =
    [("ohm", "LR-01"), ("bond", "HC-01"), ("iso", "IR-01"), ("amp", "DA-01"), ("peak", "PM-01")];

/// What came of an inspection.
#[derive(Debug, Default)]
pub(crate) struct Came {
    pub(crate) outcome: String,
    pub(crate) words: Vec<String>,
    /// Verdict of each step of the plan, and its reasons.
    pub(crate) steps: BTreeMap<String, (String, Vec<String>)>,
    pub(crate) sealed: bool,
}

pub(super) fn came(facts: &[Fact]) -> Came {
    let word = |word: &tapline_protocols::fact::Word| {
        serde_json::to_value(word).unwrap().as_str().unwrap().to_string()
    };
    let mut came = Came::default();
    for fact in facts {
        match fact {
            Fact::Verdict(verdict) => {
                let judged = &verdict.judged;
                let said = (word(&judged.verdict), judged.reasons.clone());
                came.steps.insert(verdict.step.clone(), said);
            }
            Fact::Sign(sign) => {
                came.outcome = word(&sign.outcome);
                came.words.clone_from(&sign.words);
            }
            Fact::End(end) => came.outcome.clone_from(&end.outcome),
            _ => {}
        }
    }
    came
}

/// The register of the plans' bench, with what it lacks on purpose: accuracies, a range that holds
/// a limit with the leads on top, and the number that the simulated multimeter gives as its own.
pub(super) fn instruments() -> String {
    let accuracy = "accuracy = { reading_percent = \"1\", digits = 5, coverage = \"none\" }";
    let mut text = INSTRUMENTS.replace("serial = \"0003\"", "serial = \"0001\"");
    for (from, to) in [("0.5 Ohm", "1 Ohm"), ("10 mA", "10 mA")] {
        let from = format!("to = \"{from}\"\n");
        assert!(text.contains(&from));
        text = text.replace(&from, &format!("to = \"{to}\"\n{accuracy}\n"));
    }
    text
}

pub(super) fn settings() -> StationSettings {
    let link = |id: &str, driver: &str, instrument: Option<&str>| LinkSettings {
        id: id.into(),
        bench: "b1".into(),
        driver: driver.into(),
        described: None,
        instrument: instrument.map(String::from),
        isolation: None,
    };
    let mut links = vec![link("dmm", "scpi", Some("DM-01")), link("scan", "scan", None)];
    links.extend(TALKERS.map(|(id, meter)| link(id, "val-unit-line", Some(meter))));
    let fixtures = ["SB-1", "NW-1", "NW-4", "FO-1", "IS-1", "IT-1", "L-1"];
    StationSettings {
        id: "K3".into(),
        name: "An invented workshop".into(),
        zone: Zone::named("Etc/UTC").unwrap(),
        zone_name: "Etc/UTC".into(),
        commit_ms: 20,
        policy: Policy { guard_ms: 300, ..Policy::default() },
        due: tapline_protocols::due::Counting::default(),
        wiring: None,
        benches: vec![BenchSettings {
            id: "b1".into(),
            name: "Bench 1".into(),
            fixtures: fixtures.map(String::from).to_vec(),
            witness: BTreeMap::new(),
            typed: Vec::new(),
        }],
        links,
    }
}
