//! What a verdict rests on: whose bytes, read by which driver, judged by which limit. And what it
//! would be, had something been otherwise.

use std::collections::{BTreeMap, BTreeSet};

use tapline_drivers::Now;
use tapline_protocols::Fact;
use tapline_protocols::fact::{Given, Judged, LimitUsed, ReadingId, Tap, VerdictFact};
use tapline_protocols::inspection::{Assumed, Inspection};

use super::opening;
use crate::books::Line;

/// What is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Basis {
    /// An instrument, or a setup that it is part of.
    Instrument(String),
    /// A network or a lead set.
    Fixture(String),
    /// Limits: a row by its id, a table by the beginning of its SHA-256, or an edition of a
    /// standard, `IEC 62353/2014`.
    Limits(String),
    /// A driver, maybe of one version.
    Driver(String, Option<u32>),
    /// A described driver by the beginning of the SHA-256 of its file.
    Described(String, String),
}

/// What names of [`Sources::names`] begin with.
const DRIVER: &str = "d ";
const DESCRIBED: &str = "f ";
const INSTRUMENT: &str = "i ";
const LABEL: &str = "l ";

impl Basis {
    /// A driver by its name, `scpi-auto`, with a version or the begin of the SHA-256 of the file
    /// that describes it behind `@`.
    ///
    /// # Errors
    /// The version is none: a sentence.
    pub fn driver(text: &str) -> Result<Basis, String> {
        let Some((name, version)) = text.split_once('@') else {
            return Ok(Basis::Driver(text.into(), None));
        };
        // Eleven digits or more are no version.
        if is_hash(version) {
            return Ok(Basis::Described(name.into(), version.into()));
        }
        let version = version.parse().map_err(|_| {
            format!(
                "`{version}` is no version of a driver: a number, as in scpi@1, or at least 12 \
                 digits of the SHA-256 of the file that describes it"
            )
        })?;
        Ok(Basis::Driver(name.into(), Some(version)))
    }

    /// A name of [`Sources::names`] stands for it; never for limits, which a verdict has itself.
    pub(crate) fn is_named(&self, name: &str) -> bool {
        match self {
            Basis::Limits(_) => false,
            Basis::Instrument(id) => own(name, INSTRUMENT) == Some(id) || is_label(name, id),
            Basis::Fixture(id) => is_label(name, id),
            Basis::Driver(wanted, version) => {
                let driver = own(name, DRIVER).and_then(|text| text.rsplit_once('/'));
                driver.is_some_and(|(driver, own)| {
                    driver == wanted && version.is_none_or(|version| own == version.to_string())
                })
            }
            Basis::Described(wanted, sha256) => {
                let driver = own(name, DESCRIBED).and_then(|text| text.rsplit_once('/'));
                driver.is_some_and(|(driver, own)| driver == wanted && own.starts_with(sha256))
            }
        }
    }

    /// A limit is what is asked for.
    pub(crate) fn is_limit(&self, limit: [&str; 4]) -> bool {
        matches!(self, Basis::Limits(wanted) if is_limit(limit, wanted))
    }
}

fn own<'a>(name: &'a str, begin: &str) -> Option<&'a str> {
    name.strip_prefix(begin)
}

fn is_label(name: &str, id: &str) -> bool {
    own(name, LABEL) == Some(id)
}

/// A verdict in force that rests on what is asked for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resting {
    /// Its line.
    pub seq: u64,
    /// Step of the plan.
    pub step: String,
    /// As the book has it.
    pub recorded: Judged,
    /// As it would be; `None` where nothing is assumed, or no verdict would be due.
    pub assumed: Option<Judged>,
}

/// One inspection on its way: which of its verdicts rest on what is asked for.
pub struct Search<'a> {
    basis: &'a Basis,
    assumed: Option<&'a Assumed>,
    sources: Sources,
    inspection: Inspection,
    prepared: bool,
    faults: Vec<String>,
    found: BTreeMap<String, Resting>,
}

