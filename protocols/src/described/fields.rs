//! `[[field]]`, `[[bit]]` and `[check]`: what stands in which byte of a frame of a fixed length.

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;

use tapline_drivers::Flag;
use tapline_drivers::described::fixed::{Bit, Check, Content, Fixed, Kind, Part};
use tapline_drivers::described::meaning::{FIELDS, Field, Meaning};
use tapline_drivers::frame::marks::Mark;

use crate::read::{Form, Value, word};

/// More than any frame has.
const ROWS_MAX: usize = 256;

const KINDS: [&str; 3] = ["sum8", "sum16", "xor8"];

/// What a bit or a flag says beside the flags of a reading.
const SAYS: [(&str, Mark); 4] = [
    ("minus", Mark::Minus),
    ("overload", Mark::Over),
    ("other", Mark::Other),
    ("nothing", Mark::Nothing),
];

/// A part with the place where the file says so.
struct Placed<'s, 'i> {
    value: Value<'s, 'i>,
    part: Part,
}

/// All that is said of places.
pub(super) struct Sent<'s, 'i> {
    placed: Vec<Placed<'s, 'i>>,
    check: Option<(Check, Value<'s, 'i>)>,
    /// One of them could not be read: what follows from the whole is not said.
    broken: bool,
}

impl<'s, 'i> Sent<'s, 'i> {
    pub(super) fn read(form: &mut Form<'s, 'i>) -> Sent<'s, 'i> {
        let mut sent = Sent { placed: Vec::new(), check: None, broken: false };
        let rows = |value: Option<Value<'s, 'i>>| value.map_or(Vec::new(), |v| v.list(ROWS_MAX));
        for value in rows(form.may("field")) {
            match value.form().and_then(field) {
                Some(part) => sent.placed.push(Placed { value, part }),
                None => sent.broken = true,
            }
        }
        for value in rows(form.may("bit")) {
            match value.form().and_then(bit) {
                Some((at, mask, says)) => sent.bit(value, at, (mask, says)),
                None => sent.broken = true,
            }
        }
        if let Some(value) = form.may("check") {
            let check = value.form().and_then(check);
            sent.broken |= check.is_none();
            sent.check = check.map(|check| (check, value));
        }
        sent
    }

    fn bit(&mut self, value: Value<'s, 'i>, at: usize, row: (u8, Bit)) {
        let same = |placed: &&mut Placed<'_, '_>| {
            placed.part.from == at && matches!(placed.part.content, Content::Bits(_))
        };
        match self.placed.iter_mut().find(same).map(|placed| &mut placed.part.content) {
            Some(Content::Bits(rows)) if rows.iter().any(|(mask, _)| *mask == row.0) => {
                value.fault::<()>("stands there twice".into());
            }
            Some(Content::Bits(rows)) => rows.push(row),
            _ => {
                let part = Part { from: at, to: at + 1, content: Content::Bits(vec![row]) };
                self.placed.push(Placed { value, part });
            }
        }
    }

    pub(super) fn names(&self) -> Vec<Field> {
        let fields = self.placed.iter().filter_map(|placed| match placed.part.content {
            Content::Field(field) => Some(field),
            _ => None,
        });
        fields.collect()
    }

    /// Lines have no places.
    pub(super) fn refuse(&self) {
        let values = self.placed.iter().map(|placed| &placed.value);
        for value in values.chain(self.check.iter().map(|(_, value)| value)) {
            value.fault::<()>("is for frames of a fixed length (`frame.length`)".into());
        }
    }

