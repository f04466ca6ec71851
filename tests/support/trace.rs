//! What `strace` wrote down, read back: each call with its file, its text, and where it began and
//! ended among the others.

use std::collections::BTreeMap;

/// One system call.
#[derive(Debug, Clone, Default)]
pub(crate) struct Call {
    /// Its name.
    pub(crate) name: String,
    /// The file behind its first argument, as the kernel names it.
    pub(crate) file: String,
    /// All arguments, as written down: C escapes in texts.
    pub(crate) text: String,
    /// What it returned.
    pub(crate) result: String,
    /// Row at which it began.
    pub(crate) began: usize,
    /// Row at which it was over.
    pub(crate) ended: usize,
}

/// All calls that were seen to end, in the order in which they ended.
pub(crate) fn calls(trace: &str) -> Vec<Call> {
    let mut open: BTreeMap<&str, Call> = BTreeMap::new();
    let mut done = Vec::new();
    for (row, line) in trace.lines().enumerate() {
        let Some((pid, rest)) = line.split_once(' ') else { continue };
        let rest = rest.trim_start();
        let mut call = if rest.starts_with("<... ") {
            let Some(call) = open.remove(pid) else { continue };
            call
        } else {
            match begun(rest, row) {
                Some(call) => call,
                None => continue,
            }
        };
        if rest.ends_with("<unfinished ...>") {
            open.insert(pid, call);
            continue;
        }
        let result = rest.rsplit_once(" = ").map(|(_, result)| result.to_owned());
        call.result = result.unwrap_or_default();
        call.ended = row;
        done.push(call);
    }
    done
}

fn begun(rest: &str, row: usize) -> Option<Call> {
    let (name, text) = rest.split_once('(')?;
    if !name.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_') {
        return None;
    }
    let file = text.split_once('<').filter(|(fd, _)| fd.bytes().all(|b| b.is_ascii_digit()));
    let file = file.and_then(|(_, rest)| rest.split_once('>')).map_or("", |(file, _)| file);
    Some(Call {
        name: name.to_owned(),
        file: file.to_owned(),
        text: text.to_owned(),
        began: row,
        ..Call::default()
    })
}

/// The numbers behind each `mark` in a text.
pub(crate) fn numbers<'t>(text: &'t str, mark: &'t str) -> impl Iterator<Item = u64> + 't {
    text.split(mark).skip(1).filter_map(|rest| {
        let digits = rest.bytes().take_while(u8::is_ascii_digit).count();
        rest[..digits].parse().ok()
    })
}
