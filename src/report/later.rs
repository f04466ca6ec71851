//! What became of a record after its seal: the report tells it as it is now, under a number of its
//! own, with what was changed, why and by whom.

use std::path::Path;

use tapline_paper::report::{Change, Field, Outcome, Remark, Report, Signature};
use tapline_protocols::Fact;
use tapline_protocols::fact::{AmendFact, ReattachFact, ReviewFact};

use super::book::Book;
use super::gather::local;
use super::values::word;
use crate::books::chain::sibling;
use crate::past::life::{Added, added, read};
use crate::station::Past;

/// The addenda beside a record, up to this one; `None` where there are none.
///
/// # Errors
/// One is not believed, or they do not lie in a data folder with their record: a sentence.
pub(super) fn beside(file: &Path, id: &str, until: Option<u32>) -> Result<Option<Past>, String> {
    if until == Some(0) || !sibling(file, 1).is_file() {
        return Ok(None);
    }
    let folder = file.ancestors().nth(4).ok_or("its addenda are read in a data folder only")?;
    let name = crate::books::place::join(id, until.unwrap_or_default());
    read(folder, &name).map(Some)
}

/// What the record comes to with them, before it is told.
pub(super) fn put_right(book: &mut Book, past: &Past) {
    let lines = past.addenda.iter().flat_map(|(_, _, lines)| lines);
    lines.for_each(|line| book.add(line));
    if let Some(asset) = past.life().asset() {
        book.asset = Some(asset.clone());
    }
}

/// Signatures of addenda, what was changed, and how it was signed first.
pub(super) fn tell(report: &mut Report, book: &Book, past: &Past) {
    let life = past.life();
    let offset = book.open.as_ref().map_or("", |open| open.fact.offset.as_str());
    let named = |id: &str| match life.names.get(id) {
        Some(name) => format!("{name} ({id})"),
        None => id.to_owned(),
    };
    for one in added(past) {
        let at = local(one.wall_us, offset);
        let replaces = report.number().to_owned();
        let change = Change { at, who: named(&one.by), replaces, ..change(&one, &named) };
        report.changes.push(change);
        report.signatures.push(Signature {
            meaning: one.sign.meaning,
            name: life.names.get(&one.by).cloned().unwrap_or_else(|| one.by.clone()),
            id: one.by,
            at,
            auth: one.sign.auth,
        });
        report.newest = hash(&one.head);
        report.later.push(one.id);
    }
    let now = Outcome::Signed(word(life.outcome()));
    if let Outcome::Signed(first) = report.outcome
        && report.outcome != now
    {
        report.signed_as = Some(first);
        report.outcome = now;
    }
    let first = book.open.as_ref().and_then(|open| open.fact.inspection.as_ref());
    let first = first.map(|one| one.asset.clone());
    report.signed_for = first.filter(|asset| *asset != report.asset.id);
    report.words = life.words();
    fields(report, &|name| life.field(name).map(str::to_owned));
}

/// Fields that no verdict rests on.
fn fields(report: &mut Report, now: &impl Fn(&str) -> Option<String>) {
    let asset = &mut report.asset;
    for (name, field) in [("owner", &mut asset.owner), ("location", &mut asset.place)] {
        if let Some(text) = now(name) {
            *field = text;
        }
    }
    report.tag = now("tag").or(report.tag.take());
    if let Some(text) = now("remark") {
        let who = report
            .changes
            .iter()
            .rev()
            .find(|change| change.fields.iter().any(|field| field.name == "remark"));
        let who = who.map(|change| change.who.clone()).unwrap_or_default();
        let (code, step) = ("note".into(), String::new());
        report.remarks.push(Remark { code, step, who, text });
    }
}

fn hash(hex: &str) -> Option<[u8; 32]> {
    data_encoding::HEXLOWER.decode(hex.as_bytes()).ok()?.try_into().ok()
}

/// What an addendum changed, and why.
fn change(one: &Added, named: &impl Fn(&str) -> String) -> Change {
    let begun = Change { id: one.id.clone(), what: one.sign.meaning.clone(), ..Change::default() };
    one.facts.iter().fold(begun, |change, fact| match fact {
        Fact::Review(review) => reviewed(change, review),
        Fact::Amend(amend) => amended(change, amend, named),
        Fact::Reattach(reattach) => reattached(change, reattach, named),
        _ => change,
    })
}

fn reviewed(change: Change, review: &ReviewFact) -> Change {
    let what = if review.accepted { "reviewed" } else { "rejected" };
    Change { what: what.into(), text: review.remark.clone().unwrap_or_default(), ..change }
}

fn amended(change: Change, amend: &AmendFact, named: &impl Fn(&str) -> String) -> Change {
    let field = |one: &tapline_protocols::fact::Amended| Field {
        name: one.field.clone(),
        before: one.before.clone(),
        after: one.after.clone(),
    };
    Change {
        what: "amended".into(),
        reason: amend.reason.clone(),
        text: amend.text.clone(),
        second: amend.second.as_deref().map(named),
        fields: amend.fields.iter().map(field).collect(),
        ..change
    }
}

fn reattached(change: Change, moved: &ReattachFact, named: &impl Fn(&str) -> String) -> Change {
    let (before, after) = (Some(moved.from.clone()), moved.to.id.clone());
    let mut fields = vec![Field { name: "asset".into(), before, after }];
    if !moved.differs.is_empty() {
        let after = moved.differs.join(", ");
        fields.push(Field { name: "differs".into(), before: None, after });
    }
    Change {
        what: "reattached".into(),
        text: moved.text.clone(),
        second: moved.second.as_deref().map(named),
        fields,
        ..change
    }
}
