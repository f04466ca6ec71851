//! `tapline rebuild`: the index is set aside and built again from the books, without a daemon.

use std::cell::Cell;
use std::path::Path;

use serde_json::json;

use super::output;
use super::verify::Said;
use crate::index::{Progress, rebuild};

/// Builds the index of a data folder again; says on standard error how far it is. Exit: 0 done,
/// 2 it could not be done.
#[must_use]
pub fn run(data: &Path, as_json: bool) -> Said {
    let rebuilt = match rebuild(data, &teller()) {
        Ok(rebuilt) => rebuilt,
        Err(fault) => return Said { talk: vec![fault.to_string()], exit: 2, ..Said::default() },
    };
    let aside = rebuilt.set_aside.as_ref().map(|path| path.display().to_string());
    let out = match (as_json, &aside) {
        (true, _) => json!({ "books": rebuilt.books, "set_aside": aside }).to_string(),
        (false, Some(aside)) => {
            format!("index built from {} books; the old one is in `{aside}`", rebuilt.books)
        }
        (false, None) => format!("index built from {} books", rebuilt.books),
    };
    Said { out: vec![out], ..Said::default() }
}

/// Says on standard error how far it is.
pub(super) fn teller() -> impl Fn(Progress) {
    let tenth = Cell::new(0);
    move |at| {
        if let Some(line) = line(&tenth, at) {
            output::talk(&line);
        }
    }
}

/// Ten lines for many books, none for few: those are read in no time.
fn line(tenth: &Cell<u64>, at: Progress) -> Option<String> {
    let Progress { done, of } = at;
    let now = done * 10 / of.max(1);
    if of < 1000 || now <= tenth.replace(now) {
        return None;
    }
    Some(format!("{} %: {done} of {of} books", now * 10))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::books::Lock;

    #[test]
    fn a_folder_in_use_is_left_alone() {
        let temp = tempfile::tempdir().unwrap();
        assert_eq!(run(temp.path(), true).out, [r#"{"books":0,"set_aside":null}"#]);
        let _daemon = Lock::take(temp.path()).unwrap();
        let said = run(temp.path(), false);
        assert_eq!(said.exit, 2);
        assert!(said.talk[0].contains(&format!("process {}", std::process::id())), "{said:?}");
    }

    #[test]
    fn ten_lines_say_how_far_it_is() {
        let tenth = Cell::new(0);
        let lines: Vec<_> =
            (0..=2000).filter_map(|done| line(&tenth, Progress { done, of: 2000 })).collect();
        assert_eq!(lines.len(), 10);
        assert_eq!(
            (&*lines[0], &*lines[9]),
            ("10 %: 200 of 2000 books", "100 %: 2000 of 2000 books")
        );
        assert_eq!(line(&tenth, Progress { done: 999, of: 999 }), None);
    }
}
