//! `tapline replay --all`: every record of a data folder once more; only what differs is listed.

use std::path::Path;

use serde_json::json;

use super::args::{Common, Replay, Span};
use super::replay::replayed;
use super::{Exit, Trouble, crowd, offline, output};
use crate::books::OnShelf;
use crate::past::{Refused, place_of, records};
use crate::replay::{Difference, Report, Verdict};
use crate::told::judged::change;
use crate::words::english;

/// So many differences of one record are printed, verdicts aside.
const PRINTED_MAX: usize = 3;

/// Replays all records of a data folder. Exit: as the worst of them, 2 before 1 before 3 before 0.
pub(super) fn all(args: &Replay, common: &Common) -> Result<Exit, Trouble> {
    let folder = offline::folder(args.file.as_deref(), &args.config)?;
    let records = records(&folder).map_err(Trouble::Said)?;
    let mut sum = Sum::default();
    let work = |record: &OnShelf| one(&folder, record, &args.span);
    let pace = crowd::each(&records, work, |record, result| {
        sum.add(&result);
        let lines = match (&result, common.json) {
            (Ok(Some(report)), true) => json_line(record, report).into_iter().collect(),
            (Ok(Some(report)), false) => text(record, report),
            (Ok(None), _) => Vec::new(),
            (Err(why), as_json) => {
                output::talk(&format!("{}: {why}", record.id));
                let line = json!({ "id": record.id, "trouble": why }).to_string();
                if as_json { vec![line] } else { Vec::new() }
            }
        };
        lines.iter().try_for_each(|line| output::data(line))
    })?;
    if common.json {
        output::data(&json!({ "summary": sum.json() }).to_string())?;
    }
    output::talk(&sum.text(pace.rate()));
    Ok(Exit::of_code(sum.exit))
}

/// `None`: it is not among those that are wanted.
fn one(folder: &Path, record: &OnShelf, span: &Span) -> Result<Option<Report>, String> {
    let (path, in_work) = place_of(folder, record);
    match replayed(&path, in_work, |open, at| {
        span.wants(open.inspection.as_ref().map(|one| one.asset.as_str()), at)
    }) {
        Ok(report) => Ok(Some(report)),
        Err(Refused::Unwanted) => Ok(None),
        Err(Refused::Trouble(why)) => Err(why),
    }
}

#[derive(Debug, Default)]
struct Sum {
    replayed: usize,
    same: usize,
    differ: usize,
    verdicts: usize,
    comes_near: usize,
    doubtful: usize,
    trouble: usize,
    exit: u8,
}

impl Sum {
    fn add(&mut self, result: &Result<Option<Report>, String>) {
        match result {
            Ok(Some(report)) => {
                let code = report.exit_code();
                self.exit = super::judge::worse(self.exit, code);
                self.replayed += 1;
                self.same += usize::from(code == 0);
                self.differ += usize::from(code != 0);
                let changes = report.verdicts.iter().filter(|verdict| verdict.changes).count();
                self.verdicts += changes;
                self.comes_near += report.verdicts.len() - changes;
                self.doubtful += report.doubtful;
            }
            Ok(None) => {}
            Err(_) => {
                self.trouble += 1;
                self.exit = super::judge::worse(self.exit, 2);
            }
        }
    }

    fn json(&self) -> serde_json::Value {
        json!({
            "records": self.replayed, "same": self.same, "differ": self.differ,
            "verdicts_change": self.verdicts, "verdicts_come_near": self.comes_near,
            "verdicts_within_doubt": self.doubtful, "trouble": self.trouble,
        })
    }

    fn text(&self, (rate, seconds): (String, String)) -> String {
        let values = [
            ("records", self.replayed.to_string()),
            ("same", self.same.to_string()),
            ("differ", self.differ.to_string()),
            ("verdicts", self.verdicts.to_string()),
            ("near", self.comes_near.to_string()),
            ("doubtful", self.doubtful.to_string()),
            ("trouble", self.trouble.to_string()),
            ("rate", rate),
            ("seconds", seconds),
        ];
        let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
        english().tell("again", "replayed", &values)
    }
}

fn says_nothing(report: &Report) -> bool {
    report.differences.is_empty() && report.verdicts.is_empty()
}

fn json_line(record: &OnShelf, report: &Report) -> Option<String> {
    if says_nothing(report) {
        return None;
    }
    let mut line = json!(report);
    line["sealed"] = record.sealed.into();
    Some(line.to_string())
}

/// Each line begins with the record and its asset, so that lines can be picked out.
fn text(record: &OnShelf, report: &Report) -> Vec<String> {
    if says_nothing(report) {
        return Vec::new();
    }
    let begin = format!("{}  {}  ", record.id, report.asset.as_deref().unwrap_or("-"));
    let mut lines: Vec<String> = report.verdicts.iter().map(verdict).collect();
    lines.extend(report.differences.iter().take(PRINTED_MAX).map(difference));
    let more = report.differences.len().saturating_sub(PRINTED_MAX) + report.unlisted;
    if 0 < more {
        lines.push(english().tell("again", "more", &[("n", &more.to_string())]));
    }
    lines.extend(report.versions.iter().map(version));
    lines.iter().map(|line| format!("{begin}{line}")).collect()
}

/// A verdict that changes or comes into doubt, with its line.
pub(super) fn verdict(one: &Verdict) -> String {
    let text = change(&one.recorded, one.replayed.as_ref());
    let seq = one.seq.to_string();
    english().tell("again", "verdict", &[("step", &one.step), ("seq", &seq), ("text", &text)])
}

fn difference(one: &Difference) -> String {
    let shown = |text: &Option<String>| text.clone().unwrap_or_else(|| "nothing".into());
    let seq = one.seq.map_or_else(|| "end".into(), |seq| seq.to_string());
    let (recorded, replayed) = (shown(&one.recorded), shown(&one.replayed));
    let values =
        [("seq", &*seq), ("what", &one.what), ("recorded", &recorded), ("replayed", &replayed)];
    english().tell("again", "difference", &values)
}

fn version(one: &Difference) -> String {
    let shown = |text: &Option<String>| text.clone().unwrap_or_default();
    let (recorded, replayed) = (shown(&one.recorded), shown(&one.replayed));
    let values = [("what", &*one.what), ("recorded", &recorded), ("replayed", &replayed)];
    english().tell("again", "version", &values)
}
