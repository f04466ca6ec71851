//! What a check of a plan found, on a terminal and as JSON.

use std::fmt::Write;

use serde::Serialize;
use serde_json::{Value, json};
use tapline_protocols::Fault;
use tapline_protocols::limits::Table;
use tapline_protocols::plan::{self, Plan, Reached};

use super::line;
use crate::told::outline::confidence;
use crate::told::rows::table;

/// One fault a row: `FILE:LINE: field: text`.
pub(super) fn faults(file: &str, faults: &[Fault]) -> String {
    let mut out = String::new();
    for fault in faults {
        let line = if fault.line == 0 { String::new() } else { format!(":{}", fault.line) };
        let field = if fault.field.is_empty() { "" } else { &format!("`{}` ", fault.field) };
        let _ = writeln!(out, "{file}{line}: {field}{}", fault.text);
    }
    out
}

/// `{"file","faults":[{"line","field","text"}]}`.
pub(super) fn faults_json(file: &str, faults: &[Fault]) -> String {
    let list: Vec<Value> = faults.iter().map(fault_json).collect();
    line(&json!({ "file": file, "faults": list }))
}

fn fault_json(fault: &Fault) -> Value {
    json!({ "line": fault.line, "field": fault.field, "text": fault.text })
}

/// `{"plan","steps","faults":[],"limits":[{"step","id","limit","clause","confidence","source"}]}`.
pub(super) fn check_json(plan: &Plan, tables: &[Table]) -> String {
    #[derive(Serialize)]
    struct Limit<'a> {
        step: &'a str,
        id: &'a str,
        limit: String,
        clause: &'a str,
        confidence: &'a str,
        source: &'a [String],
    }
    let reached = plan::reached(plan, tables);
    let limits: Vec<Limit<'_>> = reached
        .iter()
        .map(|reached| Limit {
            step: &reached.step.id,
            id: &reached.row.id,
            limit: reached.row.bound.amount.to_string(),
            clause: &reached.row.clause,
            confidence: reached.row.confidence.word(),
            source: &reached.row.source,
        })
        .collect();
    let steps = plan.steps.len();
    line(&json!({ "plan": plan.id, "steps": steps, "faults": [], "limits": limits }))
}

/// How many limits a plan without faults rests on, and on request which.
pub(super) fn check(plan: &Plan, tables: &[Table], limits: bool) -> String {
    let mut reached = plan::reached(plan, tables);
    let open = reached.iter().filter(|reached| reached.is_unconfirmed()).count();
    let mut out = format!(
        "{}: no faults; {} steps, {} limits, {open} of them unconfirmed\n",
        plan.id,
        plan.steps.len(),
        reached.len()
    );
    if limits {
        reached.sort_by_key(|reached| !reached.is_unconfirmed());
        let row = |r: &Reached<'_>| {
            [
                confidence(r.row.confidence.word()).to_string(),
                r.step.id.clone(),
                r.row.id.clone(),
                r.row.bound.amount.to_string(),
                r.row.clause.clone(),
            ]
        };
        out.push_str(&table(&reached.iter().map(row).collect::<Vec<_>>()));
    } else if open > 0 {
        out.push_str("`--limits` lists them; `limits confirm` opens the unconfirmed ones.\n");
    }
    out
}
