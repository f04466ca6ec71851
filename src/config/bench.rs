//! Benches of the configuration.

use std::collections::BTreeMap;

use tapline_protocols::plan::Switch;

use super::link::Link;
use super::table::{Faults, Table};

/// The most benches that one station serves.
const BENCHES_MAX: usize = 64;
/// The most instruments without a line that one bench has.
const TYPED_MAX: usize = 16;

/// A bench.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bench {
    /// Short name, used in paths.
    pub id: String,
    /// For people.
    pub name: String,
    /// Fixtures and lead sets that lie there, by their labels.
    pub fixtures: Vec<String>,
    /// What witnesses the supply box: `link`, and `c1` to `c4` with the meaning of a closed
    /// contact (`S5=reversed`). Empty where nothing does.
    pub witness: BTreeMap<String, String>,
    /// Instruments without a line, by their labels: who measures enters what they show.
    pub typed: Vec<String>,
}

pub(super) fn read(root: &Table<'_>, links: &[Link], faults: &mut Faults<'_>) -> Vec<Bench> {
    let tables = root.tables(faults, "bench");
    if tables.is_empty() {
        faults.note(0, "bench", "missing: the file needs at least one `[[bench]]`");
    }
    if tables.len() > BENCHES_MAX {
        faults.note(root.place("bench"), "bench", format!("more than {BENCHES_MAX} benches"));
    }
    let mut benches: Vec<Bench> = Vec::new();
    for table in tables.iter().take(BENCHES_MAX) {
        let bench = bench(table, links, faults);
        if !bench.id.is_empty() && benches.iter().any(|b| b.id == bench.id) {
            let say = format!("a second bench `{}`; ids must differ", bench.id);
            faults.note(table.place("id"), "bench.id", say);
        }
        elsewhere(&bench, table, (&benches, links), faults);
        benches.push(bench);
    }
    benches
}

fn bench(table: &Table<'_>, links: &[Link], faults: &mut Faults<'_>) -> Bench {
    table.only(faults, &["id", "name", "fixtures", "witness", "typed"]);
    let id = table.need(faults, "id");
    if table.has("id") && !is_id(id) {
        faults.note(table.place("id"), "bench.id", ID_RULE);
    }
    Bench {
        id: id.into(),
        name: table.need(faults, "name").into(),
        fixtures: table.texts(faults, "fixtures"),
        witness: witness(table, id, links, faults),
        typed: table.texts(faults, "typed"),
    }
}

/// An instrument that is read by a person has no line, and is at one bench.
fn elsewhere(
    bench: &Bench,
    table: &Table<'_>,
    (before, links): (&[Bench], &[Link]),
    faults: &mut Faults<'_>,
) {
    let mut note = |say: String| faults.note(table.place("typed"), "bench.typed", say);
    if TYPED_MAX < bench.typed.len() {
        note(format!("more than {TYPED_MAX} instruments"));
    }
    for (n, label) in bench.typed.iter().enumerate() {
        if let Some(link) = links.iter().find(|link| link.instrument.as_ref() == Some(label)) {
            note(format!("link `{}` reads `{label}`: nobody has to enter what it shows", link.id));
        }
        if let Some(other) = before.iter().find(|other| other.typed.contains(label)) {
            note(format!("bench `{}` has `{label}` already", other.id));
        }
        if bench.typed[..n].contains(label) {
            note(format!("`{label}` stands here twice"));
        }
    }
}

fn witness(
    bench: &Table<'_>,
    id: &str,
    links: &[Link],
    faults: &mut Faults<'_>,
) -> BTreeMap<String, String> {
    let Some(table) = bench.table(faults, "witness") else { return BTreeMap::new() };
    table.only(faults, &["link", "c1", "c2", "c3", "c4"]);
    let name = table.need(faults, "link");
    let link = links.iter().find(|link| link.id == name);
    if table.has("link") && !link.is_some_and(|link| link.bench == id && link.driver == "contacts")
    {
        let say = format!("`{name}` is no link of this bench with driver `contacts`");
        faults.note(table.place("link"), "bench.witness.link", say);
    }
    let pairs = table.pairs(faults);
    for (key, setting) in pairs.iter().filter(|(key, _)| key != "link") {
        if !is_setting(setting) {
            let say = format!("`{setting}` is no setting; write one such as S5=reversed");
            faults.note(table.place(key), &table.name(key), say);
        }
    }
    pairs.into_iter().collect()
}

/// A switch of the closed list with a word that it can have.
fn is_setting(text: &str) -> bool {
    let Some((switch, word)) = text.split_once('=') else { return false };
    words_of(switch).contains(&word)
}

/// The words of a switch, by its letters; none for an unknown switch.
pub(crate) fn words_of(switch: &str) -> &'static [&'static str] {
    let known = [Switch::S1, Switch::S5, Switch::S7, Switch::S10, Switch::Supply];
    let found = known.into_iter().find(|s| letters(*s) == switch);
    match found {
        Some(Switch::S1 | Switch::S7 | Switch::S10) => &["closed", "open"],
        Some(Switch::S5) => &["normal", "reversed"],
        Some(Switch::Supply) => &["on", "off"],
        // No contacts see the lever of the test current: it has three positions.
        Some(Switch::Test | Switch::Probe) | None => &[],
    }
}

fn letters(switch: Switch) -> &'static str {
    match switch {
        Switch::S1 => "S1",
        Switch::S5 => "S5",
        Switch::S7 => "S7",
        Switch::S10 => "S10",
        Switch::Supply => "supply",
        Switch::Test => "test",
        Switch::Probe => "probe",
    }
}

/// What an id of a bench or link may be.
pub(super) const ID_RULE: &str = "must be 1 to 16 of a-z, 0-9 and `-`";

pub(super) fn is_id(text: &str) -> bool {
    let plain = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-';
    (1..=16).contains(&text.len()) && text.bytes().all(plain)
}
