//! What the index answers when its own files, or the books behind it, are damaged.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;
use std::sync::Arc;

use serde_json::{Value, json};
use tapline::books::{Disk, Shelf};
use tapline::index::{Index, IndexFault, Query};

use super::books::{Answer, Place};
use super::folder::{Folder, Kind};
use super::harm::Harm;
use super::table::Said;

const REGISTERS: [&str; 6] = ["asset", "instrument", "setup", "fixture", "lead", "operator"];

/// Everything that can be asked.
fn answers(index: &Index, folder: &Folder) -> Result<Value, IndexFault> {
    let mut all = json!({ "list": index.inspections(&Query::default())? });
    for id in folder.inspections() {
        all[format!("one {id}")] = json!(index.inspection(id)?);
        all[format!("raw {id}")] = json!(index.raw(id, 0, usize::MAX)?.map(|page| page.lines));
    }
    for kind in REGISTERS {
        let lines = index.register(kind, None, 500)?;
        for line in &lines {
            let line: Value = serde_json::from_str(line).unwrap_or(Value::Null);
            let id = line["id"].as_str().unwrap_or("?");
            all[format!("{kind} {id}")] = json!(index.registered(kind, id)?);
        }
        all[kind] = json!(lines);
    }
    Ok(all)
}

/// An index that nothing has happened to, and what it says.
pub(crate) struct Whole {
    answers: Value,
    caught_up: u64,
}

impl Whole {
    pub(crate) fn new(folder: &Folder, place: &Place) -> Whole {
        let (index, opened) = Index::open(place.root(), &folder.shelf()).unwrap();
        assert_eq!(opened.set_aside, None);
        let answers = answers(&index, folder).unwrap();
        drop(index);
        mend(folder, place);
        Whole { answers, caught_up: opened.caught_up }
    }

    /// Its own files are damaged.
    pub(crate) fn asked(&self, folder: &Folder, place: &Place, harm: &Harm) -> Answer {
        let said = catch_unwind(AssertUnwindSafe(|| self.ask(folder, place)));
        let said = said.unwrap_or_else(|_| Err("a panic came through the guard".into()));
        mend(folder, place);
        said.map_err(|why| format!("{why} ({})", harm.path))
    }

    fn ask(&self, folder: &Folder, place: &Place) -> Answer {
        let shelf = folder.shelf();
        let opened = Index::open(place.root(), &shelf);
        let now = opened.and_then(|(index, opened)| match answers(&index, folder) {
            Ok(now) => Ok((now, opened)),
            Err(fault) => {
                index.let_go();
                Err(fault)
            }
        });
        let Ok((now, opened)) = now else {
            // Named; and what the person is told to do helps.
            let renewed = Index::renew(place.root(), &shelf, &|_| {});
            let renewed = renewed.map_err(|e| e.to_string())?;
            let now = answers(&renewed.0, folder).map_err(|e| e.to_string())?;
            return self.same(&now).map(|()| Said::Refused);
        };
        self.same(&now)?;
        let again = opened.set_aside.is_some() || opened.caught_up > self.caught_up;
        Ok(if again { Said::BuiltAgain } else { Said::Unchanged })
    }

    fn same(&self, now: &Value) -> Result<(), String> {
        if *now == self.answers {
            return Ok(());
        }
        let whole = self.answers.as_object().unwrap();
        let other = whole.iter().filter(|(key, answer)| now[key.as_str()] != **answer);
        let keys: Vec<_> = other.map(|(key, _)| key.as_str()).take(4).collect();
        Err(format!("it answers otherwise, and does not say so: {keys:?}"))
    }

    /// A book behind a whole index is damaged: what is listed was so once, and what is closed
    /// stays as it is.
    pub(crate) fn behind(&self, folder: &Folder, place: &Place, harm: &Harm) -> Answer {
        let (_, disk) = folder.with(&harm.path, &harm.bytes);
        let said = catch_unwind(AssertUnwindSafe(|| self.ask_behind(folder, place.root(), disk)));
        mend(folder, place);
        said.unwrap_or_else(|_| Err("a panic came through the guard".into()))
    }

    fn ask_behind(&self, folder: &Folder, root: &Path, disk: Arc<dyn Disk>) -> Answer {
        let opened = Index::open(root, &Shelf::new(disk));
        let Ok((index, opened)) = opened else { return Ok(Said::Refused) };
        let now = answers(&index, folder).map_err(|e| e.to_string())?;
        if now == self.answers {
            return Ok(Said::Unchanged);
        }
        for id in &folder.sealed {
            for key in ["one", "raw"].map(|key| format!("{key} {id}")) {
                if opened.set_aside.is_none() && now[&key] != self.answers[&key] {
                    return Err(format!("a sealed one is shown otherwise: {key}"));
                }
            }
        }
        Ok(if opened.set_aside.is_some() { Said::BuiltAgain } else { Said::Prefix })
    }
}

/// Puts the index back as it was.
fn mend(folder: &Folder, place: &Place) {
    for entry in std::fs::read_dir(place.root()).unwrap() {
        let entry = entry.unwrap();
        if entry.file_name().to_string_lossy().starts_with("index") {
            std::fs::remove_dir_all(entry.path()).unwrap();
        }
    }
    for (path, bytes) in folder.files.iter().filter(|(path, _)| Kind::of(path) == Kind::Index) {
        std::fs::create_dir_all(place.at(path).parent().unwrap()).unwrap();
        place.put(path, bytes);
    }
}
