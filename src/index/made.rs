//! Random stores for the tests of this folder: real books with sealed inspections, and the index
//! that was fed with their lines.

use std::path::Path;
use std::sync::Arc;

use tapline_protocols::Fact;
use tapline_protocols::due::{Anchor, Counting, Snap};
use tapline_protocols::fact::{
    DropFact, EndFact, Given, Later, Open, Opened, Policy, ReasonFact, ResumeFact, SealedFact,
    SignFact, StartFact, StepFact, VerdictFact, VisitFact, Word,
};
use tapline_protocols::plan::builtin;
use tapline_protocols::register::{Asset, Risk, read_assets};

use super::store::Index;
use super::wired::{self, Wires};
use crate::books::{Books, Disk, Folder, Key, Line, Memory, Shelf};
use crate::clock::Stamp;
use crate::station::event::{BookId, Stored};

const PLANS: [&str; 3] = ["iec62353-recurrent-direct", "spot-check", "iec62353-acceptance"];
const MINUTE_US: u64 = 60_000_000;

/// Numbers from a seed.
pub(super) struct Dice(u64);

impl Dice {
    pub(super) fn new(seed: u64) -> Dice {
        Dice(seed.wrapping_mul(0x9e37_79b9_7f4a_7c15) | 1)
    }

    pub(super) fn below(&mut self, end: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) % end
    }

    pub(super) fn pick<T: Copy>(&mut self, from: &[T]) -> T {
        let at = self.below(from.len() as u64);
        from[usize::try_from(at).unwrap()]
    }

    pub(super) fn once_in(&mut self, n: u64) -> bool {
        self.below(n) == 0
    }
}

/// An inspection that is open.
struct Work {
    id: String,
    parked: bool,
    wires: Wires,
}

/// A store on its way.
pub(super) struct Store {
    pub(super) folder: tempfile::TempDir,
    disk: Arc<Memory>,
    books: Books,
    pub(super) index: Index,
    pub(super) dice: Dice,
    /// Every line, with the name of its inspection.
    pub(super) lines: Vec<(Option<String>, Line)>,
    at: Stamp,
    assets: Vec<Asset>,
    works: Vec<Work>,
    /// Signed or ended, and not sealed yet.
    closed: Vec<String>,
    pub(super) sealed: Vec<String>,
    number: u32,
    boot: u32,
    /// Something stands on its benches, too.
    wired: bool,
    /// What was sealed is put right, too.
    amends: bool,
}

impl Store {
    /// A store with so many things that happened.
    pub(super) fn random(seed: u64, events: u64) -> Store {
        let mut store = Store::new(seed);
        for _ in 0..events {
            store.event();
        }
        store
    }

    /// The same, with what stands on the benches and what it says.
    pub(super) fn wired(seed: u64, events: u64) -> Store {
        let mut store = Store::new(seed);
        store.wired = true;
        for _ in 0..events {
            store.event();
        }
        store
    }

    /// The same, with what addenda make of inspections.
    pub(super) fn amended(seed: u64, events: u64) -> Store {
        let mut store = Store::new(seed);
        store.amends = true;
        for _ in 0..events {
            store.event();
        }
        store
    }

    pub(super) fn new(seed: u64) -> Store {
        let folder = tempfile::tempdir().unwrap();
        let disk = Arc::new(Memory::new());
        // 2026-01-01.
        let at = Stamp { wall_us: 1_767_225_600_000_000, boot_us: 1_000_000 };
        let key = Key::from_secret("K3-1", &[7; 32]);
        key.store(disk.as_ref()).unwrap();
        let (books, _) = Books::open(disk.clone(), Arc::new(key), at).unwrap();
        let (index, _) = Index::open(folder.path(), &books.shelf()).unwrap();
        let mut store = Store {
            folder,
            disk,
            books,
            index,
            dice: Dice::new(seed),
            lines: Vec::new(),
            at,
            assets: Vec::new(),
            works: Vec::new(),
            closed: Vec::new(),
            sealed: Vec::new(),
            number: 0,
            boot: 0,
            wired: false,
            amends: false,
        };
        store.commit(&BookId::Station, vec![opening("2026", None)]);
        store.start();
        for n in 0..4 {
            store.register(n);
        }
        store
    }

