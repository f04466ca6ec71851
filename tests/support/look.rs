//! Inspections that need no meter, and the books that they leave.

use std::fs;
use std::path::PathBuf;

use super::station::{Builder, Station};

/// What is looked at and no more: an outcome without a meter.
const PLAN: &str = r#"
format = "tapline-plan-1"
id = "look-only"
title = "Look"
standard = "IEC 62353"
edition = "2014"
for = { class = ["I", "II"], cord = ["fixed", "detachable"] }
[[step]]
id = "look"
kind = "look"
items = ["fuses", "housing"]
"#;

/// A station with that plan and three more people, each with the badge of the number, `OP-0003`;
/// `op-4` has the name of `op-7`.
pub(crate) fn station(builder: Builder) -> Station {
    fs::create_dir_all(builder.folder().join("plans")).unwrap();
    fs::write(builder.folder().join("plans/look.toml"), PLAN).unwrap();
    let station = builder.start();
    let more = station.folder().join("more.toml");
    fs::write(&more, OPERATORS).unwrap();
    station.done(&["operator", "import", more.to_str().unwrap()]);
    station
}

const OPERATORS: &str = r#"
format = "tapline-operators-1"
[[operator]]
id = "op-3"
name = "Anna Berg"
badge = "OP-0003"
[[operator]]
id = "op-4"
name = "FELD, R."
badge = "OP-0004"
[[operator]]
id = "op-5"
name = "Mara Stein"
badge = "OP-0005"
"#;

/// Inspects an asset by looking at it.
pub(crate) fn inspected(station: &Station, asset: &str, answers: [&str; 2]) -> String {
    station.done(&["scan", asset]);
    let said = station.done(&["begin", "look-only"]);
    let id = said.lines().next().unwrap().to_owned();
    for (item, answer) in ["fuses", "housing"].iter().zip(answers) {
        station.done(&["answer", answer, "--item", item]);
    }
    station.done(&["scan", asset]);
    let tag: &[&str] =
        if answers == ["pass", "pass"] { &["sign"] } else { &["sign", "--tag", "attached"] };
    station.run(tag);
    assert!(book(station, &id).is_file(), "{id} is sealed: {}", station.log());
    id
}

pub(crate) fn book(station: &Station, id: &str) -> PathBuf {
    let day = id.split('-').nth(1).unwrap();
    station.data().join(format!("inspections/{}/{}/{id}.jsonl", &day[..4], &day[4..6]))
}
