//! The page: what was played, what came of it, and what is not caught.

use std::fmt::Write as _;

use super::assets::{Asset, FAULTY, GOOD};
use super::campaign::Played;
use super::case::Came;
use super::mistakes::Mistake;

/// The whole page.
#[must_use]
pub fn page(played: &Played) -> String {
    let count = |word: &str| played.faulty().filter(|came| came.word == word).count();
    let missed = count("pass");
    let mut page = format!(
        "# What a wrong bench can make of a faulty asset\n\n\
         Written by `tests/false_pass.rs` and compared with what it plays: {} faulty assets with \
         {} mistakes,\n{} inspections of the station's core on a circuit that is solved for what \
         is really connected.\n\n\
         | came out as | times |\n|---|---|\n| fail | {} |\n| undecided | {} |\n| given up by the \
         person | {} |\n| **pass** | {missed} |\n\n",
        FAULTY.len(),
        played.mistakes.len(),
        played.faulty().count(),
        count("fail"),
        count("undecided"),
        count("given_up"),
    );
    not_caught(&mut page, played);
    careful(&mut page, &played.careful);
    table(&mut page, played);
    assets(&mut page);
    page
}

fn not_caught(page: &mut String, played: &Played) {
    page.push_str("## What is not caught, and why\n\n| mistake | passes | why | what to do |\n|---|---|---|---|\n");
    for (row, Mistake { says, cannot, instead, .. }) in played.mistakes.iter().enumerate() {
        let passed = played.passed(row);
        if !passed.is_empty() {
            let _ = writeln!(page, "| {says} | {} | {cannot} | {instead} |", passed.join(", "));
        }
    }
    page.push('\n');
}

/// The good assets: what an inspection costs.
fn careful(page: &mut String, row: &[Came]) {
    page.push_str(
        "## Good assets in careful hands\n\nThey pass, with no more acts of the hands than the same \
         inspection takes without a station\n(\"by hand\", counted from the trade's own order of \
         acts). Minutes are those of a person who never\nhesitates: what the instruments and the \
         windows take.\n\n\
         | asset | comes out as | acts of the hands | by hand | scans | given to the station | \
         minutes |\n|---|---|---|---|---|---|---|\n",
    );
    for (asset, came) in GOOD.iter().zip(&row[FAULTY.len()..]) {
        let (seconds, [hands, scans, asks]) = came.cost;
        let (tenths, Asset { id, says, hands: need, .. }) = (seconds.div_ceil(6), asset);
        let minutes = format!("{}.{}", tenths / 10, tenths % 10);
        let word = &came.word;
        let _ = writeln!(
            page,
            "| {id}: {says} | {word} | {hands} | {need} | {scans} | {asks} | {minutes} |"
        );
    }
    page.push('\n');
}

fn table(page: &mut String, played: &Played) {
    page.push_str(
        "## Every mistake on every asset\n\n`F` fail, `u` undecided, `-` given up, **P** pass. \
         The reasons are those of the undecided and\ngiven up ones; the last column is what a good \
         asset of each kind comes to.\n\n",
    );
    let ids: Vec<String> = FAULTY.iter().map(|asset| asset.id.replace(' ', "&nbsp;")).collect();
    let _ = writeln!(page, "| mistake | {} | reasons | good |", ids.join(" | "));
    let _ = writeln!(page, "|---|{}---|---|", "---|".repeat(FAULTY.len()));
    for (mistake, row) in played.mistakes.iter().zip(&played.rows) {
        let (faulty, good) = row.split_at(FAULTY.len());
        let cells: Vec<&str> = faulty.iter().map(|came| letter(&came.word)).collect();
        let good: Vec<&str> = good.iter().map(|came| letter(&came.word)).collect();
        let Mistake { id, says, .. } = mistake;
        let (cells, good) = (cells.join(" | "), good.join(" "));
        let _ = writeln!(page, "| `{id}`: {says} | {cells} | {} | {good} |", reasons(faulty));
    }
    page.push('\n');
}

fn letter(word: &str) -> &str {
    match word {
        "fail" => "F",
        "undecided" => "u",
        "given_up" => "-",
        "pass" => "**P**",
        other => other,
    }
}

/// What keeps a faulty asset from passing, by how often: the three that do most.
fn reasons(row: &[Came]) -> String {
    let mut counts = std::collections::BTreeMap::new();
    let open = row.iter().filter(|came| came.word != "fail" && came.word != "pass");
    for reason in open.flat_map(|came| &came.reasons) {
        let beside = ["conditions_declared", "near_limit", "nothing_earlier", "open_seen"];
        if !beside.contains(&reason.as_str()) {
            *counts.entry(reason.as_str()).or_insert(0) += 1;
        }
    }
    let mut counts: Vec<(&str, i32)> = counts.into_iter().collect();
    counts.sort_by_key(|(reason, count)| (-count, *reason));
    counts.into_iter().take(3).map(|(reason, _)| reason).collect::<Vec<_>>().join(", ")
}

fn assets(page: &mut String) {
    page.push_str("## The faulty assets\n\n| asset | what is wrong |\n|---|---|\n");
    for Asset { id, says, .. } in &FAULTY {
        let _ = writeln!(page, "| {id} | {says} |");
    }
}
