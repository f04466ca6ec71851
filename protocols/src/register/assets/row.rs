//! One row of the list on its way to an asset.

use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::cell::RefCell;

use serde::de::DeserializeOwned;

use crate::fault::Fault;
use crate::read::{FAULTS_MAX, csv, is_date, is_decimal, is_name, word};
use crate::register::{AppliedPart, Asset, Class, Cord, Excluded, Ownership};

/// Most entries of a list in a field.
const LIST_MAX: usize = 64;
/// Longest field, characters.
const FIELD_CHARS_MAX: usize = 500;
/// What a field that holds a day needs.
pub(in crate::register) const DAY: &str = "needs a day of the calendar, such as 2026-11-30";

/// One row on its way to an asset.
pub(in crate::register) struct Row<'f> {
    pub(super) columns: &'f BTreeMap<&'f str, usize>,
    pub(super) fields: &'f [csv::Field],
    pub(super) faults: &'f RefCell<Vec<Fault>>,
}

impl<'f> Row<'f> {
    /// The asset, where class, cord and number can be read; faults are noted.
    pub(super) fn asset(&self) -> Option<Asset> {
        let (id, class, cord) = (self.id(), self.word("class"), self.word("cord"));
        let earth = self.yes_no("functional_earth");
        let switching = self.yes_no("switching_supply");
        let description = self.text("description");
        if description.is_empty() {
            self.fault("description", "is empty".into());
        }
        let ownership: Option<Ownership> = self.may_word("ownership");
        let asset = Asset {
            id: id.unwrap_or_default(),
            description,
            maker: self.text("maker"),
            model: self.text("model"),
            serial: self.text("serial"),
            udi_di: self.checked("udi_di", is_name, "is no device identifier: 1 to 60 characters"),
            giai: self.checked("giai", is_name, "is no asset identifier: 1 to 60 characters"),
            location: self.text("location"),
            owner: self.text("owner"),
            ownership,
            return_by: self.return_by(ownership),
            risk: self.may_word("risk"),
            retired: self.checked("retired", is_date, DAY),
            class: class.unwrap_or(Class::I),
            functional_earth: earth.unwrap_or_default(),
            cord: cord.unwrap_or(Cord::None),
            cords: self.cords(cord),
            rated_volts: self.rating("rated_volts"),
            rated_amps: self.rating("rated_amps"),
            cord_metres: self.rating("cord_metres"),
            heating_kw: self.rating("heating_kw"),
            switching_supply: switching.unwrap_or_default(),
            earthed_points: self.names("earthed_points"),
            accessible_parts: self.names("accessible_parts"),
            applied_parts: self.list("applied_parts").filter_map(|e| self.part(e)).collect(),
            states: self.names("states"),
            built_to: self.text("built_to"),
            plan: self.checked("plan", is_name, "is no name of a plan"),
            interval: self.checked("interval", is_interval, "needs a duration such as P12M"),
            due: self.checked("due", is_date, DAY),
            excluded: self.list("excluded").filter_map(|e| self.exclusion(e)).collect(),
        };
        let whole = class.is_some() && cord.is_some() && !asset.id.is_empty();
        whole.then_some(asset)
    }

    pub(in crate::register) fn id(&self) -> Option<String> {
        let id = self.field("asset");
        if is_name(id) {
            return Some(id.to_string());
        }
        self.fault(
            "asset",
            match id.is_empty() {
                true => "is empty".into(),
                false => format!(
                    "`{}` is no asset number: 1 to 60 visible characters without blank, and not \
                 `.TL-` at its beginning",
                    id.chars().take(60).collect::<String>()
                ),
            },
        );
        None
    }

    pub(in crate::register) fn text(&self, column: &str) -> String {
        let text = self.field(column);
        let odd = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
        if text.chars().count() > FIELD_CHARS_MAX {
            self.fault(column, format!("is longer than {FIELD_CHARS_MAX} characters"));
        } else if text.chars().any(odd) {
            self.fault(column, "holds a control character".into());
        }
        text.to_string()
    }

    pub(in crate::register) fn word<T: DeserializeOwned>(&self, column: &str) -> Option<T> {
        let text = self.field(column);
        match word(text) {
            Ok(found) => Some(found),
            Err(words) => {
                let known = words.join(", ");
                self.fault(
                    column,
                    match text.is_empty() {
                        true => format!("is empty; known here: {known}"),
                        false => format!("unknown word `{}`; known here: {known}", short(text)),
                    },
                );
                None
            }
        }
    }

    /// A word of a column that may be empty.
    pub(in crate::register) fn may_word<T: DeserializeOwned>(&self, column: &str) -> Option<T> {
        if self.field(column).is_empty() { None } else { self.word(column) }
    }

    fn return_by(&self, ownership: Option<Ownership>) -> Option<String> {
        let day = self.checked("return_by", is_date, DAY);
        if day.is_some() && !ownership.is_some_and(Ownership::goes_back) {
            let text = "only what is loaner, rented or patient_owned (`ownership`) goes back";
            self.fault("return_by", text.into());
        }
        day
    }

    fn yes_no(&self, column: &str) -> Option<bool> {
        match self.field(column) {
            "yes" => Some(true),
            "no" => Some(false),
            _ => {
                self.fault(column, "needs `yes` or `no`".into());
                None
            }
        }
    }