impl<'a> Search<'a> {
    /// Before the first line.
    #[must_use]
    pub fn new(basis: &'a Basis, assumed: Option<&'a Assumed>) -> Search<'a> {
        Search {
            basis,
            assumed,
            sources: Sources::default(),
            inspection: Inspection::new(),
            prepared: false,
            faults: Vec::new(),
            found: BTreeMap::new(),
        }
    }

    /// The next line.
    pub fn line(&mut self, line: &Line) {
        if self.assumed.is_some() {
            self.judge(line);
        }
        if let Fact::Verdict(verdict) = &line.fact {
            self.verdict(line.seq, verdict);
        }
        self.sources.take(line);
    }

    /// Verdicts in force that rest on it, in the order of the book.
    ///
    /// # Errors
    /// What was given can't be read by this program, so that nothing can be judged again.
    pub fn end(self) -> Result<Vec<Resting>, String> {
        if !self.faults.is_empty() {
            return Err(self.faults.join("; "));
        }
        let mut found: Vec<Resting> = self.found.into_values().collect();
        found.sort_by_key(|one| one.seq);
        Ok(found)
    }

    /// The inspection follows its facts; bytes change no record.
    fn judge(&mut self, line: &Line) {
        if matches!(line.fact, Fact::In(_) | Fact::Out(_) | Fact::Tick(_)) {
            return;
        }
        if !self.prepared && !opening(&line.fact) && !matches!(line.fact, Fact::Open(_)) {
            self.prepare();
        }
        if !matches!(line.fact, Fact::Verdict(_)) {
            self.apply(line);
        }
        if self.prepared && matches!(line.fact, Fact::Resume(_) | Fact::Given(_)) {
            self.prepare();
        }
    }

    fn apply(&mut self, line: &Line) {
        let at = Now(line.at.boot_us);
        self.inspection.apply(line.seq, at, &line.fact, line.by.as_deref());
    }

    fn prepare(&mut self) {
        self.prepared = true;
        if let Err(faults) = self.inspection.prepare() {
            self.faults.extend(faults.iter().map(ToString::to_string));
        }
        if let Some(assumed) = self.assumed {
            self.inspection.assume(assumed);
        }
    }

    fn verdict(&mut self, seq: u64, verdict: &VerdictFact) {
        let (step, recorded) = (verdict.step.clone(), verdict.judged.clone());
        self.found.remove(&step);
        if !self.sources.rests(&step, &recorded, self.basis) {
            return;
        }
        let assumed = self.assumed.and_then(|_| self.inspection.verdict(&step));
        let assumed = assumed.map(|verdict| verdict.judged);
        self.found.insert(step.clone(), Resting { seq, step, recorded, assumed });
    }
}

/// Where the facts of a book come from.
#[derive(Debug, Default)]
pub(crate) struct Sources {
    taps: Vec<Tap>,
    /// Newest tap of a link.
    links: BTreeMap<String, usize>,
    /// Lines of bytes that were understood, with their tap.
    lines: BTreeMap<u64, usize>,
    /// Values, nulls and checks with the taps of their readings.
    facts: BTreeMap<u64, BTreeSet<usize>>,
    /// Expanded step of each value.
    steps: BTreeMap<u64, String>,
    /// Checks by the expanded step they were made for.
    checks: BTreeMap<String, BTreeSet<usize>>,
    /// By expanded step: step of the plan, instrument or setup, lead set.
    expanded: BTreeMap<String, (String, Vec<String>)>,
    /// Networks of setups.
    networks: BTreeMap<String, String>,
}

impl Sources {
    /// The next line.
    pub(crate) fn take(&mut self, line: &Line) {
        match &line.fact {
            Fact::Given(given) => self.given(given),
            Fact::Tap(tap) => {
                self.links.insert(tap.link.clone(), self.taps.len());
                self.taps.push(tap.clone());
            }
            Fact::In(read) if !read.read.is_empty() => self.understood(line.seq, &read.link),
            Fact::Value(value) => {
                self.steps.insert(line.seq, value.step.clone());
                self.fact(line.seq, &value.from);
            }
            Fact::Null(null) => self.fact(line.seq, &null.from),
            Fact::Prove(prove) => {
                self.fact(line.seq, &prove.from);
                if let Some(step) = &prove.step {
                    let taps = self.facts[&line.seq].clone();
                    self.checks.entry(step.clone()).or_default().extend(taps);
                }
            }
            _ => {}
        }
    }

    /// Bytes of a link were understood in this line.
    pub(crate) fn understood(&mut self, seq: u64, link: &str) {
        if let Some(tap) = self.links.get(link) {
            self.lines.insert(seq, *tap);
        }
    }

