//! A workshop's own plans and limits: that they are in force where the page for them says they lie,
//! and what of them a station doesn't start with. The real program.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::fs;
use std::path::Path;
use std::process::Command;

use serde_json::Value;
use support::station::{Builder, Output, Station, TAPLINE};
use tapline_protocols::limits::Table;

const CHAIR: &str = include_str!("../contrib/plans/treatment-chair.toml");

/// A row of the standard under another name and value, as the workshop's own.
fn ours(from: &str, to: &str, values: [&str; 2], more: &str) -> String {
    let table = Table::parse(Table::builtin("IEC 62353", "2014").unwrap()).unwrap();
    let text = table.text_of(&[table.row(from).unwrap()]);
    assert!(text.contains(values[0]), "{text}");
    let text = text.replace(from, to).replace(values[0], values[1]);
    format!(
        "{text}layer = \"site\"\napproved_by = \"K. Vogt\"\nreason = \"our own\"\n\
         date = \"2026-11-24\"\n{more}\n"
    )
}

fn lay(folder: &Path, what: &str, name: &str, text: &str) {
    fs::create_dir_all(folder.join(what)).unwrap();
    fs::write(folder.join(what).join(name), text).unwrap();
}

fn row(station: &Station, id: &str) -> Value {
    let mut limits = station.get("/v1/limits");
    let items = limits["items"].as_array_mut().unwrap();
    items.iter_mut().find(|item| item["id"] == id).map_or(Value::Null, Value::take)
}

#[test]
fn what_lies_beside_the_configuration_is_in_force() {
    let builder = Builder::new();
    let inlet = "iec62353-2014.pe.inlet";
    lay(builder.folder(), "limits", "a.toml", &ours(inlet, "our.inlet", ["0.200", "0.150"], ""));
    lay(builder.folder(), "plans", "chair.toml", CHAIR);
    // Where earlier programs looked.
    let cord = "iec62353-2014.pe.cord_alone";
    let text = ours(cord, "our.cord", ["0.100", "0.090"], "");
    lay(&builder.folder().join("data"), "limits", "b.toml", &text);
    let station = builder.start();
    assert_eq!(row(&station, "our.inlet")["layer"], "site");
    assert_eq!(row(&station, "our.cord")["layer"], "site");
    let plans = station.get("/v1/plans");
    let plans = plans["items"].as_array().unwrap();
    assert!(plans.iter().any(|plan| plan["id"] == "treatment-chair"));
}

/// What was read in the copy of the standard is a value. A file that is changed afterwards, and
/// keeps the name of the row, was not read.
#[test]
fn a_confirmation_holds_for_what_was_read() {
    let builder = Builder::new();
    let path = builder.folder().to_path_buf();
    let standard = "iec62353-2014.insulation.mains_to_earth";
    let lay_over = |value: &str| {
        let text = ours(standard, "our.insulation", ["\"2 MOhm\"", value], "");
        lay(&path, "limits", "ours.toml", &text);
    };
    lay_over("\"5 MOhm\"");
    let mut station = builder.start();
    let confirmed = |station: &Station, id: &str| row(station, id)["confirmed"] == true;
    let other = "iec62353-2014.part.direct.cf";
    for id in ["our.insulation", other] {
        assert!(!confirmed(&station, id), "{id}");
        let words = ["--document", "own copy 3", "--clause", "Table 2", "--by", "op-7"];
        station.done(&[&["limits", "confirm", id][..], &words[..]].concat());
        assert!(confirmed(&station, id), "{id}");
    }
    let show = ["plan", "show", "iec62353-recurrent-direct", "--asset", "T-0201"];
    assert!(!station.done(&show).contains("confirmed here"));
    let words = ["--document", "own copy 3", "--clause", "Table 2", "--by", "op-7"];
    let row = "iec62353-2014.equipment.direct.ii";
    station.done(&[&["limits", "confirm", row][..], &words[..]].concat());
    assert!(station.done(&show).contains("confirmed here"));
    station.stop();
    lay_over("\"3 MOhm\"");
    station.restart();
    assert!(!confirmed(&station, "our.insulation"), "nobody has read 3 MOhm");
    assert!(confirmed(&station, other));
    station.stop();
    lay_over("\"5 MOhm\"");
    station.restart();
    assert!(confirmed(&station, "our.insulation"));
}

/// `serve --check` with these files: how it ends, and what it says.
fn checked(files: &[(&str, &str, &str)]) -> Output {
    let folder = tempfile::tempdir().unwrap();
    let config = folder.path().join("tapline.toml");
    let text = include_str!("../contrib/example/one-meter.toml");
    fs::write(&config, text).unwrap();
    for (what, name, text) in files {
        lay(folder.path(), what, name, text);
    }
    Output::of(Command::new(TAPLINE).args(["serve", "--check", "--config"]).arg(&config))
}

#[test]
fn a_station_does_not_start_with_what_would_pass_too_much() {
    assert_eq!(checked(&[("plans", "chair.toml", CHAIR)]).code, 0);
    let inlet = "iec62353-2014.pe.inlet";
    let lax = |more: &str| ours(inlet, "our.inlet", ["0.200", "0.300"], more);
    assert_eq!(checked(&[("limits", "a.toml", &lax("second = \"R. Ohm\""))]).code, 0);
    let whole = Table::builtin("IEC 62353", "2014").unwrap().replace("-2014.", "-ours.");
    let unproved = CHAIR.replace("\"alive\", \"supply\"", "\"alive\"");
    let unsaid = CHAIR.replace("\"no_patient\"", "\"no_pateint\"");
    for (files, said) in [
        (vec![("plans", "chair.toml", unproved.as_str())], "proves `alive` and `supply`"),
        (vec![("plans", "chair.toml", &unsaid)], "did you mean `no_patient`?"),
        (vec![("plans", "a.toml", CHAIR), ("plans", "b.toml", CHAIR)], "already"),
        (vec![("limits", "a.toml", &lax(""))], "is laxer than `iec62353-2014.pe.inlet`"),
        (vec![("limits", "a.toml", &lax("second = \"K. Vogt\""))], "somebody else than `K. Vogt`"),
        (vec![("limits", "a.toml", &whole)], "lay rows over it"),
    ] {
        let output = checked(&files);
        assert_eq!(output.code, 2, "{output:?}");
        assert!(output.stderr.contains(said), "{said}: {output:?}");
    }
}