    /// One thing happens, some time after the last.
    pub(super) fn event(&mut self) {
        let minutes = match self.dice.below(4) {
            0 => self.dice.below(20 * 24 * 60),
            _ => self.dice.below(30),
        };
        self.pass(minutes * MINUTE_US + self.dice.0 % 1_000_000);
        if self.amends && self.dice.once_in(5) {
            self.amend();
        }
        match self.dice.below(12) {
            0 => self.start(),
            1 => {
                let n = self.dice.below(6);
                self.register(n);
            }
            2 => self.begin(),
            3 if self.dice.once_in(2) => self.visit(),
            3 => self.begin(),
            4..=7 => self.work(),
            8 | 9 => self.close(),
            _ => self.seal(),
        }
    }

    fn pass(&mut self, us: u64) {
        self.at.boot_us += us;
        self.at.wall_us += i64::try_from(us).unwrap();
    }

    pub(super) fn commit(&mut self, book: &BookId, facts: Vec<Fact>) {
        let by = self.dice.pick(&[None, Some("op-1"), Some("op-2")]).map(String::from);
        let mut stored = Vec::new();
        for fact in facts {
            self.pass(1000);
            let seq = self.lines.len() as u64 + 1;
            let (at, by) = (self.at, by.clone());
            let line = Line { seq, at, fact: fact.clone(), by: by.clone(), sig: None };
            let id = match book {
                BookId::Inspection(id) => Some(id.clone()),
                _ => None,
            };
            self.lines.push((id, line));
            stored.push(Stored { book: book.clone(), bench: None, seq, at, fact, by });
        }
        for text in self.books.commit(&stored).unwrap() {
            self.index.add(book, text.as_bytes()).unwrap();
        }
    }

    fn start(&mut self) {
        let anchor = self.dice.pick(&[Anchor::LastDone, Anchor::LastDue]);
        let snap = self.dice.pick(&[Snap::Day, Snap::MonthEnd]);
        let (version, boot) = ("0.1.0".into(), self.boot_id());
        let due = Counting { anchor, snap };
        let start = StartFact { boot, version, synced: true, due, wiring: None, alive: None };
        self.commit(&BookId::Station, vec![Fact::Start(start)]);
    }

    fn boot_id(&self) -> String {
        format!("6f1c2a9e-0d53-4c1e-9a51-{:012}", self.boot)
    }

    fn register(&mut self, n: u64) {
        let text = include_str!("../../contrib/example/assets.csv");
        let mut asset = read_assets(text).unwrap().swap_remove(0);
        asset.id = format!("P-{n}");
        let dice = &mut self.dice;
        asset.location = dice.pick(&["North/1/A", "North/2/A", "South/1/B"]).into();
        asset.interval = dice.pick(&[None, Some("P6M"), Some("P1Y"), Some("P90D")]).map(Into::into);
        let days = [None, Some("2026-03-31"), Some("2026-05-15"), Some("2026-02-28")];
        asset.due = dice.pick(&days).map(Into::into);
        asset.plan = dice.pick(&[None, Some(PLANS[0]), Some(PLANS[2])]).map(Into::into);
        asset.risk = dice.pick(&[None, Some(Risk::High), Some(Risk::Medium), Some(Risk::Low)]);
        let retired = dice.pick(&[None, None, None, Some("2026-05-15"), Some("2026-06-01")]);
        asset.retired = retired.map(Into::into);
        self.assets.retain(|old| old.id != asset.id);
        self.assets.push(asset.clone());
        self.commit(&BookId::Station, vec![Fact::Asset(Box::new(asset))]);
    }

    fn visit(&mut self) {
        let outcome = self.dice.pick(&["not_found", "not_found", "in_use", "sent_out"]).into();
        let asset = format!("P-{}", self.dice.below(5));
        let day = crate::clock::utc_day(self.at.wall_us);
        let retry = self.dice.pick(&[None, Some("2026-06-01")]).map(Into::into);
        let visit = VisitFact { asset, outcome, day, retry, ..VisitFact::default() };
        self.commit(&BookId::Station, vec![Fact::Visit(Box::new(visit))]);
    }

