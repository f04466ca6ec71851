//! Plans and limit tables that inspections are opened from.

use std::collections::BTreeMap;

use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};
use tapline_protocols::Fault;
use tapline_protocols::limits::Table;
use tapline_protocols::plan::{self, Plan};

/// Plans and limit tables, all read and found sound.
#[derive(Debug, Clone, Default)]
pub struct Library {
    plans: Vec<Plan>,
    texts: BTreeMap<String, String>,
    tables: Vec<Table>,
}

impl Library {
    /// What comes with the program.
    ///
    /// # Errors
    /// All faults of the built-in texts: a test makes sure that there are none.
    pub fn builtin() -> Result<Library, Vec<Fault>> {
        let mut library = Library::default();
        for id in plan::builtin_ids() {
            library.add_plan(plan::builtin(id).expect("it is in the list"))?;
        }
        for (standard, edition) in Table::all() {
            library.add_table(Table::builtin(standard, edition).expect("it is in the list"))?;
        }
        Ok(library)
    }

    /// Adds a plan, in place of one with the same name.
    ///
    /// # Errors
    /// All faults of the text.
    pub fn add_plan(&mut self, text: &str) -> Result<(), Vec<Fault>> {
        let plan = plan::parse(text)?;
        self.texts.insert(plan.id.clone(), text.into());
        self.plans.retain(|known| known.id != plan.id);
        self.plans.push(plan);
        Ok(())
    }

    /// Adds a table of limits, in place of the one of the same edition; rows of the workshop or of
    /// a maker are laid over that one, which is then named by the digest of both names.
    ///
    /// # Errors
    /// All faults of the text, and a layer without a table under it.
    pub fn add_table(&mut self, text: &str) -> Result<(), Vec<Fault>> {
        let table = Table::parse(text)?.with_hash(&sha256(text));
        if table.is_layer() {
            return self.lay_over(table);
        }
        self.tables.retain(|t| (&t.standard, &t.edition) != (&table.standard, &table.edition));
        self.tables.push(table);
        Ok(())
    }

    fn lay_over(&mut self, layer: Table) -> Result<(), Vec<Fault>> {
        let fault = |text: String| vec![Fault { line: 0, field: String::new(), text }];
        let own = |t: &&mut Table| t.standard == layer.standard && t.edition == layer.edition;
        let Some(table) = self.tables.iter_mut().find(own) else {
            let (standard, edition) = (&layer.standard, &layer.edition);
            return Err(fault(format!("there is no table of {standard}:{edition} to lay it over")));
        };
        let both = sha256(&format!("{}\n{}\n", table.sha256, layer.sha256));
        table.lay_over(layer).map_err(fault)?;
        *table = table.clone().with_hash(&both);
        Ok(())
    }

    /// A plan with its text.
    #[must_use]
    pub fn plan(&self, id: &str) -> Option<(&str, &Plan)> {
        let plan = self.plans.iter().find(|plan| plan.id == id)?;
        Some((self.texts.get(id)?, plan))
    }

    /// All plans.
    #[must_use]
    pub fn plans(&self) -> &[Plan] {
        &self.plans
    }

    /// The table of an edition.
    #[must_use]
    pub fn table(&self, standard: &str, edition: &str) -> Option<&Table> {
        self.tables.iter().find(|t| t.standard == standard && t.edition == edition)
    }

    /// All tables.
    #[must_use]
    pub fn tables(&self) -> &[Table] {
        &self.tables
    }

    /// Whether some table has this row.
    #[must_use]
    pub fn has_row(&self, id: &str) -> bool {
        self.tables.iter().any(|table| table.row(id).is_some())
    }
}

/// SHA-256 of a text, hex.
#[must_use]
pub fn sha256(text: &str) -> String {
    HEXLOWER.encode(&Sha256::digest(text.as_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_built_in_plan_has_the_table_of_its_edition() {
        let library = Library::builtin().unwrap();
        assert!(!library.plans().is_empty());
        for plan in library.plans() {
            assert!(library.table(&plan.standard, &plan.edition).is_some(), "{}", plan.id);
        }
    }

    #[test]
    fn a_workshops_rows_are_laid_over_the_standards() {
        let mut library = Library::builtin().unwrap();
        let before = library.table("IEC 62353", "2014").unwrap().clone();
        let row = &before.rows[0];
        let text = before.text_of(&[row]).replace(&row.id, "our.row")
            + "layer = \"site\"\napproved_by = \"K. Vogt\"\nreason = \"our own\"\n"
            + "date = \"2026-11-24\"\n";
        library.add_table(&text).unwrap();
        let after = library.table("IEC 62353", "2014").unwrap();
        assert_eq!(after.rows.len(), before.rows.len() + 1);
        assert_ne!(after.sha256, before.sha256);
        assert!(library.add_table(&text).unwrap_err()[0].text.contains("two rows have the id"));
        let other = text.replace("\"2014\"", "\"1999\"");
        assert!(library.add_table(&other).unwrap_err()[0].text.contains("there is no table"));
    }

    // NIST FIPS 180-4 example: the digest of "abc".
    #[test]
    fn a_text_is_named_by_its_digest() {
        let want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256("abc"), want);
    }
}
