//! Plans and limit tables that inspections are opened from.

use std::collections::BTreeMap;

use data_encoding::HEXLOWER;
use sha2::{Digest, Sha256};
use tapline_protocols::Fault;
use tapline_protocols::limits::{Row, Table};
use tapline_protocols::plan::{self, Plan};

/// Plans and limit tables, all read and found sound.
#[derive(Debug, Clone, Default)]
pub struct Library {
    plans: Vec<Plan>,
    texts: BTreeMap<String, String>,
    tables: Vec<Table>,
    /// Rows that come with the program, by id, in words.
    shipped: BTreeMap<String, String>,
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
        let rows = library.tables.iter().flat_map(|table| &table.rows);
        library.shipped = rows.map(|row| (row.id.clone(), row.in_words())).collect();
        Ok(library)
    }

    /// Adds a workshop's own plan, where it has no fault against the tables that are here: a plan
    /// that forgets a proof would pass what nobody has shown.
    ///
    /// # Errors
    /// All faults of the text, and of what it means.
    pub fn add_own_plan(&mut self, text: &str) -> Result<(), Vec<Fault>> {
        let (plan, lines) = plan::read(text)?;
        match plan::check(&plan, &lines, &self.tables) {
            faults if faults.is_empty() => self.add_plan(text),
            faults => Err(faults),
        }
    }

    /// Adds a workshop's own table: of an edition that nobody has yet, or rows that each say whose
    /// word they are, laid over one.
    ///
    /// # Errors
    /// All faults of the text; a table in place of one that is here.
    pub fn add_own_table(&mut self, text: &str) -> Result<(), Vec<Fault>> {
        let table = Table::parse(text)?;
        let some = table.rows.iter().any(|row| row.layer.approval().is_some());
        let fault = |text: String| Err(vec![Fault { line: 0, field: String::new(), text }]);
        if let Some(row) = table.rows.iter().find(|row| self.row(&row.id).is_some()) {
            return fault(format!("two rows have the id `{}`, one in another table", row.id));
        }
        match (table.is_layer(), some, self.table(&table.standard, &table.edition)) {
            (true, ..) | (false, false, None) => self.add_table(text),
            (false, true, _) => fault("rows with `layer` lie in a file of their own".into()),
            (false, false, Some(_)) => {
                let (standard, edition) = (&table.standard, &table.edition);
                fault(format!(
                    "a table of {standard}:{edition} is here already: lay rows over it, each with \
                     `layer`, `approved_by`, `reason` and `date`"
                ))
            }
        }
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

    /// A row of any table.
    #[must_use]
    pub fn row(&self, id: &str) -> Option<&Row> {
        self.tables.iter().find_map(|table| table.row(id))
    }

    /// Whether a row is the one that was read when it was confirmed. Confirmations of earlier
    /// programs don't say what was read: it was what came with the program.
    #[must_use]
    pub fn is_as_read(&self, row: &Row, read: Option<&String>) -> bool {
        read.or_else(|| self.shipped.get(&row.id)) == Some(&row.in_words())
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
        library.add_own_table(&text).unwrap();
        let after = library.table("IEC 62353", "2014").unwrap();
        assert_eq!(after.rows.len(), before.rows.len() + 1);
        assert_ne!(after.sha256, before.sha256);
        assert!(library.add_own_table(&text).unwrap_err()[0].text.contains("two rows have the id"));
        let other = text.replace("\"2014\"", "\"1999\"").replace("our.row", "our.other");
        assert!(library.add_own_table(&other).unwrap_err()[0].text.contains("there is no table"));
    }

    /// The lines of a fault in a plan, as a person meets them.
    fn refused(text: &str) -> Vec<String> {
        let mut library = Library::builtin().unwrap();
        let faults = library.add_own_plan(text).unwrap_err();
        assert!(library.plan("ours").is_none());
        faults.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn a_plan_that_forgets_a_proof_is_not_taken() {
        let plan = plan::builtin("iec62353-recurrent-direct").unwrap();
        let plan = plan.replace("\"iec62353-recurrent-direct\"", "\"ours\"");
        assert_eq!(Library::builtin().unwrap().add_own_plan(&plan), Ok(()));
        for (from, word) in [
            (", \"alive\", \"supply\"]", "`alive` and `supply`"),
            (", \"mains_scaling\"]", "`mains_scaling`"),
            (", test_voltage = \">= 500 V\"", "`test_voltage"),
        ] {
            let found = refused(&plan.replace(from, if from.ends_with(']') { "]" } else { "" }));
            assert!(found.iter().any(|fault| fault.contains(word)), "{from}: {found:?}");
        }
        assert!(refused(&plan.replace("\"2014\"", "\"1999\""))[0].contains("1999"));
    }

    #[test]
    fn a_table_of_the_workshop_takes_no_standards_place() {
        let mut library = Library::builtin().unwrap();
        let text = Table::builtin("IEC 62353", "2014").unwrap().replace("500 uA", "5000 uA");
        let other = text.replace("\"2014\"", "\"2033\"");
        for same_ids in [&text, &other] {
            let why = library.add_own_table(same_ids).unwrap_err();
            assert!(why[0].text.contains("one in another table"), "{why:?}");
        }
        let why = library.add_own_table(&text.replace("-2014.", "-2033.")).unwrap_err();
        assert!(why[0].text.contains("lay rows over it"), "{why:?}");
        let new = other.replace("-2014.", "-2033.");
        assert_eq!(library.add_own_table(&new), Ok(()));
        let mixed = new.replace("2033", "2044").replacen(
            "\n[[limit]]",
            "\nlayer = \"site\"\napproved_by = \"a\"\nreason = \"b\"\ndate = \"2026-11-24\"\n\n[[limit]]",
            2,
        );
        let mixed = mixed.replacen(
            "layer = \"site\"\napproved_by = \"a\"\nreason = \"b\"\ndate = \"2026-11-24\"\n",
            "",
            1,
        );
        let why = library.add_own_table(&mixed).unwrap_err();
        assert!(why[0].text.contains("file of their own"), "{why:?}");
    }

    /// What was read is what counts, and not its name.
    #[test]
    fn a_row_that_was_changed_is_no_longer_the_one_that_was_read() {
        let library = Library::builtin().unwrap();
        let row = library.row("iec62353-2014.insulation.mains_to_earth").unwrap().clone();
        let read = row.in_words();
        assert!(library.is_as_read(&row, Some(&read)) && library.is_as_read(&row, None));
        let text = library.table("IEC 62353", "2014").unwrap().text_of(&[&row]);
        for (from, to) in
            [("\"2 MOhm\"", "\"0.2 MOhm\""), ("[\"I\"]", "[\"II\"]"), ("min =", "max =")]
        {
            let changed = Table::parse(&text.replace(from, to)).unwrap().rows.remove(0);
            assert!(!library.is_as_read(&changed, Some(&read)), "{from}");
            assert!(!library.is_as_read(&changed, None), "{from}");
        }
        assert!(!library.is_as_read(&row, Some(&"another".into())));
    }

    // NIST FIPS 180-4 example: the digest of "abc".
    #[test]
    fn a_text_is_named_by_its_digest() {
        let want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad";
        assert_eq!(sha256("abc"), want);
    }
}