    fn begin(&mut self) {
        self.number += 1;
        let day = crate::clock::utc_day(self.at.wall_us).replace('-', "");
        let id = format!("K3-{day}-{:04}", self.number);
        let at = self.dice.below(self.assets.len() as u64);
        let asset = self.assets[usize::try_from(at).unwrap()].clone();
        let reasons = ["scheduled", "scheduled", "acceptance", "after_repair", "other"];
        let (reason, plan) = (self.dice.pick(&reasons), self.dice.pick(&PLANS));
        let opened = Opened {
            bench: "b1".into(),
            asset: asset.id.clone(),
            plan: plan.into(),
            reason: reason.into(),
            order: None,
            policy: Policy::default(),
            scan: None,
            legend: None,
        };
        let text = builtin(plan).unwrap().to_owned();
        let asset = Fact::Given(Given::Asset { asset: Box::new(asset) });
        let plan = Fact::Given(Given::Plan { text, sha256: String::new() });
        let mut facts = match self.dice.below(12) {
            0 => vec![opening(&id, Some(opened)), asset],
            1 => vec![opening(&id, Some(opened)), plan],
            _ => vec![opening(&id, Some(opened)), asset, plan],
        };
        if self.wired {
            facts.extend(wired::given(&mut self.dice));
        }
        self.commit(&BookId::Inspection(id.clone()), facts);
        self.works.push(Work { id, parked: false, wires: Wires::default() });
    }

    /// Something is done in an open inspection.
    fn work(&mut self) {
        if self.works.is_empty() {
            return self.begin();
        }
        let at = usize::try_from(self.dice.below(self.works.len() as u64)).unwrap();
        let (id, parked) = (self.works[at].id.clone(), self.works[at].parked);
        let step = self.dice.pick(&["pe", "leak", "look"]);
        if self.wired && !parked && !self.dice.once_in(3) {
            let next = self.lines.len() as u64 + 1;
            let wires = &mut self.works[at].wires;
            let facts = (next..next + 8).map(|seq| wires.next(&mut self.dice, seq)).collect();
            return self.commit(&BookId::Inspection(id), facts);
        }
        let fact = match self.dice.below(6) {
            _ if parked => self.resume("park"),
            0 => Fact::Park(ReasonFact { reason: None }),
            1 => return self.restart(),
            2 => {
                let state = self.dice.pick(&["active", "repeat", "done"]).into();
                let reason = Some("\"state\":\"repeat\"".into());
                Fact::Step(StepFact { step: step.into(), state, reason })
            }
            3 => {
                let cause = "lead_slipped".into();
                let in_force = self.dice.once_in(3);
                Fact::Drop(DropFact { value: 1, cause, second: None, in_force })
            }
            _ => verdict(step, self.dice.pick(&["pass", "fail", "conditional_fail", "undecided"])),
        };
        self.works[at].parked = matches!(fact, Fact::Park(_));
        self.commit(&BookId::Inspection(id), vec![fact]);
    }

    /// Another boot: what is open and does not rest goes on.
    fn restart(&mut self) {
        self.boot += 1;
        self.at.boot_us = 5_000_000;
        let open: Vec<String> =
            self.works.iter().filter(|work| !work.parked).map(|work| work.id.clone()).collect();
        for id in open {
            let resume = self.resume("restart");
            self.commit(&BookId::Inspection(id), vec![resume]);
        }
    }

    fn resume(&self, after: &str) -> Fact {
        Fact::Resume(ResumeFact {
            bench: "b1".into(),
            boot: self.boot_id(),
            version: "0.1.0".into(),
            judge: 1,
            after: after.into(),
            date: None,
        })
    }

    fn close(&mut self) {
        if self.works.is_empty() {
            return self.begin();
        }
        let at = usize::try_from(self.dice.below(self.works.len() as u64)).unwrap();
        let work = self.works.swap_remove(at);
        let fact = if self.dice.once_in(4) {
            let outcome = self.dice.pick(&["not_found", "in_use", "given_up", "retired"]).into();
            Fact::End(EndFact { outcome, reason: String::new() })
        } else {
            let words = [Word::Pass, Word::Pass, Word::ConditionalPass, Word::Fail];
            let more = [Word::ConditionalFail, Word::Undecided];
            let outcome = match self.dice.below(6) {
                0 => self.dice.pick(&more),
                _ => self.dice.pick(&words),
            };
            Fact::Sign(SignFact {
                meaning: "performed".into(),
                auth: "badge".into(),
                outcome,
                words: vec![],
                open: vec![],
                tag: None,
                reason: None,
            })
        };
        self.commit(&BookId::Inspection(work.id.clone()), vec![fact]);
        self.closed.push(work.id);
    }

