//! The report of an inspection: pages, and the same as HTML.

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
    Amount, Answer, Aside, Group, History, Item, Limit, Meter, Next, Outcome, Plan, Remark, Report,
    Signature, Site, Supply, Value,
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
    let name = words.tell("page", "name", &[("id", &report.id)]);
    let running = [name, format!("{} · {}", report.asset.id, report.asset.what)];
    let mut flow = Flow::new(paper, words, running);
    head::head(&mut flow, report);
    table::table(&mut flow, report);
    lists::answers(&mut flow, report);
    plot::conditions(&mut flow, report);
    lists::meters(&mut flow, report);
    lists::remarks(&mut flow, report);
    foot::foot(&mut flow, report)?;
    table::appendix(&mut flow, report);
    let end = words.tell("page", "end", &[("id", &report.id)]);
    Ok(flow.finish(&end))
}

/// What its file says of itself.
#[must_use]
pub fn about(report: &Report, language: Language) -> About {
    About {
        title: language.words().tell("page", "name", &[("id", &report.id)]),
        id: report.id.clone(),
        language: language.code().into(),
        date: report.closed.or(report.opened),
    }
}
