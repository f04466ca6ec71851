//! A station's work on a disk that fails at any call: two inspections, one of them parked while
//! the other is made, both signed and sealed; then one of them gets an addendum. A life ends by a
//! power cut, a kill or an error of the disk; the next one finds what the disk has, goes on, and
//! may end as early as it likes.
//!
//! Expected after each end: what was acknowledged is there, in order, byte for byte; of what was
//! being written a book has all or nothing; no number is used twice; what is sealed is sealed and
//! announced once; what was torn is kept and told once; a stranger's check accepts every book.
//! (Property of a write-ahead log; error semantics: fsync(2), ERRORS. Common practice, no source.)

use std::collections::{BTreeMap, BTreeSet};
use std::io::{Read, Write};
use std::sync::Arc;

use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};
use tapline::books::{Books, Crash, Disk, Halted, Line, Memory, Recovered, verify};
use tapline::station::event::{BookId, Stored};
use tapline_protocols::Fact;
use tapline_protocols::fact::{AddendumFact, ReasonFact, ResumeFact, ReviewFact, TornFact};

use crate::bench::{as_stored, at, bytes, idle, key, line, note, opening, signed, stored};

/// The inspections: the first rests while the second is made; what is added to the first.
const IDS: [&str; 3] = ["K3-20261124-0001", "K3-20261124-0001+1", "K3-20261124-0002"];

/// One step of the work.
enum Step {
    Commit(Vec<(BookId, Fact)>),
    Seal(&'static str),
    /// The addendum: it names what was sealed.
    Add,
}

/// How a life ended before its time.
#[derive(Debug)]
pub(crate) struct Broken(pub(crate) Option<Halted>);

/// What was acknowledged over all lives.
#[derive(Default)]
pub(crate) struct Model {
    kept: BTreeMap<BookId, Vec<Line>>,
    flying: BTreeMap<BookId, Vec<Line>>,
    /// Steps that are done.
    done: usize,
    /// Highest number that was acknowledged.
    seq: u64,
    sealed: BTreeSet<&'static str>,
}

fn book(id: &str) -> BookId {
    BookId::Inspection(id.into())
}

fn work() -> Vec<Step> {
    use Step::{Add, Commit, Seal};
    let [first, _, second] = IDS.map(book);
    let reason = || ReasonFact { reason: None };
    let resume = ResumeFact {
        bench: "b1".into(),
        boot: "6f1c2a9e".into(),
        version: "0.1.0".into(),
        judge: 1,
        after: "park".into(),
        date: None,
    };
    vec![
        Commit(vec![(BookId::Station, opening("2026", false)), (BookId::Station, note("up"))]),
        Commit(vec![(idle(), opening("2026-11-24", false)), (idle(), bytes(b"R4 OL\r\n"))]),
        Commit(vec![(first.clone(), opening(IDS[0], true)), (first.clone(), note("given"))]),
        // The closing bytes of the idle book, an inspection and the station at once.
        Commit(vec![
            (idle(), bytes(b"R4 +0.")),
            (first.clone(), bytes(b"181 Ohm\r\n")),
            (BookId::Station, note("several books at once")),
        ]),
        Commit(vec![(first.clone(), bytes(b"R4 +0.182 Ohm\r\n")), (first.clone(), note("value"))]),
        Commit(vec![(first.clone(), Fact::Park(reason())), (idle(), note("tapped"))]),
        Commit(vec![(second.clone(), opening(IDS[2], true)), (second.clone(), note("given"))]),
        Commit(vec![(second.clone(), bytes(b"R4 +0.090 Ohm\r\n"))]),
        Commit(vec![(second, signed())]),
        Seal(IDS[2]),
        Commit(vec![(idle(), note("tapped again")), (first.clone(), Fact::Resume(resume))]),
        Commit(vec![(first.clone(), bytes(b"R4 +0.183 Ohm\r\n")), (first.clone(), signed())]),
        Seal(IDS[0]),
        Add,
        Seal(IDS[1]),
        Commit(vec![(BookId::Station, Fact::Stop(reason()))]),
    ]
}

/// What is added to the first inspection, as it lies sealed.
fn addendum(books: &Books) -> Result<Vec<(BookId, Fact)>, Halted> {
    let path = format!("inspections/2026/11/{}.jsonl", IDS[0]);
    let mut bytes = Vec::new();
    let read = books.disk().read(&path, 0).and_then(|mut file| file.read_to_end(&mut bytes));
    read.map_err(|error| Halted::disk("read", &path, &error))?;
    let head = HEXLOWER.encode(&Sha256::digest(&bytes));
    let named = AddendumFact {
        of: IDS[0].into(),
        head: head.clone(),
        follows: IDS[0].into(),
        follows_head: head,
        asset: "P-0107".into(),
    };
    let review = Fact::Review(ReviewFact { accepted: true, remark: None });
    let facts = [opening(IDS[1], false), Fact::Addendum(Box::new(named)), review, signed()];
    Ok(facts.map(|fact| (book(IDS[1]), fact)).into())
}

impl Model {
    /// One life, from what the disk has to the end of the work.
    pub(crate) fn live(&mut self, memory: &Memory) -> Result<(), Broken> {
        let disk: Arc<dyn Disk> = Arc::new(memory.clone());
        key().store(disk.as_ref()).map_err(|_| Broken(None))?;
        let opened = Books::open(disk, Arc::new(key()), at(0));
        let (mut books, found) = opened.map_err(|halted| Broken(Some(halted)))?;
        self.goes_on(&mut books, found).map_err(|halted| Broken(Some(halted)))
    }

