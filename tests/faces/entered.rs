//! What is typed is entered twice: two that differ count for nothing, and nobody is told which.

use super::support::http;
use super::support::station::Builder;

const EXAMPLE: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/contrib/example");

#[test]
fn two_entries_that_differ_are_refused_and_not_told() {
    let station = Builder::new().page().start();
    let file = |name: &str| format!("{EXAMPLE}/{name}");
    station.done(&["operator", "import", &file("operators.toml")]);
    station.done(&["asset", "import", &file("assets.csv")]);
    station.done(&["operator", "login", "OP-0007"]);
    station.done(&["begin", "--asset", "P-0109", "iec62353-recurrent-direct"]);
    let volts =
        |ln: &'static str| ["prove", "supply", "--ln", ln, "--npe", "0.2", "--lpe", "229.9"];
    let once = station.run(&volts("230.1"));
    assert_eq!(once.code, 0, "{once:?}");
    assert!(once.stderr.contains("second time"), "{once:?}");
    let apart = station.run(&volts("231.7"));
    assert_ne!(apart.code, 0, "{apart:?}");
    assert!(apart.stderr.contains("the two entries differ"), "{apart:?}");
    let (status, text) = http::ask(
        &station.socket(),
        "POST",
        "/v1/benches/b1/prove",
        r#"{"what":"supply","ln":"230.1","npe":"0.2","lpe":"229.9"}"#,
    )
    .unwrap();
    assert_eq!(status, 200, "the first of two again, though it was entered before: {text}");
    assert!(text.contains("entered.once"), "{text}");
    let (status, text) = http::ask(
        &station.socket(),
        "POST",
        "/v1/benches/b1/prove",
        r#"{"what":"supply","ln":"231.7","npe":"0.2","lpe":"229.9"}"#,
    )
    .unwrap();
    assert_eq!(status, 409, "{text}");
    let told = [once.stderr, once.stdout, apart.stderr, apart.stdout, text].concat();
    assert!(!told.contains("230.1") && !told.contains("231.7"), "{told}");
    station.done(&volts("230"));
    let twice = station.run(&volts("230"));
    assert!(!twice.stderr.contains("second time"), "{twice:?}");
}
