//! A code that nothing here knows may be a new asset. What its plan follows from is asked, one
//! thing after the other; when all is told, the asset is in the register and selected. Nothing is
//! taken over from the asset before. What was told of it is lost at a restart.

use std::collections::BTreeMap;

use tapline_drivers::scan::{Content, field};
use tapline_protocols::Fact;
use tapline_protocols::read::{is_name, nearest};
use tapline_protocols::register::{COLUMNS_MORE, COLUMNS_NEEDED, read_asset_form};

use super::command::Seat;
use super::core::Core;
use super::event::{Answer, Problem};
use super::ladder::own_numbers;
use super::say::{bad, conflict};

/// What must be told, in the order of asking, with the words that answer it; none: any text. What
/// an asset without mains connection or protective earth can't have is not asked.
pub(crate) const QUESTIONS: [(&str, &[&str]); 10] = [
    ("asset", &["new"]),
    ("description", &[]),
    ("ownership", &["hospital", "loaner", "rented", "donated", "patient_owned"]),
    ("class", &["I", "II", "III", "internal", "system"]),
    ("cord", &["fixed", "detachable", "installed", "none"]),
    ("functional_earth", &["yes", "no"]),
    ("switching_supply", &["yes", "no"]),
    ("earthed_points", &["none"]),
    ("accessible_parts", &["none"]),
    ("applied_parts", &["none"]),
];
/// Columns that are lists: `none` is an empty one.
const LISTS: [&str; 3] = ["earthed_points", "accessible_parts", "applied_parts"];
/// Longest text of a field, characters.
const TEXT_CHARS_MAX: usize = 500;

/// A code that nothing here knows.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Stranger {
    /// Line of the scan; none where the asset was only named.
    pub seq: Option<u64>,
    /// What the code said of it, and what was told since, by column.
    pub told: BTreeMap<String, String>,
}

impl Stranger {
    /// What a code says of the asset that bears it, by the ladder: the owner's own number, else
    /// its type with its serial number.
    pub(super) fn of(seq: u64, content: &Content, code: &str) -> Stranger {
        let mut told = BTreeMap::new();
        let mut tell = |column: &str, text: &str| {
            told.entry(column.to_owned()).or_insert_with(|| text.to_owned());
        };
        let device = content.field(field::DEVICE_ID);
        if let (Some(device), Some(serial)) = (device, content.field(field::SERIAL)) {
            tell("udi_di", device);
            tell("serial", serial);
        }
        let numbers = own_numbers(content, code);
        let elements = content.elements.iter().any(|one| ["8003", "8004"].contains(&&*one.key));
        for number in numbers.filter(|number| is_name(number) && *number != code) {
            if elements {
                tell("giai", number);
            }
            tell("asset", number);
        }
        if device.is_none() && !elements && is_name(code) {
            tell("asset", code);
        }
        Stranger { seq: Some(seq), told }
    }

    /// What is to be told next, with the words that answer it.
    pub(super) fn question(&self) -> Option<(&'static str, &'static [&'static str])> {
        QUESTIONS
            .into_iter()
            .find(|(column, _)| !self.told.contains_key(*column) && self.asks(column))
    }

    /// Only what the asset can have is asked.
    fn asks(&self, column: &str) -> bool {
        let is = |column: &str, words: &[&str]| {
            self.told.get(column).is_some_and(|told| words.contains(&told.as_str()))
        };
        match column {
            "functional_earth" | "switching_supply" => !is("cord", &["none"]),
            "earthed_points" => !is("class", &["II", "III", "internal"]),
            _ => true,
        }
    }

    /// Everything that was told, with what was not asked.
    fn whole(&self) -> BTreeMap<String, String> {
        let mut whole = self.told.clone();
        for column in ["functional_earth", "switching_supply"] {
            whole.entry(column.into()).or_insert_with(|| "no".into());
        }
        whole
    }
}

impl Core {
    /// What a code names is no asset, or not one: none is selected, whatever was before.
    pub(super) fn none_selected(&mut self, bench: &str) {
        let place = self.bench(bench);
        if place.active.is_none() {
            (place.selected, place.stranger) = (None, None);
            self.unseen = true;
        }
    }

    /// Takes what is told of an unknown asset: of the one that was scanned, or of one that is
    /// named. Once everything is told, it is registered and selected.
    pub(super) fn describe(
        &mut self,
        seat: &Seat,
        tell: BTreeMap<String, String>,
    ) -> Result<Answer, Problem> {
        let bench = seat.bench.as_str();
        if let Some(id) = self.benches[bench].active.clone() {
            return self.state(seat, &id, &tell);
        }
        let by = seat.by.clone().ok_or_else(|| {
            conflict("nobody is logged in at this bench", "Scan a badge, then go on.")
        })?;
        let named = tell.contains_key("asset");
        let Some(mut stranger) =
            self.benches[bench].stranger.clone().or(named.then(Stranger::default))
        else {
            return Err(conflict(
                "no unknown code was scanned at this bench",
                "Scan the label of the asset, or name its number: asset=NUMBER.",
            ));
        };
        for (column, text) in tell {
            let (column, text) = self.told(&column, text.trim())?;
            stranger.told.insert(column, text);
        }
        if let Some(id) = stranger.told.get("asset")
            && self.register.asset(id).is_some()
        {
            let next = "Scan it, or import a list to change what is known of it.";
            return Err(conflict(format!("`{id}` is in the register"), next));
        }
        let asset = read_asset_form(&stranger.whole()).map_err(|faults| {
            let texts: Vec<String> = faults.iter().map(ToString::to_string).collect();
            bad(texts.join("; "))
        })?;
        if let Some((column, words)) = stranger.question() {
            let place = self.bench(bench);
            (place.selected, place.stranger) = (None, Some(stranger));
            self.unseen = true;
            let say = [&format!("describe.{column}"), &words.join(", ")];
            return Ok(Answer::done(self.seq).say(&say.map(String::as_str)));
        }
        let id = asset.id.clone();
        let seq = self.put_station(seat.at, Fact::Asset(Box::new(asset)), Some(by));
        let plan = self.plan_for(&id).map(|plan| plan.id.clone()).unwrap_or_default();
        let place = self.bench(bench);
        // Only a scan shows that it is the asset on the bench.
        place.selected = stranger.seq.map(|scan| (id.clone(), scan));
        place.stranger = None;
        Ok(Answer::done(seq).say(&["describe.done", &id, &plan]))
    }

    /// A field and its text, as the list would have them.
    fn told(&self, column: &str, text: &str) -> Result<(String, String), Problem> {
        let known = || COLUMNS_NEEDED.into_iter().chain(COLUMNS_MORE);
        if !known().any(|name| name == column) {
            let near = nearest(column, known()).map(|near| format!("; did you mean `{near}`?"));
            return Err(bad(format!("`{column}` is no column{}", near.unwrap_or_default())));
        }
        if text.chars().count() > TEXT_CHARS_MAX {
            return Err(bad(format!("`{column}` has more than {TEXT_CHARS_MAX} characters")));
        }
        let text = match (column, text) {
            ("asset", "new") => self.provisional(),
            (list, "none") if LISTS.contains(&list) => String::new(),
            (_, text) => text.to_owned(),
        };
        Ok((column.to_owned(), text))
    }

    /// A number for an asset that has none: the first that is free.
    fn provisional(&self) -> String {
        let name = |n: usize| format!("{}-NEW-{n:04}", self.settings.id);
        let count = self.register.assets.len();
        (1..=count + 1).map(name).find(|id| self.register.asset(id).is_none()).unwrap_or_default()
    }
}
