//! A record for the second person.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path as FilePath;

use axum::extract::{Path, State};
use axum::response::Html;
use serde_json::Value;
use tapline_protocols::Fact;
use tapline_protocols::fact::{DropFact, ValueFact, VerdictFact};

use super::Desk;
use crate::books::{Line, Reader};
use crate::face::problem::Refused;
use crate::face::records::{blocking, path, unknown};
use crate::page::review::{Aside, Judgement, Review, page};
use crate::page::work::amount;
use crate::page::{code, limit, say, shown, word};
use crate::serve::summary::Summary;
use crate::station::Core;
use crate::told::verdict::told;

/// The largest book that is told from its bytes on here.
const BOOK_BYTES_MAX: u64 = 16 << 20;

/// `GET /inspection/{id}`.
pub(super) async fn view(
    State(desk): State<Desk>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refused> {
    let _turn = desk.turn.clone().lock_owned().await;
    let named = id.clone();
    let asked = desk
        .hall
        .shared
        .ask(move |core| (core.opened().into_iter().find(|one| one.id == named), names(core)));
    // A halted station shows its records all the same.
    let (opened, names) = asked.await.unwrap_or_default();
    blocking(move || {
        let file = path(&desk.hall.shared.folder, &id).ok_or_else(|| unknown(&id))?;
        let summary = Summary::read(&file).map_err(|why| Refused::new("not_found", why))?;
        let long = file.metadata().is_ok_and(|file| file.len() > BOOK_BYTES_MAX);
        let lines = if long { Vec::new() } else { lines(&file)? };
        let mut review = review(summary.json(), &lines);
        review.trouble = long.then(|| say("too_long").to_owned());
        (review.opened, review.names) = (opened, names);
        Ok(Html(page(&review)))
    })
    .await
}

/// People by their ids, as the register has them now.
pub(super) fn names(core: &Core) -> BTreeMap<String, String> {
    let all = core.register().operators.values();
    all.map(|one| (one.id.clone(), one.name.clone())).collect()
}

fn lines(file: &FilePath) -> Result<Vec<Line>, Refused> {
    let failed = |why: String| Refused::new("not_found", why);
    let source = File::open(file).map_err(|error| failed(error.to_string()))?;
    let mut reader = Reader::new(source);
    let mut lines = Vec::new();
    while let Some(commit) = reader.commit().map_err(|error| failed(error.to_string()))? {
        for line in commit.read() {
            lines.push(line.map_err(|unread| failed(unread.to_string()))?);
        }
    }
    Ok(lines)
}

fn review(record: Value, lines: &[Line]) -> Review {
    let verdicts = record["verdicts"].as_array().map_or(&[][..], Vec::as_slice);
    let verdicts = verdicts.iter().filter_map(|one| judgement(one, lines)).collect();
    let drops = lines.iter().filter_map(|line| match &line.fact {
        Fact::Drop(drop) => Some(aside(drop, line.by.as_deref(), lines)),
        _ => None,
    });
    let aside = drops.flatten().collect();
    Review { verdicts, aside, readings: readings(lines), record, ..Review::default() }
}

fn judgement(one: &Value, lines: &[Line]) -> Option<Judgement> {
    let VerdictFact { step, judged } = serde_json::from_value(one.clone()).ok()?;
    Some(Judgement {
        code: word(judged.verdict),
        value: shown(&judged),
        limit: limit(&judged),
        share: judged.share.as_ref().map(|share| format!("{share} %")).unwrap_or_default(),
        reasons: judged.reasons.clone(),
        told: told(lines, &step).unwrap_or_default(),
        step,
    })
}

/// A value that was set aside, with the lines of the wire that it rests on.
fn aside(drop: &DropFact, by: Option<&str>, lines: &[Line]) -> Option<Aside> {
    let value = lines.iter().find(|line| line.seq == drop.value)?;
    let Fact::Value(value) = &value.fact else { return None };
    Some(Aside {
        step: value.step.clone(),
        amount: amount(value.indication.as_deref(), &value.value, value.unit.ucum()),
        cause: drop.cause.clone(),
        who: by.unwrap_or("–").to_owned(),
        second: drop.second.clone(),
        dropped: !drop.in_force,
        raw: raw(value, lines),
    })
}

fn raw(value: &ValueFact, lines: &[Line]) -> Vec<String> {
    let wanted = |seq: u64| value.from.iter().any(|id| id.0 == seq);
    let heard = lines.iter().filter(|line| wanted(line.seq));
    let told = heard.filter_map(|line| match &line.fact {
        Fact::In(heard) => {
            let bytes: String = heard.raw.chars().flat_map(char::escape_default).collect();
            Some(format!("{}  {}  {bytes}", line.seq, heard.link))
        }
        _ => None,
    });
    told.collect()
}

/// All readings, those that belong somewhere, and why the others do not.
fn readings(lines: &[Line]) -> (usize, usize, Vec<(String, usize)>) {
    let (mut all, mut used) = (0, 0);
    let mut others: BTreeMap<String, usize> = BTreeMap::new();
    for line in lines {
        let Fact::In(heard) = &line.fact else { continue };
        for read in heard.read.iter().filter(|read| code(&read.f) != "contacts") {
            all += 1;
            match &read.why {
                Some(why) => *others.entry(why.clone()).or_default() += 1,
                None => used += 1,
            }
        }
    }
    (all, used, others.into_iter().collect())
}
