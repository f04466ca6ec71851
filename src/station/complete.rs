//! What a record has to say of its asset, and a list may have left out: it is told when an
//! inspection begins, and nothing is signed without it. Whoever mends the register, or states it at
//! the bench, need not begin anew: it is given in the record once more, before the signature.

use std::collections::BTreeMap;

use tapline_protocols::Fact;
use tapline_protocols::fact::Given;
use tapline_protocols::read::plain_text;
use tapline_protocols::register::{Asset, DOCUMENTED};

use super::command::Seat;
use super::core::Core;
use super::event::{Answer, Problem};
use super::say::{bad, conflict, missing};
use crate::clock::Stamp;

impl Core {
    /// What the record of an open inspection lacks of its asset, and the register, too.
    #[must_use]
    pub fn lacks(&self, id: &str) -> Vec<&'static str> {
        self.filled(id).map(|(_, filled)| filled.undocumented()).unwrap_or_default()
    }

    /// The asset as the record has it, and as it is with what the register knows by now.
    fn filled(&self, id: &str) -> Option<(&Asset, Asset)> {
        let given = self.cases.get(id)?.inspection.record().given.iter().rev();
        let mut assets = given.filter_map(|given| match given {
            Given::Asset { asset } => Some(asset.as_ref()),
            _ => None,
        });
        let asset = assets.next()?;
        let known = self.register.asset(&asset.id);
        Some((asset, known.map_or_else(|| asset.clone(), |known| asset.filled_from(known))))
    }

    /// Nothing is missing that a signature needs.
    pub(super) fn is_complete(&self, id: &str) -> Result<(), Problem> {
        let Some((asset, filled)) = self.filled(id) else { return Ok(()) };
        let lacks = filled.undocumented();
        if lacks.is_empty() {
            return self.same_limits(id, asset, &filled);
        }
        let text =
            format!("nothing was signed: nobody said the {} of `{}`", list(&lacks), asset.id);
        let state: Vec<String> = lacks.iter().map(|column| format!("{column}=…")).collect();
        Err(Problem::new("incomplete", text).next(format!(
            "State it on the page or with `tapline describe {}`, or import a list that has it; \
             write `none` where the asset bears none. Then sign.",
            state.join(" ")
        )))
    }

    /// Gives the asset once more where the register knows by now what the record lacks.
    pub(super) fn complete(&mut self, id: &str, at: Stamp, by: &str) {
        if let Some((asset, filled)) = self.filled(id)
            && *asset != filled
        {
            let asset = Box::new(filled);
            self.put_case(id, at, Fact::Given(Given::Asset { asset }), Some(by.into()));
        }
    }

    /// Limits that a model brings along were not measured by: that takes a new inspection.
    fn same_limits(&self, id: &str, asset: &Asset, filled: &Asset) -> Result<(), Problem> {
        let case = &self.cases[id];
        let plan = case.opened.as_ref().and_then(|opened| self.library.plan(&opened.plan));
        let table = plan.and_then(|(_, plan)| self.library.table(&plan.standard, &plan.edition));
        let Some(table) = table else { return Ok(()) };
        match table.for_asset(asset).rows == table.for_asset(filled).rows {
            true => Ok(()),
            false => Err(conflict(
                format!("`{}` has limits of its own, now that its model is known", asset.id),
                "End this inspection (given_up), and begin again: it is then judged by them.",
            )),
        }
    }

    /// Takes what is stated of the asset that is being inspected, where nobody said it before.
    pub(super) fn state(
        &mut self,
        seat: &Seat,
        id: &str,
        tell: &BTreeMap<String, String>,
    ) -> Result<Answer, Problem> {
        let nobody = || conflict("nobody is logged in at this bench", "Scan a badge, then go on.");
        let by = seat.by.clone().ok_or_else(nobody)?;
        let number = self.cases[id].asset().to_owned();
        let known = self.register.asset(&number);
        let mut asset = known.cloned().ok_or_else(|| missing("asset", &number))?;
        for (column, text) in tell {
            if *column == "asset" && *text == number {
                continue;
            }
            let Some(field) = asset.documented(column) else {
                return Err(conflict(
                    format!("{id} is open on this bench"),
                    &format!("Only {} can be stated of its asset now.", list(&DOCUMENTED)),
                ));
            };
            if !field.trim().is_empty() {
                let text = format!("the register has a {column} of `{number}` already");
                return Err(conflict(text, "Import a list to change it."));
            }
            if !plain_text(text) {
                return Err(bad(format!("`{column}` needs 1 to 500 characters on one row")));
            }
            text.trim().clone_into(field);
        }
        if let Some((given, _)) = self.filled(id) {
            self.same_limits(id, given, &given.filled_from(&asset))?;
        }
        self.put_station(seat.at, Fact::Asset(Box::new(asset)), Some(by.clone()));
        self.complete(id, seat.at, &by);
        Ok(Answer::done(self.seq).about(id).say(&["describe.stated", &number]))
    }
}

/// Said when an inspection begins.
pub(super) fn lacking(asset: &Asset) -> Vec<Vec<String>> {
    match asset.undocumented().as_slice() {
        [] => Vec::new(),
        lacks => vec![vec!["begin.incomplete".into(), asset.id.clone(), list(lacks)]],
    }
}

fn list(columns: &[&str]) -> String {
    columns.join(", ")
}
