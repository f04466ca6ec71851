//! What is read of a sealed inspection before somebody acts on it: the station keeps none of its
//! sealed books at hand. Nothing is added to what is in doubt.

use std::path::Path;

use crate::books::place::{OPEN, is_addendum, sealed_path};
use crate::books::verify::doubt;
use crate::past;
use crate::station::Past;
use crate::station::event::Problem;

/// Reads it off the runtime's thread.
///
/// # Errors
/// There is none, it is in work, or it is in doubt.
pub(super) async fn past(folder: &Path, id: &str) -> Result<Past, Problem> {
    let (folder, id) = (folder.to_owned(), id.to_owned());
    let read = tokio::task::spawn_blocking(move || read(&folder, &id)).await;
    read.unwrap_or_else(|_| Err(Problem::new("busy", "the record could not be read")))
}

fn read(folder: &Path, id: &str) -> Result<Past, Problem> {
    let path = sealed_path(id).filter(|_| !is_addendum(id));
    let unknown = || Problem::new("not_found", format!("there is no inspection `{id}`"));
    let path = folder.join(path.ok_or_else(unknown)?);
    if !path.is_file() {
        return match folder.join(format!("{OPEN}/{id}.jsonl")).is_file() {
            true => Err(Problem::new("conflict", format!("{id} is in work"))
                .next("Sign it first: then it is sealed.")),
            false => Err(unknown()),
        };
    }
    let doubtful = |why: String| {
        Problem::new("conflict", format!("{id} is in doubt: {why}"))
            .next("Run `tapline verify` on it, and restore it from a copy.")
    };
    match doubt(&path) {
        Some(why) => Err(doubtful(why)),
        None => past::life::read(folder, id).map_err(doubtful),
    }
}
