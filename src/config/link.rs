//! Links of the configuration: what is plugged in where.

use tapline_drivers::ask::Measures;
use tapline_drivers::catalogue::{is_scanner, says_no_function};
use tapline_drivers::scan::{OWN, Pattern, Profile};
use tapline_protocols::register::{Isolation, IsolationKind};

use super::Config;
use super::bench::{ID_RULE, is_id};
use super::drivers::Choice;
use super::place::{self, Place};
use super::table::{Faults, Table};
use crate::station::Described;

/// The most links that one station serves.
const LINKS_MAX: usize = 256;

/// A link.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Link {
    /// Short name.
    pub id: String,
    /// Bench it belongs to.
    pub bench: String,
    /// Where it is plugged in.
    pub place: Place,
    /// Driver: the name of a built-in one, or the name that a file gives it. Behind the name of a
    /// style that does not say what its numbers are stands what they are.
    pub driver: String,
    /// Driver as the configuration names it: by a name or by the path of a file.
    pub named: String,
    /// The driver that a file describes.
    pub described: Option<Described>,
    /// Instrument on it, an entry of the register; scanners and contacts have none.
    pub instrument: Option<String>,
    /// Galvanic isolation of the cable or converter, besides the instrument's own.
    pub isolation: Option<Isolation>,
}

pub(super) fn read(
    root: &Table<'_>,
    driver: &dyn Fn(&str) -> Choice,
    faults: &mut Faults<'_>,
) -> Vec<Link> {
    let tables = root.tables(faults, "link");
    let site = site(root, faults);
    if tables.len() > LINKS_MAX {
        faults.note(root.place("link"), "link", format!("more than {LINKS_MAX} links"));
    }
    let links = tables.iter().take(LINKS_MAX);
    links.map(|table| scanner(link(table, driver, faults), &site, table, faults)).collect()
}

fn link(table: &Table<'_>, driver: &dyn Fn(&str) -> Choice, faults: &mut Faults<'_>) -> Link {
    let known =
        ["id", "bench", "driver", "measures", "instrument", "isolation", "gs_alias", "proven"];
    table.only(faults, &[&known[..], &place::KEYS].concat());
    let id = table.need(faults, "id");
    if table.has("id") && !is_id(id) {
        faults.note(table.place("id"), "link.id", ID_RULE);
    }
    let named = table.need(faults, "driver");
    let described = described(table, named, driver, faults);
    let driver = told(table, named, faults);
    Link {
        id: id.into(),
        bench: table.need(faults, "bench").into(),
        place: place::read(table, faults),
        driver: described.as_ref().map_or(driver, |described| described.name().into()),
        named: named.into(),
        described,
        instrument: table.text(faults, "instrument").map(str::to_owned),
        isolation: isolation(table, faults),
    }
}