    pub(in crate::register) fn checked(
        &self,
        column: &str,
        fits: fn(&str) -> bool,
        why: &str,
    ) -> Option<String> {
        let text = self.field(column);
        match (text.is_empty(), fits(text)) {
            (true, _) => None,
            (_, true) => Some(text.to_string()),
            (_, false) => {
                self.fault(column, format!("`{}` {why}", short(text)));
                None
            }
        }
    }

    fn rating(&self, column: &str) -> Option<String> {
        let positive =
            |text: &str| is_decimal(text) && text.bytes().any(|b| (b'1'..=b'9').contains(&b));
        self.checked(column, positive, "needs a decimal above zero, with a point: 0.3")
    }

    fn cords(&self, cord: Option<Cord>) -> Vec<String> {
        let cords = self.names("cords");
        if !cords.is_empty() && cord.is_some_and(|cord| cord != Cord::Detachable) {
            self.fault("cords", "only an asset with a detachable cord has cords by name".into());
        }
        cords
    }

    /// Names in a list, each once.
    fn names(&self, column: &str) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for name in self.list(column) {
            if names.iter().any(|earlier| earlier == name) {
                self.fault(column, format!("`{}` stands twice", short(name)));
            } else if self.is_label(column, name) {
                names.push(name.to_string());
            }
        }
        names
    }

    fn part(&self, entry: &str) -> Option<AppliedPart> {
        let mut cut = entry.rsplitn(3, ':');
        let (connections, kind, name) = (cut.next()?, cut.next(), cut.next());
        let connections = connections.trim().parse().ok().filter(|n| (1..=64).contains(n));
        let kind = kind.and_then(|kind| word(kind.trim()).ok());
        let name = name.map(str::trim).filter(|name| !name.is_empty());
        let (Some(name), Some(part_type), Some(connections)) = (name, kind, connections) else {
            self.fault(
                "applied_parts",
                format!(
                    "`{}` needs name:type:connections, type B, BF or CF, connections 1 to 64",
                    short(entry)
                ),
            );
            return None;
        };
        self.is_label("applied_parts", name).then(|| AppliedPart {
            name: name.to_string(),
            part_type,
            connections,
        })
    }

    fn exclusion(&self, entry: &str) -> Option<Excluded> {
        let cut = entry.split_once('=').map(|(step, reason)| (step.trim(), reason.trim()));
        match cut {
            Some((step, reason)) if is_name(step) && !reason.is_empty() => {
                Some(Excluded { step: step.to_string(), reason: reason.to_string() })
            }
            _ => {
                let text = format!("`{}` needs step=reason of the maker", short(entry));
                self.fault("excluded", text);
                None
            }
        }
    }

    pub(in crate::register) fn is_label(&self, column: &str, name: &str) -> bool {
        let fits = !name.chars().any(char::is_control) && name.chars().count() <= 100;
        if !fits {
            self.fault(
                column,
                format!("`{}` is no name: one row, at most 100 characters", short(name)),
            );
        }
        fits
    }

    /// Entries of a list; an empty field has none, an empty entry is a fault.
    fn list(&self, column: &str) -> impl Iterator<Item = &'f str> + use<'f> {
        let text = self.field(column);
        let entries = text.split('|').count();
        if entries > LIST_MAX {
            self.fault(column, format!("has {entries} entries, at most {LIST_MAX} are read"));
        } else if !text.is_empty() && text.split('|').any(|entry| entry.trim().is_empty()) {
            self.fault(column, "has an empty entry between two `|`".into());
        }
        text.split('|').take(LIST_MAX).map(str::trim).filter(|entry| !entry.is_empty())
    }

    /// Content of a column, blanks around it taken off; empty where the column is left out.
    pub(in crate::register) fn field(&self, column: &str) -> &'f str {
        let at = self.columns.get(column).copied();
        at.and_then(|at| self.fields.get(at)).map_or("", |field| field.text.trim())
    }

    /// Line on which it begins.
    pub(in crate::register) fn line(&self) -> u32 {
        self.fields.first().map_or(0, |field| field.line)
    }

    /// Notes a fault of a column.
    pub(in crate::register) fn fault(&self, column: &str, text: String) {
        let at = self.columns.get(column).and_then(|at| self.fields.get(*at));
        let line = at.map_or(self.line(), |field| field.line);
        let mut faults = self.faults.borrow_mut();
        if faults.len() <= FAULTS_MAX {
            faults.push(Fault { line, field: column.to_string(), text });
        }
    }
}

/// `P12M`, `P2Y`, `P90D`, `P26W`: ISO 8601 with one unit.
fn is_interval(text: &str) -> bool {
    let number = text.strip_prefix('P').and_then(|rest| rest.strip_suffix(['Y', 'M', 'W', 'D']));
    let digits = |n: &str| n.len() <= 4 && n.bytes().all(|b| b.is_ascii_digit());
    number.is_some_and(|n| digits(n) && n.parse::<u32>().is_ok_and(|n| n > 0))
}

pub(in crate::register) fn short(text: &str) -> String {
    text.chars().take(40).collect()
}
