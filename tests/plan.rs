//! Plans on the command line: output and exit code together, without a daemon. And CSV against
//! another reader.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::{env, fs};

use serde_json::Value;
use tapline::cli::plan::{Said, Show, check, check_at, show};
use tapline_protocols::limits::Table;
use tapline_protocols::plan::builtin_ids;
use tapline_protocols::read::csv;

const PLAN: &str = "iec62353-recurrent-direct";

fn here(path: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(path)
}

fn ask(asset: &str) -> Show {
    Show {
        plan: PLAN.into(),
        assets: here("contrib/example/assets.csv"),
        asset: asset.into(),
        fixtures: here("contrib/example/fixtures.toml"),
        instruments: Some(here("contrib/example/instruments.toml")),
        today: "2026-11-24".into(),
        ..Show::default()
    }
}

/// Compares with `tests/plans/NAME.expect`; `UPDATE_EXPECT=1` writes it.
#[track_caller]
fn expect(name: &str, said: &Said, code: u8) {
    let path = here("tests/plans").join(format!("{name}.expect"));
    assert_eq!((said.code, said.stderr.as_str()), (code, ""));
    if env::var_os("UPDATE_EXPECT").is_some() {
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, &said.stdout).unwrap();
    }
    assert_eq!(said.stdout, fs::read_to_string(&path).unwrap(), "{}", path.display());
}

fn json(said: &Said) -> Value {
    serde_json::from_str(&said.stdout).unwrap()
}

/// The example files with one of them changed.
fn changed(name: &str, from: &str, to: &str) -> (tempfile::TempDir, PathBuf) {
    let text = fs::read_to_string(here("contrib/example").join(name)).unwrap();
    assert!(text.contains(from), "{name} has no {from}");
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(name);
    fs::write(&path, text.replacen(from, to, 1)).unwrap();
    (folder, path)
}

#[test]
fn show_says_what_is_missing_then_steps_then_cost() {
    expect("fixed_cord", &show(&ask("P-0107")), 0);
    expect("detachable_cord", &show(&ask("P-0112")), 0);
    expect("class_two", &show(&ask("P-0118")), 0);
}

#[test]
fn show_on_paper_with_a_step_by_reason() {
    let with = vec!["insulation".into()];
    expect("on_paper", &show(&Show { instruments: None, with, ..ask("P-0109") }), 0);
}

/// Said before anybody measures: what is too wide, and what states nothing.
#[test]
fn show_says_what_a_bench_cannot_prove() {
    for (to, name) in [
        ("accuracy = { reading_percent = \"1\", digits = 500, coverage = \"none\" }", "too_wide"),
        ("", "not_stated"),
    ] {
        let from = "accuracy = { reading_percent = \"1\", digits = 5, coverage = \"none\" }";
        let (_folder, path) = changed("instruments.toml", from, to);
        let said = show(&Show { instruments: Some(path), ..ask("P-0107") });
        expect(name, &said, 0);
        assert!(said.stdout.contains("  pe, LR-01, at most 0.300 Ohm: CAN'T prove this"));
    }
}

/// A part of a type that the plan has no step for is not passed over in silence.
#[test]
fn show_names_the_applied_parts_that_no_step_measures() {
    let plan = here("contrib/plans/treatment-chair.toml").display().to_string();
    let (_folder, assets) = changed("assets.csv", "suction hose:BF:1", "hose:BF:1|wire:CF:2");
    let said = show(&Show { plan: plan.clone(), assets, ..ask("P-0118") });
    assert_eq!((said.code, said.stderr.as_str()), (0, ""));
    let wire =
        "No step of this plan measures the applied part `wire`: look whether another plan does.";
    assert_eq!(said.stdout.matches("measures the applied part").count(), 1, "{}", said.stdout);
    assert!(said.stdout.contains(wire), "{}", said.stdout);
    assert!(!show(&Show { plan, ..ask("P-0118") }).stdout.contains("measures the applied part"));
}

/// One asset for each plan that comes with the program, on a bench that lacks nothing.
const SHOWN: [(&str, &str, &[&str]); 14] = [
    ("iec62353-recurrent-direct", "A-01", &["insulation"]),
    ("iec62353-recurrent-differential", "A-01", &[]),
    ("iec62353-recurrent-alternative", "A-01", &[]),
    ("iec62353-after-repair", "A-01", &["together"]),
    ("iec62353-acceptance", "A-01", &["insulation", "insulation_applied"]),
    ("iec62353-system", "A-03", &[]),
    ("iec62353-installed", "A-04", &[]),
    ("iec60601-1-leakage", "A-07", &[]),
    ("iec60601-1-leakage-1988", "A-02", &[]),
    ("nfpa99-2012", "A-01", &[]),
    ("asnzs3551-2012", "A-01", &[]),
    ("non-medical", "A-05", &["insulation_heater"]),
    ("iec60065-touch", "A-06", &[]),
    ("spot-check", "A-05", &[]),
];

