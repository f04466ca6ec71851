//! The report of an inspection: pages, and the same as HTML.

mod changes;
pub mod checklist;
mod data;
pub(crate) mod flow;
mod foot;
mod head;
pub mod html;
mod lists;
mod plot;
mod table;
mod tell;

pub use data::{
    Amount, Answer, Aside, Change, Entered, Field, Group, History, Item, Limit, Meter, Next,
    Outcome, Plan, Remark, Report, Signature, Site, Supply, Value,
};
use flow::Flow;
pub use flow::Paper;
pub use tell::head_code;

use crate::canvas::Page;
use crate::codes::NotDrawn;
use crate::pdf::About;
use crate::words::Language;

/// The pages of a report.
///
/// # Errors
/// Its head can't be drawn.
pub fn pages(report: &Report, language: Language, paper: Paper) -> Result<Vec<Page>, NotDrawn> {
    let words = language.words();
    let name = words.tell("page", "name", &[("id", report.number())]);
    let running = [name, format!("{} · {}", report.asset.id, report.asset.what)];
    let mut flow = Flow::new(paper, words, running);
    head::head(&mut flow, report);
    changes::changes(&mut flow, report);
    table::table(&mut flow, report);
    lists::answers(&mut flow, report);
    plot::conditions(&mut flow, report);
    lists::meters(&mut flow, report);
    lists::remarks(&mut flow, report);
    foot::foot(&mut flow, report)?;
    table::appendix(&mut flow, report);
    let end = words.tell("page", "end", &[("id", report.number())]);
    Ok(flow.finish(&end))
}

/// What its file says of itself.
#[must_use]
pub fn about(report: &Report, language: Language) -> About {
    About {
        title: language.words().tell("page", "name", &[("id", report.number())]),
        id: report.number().to_owned(),
        language: language.code().into(),
        date: report.changes.last().and_then(|last| last.at).or(report.closed).or(report.opened),
    }
}
