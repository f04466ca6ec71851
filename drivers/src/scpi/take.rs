//! What of an answer is the reading, and whether it may be taken.

use alloc::string::String;
use alloc::vec::Vec;

use super::Scpi;
use super::answer::{Answer, Given, form, names, sort};
use crate::reading::{Function, Indication, Reading};
use crate::unit::{Prefix, Unit};
use crate::wire::lines::Line;
use crate::wire::{latin, trim};

/// Elements of a list that hold a reading of whatever is measured, and of one quantity each; names
/// as in the test suite of a general-purpose library.
const ANY: &str = "READ";
const STATUS: &str = "STAT";
const ELEMENTS: &[(&str, &[Function])] = &[
    ("VOLT", &[Function::VoltageDc, Function::VoltageAc]),
    ("CURR", &[Function::CurrentDc, Function::CurrentAc]),
    ("RES", &[Function::Resistance2w, Function::Resistance4w]),
];

/// Most elements of a list.
const ELEMENTS_MAX: usize = 16;

impl Scpi {
    /// The answer to a `READ?`: one reading, or the wanted element of a list.
    pub(super) fn answer_read(&mut self, line: &Line, answer: &Answer) {
        match self.wanted_of(answer) {
            Ok(given) => self.reading(line, given),
            Err(text) => {
                self.note(line, "malformed", text.map(String::from));
                self.garbled(line.last);
            }
        }
    }

    fn wanted_of(&self, answer: &Answer) -> Result<Given, Option<&'static str>> {
        let place = self.known.element.as_ref();
        match (answer, place) {
            (Answer::Number(given), None) => Ok(*given),
            (Answer::Number(given), Some(list)) if list.count == 1 => Ok(*given),
            (Answer::List(items), Some(list)) if items.len() == list.count => {
                let zero = |said| matches!(said, Indication::Value(n) if n.digits == 0);
                if list.status.is_some_and(|at| !zero(items[at].indication)) {
                    return Err(Some("a status that nobody explained"));
                }
                Ok(items[list.wanted])
            }
            (Answer::List(_) | Answer::Number(_), _) => Err(Some("a list of other elements")),
            (Answer::Block(_), _) => Err(Some("a block, not a reading")),
            _ => Err(None),
        }
    }

    /// The meter says which elements its lists have.
    pub(super) fn elements(&mut self, line: &Line) {
        self.note(line, "answer", Some(latin(trim(&line.bytes))));
        let function = self.setup.map(|setup| setup.function);
        let list = names(&line.bytes).zip(function).and_then(|(names, f)| List::of(&names, f));
        match list {
            Some(list) => {
                self.known.element = Some(list);
                self.ready();
            }
            None => self.forgotten(line.last),
        }
        self.answered(line.last);
    }

    fn reading(&mut self, line: &Line, given: Given) {
        let wanted = self.known.last_read;
        if given.of.is_some_and(|of| wanted.is_none_or(|function| !of.contains(&function))) {
            // It measures something else than it was told.
            self.note(line, "other_function", None);
            self.forgotten(line.last);
            return self.answered(line.last);
        }
        self.taken();
        let said = wanted.map_or(given.indication, |f| self.profile.means(f, given.indication));
        let formless = self.formless(line, said);
        let why = self.known.spoiled.then_some("unsolicited").or(formless);
        let waits = self.profile.status || self.profile.again.is_some();
        match self.made(line, given.indication).filter(|_| waits) {
            Some(reading) => {
                self.pending = Some(Reading { why, ..reading });
                self.known.again = false;
            }
            None => self.push_reading(line, given.indication, why),
        }
        self.answered(line.last);
    }

    /// The waiting reading is said once more, in the same form: its bytes are both answers.
    /// `false`: that is no answer to it.
    pub(super) fn again(&mut self, line: &Line) -> bool {
        let Answer::Number(given) = sort(&line.bytes) else { return false };
        let Some(pending) = &mut self.pending else { return false };
        let said = self.profile.means(pending.function, given.indication);
        let form = self.known.form.as_ref().is_none_or(|before| *before == form(&line.bytes));
        let value = matches!(said, Indication::Value(_));
        if said != pending.indication || (value && !form) {
            pending.why = Some("unpaired");
        }
        (pending.span.to, pending.last) = (line.span.to, line.last);
        self.known.again = true;
        if !self.profile.status {
            self.flush(None);
        }
        self.answered(line.last);
        true
    }

    /// It is what it was told to be.
    pub(super) fn taken(&mut self) {
        if let Some(setup) = &mut self.setup {
            setup.attempts = 0;
        }
    }

    /// A value of another form than the one before may have lost its first bytes: a second one of
    /// that form has to come.
    pub(super) fn formless(&mut self, line: &Line, said: Indication) -> Option<&'static str> {
        let Indication::Value(_) = said else { return None };
        let form = form(&line.bytes);
        let before = self.known.form.replace(form.clone());
        before.is_some_and(|before| before != form).then_some("unpaired")
    }

    /// A reading of the function that was last asked for, in its base unit.
    pub(super) fn push_reading(
        &mut self,
        line: &Line,
        indication: Indication,
        why: Option<&'static str>,
    ) {
        match self.made(line, indication) {
            Some(reading) => self.out.push_back(crate::Output::Reading(Reading { why, ..reading })),
            None => self.note(line, "answer", Some(latin(trim(&line.bytes)))),
        }
    }

    fn made(&self, line: &Line, indication: Indication) -> Option<Reading> {
        let function = self.known.last_read?;
        let unit = Unit { prefix: Prefix::One, quantity: function.quantity()? };
        Some(line.reading(self.profile.means(function, indication), function, unit))
    }
}

/// Where in a list the wanted reading stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct List {
    count: usize,
    wanted: usize,
    status: Option<usize>,
}

impl List {
    /// `None` where no element has the wanted reading, or two have.
    fn of(names: &[String], function: Function) -> Option<List> {
        let places = |wanted: &str| -> Vec<usize> {
            let named = names.iter().enumerate().filter(|(_, name)| name.as_str() == wanted);
            named.map(|(at, _)| at).collect()
        };
        let own = ELEMENTS.iter().find(|(_, of)| of.contains(&function)).map(|(name, _)| *name);
        let mut all = places(ANY);
        all.extend(own.map(places).unwrap_or_default());
        let status = places(STATUS).first().copied();
        match all.as_slice() {
            [wanted] if names.len() <= ELEMENTS_MAX => {
                Some(List { count: names.len(), wanted: *wanted, status })
            }
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use alloc::string::ToString;

    #[test]
    fn the_wanted_element_is_found_by_its_name_or_not_at_all() {
        let of = |names: &[&str], function| {
            let names: Vec<String> = names.iter().map(ToString::to_string).collect();
            List::of(&names, function).map(|list| (list.wanted, list.status))
        };
        let five = &["VOLT", "CURR", "RES", "TIME", "STAT"][..];
        assert_eq!(of(five, Function::VoltageAc), Some((0, Some(4))));
        assert_eq!(of(five, Function::Resistance4w), Some((2, Some(4))));
        assert_eq!(of(five, Function::Frequency), None);
        assert_eq!(of(&["CHAN", "READ"], Function::Frequency), Some((1, None)));
        assert_eq!(of(&["READ", "VOLT"], Function::VoltageDc), None);
        assert_eq!(of(&["READ"; 2], Function::VoltageDc), None);
        assert_eq!(of(&[], Function::VoltageDc), None);
    }
}
