//! Who may act on a sealed inspection: nobody checks their own work, under whatever badge.

use tapline_protocols::life::Life;
use tapline_protocols::register::Operator;

use super::super::command::Seat;
use super::super::core::Core;
use super::super::event::{Origin, Problem};
use super::super::pins::no_badge;
use super::super::say::{bad, conflict, missing};

impl Core {
    /// On the page, and wherever a PIN is asked for, it takes the badge of each who signs, and no
    /// name that a screen shows. What was typed is not said again: it may be a badge but for one
    /// character.
    pub(super) fn badges_shown(
        &self,
        origin: Origin,
        by: Option<&str>,
        second: Option<&str>,
    ) -> Result<(), Problem> {
        let badge = |badge: &str| self.register.owner(badge).is_some();
        if origin != Origin::Page && !self.asks_for_pin() {
            return Ok(());
        }
        if !by.is_some_and(badge) {
            return Err(no_badge());
        }
        if second.is_some_and(|second| !badge(second)) {
            let text = "nothing was signed: this is no badge of a second person";
            let next = "The second person scans their own badge into its field, or types it.";
            return Err(conflict(text, next));
        }
        Ok(())
    }

    /// Who signs.
    pub(super) fn signer(&self, seat: &Seat) -> Result<&Operator, Problem> {
        let nobody = || bad("nobody is named who signs").next("Name one with --by.");
        let by = seat.by.as_deref().ok_or_else(nobody)?;
        self.register.operators.get(by).ok_or_else(|| missing("operator", by))
    }

    /// A second person, if one is named: registered, and another than the first.
    pub(super) fn second<'a>(
        &'a self,
        seat: &Seat,
        by: &Operator,
        second: Option<&str>,
    ) -> Result<Option<&'a Operator>, Problem> {
        let Some(name) = second else { return Ok(None) };
        let second = self.register.operator(name).ok_or_else(|| missing("operator", name))?;
        if second.id == by.id || same_name(&second.name, &by.name) {
            let text = format!("`{}` and `{}` are one person", second.id, by.id);
            return Err(conflict(text, "Name somebody else as the second person."));
        }
        self.pin_shown(seat, &second.id)?;
        Ok(Some(second))
    }

    /// The reviewer did nothing in the inspection, and put nothing right in it.
    pub(super) fn other_person(&self, by: &Operator, life: &Life) -> Result<(), Problem> {
        let next = "Let somebody review it who took no part in it.";
        if life.acted.contains(&by.id) {
            let text = format!("`{}` took part in {}", by.id, life.id);
            return Err(conflict(text, next));
        }
        let registered = |id: &String| self.register.operators.get(id).map(|one| &one.name);
        let mut names = life.acted.iter().flat_map(|id| {
            let then = life.names.get(id);
            then.into_iter().chain(registered(id)).map(move |name| (id, name))
        });
        match names.find(|(_, name)| same_name(name, &by.name)) {
            None => Ok(()),
            Some((id, _)) => {
                let text = format!(
                    "`{}` has the name of `{id}`, who took part in {}: they may be one person",
                    by.id, life.id
                );
                Err(conflict(text, next))
            }
        }
    }
}

/// Two printed names are those of one person, as far as a name can tell: case, order, stops and
/// blanks aside.
#[must_use]
pub fn same_name(one: &str, other: &str) -> bool {
    let words = |name: &str| {
        let mut words: Vec<String> = name
            .split(|c: char| !c.is_alphanumeric())
            .filter(|word| !word.is_empty())
            .map(str::to_lowercase)
            .collect();
        words.sort();
        words
    };
    let (one, other) = (words(one), words(other));
    !one.is_empty() && one == other
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_the_same_however_it_is_written() {
        for other in ["Berg, Anna", "anna berg", " ANNA  BERG ", "Anna-Berg"] {
            assert!(same_name("Anna Berg", other), "{other}");
        }
        for other in ["Anna B. Berg", "Anna Berger", "Anne Berg", ""] {
            assert!(!same_name("Anna Berg", other), "{other}");
        }
        assert!(!same_name("", ""));
    }
}
