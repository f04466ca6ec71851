//! What the verdicts of an inspection rest on, and what their values may be compared by: folded
//! from its lines, and kept behind its verdicts in the `record` tree. The values themselves stand
//! in the verdicts.

use std::cell::RefCell;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use tapline_protocols::Fact;
use tapline_protocols::doubt::trend::Like;
use tapline_protocols::fact::{Given, Word};
use tapline_protocols::limits::Table;
use tapline_protocols::plan::Plan;

use super::IndexFault;
use super::tally::{LIMITS, PLAN, begins};
use super::work::read;
use crate::past::Book;
use crate::replay::Sources;

/// What an inspection came to, as it is kept.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub(super) struct Kept {
    /// Its book holds the asset as it was registered.
    pub(super) given: bool,
    pub(super) damaged: bool,
    pub(super) reason: String,
    /// Line that signed it, and the outcome.
    pub(super) signed: Option<(u64, Word)>,
    /// The inspection before, which was not passed and which this one tests again.
    pub(super) retest_of: Option<String>,
    /// What verdicts rest on, each once.
    pub(super) names: Vec<String>,
    /// What values may be compared by, each once.
    pub(super) likes: Vec<Like>,
    /// Verdicts in force.
    pub(super) verdicts: Vec<Verdict>,
}

/// A verdict in force.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Verdict {
    /// Its line.
    pub(super) seq: u64,
    pub(super) step: String,
    /// Where it rests on a measured value: what that may be compared by.
    pub(super) like: Option<usize>,
    /// What it rests on.
    pub(super) names: Vec<usize>,
    /// It rests on something.
    pub(super) rests: bool,
}

/// An inspection on its way.
#[derive(Debug, Default)]
pub(super) struct Resting {
    sources: Sources,
    book: Book,
    signed: Option<(u64, Word)>,
    /// By step: the line of its verdict in force, what that rests on, and whether on anything.
    verdicts: BTreeMap<String, (u64, BTreeSet<String>, bool)>,
}

impl Resting {
    /// The next line, as it is stored.
    ///
    /// # Errors
    /// It is no line of a book.
    pub(super) fn take(&mut self, seq: u64, kind: &[u8], text: &[u8]) -> Result<(), IndexFault> {
        match kind {
            b"in" => {
                if let Some(link) = understood(text) {
                    self.sources.understood(seq, link);
                }
            }
            b"given" if begins(text, PLAN).is_some() => self.book.plan = plan(text)?,
            b"given" if begins(text, LIMITS).is_some() => self.book.limits = limits(text)?,
            b"given" | b"tap" | b"value" | b"null" | b"prove" | b"verdict" | b"sign" => {
                let line = read(text)?;
                if let Fact::Verdict(verdict) = &line.fact {
                    let names = self.sources.names(&verdict.step, &verdict.judged);
                    let rests = !verdict.judged.from.is_empty();
                    self.verdicts.insert(verdict.step.clone(), (seq, names, rests));
                }
                if let Fact::Sign(sign) = &line.fact {
                    self.signed = Some((seq, sign.outcome));
                }
                self.sources.take(&line);
                self.book.take(&line);
            }
            _ => {}
        }
        Ok(())
    }

    /// As far as it came.
    pub(super) fn kept(&self, (given, damaged, reason): (bool, bool, &str)) -> Kept {
        let alike = self.book.alike();
        let alike: BTreeMap<&str, Like> = alike.into_iter().map(|(s, like, _)| (s, like)).collect();
        let mut names = Numbers::default();
        let mut likes = Numbers::default();
        let verdict = |(step, (seq, own, rests)): (&String, &(u64, BTreeSet<String>, bool))| {
            let like = alike.get(step.as_str()).map(|like| likes.number(like));
            let own = own.iter().map(|name| names.number(name)).collect();
            Verdict { seq: *seq, step: step.clone(), like, names: own, rests: *rests }
        };
        let mut verdicts: Vec<Verdict> = self.verdicts.iter().map(verdict).collect();
        verdicts.sort_by_key(|verdict| verdict.seq);
        Kept {
            given,
            damaged,
            reason: reason.to_owned(),
            signed: self.signed,
            retest_of: self.book.retest_of.clone(),
            names: names.list,
            likes: likes.list,
            verdicts,
        }
    }