fn shipped(plan: &str, asset: &str) -> Show {
    Show {
        plan: plan.into(),
        assets: here("tests/plans/bench/assets.csv"),
        fixtures: here("tests/plans/bench/fixtures.toml"),
        instruments: Some(here("tests/plans/bench/instruments.toml")),
        ..ask(asset)
    }
}

#[test]
fn each_shipped_plan_as_it_is_shown() {
    let shown: Vec<&str> = SHOWN.iter().map(|(plan, ..)| *plan).collect();
    assert_eq!(shown, builtin_ids(), "a plan without its golden file");
    for (plan, asset, with) in SHOWN {
        let with = with.iter().map(ToString::to_string).collect();
        expect(&format!("shipped/{plan}"), &show(&Show { with, ..shipped(plan, asset) }), 0);
        expect(&format!("shipped/{plan}.limits"), &check(plan, true, false), 0);
    }
}

fn total(plan: &str, asset: &str, what: &str) -> u64 {
    let found = json(&show(&Show { json: true, ..shipped(plan, asset) }));
    assert_eq!(found["missing"], Value::Array(Vec::new()));
    found["totals"][what].as_u64().unwrap()
}

/// Counted by hand. Monitor: earth 4, touch 6, from 1 joined and 7 single connections to earth in
/// ac and dc 96, auxiliary 96, mains on each 16, all of type CF 12 and 2 with mains; and one
/// protective earth. Stimulator, class II with functional earth: touch 8, joined 2 x 8 x 2,
/// auxiliary 3 x 8 x 2, mains 2 x 2, all of type BF 16, and 2 with mains.
#[test]
fn a_sweep_counts_each_condition_once() {
    assert_eq!(total("iec60601-1-leakage", "A-01", "values"), 1 + 4 + 6 + 96 + 96 + 16 + 12 + 2);
    assert_eq!(total("iec60601-1-leakage", "A-07", "values"), 8 + 32 + 48 + 4 + 16 + 2);
}

/// Another edition has other limits: nothing is taken for granted.
#[test]
fn an_unknown_edition_stops() {
    for (plan, asset) in [
        ("iec60601-1-leakage", "A-02"),
        ("iec60601-1-leakage-1988", "A-07"),
        ("iec60601-1-leakage", "A-05"),
    ] {
        let said = show(&shipped(plan, asset));
        assert_eq!((said.code, said.stdout.as_str()), (2, ""));
        assert!(said.stderr.contains("another edition has other limits"), "{}", said.stderr);
    }
}

#[test]
fn a_plan_without_its_fixtures_does_not_expand() {
    let example = here("contrib/example/fixtures.toml");
    for (plan, asset, lacks) in [
        ("iec62353-recurrent-alternative", "A-01", "isolated_source"),
        ("iec60601-1-leakage", "A-07", "isolating_transformer"),
    ] {
        let said = show(&Show { fixtures: example.clone(), ..shipped(plan, asset) });
        assert_eq!((said.code, said.stdout.as_str()), (2, ""));
        assert!(said.stderr.contains(&format!("this bench lacks {lacks}")), "{}", said.stderr);
    }
}

#[test]
fn a_computed_limit_says_how() {
    let shown = show(&shipped("non-medical", "A-05")).stdout;
    assert!(shown.contains("at most 0.4 Ohm") && shown.contains("at most 6 mA"), "{shown}");
    assert!(shown.contains("12.5 m of cord: 0.3 Ohm and 0.1 Ohm for each full 7.5 m"), "{shown}");
    let shown = show(&shipped("non-medical", "A-06")).stdout;
    assert!(!shown.contains("Ohm"), "class II has no conductor: {shown}");
}

#[test]
fn check_lists_the_limits() {
    expect("limits", &check(PLAN, true, false), 0);
    let found = json(&check(PLAN, false, true));
    assert_eq!(found["faults"], Value::Array(Vec::new()));
    let memory = |limit: &&Value| limit["confidence"] == "memory";
    assert_eq!(found["limits"].as_array().unwrap().iter().filter(memory).count(), 5);
}

