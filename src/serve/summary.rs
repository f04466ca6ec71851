//! What an inspection came to, read from its book. No driver, plan or judge runs for it.

use std::collections::{BTreeMap, BTreeSet};
use std::fs::File;
use std::path::Path;

use serde_json::{Value, json};
use tapline_protocols::Fact;
use tapline_protocols::fact::{Open, VerdictFact};

use crate::books::verify::{doubt, is_in_work};
use crate::books::{Line, Reader};
use crate::clock;

/// What an inspection came to.
#[derive(Debug, Clone, Default)]
pub struct Summary {
    /// Asset number.
    pub asset: String,
    /// Instruments whose links were tapped for it.
    pub instruments: BTreeSet<String>,
    /// Outcome of the whole, once it is signed or ended.
    pub outcome: Option<String>,
    id: String,
    open: Value,
    opened: String,
    synced: bool,
    clock: Vec<Value>,
    by: Option<String>,
    closed: Value,
    /// The last verdict of each step of the plan, in the order of the first.
    order: Vec<String>,
    verdicts: BTreeMap<String, Value>,
    lines: u64,
    last_seq: u64,
    sealed: bool,
    /// Why it must not be believed as it stands.
    doubt: Option<String>,
}

impl Summary {
    /// Reads a book.
    ///
    /// # Errors
    /// It can't be read, or is no inspection's.
    pub fn read(path: &Path) -> Result<Summary, String> {
        let failed = |error: std::io::Error| format!("can't read {}: {error}", path.display());
        let mut reader = Reader::new(File::open(path).map_err(failed)?);
        let doubt = doubt(path);
        let sealed = doubt.is_none() && !is_in_work(path);
        let mut summary = Summary { sealed, doubt, ..<_>::default() };
        while let Some(commit) = reader.commit().map_err(failed)? {
            for line in commit.read() {
                summary.take(line.map_err(|unread| unread.to_string())?);
            }
        }
        if summary.id.is_empty() {
            return Err(format!("{} is not the book of an inspection", path.display()));
        }
        Ok(summary)
    }

    fn take(&mut self, line: Line) {
        self.lines += 1;
        self.last_seq = line.seq;
        match &line.fact {
            Fact::Open(open) => self.open(open, &line),
            Fact::Tap(tap) => self.instruments.extend(tap.instrument.clone()),
            Fact::Verdict(verdict) => self.verdict(verdict),
            Fact::Clock(fact) => {
                let mut clock = json!(fact);
                clock["at"] = clock::rfc3339(line.at.wall_us).into();
                self.clock.push(clock);
            }
            Fact::Sign(sign) => {
                let outcome = json!(sign.outcome);
                self.outcome = outcome.as_str().map(str::to_owned);
                self.close(&line, json!(sign));
            }
            Fact::End(end) => {
                self.outcome = Some(end.outcome.clone());
                self.close(&line, json!(end));
            }
            _ => {}
        }
    }

    fn open(&mut self, open: &Open, line: &Line) {
        let Some(opened) = &open.inspection else { return };
        self.id.clone_from(&open.id);
        self.asset.clone_from(&opened.asset);
        self.synced = open.synced;
        self.open = json!(opened);
        self.opened = clock::rfc3339(line.at.wall_us);
        self.by.clone_from(&line.by);
    }

    fn verdict(&mut self, fact: &VerdictFact) {
        if !self.verdicts.contains_key(&fact.step) {
            self.order.push(fact.step.clone());
        }
        self.verdicts.insert(fact.step.clone(), json!(fact));
    }

    fn close(&mut self, line: &Line, fact: Value) {
        self.closed = fact;
        self.closed["at"] = clock::rfc3339(line.at.wall_us).into();
        self.closed["by"] = json!(line.by);
    }

    /// As faces serve it.
    #[must_use]
    pub fn json(&self) -> Value {
        let verdicts: Vec<&Value> = self.order.iter().map(|step| &self.verdicts[step]).collect();
        json!({
            "id": self.id,
            "asset": self.asset,
            "bench": self.open["bench"],
            "plan": self.open["plan"],
            "reason": self.open["reason"],
            "opened": self.opened,
            "by": self.by,
            "synced": self.synced,
            "clock": self.clock,
            "outcome": self.outcome,
            "closed": self.closed,
            "sealed": self.sealed,
            "damaged": self.doubt.is_some(),
            "why": self.doubt,
            "instruments": self.instruments,
            "verdicts": verdicts,
            "lines": self.lines,
            "last_seq": self.last_seq,
        })
    }
}
