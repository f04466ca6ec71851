//! Reading assets from CSV.

use alloc::collections::BTreeMap;
use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec;
use alloc::vec::Vec;
use core::cell::RefCell;

use serde::de::DeserializeOwned;

use super::asset::{AppliedPart, Asset, Cord, Excluded};
use crate::fault::Fault;
use crate::read::{FAULTS_MAX, csv, is_date, is_decimal, is_name, nearest, word};

/// Columns that must be there: without one of them something would silently count as absent, and
/// its step would never be asked for.
pub const COLUMNS_NEEDED: [&str; 9] = [
    "asset",
    "description",
    "class",
    "functional_earth",
    "cord",
    "switching_supply",
    "earthed_points",
    "accessible_parts",
    "applied_parts",
];
/// Columns that may be left out.
pub const COLUMNS_MORE: [&str; 18] = [
    "maker",
    "model",
    "serial",
    "udi_di",
    "giai",
    "location",
    "owner",
    "cords",
    "rated_volts",
    "rated_amps",
    "cord_metres",
    "heating_kw",
    "states",
    "built_to",
    "plan",
    "interval",
    "due",
    "excluded",
];
/// Most entries of a list in a field.
const LIST_MAX: usize = 64;
/// Longest field, characters.
const FIELD_CHARS_MAX: usize = 500;

/// Reads assets: CSV with a row of column names, separated by `,` or `;`, lists by `|`.
///
/// # Errors
/// All faults at once, each with its line and column.
pub fn read_assets(text: &str) -> Result<Vec<Asset>, Vec<Fault>> {
    let rows = csv::rows(text).map_err(|fault| vec![fault])?;
    let Some((heading, rows)) = rows.split_first() else {
        let text = format!("the file is empty: the first row names {}", COLUMNS_NEEDED.join(", "));
        return Err(vec![Fault { line: 1, field: String::new(), text }]);
    };
    let faults = RefCell::new(Vec::new());
    let columns = columns(heading, &faults);
    let mut assets = Vec::new();
    let mut seen: BTreeMap<String, u32> = BTreeMap::new();
    if faults.borrow().is_empty() {
        for fields in rows {
            let row = Row { columns: &columns, fields, faults: &faults };
            if let Some(asset) = row.asset() {
                if let Some(line) = seen.insert(asset.id.clone(), row.line()) {
                    row.fault("asset", format!("`{}` stands on line {line} already", asset.id));
                }
                assets.push(asset);
            }
        }
    }
    let mut faults = faults.into_inner();
    if faults.len() > FAULTS_MAX {
        faults.truncate(FAULTS_MAX);
        let text = "more faults follow: mend these first".into();
        faults.push(Fault { line: 0, field: String::new(), text });
    }
    if faults.is_empty() { Ok(assets) } else { Err(faults) }
}

/// Where each column stands.
fn columns<'f>(
    heading: &'f [csv::Field],
    faults: &RefCell<Vec<Fault>>,
) -> BTreeMap<&'f str, usize> {
    let known = || COLUMNS_NEEDED.into_iter().chain(COLUMNS_MORE);
    let fault = |line, field: &str, text: String| {
        let field = field.chars().take(60).collect();
        faults.borrow_mut().push(Fault { line, field, text });
    };
    let mut columns = BTreeMap::new();
    for (at, field) in heading.iter().enumerate() {
        let name = field.text.trim();
        if !known().any(|column| column == name) {
            fault(
                field.line,
                name,
                match nearest(name, known()) {
                    Some(meant) => format!("is no known column; did you mean `{meant}`?"),
                    None => "is no known column: take it out".into(),
                },
            );
        } else if columns.insert(name, at).is_some() {
            fault(field.line, name, "stands twice in the heading".into());
        }
    }
    for column in COLUMNS_NEEDED {
        if !columns.contains_key(column) {
            fault(1, column, "this column is missing".into());
        }
    }
    columns
}

/// One row on its way to an asset.
struct Row<'f> {
    columns: &'f BTreeMap<&'f str, usize>,
    fields: &'f [csv::Field],
    faults: &'f RefCell<Vec<Fault>>,
}

