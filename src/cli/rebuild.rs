//! `tapline rebuild`: the index is set aside and built again from the books, without a daemon.

use std::path::Path;

use serde_json::json;

use super::verify::Said;
use crate::index::rebuild;

/// Builds the index of a data folder again. Exit: 0 done, 2 it could not be done.
#[must_use]
pub fn run(data: &Path, as_json: bool) -> Said {
    let rebuilt = match rebuild(data, &|_| {}) {
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
}