    fn goes_on(&mut self, books: &mut Books, found: Recovered) -> Result<(), Halted> {
        assert!(found.damaged.is_empty() && found.troubles.is_empty(), "{found:?}");
        assert!(found.next_seq > self.seq, "number {} was acknowledged", self.seq);
        self.look(books, &found)?;
        let mut seq = found.next_seq..;
        for sealed in found.sealed {
            let fact = Fact::Sealed(sealed);
            books.commit(&[stored(&BookId::Station, seq.next().unwrap(), fact)])?;
        }
        let work = work();
        while let Some(step) = work.get(self.done) {
            self.step(books, step, &mut seq)?;
            self.done += 1;
        }
        Ok(())
    }

    fn step(
        &mut self,
        books: &mut Books,
        step: &Step,
        seq: &mut impl Iterator<Item = u64>,
    ) -> Result<(), Halted> {
        match step {
            Step::Seal(id) if self.sealed.contains(id) => Ok(()),
            Step::Seal(id) => {
                let fact = Fact::Sealed(books.seal(id)?);
                books.commit(&[stored(&BookId::Station, seq.next().unwrap(), fact)])?;
                self.sealed.insert(id);
                Ok(())
            }
            Step::Add => self.step(books, &Step::Commit(addendum(books)?), seq),
            Step::Commit(facts) => {
                // What was signed when a life ended was sealed by the next.
                let open =
                    |id: &BookId| IDS.iter().all(|i| book(i) != *id || !self.sealed.contains(i));
                let facts = facts.iter().filter(|(id, _)| open(id));
                let lines: Vec<Stored> =
                    facts.map(|(id, f)| stored(id, seq.next().unwrap(), f.clone())).collect();
                self.flying.clear();
                for stored in &lines {
                    self.flying.entry(stored.book.clone()).or_default().push(line(stored));
                }
                books.commit(&lines)?;
                self.seq = self.seq.max(lines.last().map_or(0, |line| line.seq));
                for (book, mut lines) in std::mem::take(&mut self.flying) {
                    self.kept.entry(book).or_default().append(&mut lines);
                }
                Ok(())
            }
        }
    }