impl<'f> Row<'f> {
    fn asset(&self) -> Option<Asset> {
        if self.fields.len() != self.columns.len() {
            let (has, needs) = (self.fields.len(), self.columns.len());
            self.fault("", format!("has {has} fields, the heading {needs}"));
            return None;
        }
        let (id, class, cord) = (self.id(), self.word("class"), self.word("cord"));
        let earth = self.yes_no("functional_earth");
        let switching = self.yes_no("switching_supply");
        let description = self.text("description");
        if description.is_empty() {
            self.fault("description", "is empty".into());
        }
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
            class: class.unwrap_or(super::Class::I),
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
            due: self.checked("due", is_date, "needs a day of the calendar, such as 2026-11-30"),
            excluded: self.list("excluded").filter_map(|e| self.exclusion(e)).collect(),
        };
        let whole = class.is_some() && cord.is_some() && !asset.id.is_empty();
        whole.then_some(asset)
    }

    fn id(&self) -> Option<String> {
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

    fn text(&self, column: &str) -> String {
        let text = self.field(column);
        let odd = |c: char| c.is_control() && !matches!(c, '\n' | '\r' | '\t');
        if text.chars().count() > FIELD_CHARS_MAX {
            self.fault(column, format!("is longer than {FIELD_CHARS_MAX} characters"));
        } else if text.chars().any(odd) {
            self.fault(column, "holds a control character".into());
        }
        text.to_string()
    }

    fn word<T: DeserializeOwned>(&self, column: &str) -> Option<T> {
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

    fn checked(&self, column: &str, fits: fn(&str) -> bool, why: &str) -> Option<String> {
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

    fn is_label(&self, column: &str, name: &str) -> bool {
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
    fn field(&self, column: &str) -> &'f str {
        let at = self.columns.get(column).copied();
        at.and_then(|at| self.fields.get(at)).map_or("", |field| field.text.trim())
    }

    fn line(&self) -> u32 {
        self.fields.first().map_or(0, |field| field.line)
    }

    fn fault(&self, column: &str, text: String) {
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

fn short(text: &str) -> String {
    text.chars().take(40).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::register::{Class, PartType};

    const EXAMPLE: &str = include_str!("../../../contrib/example/assets.csv");
    const HEAD: &str = "asset,description,class,functional_earth,cord,switching_supply,\
                        earthed_points,accessible_parts,applied_parts,cords,rated_volts,\
                        rated_amps,interval,due,plan,states,excluded";

    #[test]
    fn the_example_reads_as_it_stands() {
        let assets = read_assets(EXAMPLE).unwrap();
        assert_eq!(assets.len(), 5);
        let pump = &assets[0];
        assert_eq!((pump.id.as_str(), pump.class, pump.cord), ("P-0107", Class::I, Cord::Fixed));
        assert_eq!(pump.earthed_points, ["case screw"]);
        assert_eq!(pump.applied_parts[0].part_type, PartType::CF);
        assert_eq!(pump.excluded[0].reason, "maker forbids 500 V");
        assert_eq!(pump.interval.as_deref(), Some("P12M"));
        assert_eq!(assets[2].cords, ["C-0112A", "C-0112B"]);
        assert_eq!(assets[2].applied_parts[0].connections, 5);
        assert_eq!(assets[2].plan, None);
    }

    #[test]
    fn semicolons_marks_and_carriage_returns_read_alike() {
        let other = EXAMPLE.replace(',', ";").replace('\n', "\r\n");
        assert_eq!(read_assets(&format!("\u{feff}{other}")), read_assets(EXAMPLE));
    }

    #[test]
    fn a_part_may_have_a_colon_in_its_name() {
        let text = format!("{HEAD}\nP-1,pump,II,no,fixed,no,,,a: b:BF:2,,,,,,,,");
        let parts = read_assets(&text).unwrap().remove(0).applied_parts;
        assert_eq!((parts[0].name.as_str(), parts[0].connections), ("a: b", 2));
    }

    macro_rules! faults {
        ($($name:ident: $column:literal = $value:literal => $said:literal;)*) => {$(
            #[test]
            fn $name() {
                let good = ["P-1", "pump", "I", "no", "detachable", "no", "screw", "", "", "C-1",
                    "230", "0.3", "P12M", "2026-11-30", "", "", ""];
                let at = HEAD.split(',').position(|column| column == $column).unwrap();
                let mut fields = good;
                fields[at] = $value;
                let text = format!("{HEAD}\n{}\n{}\n", fields.join(","), "P-2".to_string()
                    + &good.join(",")[3..]);
                let faults = read_assets(&text).unwrap_err();
                let found: Vec<_> = faults.iter().map(|f| (f.line, f.field.as_str())).collect();
                assert_eq!(found, [(2, $column)], "{faults:?}");
                assert!(faults[0].text.contains($said), "{}", faults[0].text);
            }
        )*};
    }

    faults! {
        no_number: "asset" = "" => "is empty";
        a_number_with_a_blank: "asset" = "P 1" => "no asset number";
        a_control_code_as_number: "asset" = ".TL-OK" => ".TL-";
        no_description: "description" = " " => "is empty";
        an_unknown_class: "class" = "IV" => "known here: I, II, III, internal, system";
        an_empty_class: "class" = "" => "known here";
        neither_yes_nor_no: "functional_earth" = "maybe" => "yes";
        an_unset_supply: "switching_supply" = "" => "no";
        an_unknown_cord: "cord" = "loose" => "detachable";
        a_comma_in_a_rating: "rated_volts" = "230V" => "above zero";
        a_rating_of_nothing: "rated_amps" = "0.0" => "above zero";
        a_point_twice: "earthed_points" = "screw|screw" => "stands twice";
        an_empty_entry: "earthed_points" = "screw||rail" => "empty entry";
        a_part_without_type: "applied_parts" = "line" => "name:type:connections";
        a_part_of_an_unknown_type: "applied_parts" = "line:X:1" => "BF or CF";
        a_part_with_too_many: "applied_parts" = "line:CF:65" => "1 to 64";
        no_duration: "interval" = "yearly" => "P12M";
        no_day: "due" = "2026-02-30" => "day of the calendar";
        no_plan_name: "plan" = "my plan" => "no name of a plan";
        an_exclusion_without_reason: "excluded" = "insulation" => "step=reason";
    }

    #[test]
    fn cords_by_name_need_a_detachable_cord() {
        let fault = only(&EXAMPLE.replacen("I,no,fixed,,", "I,no,fixed,C-1,", 1));
        assert_eq!((fault.line, fault.field.as_str()), (2, "cords"));
    }

    fn only(text: &str) -> Fault {
        let mut faults = read_assets(text).unwrap_err();
        assert_eq!(faults.len(), 1, "{faults:?}");
        faults.remove(0)
    }

    #[test]
    fn headings_are_checked_before_rows() {
        let unknown = only(&EXAMPLE.replacen("location", "locaton", 1));
        assert!(unknown.text.contains("did you mean `location`"), "{unknown}");
        let twice = only(&EXAMPLE.replacen("location", "owner", 1));
        assert!(twice.text.contains("stands twice"), "{twice}");
        let missing = only(
            "asset,description,class,functional_earth,cord,switching_supply,\
                            earthed_points,accessible_parts\n",
        );
        assert_eq!((missing.field.as_str(), missing.line), ("applied_parts", 1));
        assert!(only("").text.contains("empty"));
    }

    #[test]
    fn a_row_of_another_length_and_a_double_have_their_lines() {
        let mut rows: Vec<&str> = EXAMPLE.lines().collect();
        rows.push(rows[1]);
        let double = only(&rows.join("\n"));
        assert_eq!((double.line, double.text.contains("line 2 already")), (7, true), "{double}");
        rows[6] = "P-1,short";
        assert!(only(&rows.join("\n")).text.contains("has 2 fields, the heading 23"));
    }

    #[test]
    fn every_fault_is_said_up_to_a_hundred() {
        let rows: String = (0..300).map(|n| format!("P-{n},,I,no,fixed,no,,,,,,,,,,,\n")).collect();
        let faults = read_assets(&format!("{HEAD}\n{rows}")).unwrap_err();
        assert_eq!(faults.len(), FAULTS_MAX + 1);
        assert!(faults[FAULTS_MAX].text.contains("more faults"));
    }

    proptest! {
        #[test]
        fn no_text_panics(text in "[a-z|:=\";,\r\n.é-]{0,200}", rows in "(?s).{0,300}") {
            let _ = read_assets(&text);
            let _ = read_assets(&format!("{HEAD}\n{rows}"));
            let _ = read_assets(&format!("{HEAD}\nP-1,{rows}"));
        }
    }
}
