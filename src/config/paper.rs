//! What stands on paper, of the configuration.

use tapline_protocols::read::plain_text;

use super::table::{Faults, Table};

/// Who prints, on what and in which language.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Paper {
    /// Name of the workshop; the station's where it is left out.
    pub workshop: Option<String>,
    /// Its address, in lines.
    pub address: Vec<String>,
    /// `en` or `de`.
    pub language: String,
    /// `a4` or `letter`.
    pub size: String,
    /// What an asset's own label holds: its number in `squares` or `lines`, or its GIAI (`gs1`).
    pub asset_code: String,
}

impl Default for Paper {
    fn default() -> Paper {
        let (language, size, asset_code) = ("en".into(), "a4".into(), "squares".into());
        Paper { workshop: None, address: Vec::new(), language, size, asset_code }
    }
}

/// Reads `[paper]`; what is left out has its usual value.
pub(super) fn read(root: &Table<'_>, faults: &mut Faults<'_>) -> Paper {
    let Some(table) = root.table(faults, "paper") else { return Paper::default() };
    table.only(faults, &["workshop", "address", "language", "size", "asset_code"]);
    let workshop = table.text(faults, "workshop");
    if workshop.is_some_and(|name| !plain_text(name)) {
        faults.note(table.place("workshop"), "paper.workshop", super::NAME);
    }
    Paper {
        workshop: workshop.map(str::to_owned),
        address: table.texts(faults, "address"),
        language: table.word(faults, "language", &["en", "de"]).to_owned(),
        size: table.word(faults, "size", &["a4", "letter"]).to_owned(),
        asset_code: table.word(faults, "asset_code", &["squares", "lines", "gs1"]).to_owned(),
    }
}
