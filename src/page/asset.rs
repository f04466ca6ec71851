//! An asset: what it is, what it measured like for like, its inspections.

use maud::html;

use super::lists::encoded;
use super::plot::{Plot, plot};
use super::{document, say};
use crate::station::status::Opened;

/// What the view shows.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct History {
    pub asset: String,
    pub description: String,
    pub location: String,
    /// Inspections of it that are not at their end.
    pub opened: Vec<Opened>,
    pub plots: Vec<Plot>,
    /// From paper, like nothing that was measured here: in words.
    pub former: Vec<String>,
    /// Records that could not be read, in words.
    pub troubles: Vec<String>,
    /// The oldest that is shown, where older ones are not.
    pub older: Option<String>,
}

/// The document.
pub(crate) fn page(history: &History) -> String {
    let main = html! {
        section.asset aria-label=(say("asset")) {
            h1 { (history.asset) }
            p.what { (history.description) }
            p.where { (history.location) }
            p.quiet { a href={ "/results?asset=" (history.asset) } { (say("its_inspections")) } }
        }
        @for one in &history.opened { (super::goes_on(one)) }
        @for trouble in &history.troubles { p.warn { (trouble) } }
        @if history.plots.is_empty() { p { (say("nothing_measured")) } }
        @for one in &history.plots { (plot(one)) }
        @if !history.former.is_empty() {
            section.plotted {
                h2 { (say("from_paper")) }
                p.quiet { (say("paper_alone")) }
                ul { @for one in &history.former { li { (one) } } }
            }
        }
        @if let Some(older) = &history.older {
            p { a href={ "?after=" (encoded(older)) } { (say("older")) } }
        }
    };
    document(&format!("{} · Tapline", history.asset), None, None, &main)
}