    fn seal(&mut self) {
        if self.closed.is_empty() {
            return self.work();
        }
        let id = self.closed.swap_remove(0);
        let sealed = self.books.seal(&id).unwrap();
        self.sealed.push(id);
        self.commit(&BookId::Station, vec![Fact::Sealed(sealed)]);
    }

    /// Something is put right: the line of the station book says what the inspection is now.
    fn amend(&mut self) {
        let signs = |id: &String| {
            let own = |(of, line): &&(Option<String>, Line)| {
                of.as_ref() == Some(id) && matches!(line.fact, Fact::Sign(_))
            };
            self.lines.iter().any(|line| own(&line))
        };
        let signed: Vec<String> = self.sealed.iter().filter(|id| signs(id)).cloned().collect();
        if signed.is_empty() {
            return;
        }
        let of = signed[usize::try_from(self.dice.below(signed.len() as u64)).unwrap()].clone();
        let (mut number, mut before, mut asset) = (1, None, String::new());
        for (id, line) in &self.lines {
            match &line.fact {
                Fact::Sealed(sealed) if sealed.id.starts_with(&format!("{of}+")) => {
                    number += 1;
                    before.clone_from(&sealed.later);
                }
                Fact::Open(open) if id.as_ref() == Some(&of) => {
                    asset.clone_from(&open.inspection.as_ref().unwrap().asset);
                }
                _ => {}
            }
        }
        let outcome = self.dice.pick(&[Word::Pass, Word::Fail, Word::Undecided]);
        let same = Later { state: "amended".into(), outcome, asset, by_its_plan: None };
        let mut later = before.map_or(same, |before| Later { outcome, ..before });
        if self.dice.once_in(3) {
            later.asset = format!("P-{}", self.dice.below(5));
            later.by_its_plan = Some(self.dice.once_in(2));
        }
        let (id, key) = (format!("{of}+{number}"), String::new());
        let head = "0".repeat(64);
        let sealed = SealedFact { id, head, bytes: 1, key, later: Some(later), waits: false };
        self.commit(&BookId::Station, vec![Fact::Sealed(sealed)]);
    }

    /// Writes the books into the folder that the index lies in.
    pub(super) fn write(&self) {
        self.write_to(self.folder.path());
    }

    pub(super) fn write_to(&self, folder: &Path) {
        for name in ["open", "inspections", "station", "idle"] {
            // What was moved since is not to be there twice.
            let _ = std::fs::remove_dir_all(folder.join(name));
            std::fs::create_dir_all(folder.join(name)).unwrap();
        }
        for path in self.disk.paths() {
            let to = folder.join(&path);
            std::fs::create_dir_all(to.parent().unwrap()).unwrap();
            std::fs::write(to, self.disk.bytes(&path).unwrap()).unwrap();
        }
    }
}

/// The books that lie in a folder.
pub(super) fn shelf(folder: &Path) -> Shelf {
    let disk: Arc<dyn Disk> = Arc::new(Folder::open(folder).unwrap());
    Shelf::new(disk)
}

fn opening(id: &str, inspection: Option<Opened>) -> Fact {
    Fact::Open(Box::new(Open {
        format: "tapline-book-1".into(),
        id: id.into(),
        verify: None,
        station: "K3".into(),
        inspection,
        version: "0.1.0".into(),
        judge: 1,
        boot: "6f1c2a9e-0d53-4c1e-9a51-000000000000".into(),
        zone: "Etc/UTC".into(),
        offset: "+00:00".into(),
        synced: true,
        key: None,
        follows: None,
    }))
}

/// Of a look: nothing was measured. Others rest on a value.
fn verdict(step: &str, word: &str) -> Fact {
    let measured = match step {
        "look" => String::new(),
        _ => r#""measurand":"protective_earth_resistance","from":[3],"#.to_owned(),
    };
    let text = format!(
        r#"{{"step":"{step}",{measured}"value":null,"unit":null,"shown":null,"limit":null,
        "rule":null,"share":null,"uncertainty":null,"probability":null,"verdict":"{word}",
        "reasons":[]}}"#
    );
    let verdict: VerdictFact = serde_json::from_str(&text).unwrap();
    Fact::Verdict(Box::new(verdict))
}