    /// The frame of all that, when nothing overlaps and no byte is left.
    pub(super) fn fixed(
        &self,
        form: &Form<'_, '_>,
        (length, start, end): (usize, &[u8], &[u8]),
        meaning: &Meaning,
    ) -> Option<Fixed> {
        let always = |from: usize, bytes: &[u8]| Part {
            from,
            to: from + bytes.len(),
            content: Content::Always(bytes.to_vec()),
        };
        let mut parts = Vec::new();
        let Some(last) = length.checked_sub(end.len()).filter(|last| start.len() <= *last) else {
            form.fault("frame.length", "is too short for `start` and `end`".into());
            return None;
        };
        let marks = [always(0, start), always(last, end)];
        parts.extend(marks.into_iter().filter(|part| part.from < part.to));
        if let Some((check, _)) = &self.check {
            let (from, to) = (check.at, check.at + check.kind.width());
            parts.push(Part { from, to, content: Content::Check });
        }
        let fits = [self.within(length), self.lay(length, &mut parts)] == [true; 2];
        let minus = |part: &Part| match &part.content {
            Content::Bits(rows) => rows.iter().any(|(_, bit)| *bit == Bit::Says(Mark::Minus)),
            _ => false,
        };
        if self.names().contains(&Field::Sign) && parts.iter().any(minus) {
            form.fault("bit", "the field `sign` says what is below zero, too: keep one".into());
        }
        let value = parts.iter().filter(|p| p.content == Content::Field(Field::Value)).count();
        if value != 1 && !self.broken {
            form.fault("field", format!("needs one field `value`, and there are {value}"));
        }
        let always = |part: &Part| matches!(part.content, Content::Always(_));
        if self.check.is_none() && !parts.iter().any(always) && !self.broken {
            let why = "a frame of a fixed length is found by what is always the same in it: give \
                       `start`, `end`, a field `is`, or a [check]";
            form.fault("frame", why.into());
            return None;
        }
        let left = uncovered(length, &parts);
        if fits && !self.broken && !left.is_empty() {
            let why = "in no field: call them `skip` if they say nothing that matters";
            form.fault("field", format!("{left} {why}"));
            return None;
        }
        let fine = fits && !self.broken && value == 1;
        fine.then(|| Fixed::new(length, parts, self.check.as_ref().map(|(c, _)| *c), meaning))
    }

    /// Puts every part where nothing stands yet.
    fn lay(&self, length: usize, parts: &mut Vec<Part>) -> bool {
        let mut fine = true;
        for Placed { value, part } in &self.placed {
            if part.to > length {
                value.fault::<()>(format!("byte {} is behind the frame's last, {length}", part.to));
                fine = false;
            }
            let other = parts.iter().find(|other| other.from < part.to && part.from < other.to);
            if let Some(other) = other {
                value.fault::<()>(format!(
                    "overlaps {} in bytes {} to {}",
                    name_of(&other.content),
                    other.from + 1,
                    other.to
                ));
                fine = false;
            }
            parts.push(part.clone());
        }
        fine
    }

    fn within(&self, length: usize) -> bool {
        let Some((check, value)) = &self.check else { return true };
        let stands = check.at..check.at + check.kind.width();
        if stands.end > length || check.to > length {
            value.fault::<()>(format!("reaches behind the frame's last byte, {length}"));
            return false;
        }
        if check.from < stands.end && stands.start < check.to {
            value.fault::<()>("covers itself: let `from` and `to` leave out `at`".into());
            return false;
        }
        true
    }
}

/// The checksum covers everything that says something.
pub(super) fn covered(fixed: &Fixed) -> bool {
    let Some(check) = fixed.check() else { return false };
    fixed.parts().iter().all(|part| match part.content {
        Content::Always(_) | Content::Check | Content::Field(Field::Skip) => true,
        Content::Field(_) | Content::Bits(_) => check.from <= part.from && part.to <= check.to,
    })
}

/// The first bytes that are in no part, in words; empty when all are in one.
fn uncovered(length: usize, parts: &[Part]) -> String {
    let free = |at: &usize| !parts.iter().any(|part| (part.from..part.to).contains(at));
    let Some(first) = (0..length).find(free) else { return String::new() };
    let last = (first..length).take_while(free).last().unwrap_or(first);
    match last == first {
        true => format!("byte {} is", first + 1),
        false => format!("bytes {} to {} are", first + 1, last + 1),
    }
}

