//! The keeper of the index without its thread.

use std::sync::Arc;

use tapline_protocols::Fact;
use tapline_protocols::fact::ReasonFact;

use super::*;
use crate::books::{Books, Disk, Folder, Key};
use crate::clock::Stamp;
use crate::station::event::Stored;

/// A data folder with a station book.
struct House {
    temp: tempfile::TempDir,
    books: Books,
    seq: u64,
}

impl House {
    fn new() -> House {
        let temp = tempfile::tempdir().unwrap();
        let disk: Arc<dyn Disk> = Arc::new(Folder::open(temp.path()).unwrap());
        let key = Key::from_secret("K3-1", &[42; 32]);
        key.store(disk.as_ref()).unwrap();
        let at = Stamp { wall_us: 1_795_508_043_512_004, boot_us: 1 };
        let (books, found) = Books::open(disk, Arc::new(key), at).unwrap();
        House { temp, books, seq: found.next_seq }
    }

    /// A line in the station book, as text.
    fn line(&mut self, fact: Fact) -> String {
        let at = Stamp { wall_us: 1_795_508_043_512_004, boot_us: self.seq };
        let (book, seq) = (BookId::Station, self.seq);
        self.seq += 1;
        let stored = Stored { book, bench: None, seq, at, fact, by: None };
        self.books.commit(&[stored]).unwrap().remove(0)
    }

    fn operator(&mut self, id: &str) -> String {
        let json = format!(r#"{{"k":"operator","id":"{id}","name":"A","badge":"B"}}"#);
        let fact = serde_json::from_str(&json).unwrap();
        self.line(fact)
    }

    fn keeper(&self) -> Keeper {
        let hall = Arc::new(Hall {
            folder: self.temp.path().to_owned(),
            shelf: self.books.shelf(),
            state: Mutex::new(State::Checking(Progress::default())),
            turned: Condvar::new(),
            behind: AtomicBool::new(false),
        });
        Keeper { hall, builds: 0 }
    }
}

fn full() -> IndexFault {
    IndexFault::Disk(std::io::Error::from_raw_os_error(28))
}

fn knows(keeper: &Keeper, id: &str) -> bool {
    let index = keeper.index().unwrap();
    let known = index.registered("operator", id).unwrap().is_some();
    release(index);
    known
}

#[test]
fn a_full_disk_is_waited_for_and_then_nothing_is_missing() {
    let mut house = House::new();
    house.line(Fact::Stop(ReasonFact { reason: None }));
    let mut keeper = house.keeper();
    keeper.open();
    keeper.fault(&full());
    assert_eq!(keeper.hall.lock().code(), "full");
    let said = keeper.hall.ready().unwrap_err();
    assert!(said.starts_with(english().say("index", "full")), "{said}");
    let missed = house.operator("OP-0001");
    keeper.line(&BookId::Station, &missed);
    assert_eq!(keeper.hall.lock().code(), "full", "not tried again at once");
    let next = house.operator("OP-0002");
    // The fault was long ago; and the old index has to be closed first, in its own thread.
    for _ in 0..10_000 {
        if keeper.hall.lock().code() == "full" {
            keeper.hall.turn(State::Full("no room".into(), 0));
            keeper.line(&BookId::Station, &next);
            std::thread::yield_now();
        }
    }
    assert_eq!(keeper.hall.lock().code(), "ready");
    assert!(knows(&keeper, "OP-0001") && knows(&keeper, "OP-0002"));
}

#[test]
fn lines_that_found_no_room_in_the_queue_are_read_from_the_book() {
    let mut house = House::new();
    house.line(Fact::Stop(ReasonFact { reason: None }));
    let mut keeper = house.keeper();
    keeper.open();
    let (jobs, work) = sync_channel(2);
    let indexer = Indexer { jobs, hall: keeper.hall.clone() };
    for n in 0..5 {
        let line = house.operator(&format!("OP-000{n}"));
        indexer.line(&BookId::Station, &line);
    }
    assert!(indexer.hall.behind.load(Ordering::SeqCst));
    drop(indexer);
    keeper.jobs(&work);
    assert!((0..5).all(|n| knows(&keeper, &format!("OP-000{n}"))));
    assert!(!keeper.hall.behind.load(Ordering::SeqCst));
}

/// Who compares with all that was stored before has to know that all of it is there.
#[test]
fn an_index_is_level_where_it_has_every_line_that_was_handed_over() {
    let mut house = House::new();
    house.line(Fact::Stop(ReasonFact { reason: None }));
    let mut keeper = house.keeper();
    let level = |keeper: &mut Keeper| {
        let (told, level) = sync_channel(1);
        keeper.job(Job::Level(told));
        level.recv().unwrap()
    };
    assert!(!level(&mut keeper), "it is not open yet");
    keeper.open();
    assert!(level(&mut keeper));
    keeper.hall.behind.store(true, Ordering::SeqCst);
    assert!(!level(&mut keeper), "it missed lines");
    keeper.hall.behind.store(false, Ordering::SeqCst);
    keeper.fault(&full());
    assert!(!level(&mut keeper));
}

#[test]
fn a_doubt_is_built_again_three_times_and_then_left_to_a_person() {
    let mut house = House::new();
    house.operator("OP-0001");
    let mut keeper = house.keeper();
    keeper.open();
    for _ in 0..BUILDS_MAX {
        keeper.fault(&IndexFault::Panic);
        assert!(knows(&keeper, "OP-0001"));
    }
    keeper.fault(&IndexFault::Panic);
    assert_eq!(keeper.hall.lock().json()["state"], "away");
    assert!(keeper.hall.ready().is_err());
    keeper.job(Job::Renew(sync_channel(1).0));
    assert!(knows(&keeper, "OP-0001"), "a person may have it built all the same");
}

#[test]
fn a_doubt_about_an_index_that_is_gone_harms_the_next_one_not() {
    let mut house = House::new();
    house.operator("OP-0001");
    let mut keeper = house.keeper();
    keeper.open();
    let old = keeper.index().unwrap();
    keeper.job(Job::Renew(sync_channel(1).0));
    keeper.job(Job::Doubt(old, "an old one".into()));
    assert_eq!((keeper.builds, keeper.hall.lock().code()), (0, "ready"));
}
