//! A record for the second person.

use std::collections::BTreeMap;
use std::fs::File;
use std::path::Path as FilePath;

use axum::body::Bytes;
use axum::extract::{ConnectInfo, Path, State};
use axum::response::{Html, Json};
use serde_json::Value;
use tapline_protocols::Fact;
use tapline_protocols::fact::{DropFact, In, ValueFact, VerdictFact, Word};
use tapline_protocols::life::{Life, State as Stands, rank};

use super::{Desk, in_words};
use crate::books::{Line, Reader};
use crate::face::acts;
use crate::face::life as added;
use crate::face::peer::Peer;
use crate::face::problem::Refused;
use crate::face::records::{blocking, path, unknown};
use crate::page::life::Forms;
use crate::page::review::{Aside, Judgement, Review, page};
use crate::page::steps::full;
use crate::page::work::amount;
use crate::page::{code, limit, say, shown, word};
use crate::past::life;
use crate::serve::summary::Summary;
use crate::station::Core;
use crate::station::event::Problem;
use crate::told::clock::changed;
use crate::told::verdict::told;
use crate::words::english;

/// The largest book that is told from its bytes on here.
const BOOK_BYTES_MAX: u64 = 16 << 20;
/// Lines of the wire that are shown whole: each has some hundred bytes.
const HEARD_MAX: usize = 500;

/// `GET /inspection/{id}`.
pub(super) async fn view(
    State(desk): State<Desk>,
    Path(id): Path<String>,
) -> Result<Html<String>, Refused> {
    let _turn = desk.turn.clone().lock_owned().await;
    let named = id.clone();
    let asked = desk.hall.shared.ask(move |core| {
        let opened = core.opened().into_iter().find(|one| one.id == named);
        (opened, names(core), core.asks_for_pin())
    });
    // A halted station shows its records all the same.
    let (opened, names, pin) = asked.await.unwrap_or_default();
    blocking(move || {
        let file = path(&desk.hall.shared.folder, &id).ok_or_else(|| unknown(&id))?;
        let summary = Summary::read(&file).map_err(|why| Refused::new("not_found", why))?;
        let long = file.metadata().is_ok_and(|file| file.len() > BOOK_BYTES_MAX);
        let lines = if long { Vec::new() } else { lines(&file)? };
        let mut review = review(summary.json(), &lines);
        if review.record["sealed"] == true {
            lives(&desk.hall.shared.folder, &id, &mut review);
            review.forms.iter_mut().for_each(|forms| forms.pin = pin);
        }
        review.trouble = long.then(|| say("too_long").to_owned());
        (review.opened, review.names) = (opened, names);
        Ok(Html(page(&review)))
    })
    .await
}

/// `POST /inspection/{id}/{act}`: something is added to a sealed inspection, by the badge of who
/// signs; answers what came of it in words.
pub(super) async fn act(
    State(desk): State<Desk>,
    peer: ConnectInfo<Peer>,
    Path((id, act)): Path<(String, String)>,
    body: Bytes,
) -> Result<Json<Value>, Refused> {
    if !acts::object(&body)?.contains_key("expect") {
        let problem = Problem::new("bad_input", "the act does not say what was seen: `expect`");
        return Err(problem.next("Load the page again, look at it, then repeat.").into());
    }
    let (hall, id) = (State(desk.hall), Path(id));
    let answer = match act.as_str() {
        "review" => acts::review(hall, peer, id, body).await,
        "amend" => acts::amend(hall, peer, id, body).await,
        "reattach" => acts::reattach(hall, peer, id, body).await,
        "release" => acts::release(hall, peer, id, body).await,
        _ => return Err(Refused::new("not_found", format!("`{act}` is no act of an inspection"))),
    };
    answer.map(|Json(answer)| in_words(&answer))
}

/// What was added to it, what it comes to by that, and what can be done with it.
fn lives(folder: &FilePath, id: &str, review: &mut Review) {
    let past = match life::read(folder, id) {
        Ok(past) => past,
        Err(why) => {
            (review.record["damaged"], review.record["why"]) = (true.into(), why.into());
            return;
        }
    };
    let life = past.life();
    added::put(&life, &life::added(&past), &mut review.record);
    review.forms = (life.state() != Stands::Unsigned).then(|| forms(&life));
}

fn forms(life: &Life) -> Forms {
    let record = life.inspection().record();
    let answers: BTreeMap<(&str, &str), &str> = record
        .answers
        .iter()
        .map(|line| ((&*line.fact.step, &*line.fact.item), &*line.fact.answer))
        .collect();
    let answers = answers.into_iter().map(|((step, item), answer)| [step, item, answer]);
    let values = record.values.iter().filter(|value| !value.dropped).map(|value| &value.line);
    let asset = life.asset();
    let tag = life.signed().and_then(|signed| signed.tag.clone());
    let first = [
        ("location", asset.map(|asset| asset.location.clone())),
        ("owner", asset.map(|asset| asset.owner.clone())),
        ("tag", tag),
        ("remark", None),
    ];
    let now = |(field, first): (&'static str, Option<String>)| {
        (field, life.field(field).map(str::to_owned).or(first).unwrap_or_default())
    };
    Forms {
        head: life.newest().1.to_owned(),
        pin: false,
        reviewed: life.is_reviewed(),
        rejected: life.state() == Stands::Rejected,
        released: life.is_released(),
        passed: rank(life.outcome()) >= rank(Word::ConditionalPass),
        fields: first.into_iter().map(now).collect(),
        answers: answers.map(|one| one.map(str::to_owned).into()).collect(),
        values: values
            .map(|line| {
                let value = &line.fact;
                let shown = amount(value.indication.as_deref(), &value.value, value.unit.ucum());
                (line.seq, value.step.clone(), shown)
            })
            .collect(),
    }
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
    let clocks = record["clock"].as_array().into_iter().flatten();
    let clocks = clocks.map(|fact| changed(fact, fact["at"].as_str().unwrap_or("?")));
    let clocks = clocks.filter(|said| !said.is_empty()).collect();
    let (readings, heard) = (readings(lines), heard(lines));
    Review { verdicts, aside, readings, heard, clocks, record, ..Review::default() }
}

/// What the wire said, as it stands in the record, with the step that each reading belongs to.
fn heard(lines: &[Line]) -> (Vec<String>, bool) {
    let mut all = lines.iter().filter_map(|line| match &line.fact {
        Fact::In(heard) => {
            let of = heard.read.iter().filter_map(|read| match (&read.s, &read.why) {
                (Some(step), _) => Some(full(step)),
                (None, why) => why.as_ref().map(|why| english().say("why", why).to_owned()),
            });
            let of: Vec<String> = of.collect();
            Some(format!("{}  {}", bytes(line.seq, heard), of.join("; ")))
        }
        _ => None,
    });
    let shown = all.by_ref().take(HEARD_MAX).collect();
    (shown, all.next().is_some())
}

/// A line of the wire with its bytes.
fn bytes(seq: u64, heard: &In) -> String {
    let bytes: String = heard.raw.chars().flat_map(char::escape_default).collect();
    format!("{seq}  {}  {bytes}", heard.link)
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
        Fact::In(heard) => Some(bytes(line.seq, heard)),
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
