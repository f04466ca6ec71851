//! Operators by numbers: who they are is personal data, which not everyone needs who counts.

use std::collections::BTreeMap;

use tapline_paper::report::Report;

/// The numbers of one file.
#[derive(Debug, Clone, Default)]
pub struct Pseudonyms(BTreeMap<String, usize>);

impl Pseudonyms {
    /// Puts numbers where ids and names of operators stood, the same for the same person. What
    /// somebody wrote by hand stays: it may name people.
    pub fn hide(&mut self, report: &mut Report) {
        for one in &mut report.signatures {
            one.name = self.number(&one.id);
            one.id.clone_from(&one.name);
        }
        for one in &mut report.remarks {
            one.who = self.named(&one.who);
        }
        for one in &mut report.aside {
            one.who = self.named(&one.who);
            one.second = one.second.as_deref().map(|second| self.named(second));
        }
    }

    fn number(&mut self, id: &str) -> String {
        let next = self.0.len() + 1;
        format!("operator-{}", self.0.entry(id.to_owned()).or_insert(next))
    }

    fn named(&mut self, who: &str) -> String {
        // `R. Feld (op-7)`
        let id = who.rsplit_once('(').map_or(who, |(_, id)| id.trim_end_matches(')'));
        if who.is_empty() { String::new() } else { self.number(id) }
    }
}
