//! One morning of a station, made by the real core and the real writer in virtual time: sealed
//! inspections, one in work, a day of idle bytes, and the index of it all.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use tapline::books::{Disk, Memory, Shelf};
use tapline::clock::Stamp;
use tapline::index::Index;
use tapline::station::event::BookId;

use super::{person, world};

/// Inspections that are sealed before it is enough.
const SEALED: usize = 3;
/// Things that a person does until then, at most.
const STEPS_MAX: u32 = 3_000;

/// What a file is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Kind {
    Station,
    Idle,
    Open,
    Sealed,
    Head,
    Signature,
    PublicKey,
    PrivateKey,
    Index,
}

impl Kind {
    /// Of a path in the data folder.
    pub(crate) fn of(path: &str) -> Kind {
        match path.split_once('/').map_or("", |(folder, _)| folder) {
            "station" => Kind::Station,
            "idle" => Kind::Idle,
            "open" => Kind::Open,
            "index" => Kind::Index,
            "keys" if path.ends_with(".pub.pem") => Kind::PublicKey,
            "keys" => Kind::PrivateKey,
            _ if path.ends_with(".head") => Kind::Head,
            _ if path.ends_with(".sig") => Kind::Signature,
            _ => Kind::Sealed,
        }
    }

    /// It is made of commits.
    pub(crate) fn is_book(self) -> bool {
        matches!(self, Kind::Station | Kind::Idle | Kind::Open | Kind::Sealed)
    }
}

/// The morning.
pub(crate) struct Folder {
    pub(crate) disk: Memory,
    /// Every file as it should be; those of the index, too.
    pub(crate) files: BTreeMap<String, Vec<u8>>,
    pub(crate) sealed: Vec<String>,
    pub(crate) open: Vec<String>,
    /// When the station starts again.
    pub(crate) at: Stamp,
}

impl Folder {
    /// Plays it, from a seed.
    pub(crate) fn new(seed: u64) -> Folder {
        let mut world = world::World::new(seed, true);
        let temper = person::Temper::of(&mut world.rng);
        let mut steps = 0..STEPS_MAX;
        let enough = |world: &world::World| {
            let shelf = world.books.shelf().inspections().unwrap();
            shelf.iter().filter(|book| book.sealed).count() >= SEALED && world.active().is_some()
        };
        while !enough(&world) {
            steps.next().expect("a person comes to an end");
            person::step(&mut world, temper);
        }
        world.run(30_000_000);
        world::key().store(&world.disk).unwrap();
        let shelf = world.books.shelf().inspections().unwrap();
        let (sealed, open): (Vec<_>, Vec<_>) = shelf.into_iter().partition(|book| book.sealed);
        let names = |books: Vec<tapline::books::OnShelf>| books.into_iter().map(|b| b.id).collect();
        let disk = world.disk.image();
        let files = disk.paths().into_iter().map(|path| (path.clone(), disk.bytes(&path).unwrap()));
        let files = files.collect();
        let mut folder =
            Folder { disk, files, sealed: names(sealed), open: names(open), at: world.at() };
        folder.index();
        folder
    }

    /// Builds the index and takes its files in.
    fn index(&mut self) {
        let temp = tempfile::tempdir().unwrap();
        drop(Index::open(temp.path(), &self.shelf()).unwrap());
        read(temp.path(), "index", &mut self.files);
    }

    pub(crate) fn shelf(&self) -> Shelf {
        Shelf::new(Arc::new(self.disk.image()))
    }

    /// A disk on which one file is different.
    pub(crate) fn with(&self, path: &str, bytes: &[u8]) -> (Memory, Arc<dyn Disk>) {
        let memory = self.disk.image();
        memory.put(path, bytes);
        let disk: Arc<dyn Disk> = Arc::new(memory.clone());
        (memory, disk)
    }

    /// All inspections.
    pub(crate) fn inspections(&self) -> impl Iterator<Item = &String> {
        self.sealed.iter().chain(&self.open)
    }

    /// Puts all files into a folder of the file system.
    pub(crate) fn write(&self, to: &Path) {
        for (path, bytes) in &self.files {
            let path = to.join(path);
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(path, bytes).unwrap();
        }
    }

    /// Paths of a kind that have any bytes.
    pub(crate) fn paths(&self, kind: Kind) -> Vec<&str> {
        let of_kind =
            |(path, bytes): &(&String, &Vec<u8>)| Kind::of(path) == kind && !bytes.is_empty();
        self.files.iter().filter(of_kind).map(|(path, _)| path.as_str()).collect()
    }
}

/// The book that a file is.
pub(crate) fn book_of(path: &str) -> BookId {
    let name = path.rsplit('/').next().unwrap().split('.').next().unwrap();
    match Kind::of(path) {
        Kind::Station => BookId::Station,
        Kind::Idle => BookId::Idle(name.into()),
        _ => BookId::Inspection(name.into()),
    }
}

/// All files below a folder, under names that begin with `folder`.
fn read(root: &Path, folder: &str, files: &mut BTreeMap<String, Vec<u8>>) {
    for entry in std::fs::read_dir(root.join(folder)).unwrap() {
        let entry = entry.unwrap();
        let name = format!("{folder}/{}", entry.file_name().into_string().unwrap());
        match entry.path().is_dir() {
            true => read(root, &name, files),
            false => drop(files.insert(name, std::fs::read(entry.path()).unwrap())),
        }
    }
}
