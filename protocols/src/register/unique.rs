//! Lists of entries that are told apart by their ids.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use crate::read::Form;

/// Most entries of one kind in a file.
pub(super) const ENTRIES_MAX: usize = 512;

/// The entries under a key, which may be left out. A second entry with the id of an earlier one
/// is a fault.
pub(super) fn entries<'s, 'i, T>(
    form: &mut Form<'s, 'i>,
    key: &'static str,
    read: impl Fn(Form<'s, 'i>) -> Option<T>,
    id: impl Fn(&T) -> &String,
) -> Vec<T> {
    let listed = form.may(key).map(|v| v.list(ENTRIES_MAX)).unwrap_or_default();
    let mut entries: Vec<T> = Vec::new();
    for value in listed {
        let Some(entry) = value.form().and_then(&read) else { continue };
        if entries.iter().any(|earlier| id(earlier) == id(&entry)) {
            value.fault::<()>(format!("a second entry is called `{}`", id(&entry)));
        }
        entries.push(entry);
    }
    entries
}
