//! The summary of a day, a week or a month: pages, and the same as HTML.

mod data;
pub mod html;
mod plot;
mod tables;
mod tell;

pub use data::{Aside, Minutes, Missing, Outcomes, Part, Share, Summary};
pub use tell::MISSING_MAX;

use crate::canvas::{Ink, Page, Style};
use crate::pdf::About;
use crate::report::Paper;
use crate::report::flow::{Flow, SMALL, TEXT};
use crate::words::Language;

/// The pages of a summary. However long its lists are, there are few: what is left out of them is
/// counted, and the table for programs has all.
#[must_use]
pub fn pages(summary: &Summary, language: Language, paper: Paper) -> Vec<Page> {
    let words = language.words();
    let name = words.tell("summary", "name", &[("period", &tell::period(words, summary))]);
    let running = [name, summary.site.workshop.clone()];
    let mut flow = Flow::new(paper, words, running);
    letterhead(&mut flow, summary);
    tables::numbers(&mut flow, summary);
    plot::plots(&mut flow, summary);
    tables::parts(&mut flow, ("places", "place"), &tell::places(words, summary));
    tables::parts(&mut flow, ("risks", "risk"), &tell::risks(words, summary));
    tables::set_aside(&mut flow, summary);
    tables::missing(&mut flow, summary);
    says(&mut flow, summary);
    let end = words.tell("summary", "end", &[("period", &tell::period(words, summary))]);
    flow.finish(&end)
}

/// What its file says of itself.
#[must_use]
pub fn about(summary: &Summary, language: Language) -> About {
    let words = language.words();
    About {
        title: words.tell("summary", "name", &[("period", &tell::period(words, summary))]),
        id: format!("{} {} {}", summary.site.station, summary.period, summary.as_of),
        language: language.code().into(),
        date: summary.counted,
    }
}

/// Who, and of what days.
fn letterhead(flow: &mut Flow, summary: &Summary) {
    let (left, right, width, y) = (flow.left(), flow.right(), flow.width(), flow.y);
    let (words, site) = (flow.words, &summary.site);
    let title = words.say("summary", "title");
    let (period, days) = (tell::period(words, summary), tell::days(words, summary));
    let state = tell::state(words, summary);
    let page = flow.page();
    page.text(left, y + 9.0, Style::strong(12.5), &title);
    page.text(left, y + 20.0, Style::quiet(TEXT), &site.station);
    page.right(right, y + 9.0, Style::strong(9.0), &site.workshop);
    page.right(right, y + 20.0, Style::quiet(TEXT), &site.address.join(" · "));
    page.rule(left, y + 27.0, width, Ink::RULE);
    let big = Style::strong(19.0);
    page.text(left, y + 50.0, big, &period);
    let beside = left + big.width(&period) + 12.0;
    page.text(beside, y + 50.0, Style::plain(9.0), &days);
    flow.y += 55.0;
    flow.paragraph(Style::quiet(TEXT), &state);
    flow.y += 4.0;
}

/// What it rests on, and what it does not say.
fn says(flow: &mut Flow, summary: &Summary) {
    let small = Style::quiet(SMALL);
    let lines = tell::says(flow.words, summary);
    flow.heading("about", 8.2 * lines.len() as f32 * 2.0);
    lines.iter().for_each(|line| flow.paragraph(small, line));
}