/// What the site says of its asset numbers.
type Site = (Vec<Pattern>, Vec<&'static str>);

/// How the site writes its asset numbers, and in which elements of GS1.
fn site(root: &Table<'_>, faults: &mut Faults<'_>) -> Site {
    let Some(table) = root.table(faults, "scan") else { return Site::default() };
    table.only(faults, &[&["assets"][..], &OWN].concat());
    let mut own = Vec::new();
    for ai in OWN.into_iter().filter(|ai| table.has(ai)) {
        match table.text(faults, ai) {
            Some("asset") => own.push(ai),
            Some(_) => {
                let say = "means `asset`, or is left out";
                faults.note(table.place(ai), &format!("scan.{ai}"), say);
            }
            None => {}
        }
    }
    (patterns(&table, faults), own)
}

fn patterns(table: &Table<'_>, faults: &mut Faults<'_>) -> Vec<Pattern> {
    let mut patterns = Vec::new();
    for text in table.texts(faults, "assets") {
        match Pattern::parse(&text) {
            Ok(pattern) => patterns.push(pattern),
            Err(why) => {
                faults.note(table.place("assets"), "scan.assets", format!("`{text}` {why}"))
            }
        }
    }
    patterns
}

/// A scanner is told what is known of it and of the site, behind the name of its driver.
fn scanner(link: Link, (assets, own): &Site, table: &Table<'_>, faults: &mut Faults<'_>) -> Link {
    let gs_alias = table.text(faults, "gs_alias").map(String::from);
    let proven = table.flag(faults, "proven", false);
    if !is_scanner(&link.named) {
        if let Some(key) = ["gs_alias", "proven"].into_iter().find(|key| table.has(key)) {
            let say = "is of a scanner: leave it out";
            faults.note(table.place(key), &format!("link.{key}"), say);
        }
        return link;
    }
    let told = Profile { gs_alias, proven, assets: assets.clone(), own: own.clone() }.to_string();
    if let Err(why) = Profile::parse(&told) {
        faults.note(table.place("gs_alias"), "link.gs_alias", why);
    }
    let driver = [&link.named, " ", &told].concat();
    Link { driver: if told.is_empty() { link.named.clone() } else { driver }, ..link }
}

/// The driver that a file describes, where the name is no built-in one's.
fn described(
    table: &Table<'_>,
    named: &str,
    driver: &dyn Fn(&str) -> Choice,
    faults: &mut Faults<'_>,
) -> Option<Described> {
    let choice = if named.is_empty() { Choice::BuiltIn } else { driver(named) };
    let told = match choice {
        Choice::BuiltIn => Vec::new(),
        Choice::Described(described) => return Some(*described),
        Choice::Faulty(told) => told,
        Choice::Unknown => {
            let known = tapline_drivers::catalogue::names().collect::<Vec<_>>().join(", ");
            vec![format!(
                "no driver `{named}`: there is no drivers/{named}.toml beside this file that \
                 describes it, and built in are {known}"
            )]
        }
    };
    for fault in told {
        faults.note(table.place("driver"), "link.driver", fault);
    }
    None
}

/// A built-in driver by its name; behind it what its numbers are, where the style does not say.
fn told(table: &Table<'_>, named: &str, faults: &mut Faults<'_>) -> String {
    let measures = table.text(faults, "measures");
    let fault = match (says_no_function(named), measures) {
        (true, Some(text)) => match Measures::parse(text) {
            Ok(_) => return format!("{named} {text}"),
            Err(why) => (table.place("measures"), format!("`{text}`: it {why}")),
        },
        (true, None) => (
            table.place("driver"),
            format!(
                "missing: `{named}` does not say what its numbers are; say what the instrument \
                 always stands at, such as \"resistance_2w Ohm\""
            ),
        ),
        (false, Some(_)) => (
            table.place("measures"),
            format!("a `{named}` says itself what it measures: leave it out"),
        ),
        (false, None) => return named.into(),
    };
    faults.note(fault.0, "link.measures", fault.1);
    named.into()
}

fn isolation(link: &Table<'_>, faults: &mut Faults<'_>) -> Option<Isolation> {
    let table = link.table(faults, "isolation")?;
    table.only(faults, &["kind", "volts"]);
    let kind = match table.word(faults, "kind", &["unknown", "none", "optical"]) {
        "optical" => IsolationKind::Optical,
        "none" => IsolationKind::None,
        _ => IsolationKind::Unknown,
    };
    let volts = table.whole(faults, "volts", 0..=100_000, 0);
    if kind == IsolationKind::Optical && volts == 0 {
        faults.note(table.at(), "link.isolation.volts", "missing: the rated volts");
    }
    Some(Isolation { kind, volts })
}

/// What can be told only when the whole file was read.
pub(super) fn check(root: &Table<'_>, config: &Config, faults: &mut Faults<'_>) {
    let tables = root.tables(faults, "link");
    for (n, (link, table)) in config.links.iter().zip(&tables).enumerate() {
        let before = &config.links[..n];
        if !link.id.is_empty() && before.iter().any(|other| other.id == link.id) {
            let say = format!("a second link `{}`; ids must differ", link.id);
            faults.note(table.place("id"), "link.id", say);
        }
        if table.has("bench") && config.bench(&link.bench).is_none() {
            let say = format!("there is no bench `{}`", link.bench);
            faults.note(table.place("bench"), "link.bench", say);
        }
        let taken =
            before.iter().find(|l| l.instrument.is_some() && l.instrument == link.instrument);
        if let Some(other) = taken {
            let say = format!("link `{}` has this instrument already", other.id);
            faults.note(table.place("instrument"), "link.instrument", say);
        }
        if let Some(other) = before.iter().find(|other| other.place.same(&link.place)) {
            let say = format!("link `{}` uses this port already", other.id);
            faults.note(table.at(), "link", say);
        }
        link.place.check(link, table, faults);
        let other =
            before.iter().find(|l| l.driver == link.driver && l.described != link.described);
        if let Some(other) = other.filter(|_| link.described.is_some()) {
            let say = format!(
                "link `{}` has another file that describes a `{}`, too: give each a name of its own",
                other.id, link.driver
            );
            faults.note(table.place("driver"), "link.driver", say);
        }
    }
}
