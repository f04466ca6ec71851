//! The register grows: each entry of a file that people write becomes a fact.

use tapline_protocols::fact::RefusedFact;
use tapline_protocols::register::{
    read_assets, read_fixtures, read_instruments, read_operators, read_standards,
};
use tapline_protocols::{Fact, Fault};

use super::core::Core;
use super::event::{Answer, Problem};
use super::say::bad;
use super::settings::may_send;
use super::wire::Wire;
use crate::clock::Stamp;

impl Core {
    /// Adds a file to the register, all of it or nothing. Entries that say what the register says
    /// already make no line.
    pub(super) fn import(
        &mut self,
        at: Stamp,
        by: Option<String>,
        what: &str,
        text: &str,
    ) -> Result<Answer, Problem> {
        let facts = read(what, text)?;
        let new: Vec<Fact> = facts.into_iter().filter(|fact| !self.is_known(fact)).collect();
        let count = new.len().to_string();
        for fact in new {
            self.put_station(at, fact, by.clone());
        }
        self.silence(at);
        Ok(Answer::done(self.seq).say(&["import.done", what, &count]))
    }

    fn is_known(&self, fact: &Fact) -> bool {
        let register = &self.register;
        match fact {
            Fact::Asset(one) => register.asset(&one.id) == Some(one),
            Fact::Instrument(one) => register.instruments.get(&one.id) == Some(one),
            Fact::Setup(one) => register.setups.get(&one.id) == Some(one),
            Fact::Fixture(one) => register.fixtures.get(&one.id) == Some(one),
            Fact::Lead(one) => register.leads.get(&one.id) == Some(one),
            Fact::Standard(one) => register.standards.get(&one.id) == Some(one),
            Fact::Operator(one) => register.operators.get(&one.id) == Some(one),
            _ => false,
        }
    }

    /// An instrument that is now known to be able to put out a voltage is sent nothing more: its
    /// driver goes, its bytes are kept.
    fn silence(&mut self, at: Stamp) {
        let register = &self.register;
        let wrong = self.links.values().filter(|link| {
            link.wire.as_ref().is_some_and(Wire::sends) && !may_send(&link.settings, register)
        });
        let mut names = Vec::new();
        for link in wrong {
            names.push((link.settings.id.clone(), link.book.clone()));
        }
        for (link, book) in names {
            let refused = RefusedFact { what: format!("link {link}"), why: "may_put_out".into() };
            self.put_station(at, Fact::Refused(refused), None);
            let why = "its instrument could put out a voltage or is unknown: nothing is sent to it";
            self.link_fact(&link, at, "changed", Some(why.into()));
            self.link_lost(&link, at);
            if let Some(book) = book {
                self.tap(&link, at, book);
            }
        }
    }
}

fn read(what: &str, text: &str) -> Result<Vec<Fact>, Problem> {
    let faulty = |faults: Vec<Fault>| {
        let texts: Vec<String> = faults.iter().map(ToString::to_string).collect();
        bad(texts.join("\n")).next("Correct the lines named, then import the file again.")
    };
    Ok(match what {
        "assets" => {
            let assets = read_assets(text).map_err(faulty)?;
            assets.into_iter().map(|one| Fact::Asset(Box::new(one))).collect()
        }
        "instruments" => {
            let (instruments, setups) = read_instruments(text).map_err(faulty)?;
            let instruments = instruments.into_iter().map(|one| Fact::Instrument(Box::new(one)));
            instruments.chain(setups.into_iter().map(|one| Fact::Setup(Box::new(one)))).collect()
        }
        "fixtures" => {
            let (fixtures, leads) = read_fixtures(text).map_err(faulty)?;
            let fixtures = fixtures.into_iter().map(|one| Fact::Fixture(Box::new(one)));
            fixtures.chain(leads.into_iter().map(|one| Fact::Lead(Box::new(one)))).collect()
        }
        "standards" => {
            let standards = read_standards(text).map_err(faulty)?;
            standards.into_iter().map(|one| Fact::Standard(Box::new(one))).collect()
        }
        "operators" => {
            let operators = read_operators(text).map_err(faulty)?;
            operators.into_iter().map(|one| Fact::Operator(Box::new(one))).collect()
        }
        other => {
            return Err(bad(format!(
                "`{other}` can't be imported: assets, instruments, fixtures, standards or operators"
            )));
        }
    })
}
