//! The interface against its own OpenAPI document, asked by a tester that nobody here wrote
//! (schemathesis): what the document says is taken, what it forbids is refused, every answer has
//! the shape that it promises, and nothing makes the station fall over.
//!
//! `EXAMPLES=200` tries more for each operation.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use std::process::Command;

use support::python::interpreter;
use support::station::Builder;

/// A stream without end is no question with an answer.
const ENDLESS: &str = "/v1/feed";

#[test]
fn the_interface_is_as_its_document_says() {
    let station = Builder::new().page().start();
    let address = station.done(&["page"]);
    let (place, secret) = address.trim().split_once("/#").unwrap();
    let examples = std::env::var("EXAMPLES").unwrap_or_else(|_| "10".into());
    let tool = interpreter().with_file_name("schemathesis");
    let config = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/outside/schemathesis.toml");
    let folder = tempfile::tempdir().unwrap();
    let done = Command::new(tool)
        // It keeps what it found where it runs.
        .current_dir(folder.path())
        .args(["--config-file", config, "run"])
        .args([&format!("{place}/v1/openapi.json"), "--no-color", "--continue-on-failure"])
        .args(["--header", &format!("Authorization: Bearer {secret}")])
        .args(["--exclude-path", ENDLESS, "--max-examples", &examples])
        .args(["--phases", "examples,coverage,fuzzing", "--seed", "1", "--warnings", "off"])
        .args(["--generation-database", "none"])
        .output()
        .expect("install schemathesis: contrib/ci.sh does");
    let said = String::from_utf8_lossy(&done.stdout);
    assert!(done.status.success(), "{said}\n{}", String::from_utf8_lossy(&done.stderr));
    assert!(said.contains("No issues found"), "{said}");
    assert_eq!(station.get("/v1/status")["halted"], serde_json::Value::Null);
}