    /// All that verdicts in force rest on.
    pub(super) fn names(&self) -> BTreeSet<&str> {
        self.verdicts.values().flat_map(|(_, names, _)| names).map(String::as_str).collect()
    }
}

/// Each once, by its number.
struct Numbers<T> {
    list: Vec<T>,
}

impl<T> Default for Numbers<T> {
    fn default() -> Numbers<T> {
        Numbers { list: Vec::new() }
    }
}

impl<T: Clone + PartialEq> Numbers<T> {
    fn number(&mut self, one: &T) -> usize {
        let known = self.list.iter().position(|known| known == one);
        known.unwrap_or_else(|| {
            self.list.push(one.clone());
            self.list.len() - 1
        })
    }
}

/// The link of an `in` line whose bytes were understood. A list of readings is left out where there
/// is none; a quote inside raw text is escaped, so that no text holds its key.
fn understood(text: &[u8]) -> Option<&str> {
    const LINK: &[u8] = b"\"k\":\"in\",\"link\":\"";
    const READ: &[u8] = b",\"read\":[{";
    text.windows(READ.len()).rposition(|window| window == READ)?;
    let at = text.windows(LINK.len()).position(|window| window == LINK)? + LINK.len();
    let end = text[at..].iter().position(|byte| *byte == b'"')?;
    std::str::from_utf8(&text[at..at + end]).ok()
}

/// Plans and tables that one thread remembers: a workshop has few, and each is long.
const KNOWN_MAX: usize = 8;

type Known<T> = RefCell<Vec<(Vec<u8>, Option<Arc<T>>)>>;

thread_local! {
    static PLANS: Known<Plan> = const { RefCell::new(Vec::new()) };
    static TABLES: Known<Table> = const { RefCell::new(Vec::new()) };
}

fn plan(text: &[u8]) -> Result<Option<Arc<Plan>>, IndexFault> {
    PLANS.with_borrow_mut(|known| remembered(known, (text, PLAN), |book| book.plan))
}

fn limits(text: &[u8]) -> Result<Option<Arc<Table>>, IndexFault> {
    TABLES.with_borrow_mut(|known| remembered(known, (text, LIMITS), |book| book.limits))
}

/// What a line gives, read once for all lines that give the same.
fn remembered<T>(
    known: &mut Vec<(Vec<u8>, Option<Arc<T>>)>,
    (text, words): (&[u8], &str),
    given: impl Fn(Book) -> Option<Arc<T>>,
) -> Result<Option<Arc<T>>, IndexFault> {
    let own = &text[begins(text, words).unwrap_or(0)..];
    if let Some((_, one)) = known.iter().find(|(text, _)| text == own) {
        return Ok(one.clone());
    }
    let line = read(text)?;
    debug_assert!(matches!(line.fact, Fact::Given(Given::Plan { .. } | Given::Limits { .. })));
    let mut book = Book::default();
    book.take(&line);
    let one = given(book);
    if known.len() == KNOWN_MAX {
        known.remove(0);
    }
    known.push((own.to_vec(), one.clone()));
    Ok(one)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bytes_that_were_understood_name_their_link() {
        let line = |rest: &str| {
            let text = format!(r#"{{"seq":1,"t":"","m":1,"k":"in","link":"ohm","at":0,{rest}}}"#);
            understood(text.as_bytes()).map(str::to_owned)
        };
        assert_eq!(line(r#""raw":"R4","read":[{"b":[0,2]}]"#).as_deref(), Some("ohm"));
        let by = r#""raw":"R4","cuts":[[0,1]],"read":[{"b":[0,2]}],"by":"op-1""#;
        assert_eq!(line(by).as_deref(), Some("ohm"));
        assert_eq!(line(r#""raw":"R4","cuts":[[0,1]]"#), None);
        assert_eq!(line(r#""raw":",\"read\":[{}]}""#), None);
    }
}