    fn given(&mut self, given: &Given) {
        match given {
            Given::Instruments { setups, .. } => {
                let pairs = setups.iter().map(|one| (one.id.clone(), one.network.clone()));
                self.networks.extend(pairs);
            }
            Given::Steps { list } => {
                for step in list {
                    let labels = [step.instrument.clone(), step.leads.clone()];
                    let labels = labels.into_iter().flatten().collect();
                    self.expanded.insert(step.step.clone(), (step.of.clone(), labels));
                }
            }
            _ => {}
        }
    }

    fn fact(&mut self, seq: u64, from: &[ReadingId]) {
        let taps = from.iter().filter_map(|(line, _)| self.lines.get(line)).copied().collect();
        self.facts.insert(seq, taps);
    }

    /// All that a verdict rests on but its limit, as [`Basis::is_named`] asks for it.
    pub(crate) fn names(&self, step: &str, judged: &Judged) -> BTreeSet<String> {
        let mut names = BTreeSet::new();
        if judged.from.is_empty() {
            return names;
        }
        for tap in self.taps_of(step, judged) {
            let (name, version) = (&tap.driver, tap.driver_version);
            names.insert(format!("{DRIVER}{name}/{version}"));
            let file = tap.driver_sha256.as_ref();
            names.extend(file.map(|sha256| format!("{DESCRIBED}{name}/{sha256}")));
            names.extend(tap.instrument.as_ref().map(|id| format!("{INSTRUMENT}{id}")));
        }
        names.extend(self.labels(judged).map(|label| format!("{LABEL}{label}")));
        names
    }

    /// A verdict for want of a value rests on nothing.
    fn rests(&self, step: &str, judged: &Judged, basis: &Basis) -> bool {
        if judged.from.is_empty() {
            return false;
        }
        let labelled = |wanted: &str| self.labels(judged).any(|label| label == wanted);
        match basis {
            Basis::Limits(wanted) => {
                judged.limit.as_ref().is_some_and(|limit| is_limit(parts(limit), wanted))
            }
            Basis::Instrument(id) => {
                let named = |tap: &Tap| tap.instrument.as_deref() == Some(id);
                self.taps_of(step, judged).any(named) || labelled(id)
            }
            Basis::Fixture(id) => labelled(id),
            Basis::Described(name, sha256) => self.taps_of(step, judged).any(|tap| {
                let own = tap.driver_sha256.as_ref();
                tap.driver == *name && own.is_some_and(|own| own.starts_with(sha256))
            }),
            Basis::Driver(name, version) => self.taps_of(step, judged).any(|tap| {
                tap.driver == *name && version.is_none_or(|version| version == tap.driver_version)
            }),
        }
    }

    /// Values, nulls and checks that the verdict names, and the checks made for its steps.
    fn taps_of(&self, step: &str, judged: &Judged) -> impl Iterator<Item = &Tap> {
        let chain = judged.chain.iter().flat_map(|link| &link.from);
        let facts = judged.from.iter().chain(chain).filter_map(|seq| self.facts.get(seq));
        let own = move |name: &str| self.expanded.get(name).is_some_and(|(of, _)| of == step);
        let checks = self.checks.iter().filter(move |(name, _)| own(name)).map(|(_, taps)| taps);
        facts.chain(checks).flatten().map(|tap| &self.taps[*tap])
    }

    /// Setups, networks and lead sets of the steps whose values it rests on.
    fn labels(&self, judged: &Judged) -> impl Iterator<Item = &str> {
        let steps = judged.from.iter().filter_map(|seq| self.steps.get(seq));
        let labels = steps.filter_map(|step| self.expanded.get(step)).flat_map(|(_, list)| list);
        labels.flat_map(|label| [Some(label), self.networks.get(label)]).flatten().map(|s| &**s)
    }
}

/// Row, standard, edition and table.
pub(crate) fn parts(limit: &LimitUsed) -> [&str; 4] {
    [&limit.id, &limit.standard, &limit.edition, &limit.table]
}

fn is_limit([id, standard, edition, table]: [&str; 4], wanted: &str) -> bool {
    let edition = || wanted.rsplit_once('/').is_some_and(|all| all == (standard, edition));
    id == wanted || edition() || (is_hash(wanted) && table.starts_with(wanted))
}

/// At least twelve hexadecimal digits: the beginning of a SHA-256.
#[must_use]
pub fn is_hash(text: &str) -> bool {
    let hex = |byte: u8| byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte);
    (12..=64).contains(&text.len()) && text.bytes().all(hex)
}
