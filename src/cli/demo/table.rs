//! What came of the scenes, and where the records lie.

use std::path::{Path, PathBuf};

use super::play::Played;
use crate::cli::plain::plain;
use crate::cli::render::Paint;
use crate::cli::{Trouble, output};
use crate::words::english;

pub(super) fn print(played: &[Played], data: PathBuf) -> Result<(), Trouble> {
    let paint = Paint::of_stdout();
    output::data("")?;
    for one in played {
        output::painted(&paint.verdicts(&plain(&row(one))))?;
        for reason in unique(&one.reasons) {
            output::data(&format!("{:10}{}", "", english().say("reason", reason)))?;
        }
        for missing in &one.missing {
            output::data(&format!("{:10}NOT AS EXPECTED: {missing}", ""))?;
        }
    }
    output::data("\nSealed records (a shell, sha256sum and openssl can check them):")?;
    let records = records(&data.join("inspections"));
    for record in &records {
        output::data(&format!("  {}", record.display()))?;
    }
    let Some(last) = records.last() else { return Ok(()) };
    output::data(&format!(
        "\n  sh contrib/verify.sh {} {}",
        last.display(),
        data.join("keys/DEMO-1.pub.pem").display()
    ))
}

fn row(one: &Played) -> String {
    let outcome = english().say("verdict", &one.outcome);
    let steps: Vec<String> = one
        .steps
        .iter()
        .map(|(step, word)| format!("{step} {}", english().say("verdict", word).to_lowercase()))
        .collect();
    let (id, asset) = (&one.id, &one.scene.asset);
    format!("{id}  {asset:8} {outcome:17} {}\n{:10}{}", one.scene.title, "", steps.join(", "))
}

/// Reasons in their order, each once.
fn unique(reasons: &[String]) -> Vec<&str> {
    let mut seen: Vec<&str> = Vec::new();
    for reason in reasons {
        if !seen.contains(&reason.as_str()) {
            seen.push(reason);
        }
    }
    seen
}

/// The sealed records below a folder, in order of their names.
fn records(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).into_iter().flatten().flatten() {
        let path = entry.path();
        if path.is_dir() {
            found.extend(records(&path));
        } else if path.extension().is_some_and(|ending| ending == "jsonl") {
            found.push(path);
        }
    }
    found.sort();
    found
}