/// Counted by hand for one asset: one point in two directions, S7 opened, S5 turned once, the
/// supply on and off for each of two conditions, S7 closed again before the leads are moved.
#[test]
fn the_cost_of_a_plan_counted_by_hand() {
    let found = json(&show(&Show { json: true, ..ask("P-0109") }));
    let totals = &found["totals"];
    assert_eq!(totals["values"], 4);
    assert_eq!(totals["answers"], 8);
    assert_eq!(totals["placements"], 3);
    assert_eq!(totals["moves"], 7);
    assert_eq!(totals["acts"], 7);
    // 4 x (5 + 3) + 8 x 15 + 3 x 30 + 7 x 5 + 7 x 5 = 312 s.
    assert_eq!(totals["minutes"], 6);
    assert_eq!(totals["closed"], 0);
    assert_eq!(found["missing"], Value::Array(Vec::new()));
    let leak = found["steps"].as_array().unwrap().iter().find(|s| s["step"] == "leak/2").unwrap();
    assert_eq!(leak["moves"], serde_json::json!(["S5=reversed", "supply=on", "supply=off"]));
    assert_eq!((&leak["lead"], &leak["places_leads"]), (&"leak.box".into(), &false.into()));
}

macro_rules! missing {
    ($($name:ident: $from:literal => $to:literal: $step:literal, $lacks:literal;)*) => {$(
        #[test]
        fn $name() {
            let (_folder, fixtures) = changed("fixtures.toml", $from, $to);
            let found = json(&show(&Show { fixtures, json: true, ..ask("P-0109") }));
            let missing = found["missing"].as_array().unwrap();
            let wanted = serde_json::json!({
                "step": $step, "closed": "fixture_missing", "lacks": [$lacks],
            });
            assert_eq!(missing, &vec![wanted]);
        }
    )*};
}

missing! {
    a_box_without_s7: ", S7 = \"declared\"" => "": "leak", "supply_box.S7";
    a_box_out_of_date: "2027-05-31" => "2026-11-23": "leak", "supply_box.expired";
    a_box_that_opens_one_pole: "\"all\"" => "\"one\"": "leak", "supply_box.poles";
    another_network: "\"NW-1\"" => "\"NW-9\"": "leak", "NW-1";
    no_leads: "[[lead]]\nid = \"L-1\"\nwhat = \"clip to plug contact, four-wire\"\nreference = \
               { plus = \"0.058 Ohm\", minus = \"0.059 Ohm\" }" => "": "pe", "lead";
}

#[test]
fn remarks_come_before_the_steps() {
    let (_folder, assets) = changed("assets.csv", "yes,case screw,", "yes,,");
    let said = show(&Show { assets, ..ask("P-0107") });
    let (before, _) = said.stdout.split_once("\nSteps\n").unwrap();
    assert!(before.contains("nothing can prove its protective earth"), "{before}");
    let (_folder, assets) = changed("assets.csv", "insulation=maker", "insulaton=maker");
    let said = show(&Show { assets, ..ask("P-0107") });
    assert!(said.stdout.contains("The asset excludes step `insulaton`"), "{}", said.stdout);
}

fn refused(stderr: &str) -> Said {
    Said { stdout: String::new(), stderr: stderr.into(), code: 2 }
}

#[test]
fn a_plan_that_is_not_for_the_asset_is_input_that_is_wrong() {
    let said = show(&ask("P-0121"));
    let class = "plan `iec62353-recurrent-direct` is for class I, II; asset `P-0121` is internal";
    assert!(said.stderr.contains(class), "{}", said.stderr);
    assert_eq!((said.stdout.as_str(), said.code), ("", 2));
}

#[test]
fn what_is_not_there_is_said() {
    let said = show(&Show { with: vec!["pe".into()], ..ask("P-0107") });
    let text = "iec62353-recurrent-direct: has no step `pe` that is asked for by a reason\n";
    assert_eq!(said, refused(text));
    let said = show(&ask("P-9"));
    assert!(said.stderr.ends_with("assets.csv: has no asset `P-9` among its 5\n"));
    let said = check("iec62353-recurent", false, false);
    assert!(said.stderr.contains("built in: iec62353-recurrent-direct"), "{}", said.stderr);
    let none = here("contrib/example/none.toml");
    let said = show(&Show { fixtures: none.clone(), ..ask("P-0107") });
    assert!(said.stderr.starts_with(&format!("{}: can't be read", none.display())));
}