    /// The lines of each book are those kept, with all or nothing of what was flying; from now on
    /// what is there is kept.
    fn look(&mut self, books: &Books, found: &Recovered) -> Result<(), Halted> {
        for id in [BookId::Station, idle()].into_iter().chain(IDS.map(book)) {
            let lines = books.lines(&id)?.map(|line| line.map(as_stored));
            let mut read = lines.collect::<Result<Vec<Line>, _>>()?;
            read.retain(|l| !matches!(l.fact, Fact::Torn(_) | Fact::Sealed(_)));
            let kept = self.kept.remove(&id).unwrap_or_default();
            let flying = self.flying.remove(&id).unwrap_or_default();
            if read != kept {
                assert_eq!(read, [kept, flying].concat(), "{id:?}");
            }
            self.kept.insert(id, read);
        }
        self.flying.clear();
        for id in IDS {
            let was = self.sealed.contains(id);
            let path = format!("inspections/2026/11/{id}.jsonl");
            let is = books.disk().length(&path).map_err(|e| Halted::disk("look at", &path, &e))?;
            assert!(!was || is.is_some(), "{id} was sealed and is not");
            assert!(is.is_none() || !found.inspections.iter().any(|open| open == id));
            if is.is_some() {
                self.sealed.insert(id);
            }
        }
        Ok(())
    }

    /// After the last life: nothing that was believed can be taken by a power cut, and the disk
    /// bears a stranger's check.
    pub(crate) fn end(mut self, memory: &Memory) {
        memory.crash(Crash::LoseAll);
        self.live(memory).expect("the disk is well");
        let disk: Arc<dyn Disk> = Arc::new(memory.clone());
        let (books, found) = Books::open(disk, Arc::new(key()), at(0)).unwrap();
        assert!(found.torn.is_empty() && found.sealed.is_empty(), "told once: {found:?}");
        let (mut numbers, mut sealed, mut torn) = (BTreeSet::new(), Vec::new(), Vec::new());
        for id in [BookId::Station, idle()].into_iter().chain(IDS.map(book)) {
            for line in books.lines(&id).unwrap().map(Result::unwrap) {
                assert!(numbers.insert(line.seq), "number {} is used twice", line.seq);
                match line.fact {
                    Fact::Sealed(fact) => sealed.push(fact.id),
                    Fact::Torn(fact) => torn.push(fact),
                    _ => {}
                }
            }
        }
        sealed.sort();
        assert_eq!(sealed, IDS, "each is announced once");
        kept_aside(memory, &torn);
        a_stranger_accepts(memory);
    }
}

/// Each set-aside file is named by one fact, which tells its length and hash.
fn kept_aside(memory: &Memory, torn: &[TornFact]) {
    let paths = memory.paths();
    assert!(!paths.iter().any(|path| path.ends_with(".new")), "unfinished: {paths:?}");
    let aside: Vec<&String> = paths.iter().filter(|path| path.contains(".torn-")).collect();
    assert_eq!(aside.len(), torn.len(), "{aside:?} {torn:?}");
    for path in aside {
        let bytes = memory.bytes(path).unwrap();
        let told = torn.iter().filter(|fact| path.ends_with(&format!("/{}", fact.file)));
        let told: Vec<_> = told.map(|fact| (fact.bytes, fact.sha256.clone())).collect();
        let sha256 = HEXLOWER.encode(&Sha256::digest(&bytes));
        assert_eq!(told, [(bytes.len() as u64, sha256)], "{path}");
    }
}

fn a_stranger_accepts(memory: &Memory) {
    let temp = tempfile::tempdir().unwrap();
    for path in memory.paths() {
        let to = temp.path().join(&path);
        std::fs::create_dir_all(to.parent().unwrap()).unwrap();
        std::fs::write(to, memory.bytes(&path).unwrap()).unwrap();
    }
    for path in memory.paths().iter().filter(|path| path.ends_with(".jsonl")) {
        let report = verify(&temp.path().join(path), None).unwrap();
        assert!(report.ok && report.sealed == path.starts_with("inspections/"), "{report}");
    }
}

/// Tells how much was done, past the harness, which shows nothing of a test that passes.
pub(crate) fn tell(what: &str, points: usize) {
    let text = format!("journal: {points} {what}\n");
    std::io::stderr().write_all(text.as_bytes()).unwrap();
}
