//! The file as a whole.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::sync::Arc;

use tapline_drivers::catalogue::{self, Source};
use tapline_drivers::described::meaning::{Field, Meaning};
use tapline_drivers::described::pattern::Pattern;
use tapline_drivers::described::{Description, Layout};

use super::frame::{Cut, Framed};
use super::{Described, example, fields, frame, maps};
use crate::read::{Form, Value};

/// What stands in `[read]`.
#[derive(Default)]
pub(super) struct Read<'s, 'i> {
    pub pattern: Option<Value<'s, 'i>>,
    pub pair: Option<Value<'s, 'i>>,
    pub function: Option<Value<'s, 'i>>,
    pub unit: Option<Value<'s, 'i>>,
    pub places: Option<Value<'s, 'i>>,
    pub point: Option<Value<'s, 'i>>,
}

struct Head {
    name: String,
    what: String,
    source: String,
    line: Option<(u32, String)>,
    period_ms: u32,
}

pub(super) fn build(form: &mut Form<'_, '_>) -> Option<Described> {
    let head = head(form);
    let framed = form.need("frame").and_then(|v| v.form()).and_then(frame::frame);
    let read = form.may("read").and_then(|v| v.form()).map(read_table).unwrap_or_default();
    let parts = fields::Sent::read(form);
    let pattern = read.pattern.as_ref().map(pattern_of);
    let used: Option<alloc::vec::Vec<Field>> = match &pattern {
        Some(pattern) => pattern.as_ref().map(|pattern| pattern.names().collect()),
        None => Some(parts.names()),
    };
    let meaning = maps::meaning(form, &read, used.as_deref());
    let examples = form.need("example");
    let (head, framed, meaning) = (head?, framed?, meaning?);
    let layout = layout(form, &framed, pattern, &parts, &meaning);
    if let (Some(value), Some(Layout::Line { pattern, .. } | Layout::Between { pattern, .. })) =
        (&read.pattern, &layout)
    {
        // A pattern that is read in two ways makes no example true.
        check(value, pattern, &framed, &meaning)?;
    }
    let layout = layout?;
    let pair = pair(form, &read, &layout, head.period_ms);
    let confirmed = head.source != "unconfirmed";
    let description = Description {
        name: head.name,
        what: head.what,
        source: if confirmed { Source::Confirmed } else { Source::Unconfirmed },
        period_ms: head.period_ms,
        silence_us: framed.silence_us,
        pair: pair?,
        layout,
        meaning,
    };
    let description = Arc::new(description);
    let examples = example::all(&examples?, &description)?;
    let description = Arc::unwrap_or_clone(description);
    Some(Described { description, source: head.source, line: head.line, examples })
}

fn head(form: &mut Form<'_, '_>) -> Option<Head> {
    let name = form.need("name").and_then(|value| driver_name(&value));
    let what = form.need("what").and_then(|v| v.text());
    let source = form.need("source").and_then(|v| v.text());
    let line = form.may("line").and_then(|v| v.form()).and_then(frame::line);
    let period_ms = form.need("period_ms").and_then(|v| v.count(0..=60_000));
    Some(Head { name: name?, what: what?, source: source?, line, period_ms: period_ms? })
}

fn driver_name(value: &Value<'_, '_>) -> Option<String> {
    let name = value.any_text()?;
    let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
    if !(1..=40).contains(&name.len()) || !name.bytes().all(plain) {
        return value.fault("needs 1 to 40 of a-z, 0-9 and `-`".into());
    }
    if catalogue::names().any(|known| known == name) {
        return value
            .fault(format!("`{name}` is a built-in driver: give this one a name of its own"));
    }
    Some(name.to_string())
}

fn read_table<'s, 'i>(mut form: Form<'s, 'i>) -> Read<'s, 'i> {
    let read = Read {
        pattern: form.may("pattern"),
        pair: form.may("pair"),
        function: form.may("function"),
        unit: form.may("unit"),
        places: form.may("places"),
        point: form.may("point"),
    };
    form.finish();
    read
}

fn pattern_of(value: &Value<'_, '_>) -> Option<Pattern> {
    match Pattern::parse(value.any_text()?) {
        Ok(pattern) => Some(pattern),
        Err(why) => value.fault(why),
    }
}

/// A pattern reads text, places read frames of a fixed length.
fn layout(
    form: &Form<'_, '_>,
    framed: &Framed,
    pattern: Option<Option<Pattern>>,
    parts: &fields::Sent<'_, '_>,
    meaning: &Meaning,
) -> Option<Layout> {
    let Cut::Fixed { length, start, end } = &framed.cut else {
        parts.refuse();
        let Some(pattern) = pattern else {
            form.fault("read", "needs a `pattern`, such as \"{function} {value} {unit}\"".into());
            return None;
        };
        let (pattern, longest) = (pattern?, framed.longest);
        return Some(match &framed.cut {
            Cut::Line { end } => Layout::Line { end: *end, longest, pattern },
            Cut::Between { start, end } => {
                Layout::Between { start: start.clone(), end: end.clone(), longest, pattern }
            }
            Cut::Fixed { .. } => return None,
        });
    };
    if pattern.is_some() {
        let why = "reads text with an end; a frame of a fixed length is read by [[field]]";
        form.fault("read.pattern", why.into());
        return None;
    }
    parts.fixed(form, (*length, start, end), meaning).map(Layout::Fixed)
}

fn check(
    value: &Value<'_, '_>,
    pattern: &Pattern,
    framed: &Framed,
    meaning: &Meaning,
) -> Option<()> {
    let mut faults = pattern.faults(meaning);
    let shortest = pattern.shortest(meaning) + framed.around;
    if shortest > framed.longest {
        let (longest, around) = (framed.longest, framed.around);
        faults.push(format!(
            "the shortest line of it has {shortest} bytes, {around} of them around it, and \
             `frame.longest` is {longest}"
        ));
    }
    let fine = faults.is_empty();
    for fault in faults {
        value.fault::<()>(fault);
    }
    fine.then_some(())
}

/// Text that ends is believed at once, as of every built-in driver; a frame that no checksum
/// covers needs an equal one.
fn pair(form: &Form<'_, '_>, read: &Read<'_, '_>, layout: &Layout, period_ms: u32) -> Option<bool> {
    let (usual, must) = match layout {
        Layout::Line { .. } => (false, false),
        Layout::Between { .. } => (true, false),
        Layout::Fixed(fixed) => {
            let open = !fields::covered(fixed);
            (open, open)
        }
    };
    let pair = match &read.pair {
        Some(value) => value.flag()?,
        None => usual,
    };
    let refuse = |why: &str| {
        form.fault("read.pair", why.into());
        None
    };
    if must && !pair {
        return refuse(
            "one flipped bit would be another value: a frame whose fields no checksum covers \
             counts only when two say the same; leave `pair` out",
        );
    }
    if pair && period_ms == 0 {
        return refuse("two equal frames are looked for within 2.5 `period_ms`, which is 0");
    }
    Some(pair)
}