#[test]
fn faults_of_a_plan_have_file_and_line() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("mine.toml");
    let text = fs::read_to_string(here(&format!("protocols/plans/{PLAN}.toml"))).unwrap();
    fs::write(&path, text.replacen("capture   =", "captrue   =", 1)).unwrap();
    let name = path.display().to_string();
    let line = text.lines().position(|l| l.starts_with("capture   =")).unwrap() + 1;
    let said = check(&name, false, false);
    let fault = "`step.pe.captrue` is no known key; did you mean `capture`?";
    assert_eq!(said, refused(&format!("{name}:{line}: {fault}\n")));
    let found = json(&check(&name, false, true));
    assert_eq!(found["faults"][0]["line"], line);
    let (before, leak) = text.split_at(text.find("id         = \"leak\"").unwrap());
    let ungated = format!("{before}{}", leak.replacen("needs_gate =", "# needs_gate =", 1));
    fs::write(&path, ungated.replacen("S7 = \"open\"", "S5 = \"normal\", S7 = \"open\"", 1))
        .unwrap();
    let said = check(&name, false, false);
    let at = |key: &str| text.lines().position(|l| l.starts_with(key)).unwrap() + 1;
    let step = before.rfind("[[step]]").unwrap();
    let gate = format!(
        "{name}:{}: `step.leak.needs_gate` an energised step that class I comes to needs \
         `needs_gate = \"protective_earth\"`\n",
        text[..step].lines().count() + 1
    );
    let sweep = at("sweep");
    let sweep = format!("{name}:{sweep}: `step.leak.sweep` `S5` stands in `set` as well\n");
    assert_eq!(said, refused(&(gate + &sweep)));
    fs::write(&path, b"format = \"tapline-plan-1\"\nid = \"\xff\"\n").unwrap();
    assert_eq!(
        check(&name, false, false),
        refused(&format!("{name}: is not UTF-8 on line 2: save it as UTF-8\n"))
    );
}

/// Python's csv module writes 200 rows of everything that breaks readers; what it wrote comes
/// with it as JSON, and we read the same fields.
#[test]
fn two_hundred_nasty_rows_of_another_writer() {
    let script = r#"
import csv, io, json, random
random.seed(4180)
bits = ['"', '""', ',', ';', '|', '\n', '\r\n', '\r', '\t', ' ', 'x', '12', 'Ohm', '\u00fc',
        '\ufeff', '\u2028', "'", '\\', '=1+1', '\x00', '\U0001f50c']
def field():
    return ''.join(random.choice(bits) for _ in range(random.randint(0, 9)))
out = []
for separator in ',;':
    for quoting, end in ((csv.QUOTE_MINIMAL, '\r\n'), (csv.QUOTE_ALL, '\n')):
        rows = [['asset', 'maker', 'note', 'more']]
        rows += [[field() for _ in range(4)] for _ in range(50)]
        text = io.StringIO(newline='')
        csv.writer(text, delimiter=separator, quoting=quoting, lineterminator=end).writerows(rows)
        out.append([text.getvalue(), rows])
print(json.dumps(out))
"#;
    let made = Command::new("python3").args(["-c", script]).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let files: Vec<(String, Vec<Vec<String>>)> = serde_json::from_slice(&made.stdout).unwrap();
    assert_eq!(files.iter().map(|(_, rows)| rows.len() - 1).sum::<usize>(), 200);
    for (text, wanted) in files {
        let texts = |row: Vec<csv::Field>| row.into_iter().map(|f| f.text).collect();
        let read: Vec<Vec<String>> = csv::rows(&text).unwrap().into_iter().map(texts).collect();
        assert_eq!(read, wanted);
    }
}

/// A workshop's own limit, in `limits/` beside its configuration.
#[test]
fn a_workshops_own_limit_counts_without_a_station() {
    let site = tempfile::tempdir().unwrap();
    fs::create_dir(site.path().join("limits")).unwrap();
    let table = Table::parse(Table::builtin("IEC 62353", "2014").unwrap()).unwrap();
    let row = table.rows.iter().find(|row| row.id == "iec62353-2014.pe.inlet").unwrap();
    let text = table.text_of(&[row]).replace(&row.id, "our.inlet").replace("0.200", "0.150")
        + "layer = \"site\"\napproved_by = \"K. Vogt\"\nreason = \"our own\"\n"
        + "date = \"2026-11-24\"\n";
    let path = site.path().join("limits/ours.toml");
    fs::write(&path, &text).unwrap();
    let said = check_at(PLAN, Some(site.path()), true, false);
    assert_eq!(said.code, 0, "{}", said.stderr);
    assert!(said.stdout.contains("our.inlet"), "{}", said.stdout);
    assert!(!check(PLAN, true, false).stdout.contains("our.inlet"));
    let shown = show(&Show { site: Some(site.path().into()), ..ask("P-0112") });
    assert!(shown.stdout.contains("at most 0.150 Ohm"), "{}", shown.stdout);
    fs::write(&path, text.replace("max", "most")).unwrap();
    let said = check_at(PLAN, Some(site.path()), true, false);
    assert_eq!(said.code, 2);
    assert!(said.stderr.contains("ours.toml:"), "{}", said.stderr);
}
