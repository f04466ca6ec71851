//! Files that people write: a described driver, a capture.

use std::sync::Arc;

use tapline::capture::{Capture, Happened, escape, unescape};
use tapline_drivers::AnyDriver;
use tapline_protocols::described::{TEXT_BYTES_MAX, parse};

use super::hunt::Verdict;
use super::random::feature;
use super::rules;
use super::script::Script;

/// What is wrong is told with a line that is there; what is taken is a driver that keeps the rules
/// on any of `scripts`.
pub(crate) fn described(bytes: &[u8], scripts: &[Script]) -> Verdict {
    let text = String::from_utf8_lossy(bytes);
    let lines = u32::try_from(text.lines().count()).unwrap() + 1;
    let found = match parse(&text) {
        Ok(found) => found,
        Err(faults) => {
            let odd = faults.iter().find(|f| f.line > lines || f.text.is_empty());
            return match odd {
                _ if faults.is_empty() => Err("it is refused and nobody says why".to_owned()),
                Some(fault) => Err(format!("of {lines} lines: {fault:?}")),
                // The words of a fault without what was quoted in it.
                None => {
                    Ok(faults.iter().map(|f| feature(f.text.split('`').next().unwrap())).collect())
                }
            };
        }
    };
    let about = Arc::new(found.description);
    let name = about.name.bytes();
    let plain = name.clone().all(|b| matches!(b, b'a'..=b'z' | b'0'..=b'9' | b'-'));
    if name.len() == 0 || !plain || text.len() > TEXT_BYTES_MAX {
        return Err(format!("taken under the name `{}`, {} bytes", about.name, text.len()));
    }
    let make = || Box::new(AnyDriver::described(&about)) as Box<dyn rules::Subject>;
    let mut features = vec![feature(&format!("{}", found.examples))];
    for script in scripts {
        // Its digits need not be digits: a file may give signs and words for them.
        features.extend(rules::driver(&make, false, script)?);
    }
    Ok(features)
}

/// What is read is written and read again; a fault names its line.
pub(crate) fn capture(bytes: &Vec<u8>) -> Verdict {
    if unescape(&escape(bytes)).as_ref() != Ok(bytes) {
        return Err(format!("`{}` is not read back", escape(bytes)));
    }
    let text = String::from_utf8_lossy(bytes);
    let capture = match Capture::read(&text) {
        Ok(capture) => capture,
        Err(fault) => {
            let number = fault.strip_prefix("line ").and_then(|rest| rest.split(':').next());
            let number = number.and_then(|number| number.parse::<usize>().ok());
            let line = number.and_then(|n| text.lines().nth(n.checked_sub(1)?));
            let named = line.is_some_and(|line| fault.contains(line));
            let why = fault.rsplit("`: ").next().unwrap_or_default();
            return if named { Ok(vec![feature(why)]) } else { Err(fault) };
        }
    };
    let again = Capture::read(&written(&capture));
    if again.as_ref() != Ok(&capture) {
        return Err(format!("{capture:?} is read back as {again:?}"));
    }
    let reads: Vec<u8> = capture.reads().flat_map(|(_, bytes)| bytes).copied().collect();
    if reads != capture.bytes() {
        return Err("its reads are not its bytes".to_owned());
    }
    let kinds = capture.events.iter().map(|(_, happened)| std::mem::discriminant(happened));
    let kinds: Vec<_> = kinds.take(4).collect();
    Ok(vec![feature(&format!("{kinds:?} {}", capture.head.len().min(4)))])
}

/// With CR LF: a text of its own may end in CR.
fn written(capture: &Capture) -> String {
    let head = capture.head.iter().map(|(key, text)| format!("# {key}: {text}\r\n"));
    let events = capture.events.iter().map(|(us, happened)| match happened {
        Happened::In(bytes) => format!("{} < {}\r\n", us / 1_000, escape(bytes)),
        Happened::Sent(bytes) => format!("{} > {}\r\n", us / 1_000, escape(bytes)),
        Happened::Station(text) => format!("{} ! {text}\r\n", us / 1_000),
    });
    head.chain(events).collect()
}