fn name_of(content: &Content) -> String {
    match content {
        Content::Field(field) => format!("`{}`", field.name()),
        Content::Always(_) => "what is always the same".to_string(),
        Content::Bits(_) => "a byte of bits".to_string(),
        Content::Check => "the checksum".to_string(),
    }
}

/// Byte positions of a file count from 1.
fn place(form: &mut Form<'_, '_>, key: &'static str) -> Option<usize> {
    usize::try_from(form.need(key)?.count(1..=256)?).ok()
}

fn range(form: &mut Form<'_, '_>) -> Option<(usize, usize)> {
    let (from, to) = (place(form, "from"), place(form, "to"));
    let (from, to) = (from?, to?);
    if from > to {
        form.fault("to", format!("is before `from`, {from}"));
        return None;
    }
    Some((from - 1, to))
}

fn field(mut form: Form<'_, '_>) -> Option<Part> {
    let names = FIELDS.map(|(name, _)| name);
    let name = form.may("name").map(|value| value.one_of(&names));
    let is = form.may("is").map(|value| (value.bytes(256), value));
    let range = range(&mut form);
    let content = match (name, is) {
        (Some(name), None) => name.and_then(|name| Field::named(&name)).map(Content::Field),
        (None, Some((bytes, value))) => match (bytes, range) {
            (Some(bytes), Some((from, to))) if bytes.len() != to - from => {
                value.fault(format!("has {} bytes for {} places", bytes.len(), to - from))
            }
            (bytes, _) => bytes.map(Content::Always),
        },
        _ => {
            form.fault("", "needs either `name` or `is` (what always stands there)".into());
            None
        }
    };
    form.finish();
    let (from, to) = range?;
    Some(Part { from, to, content: content? })
}

fn bit(mut form: Form<'_, '_>) -> Option<(usize, u8, Bit)> {
    let at = place(&mut form, "at");
    let bit = form.need("bit").and_then(|v| v.count(0..=7));
    let means = form.need("means").and_then(|value| match value.any_text()? {
        "always" => Some(Bit::Always),
        _ => mark(&value, &["always"]).map(Bit::Says),
    });
    form.finish();
    Some((at? - 1, 1 << bit?, means?))
}

/// What a flag says: a word of a reading's flags, or one of [`SAYS`].
pub(super) fn mark(value: &Value<'_, '_>, more: &[&str]) -> Option<Mark> {
    let text = value.any_text()?;
    if let Some((_, mark)) = SAYS.iter().find(|(known, _)| *known == text) {
        return Some(*mark);
    }
    match word::<Flag>(text) {
        Ok(flag) => Some(Mark::Flag(flag)),
        Err(flags) => {
            let says = SAYS.map(|(known, _)| known);
            value.one_of(&[flags, &says[..], more].concat()).map(|_| Mark::Nothing)
        }
    }
}

fn check(mut form: Form<'_, '_>) -> Option<Check> {
    let kind = form.need("kind").and_then(|v| v.one_of(&KINDS));
    let range = range(&mut form);
    let at = place(&mut form, "at");
    let low_first = form.may("low_first").map(|value| (value.flag(), value));
    let low = match &low_first {
        Some((_, value)) if kind.as_deref() != Some("sum16") => {
            value.fault::<()>("is for `sum16` alone".into());
            None
        }
        Some((flag, _)) => *flag,
        None => Some(false),
    };
    form.finish();
    let kind = match (kind?.as_str(), low?) {
        ("sum8", _) => Kind::Sum8,
        ("xor8", _) => Kind::Xor8,
        (_, false) => Kind::Sum16,
        (_, true) => Kind::Sum16LowFirst,
    };
    let (from, to) = range?;
    Some(Check { kind, from, to, at: at? - 1 })
}
