//! Whose word a limit is: the standard's, the workshop's over it, the maker's over both.

use alloc::string::String;
use alloc::vec::Vec;

use super::Row;
use crate::read::{Form, is_date};
use crate::register::Asset;

/// Whose word a row is.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Layer {
    /// The standard's.
    #[default]
    Standard,
    /// The workshop's own, for all assets.
    Site(Approval),
    /// The maker's, for its model or one asset.
    Maker(Approval, Scope),
}

/// Who set a limit over the standard's, when and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Approval {
    /// Person.
    pub by: String,
    /// Why.
    pub reason: String,
    /// Day, `2026-11-24`.
    pub date: String,
    /// A second person, who stands for it where it is laxer than what it lies over.
    pub second: Option<String>,
}

/// What a maker's limit is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Scope {
    /// Every asset of this model, of this maker where one is named.
    Model {
        /// Model.
        model: String,
        /// Maker.
        maker: Option<String>,
    },
    /// One asset, by number.
    Asset(String),
}

impl Layer {
    /// `standard`, `site` or `maker`.
    #[must_use]
    pub fn word(&self) -> &'static str {
        match self {
            Layer::Standard => "standard",
            Layer::Site(_) => "site",
            Layer::Maker(..) => "maker",
        }
    }

    /// Who approved it, when and why; nobody had to for the standard's own.
    #[must_use]
    pub fn approval(&self) -> Option<&Approval> {
        match self {
            Layer::Standard => None,
            Layer::Site(approval) | Layer::Maker(approval, _) => Some(approval),
        }
    }

    /// The higher one decides; what is said of one asset goes before what is said of its model.
    pub(super) fn rank(&self) -> u8 {
        match self {
            Layer::Standard => 0,
            Layer::Site(_) => 1,
            Layer::Maker(_, Scope::Model { .. }) => 2,
            Layer::Maker(_, Scope::Asset(_)) => 3,
        }
    }

    /// Both could be asked for one asset, and neither goes before the other.
    pub(super) fn meets(&self, other: &Layer) -> bool {
        match (self, other) {
            (Layer::Maker(_, mine), Layer::Maker(_, theirs)) => mine == theirs,
            _ => self.rank() == other.rank(),
        }
    }

    /// It is said of this asset.
    pub(super) fn is_for(&self, asset: &Asset) -> bool {
        match self {
            Layer::Maker(_, Scope::Model { model, maker }) => {
                *model == asset.model && maker.as_ref().is_none_or(|maker| *maker == asset.maker)
            }
            Layer::Maker(_, Scope::Asset(id)) => *id == asset.id,
            Layer::Standard | Layer::Site(_) => true,
        }
    }

    /// Keys and values as they stand in a file; none for the standard's own rows.
    pub(super) fn fields(&self) -> Vec<(&'static str, String)> {
        let Some(approval) = self.approval() else { return Vec::new() };
        let mut fields = Vec::from([
            ("layer", self.word().into()),
            ("approved_by", approval.by.clone()),
            ("reason", approval.reason.clone()),
            ("date", approval.date.clone()),
        ]);
        fields.extend(approval.second.clone().map(|second| ("second", second)));
        match self {
            Layer::Maker(_, Scope::Model { model, maker }) => {
                fields.push(("model", model.clone()));
                fields.extend(maker.clone().map(|maker| ("maker", maker)));
            }
            Layer::Maker(_, Scope::Asset(id)) => fields.push(("asset", id.clone())),
            Layer::Standard | Layer::Site(_) => {}
        }
        fields
    }
}

impl Row {
    /// How the limit was computed and who approved it, in words; `None` for a plain row of the
    /// standard.
    #[must_use]
    pub fn how(&self) -> Option<String> {
        let approved = self.layer.approval().map(|approval| {
            let Approval { by, reason, date, second } = approval;
            let second = second.as_ref().map(|second| alloc::format!(" and {second}"));
            let by = alloc::format!("{by}{}", second.unwrap_or_default());
            alloc::format!("{} limit, approved by {by} on {date}: {reason}", self.layer.word())
        });
        match (&self.computed, approved) {
            (Some(computed), Some(approved)) => Some(alloc::format!("{computed}; {approved}")),
            (Some(said), None) => Some(said.clone()),
            (None, said) => said,
        }
    }
}

/// Reads the keys of a row's layer: none of them, or all of them.
pub(super) fn read(form: &mut Form<'_, '_>) -> Option<Layer> {
    let Some(word) = form.may("layer") else { return Some(Layer::Standard) };
    let word = word.one_of(&["site", "maker"]);
    let by = form.need("approved_by").and_then(|v| v.text());
    let reason = form.need("reason").and_then(|v| v.text());
    let date = form.need("date").and_then(|v| match v.text()? {
        day if is_date(&day) => Some(day),
        day => v.fault(alloc::format!("`{day}` is no day such as 2026-11-24")),
    });
    let second = form.may("second").and_then(|v| v.text());
    let approval = Some(Approval { by: by?, reason: reason?, date: date?, second })?;
    if word.as_deref() != Some("maker") {
        return word.map(|_| Layer::Site(approval));
    }
    let model = form.may("model").and_then(|v| v.text());
    let maker = form.may("maker").and_then(|v| v.text());
    let asset = form.may("asset").and_then(|v| v.text());
    match (model, asset) {
        (Some(model), None) => Some(Layer::Maker(approval, Scope::Model { model, maker })),
        (None, Some(asset)) if maker.is_none() => Some(Layer::Maker(approval, Scope::Asset(asset))),
        _ => {
            form.fault(
                "layer",
                "a maker's limit is for one `model` (of a `maker`) or one `asset`".into(),
            );
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::{Key, Table};
    use alloc::format;
    use alloc::string::ToString;

    const KEY: Key<'_> = Key {
        measurand: "equipment_leakage",
        method: Some("direct"),
        class: Some("I"),
        applied_part: None,
        condition: None,
        kind: Some("ac"),
    };

    fn row(id: &str, max: &str, layer: &str) -> String {
        format!(
            "[[limit]]\nid = \"{id}\"\nclause = \"1\"\nmeasurand = \"equipment_leakage\"\n\
             method = \"direct\"\nclass = [\"I\"]\napplied_part = []\ncondition = []\n\
             kind = [\"ac\"]\nmax = \"{max}\"\nsource = [\"service manual, from memory\"]\n\
             confidence = \"one_source\"\nsource_edition = \"1\"\nbasis = \"weighted\"\n{layer}\n"
        )
    }

    fn over(word: &str, more: &str) -> String {
        format!(
            "layer = \"{word}\"\napproved_by = \"K. Vogt\"\nreason = \"maker asks\"\n\
             date = \"2026-11-24\"\n{more}"
        )
    }

    fn table(rows: &[String]) -> Result<Table, Vec<String>> {
        let head = "format = \"tapline-limits-1\"\nstandard = \"IEC 62353\"\nedition = \"2014\"\n";
        let faults = |f: Vec<crate::Fault>| f.iter().map(ToString::to_string).collect();
        Table::parse(&format!("{head}{}", rows.concat())).map_err(faults)
    }

    fn asset(id: &str, model: &str) -> Asset {
        let head = "asset,description,class,functional_earth,cord,switching_supply,\
                    earthed_points,accessible_parts,applied_parts,model";
        let text = format!("{head}\n{id},pump,I,no,fixed,no,base,,,{model}\n");
        crate::register::read_assets(&text).unwrap().remove(0)
    }

    #[test]
    fn the_maker_goes_before_the_workshop_and_that_before_the_standard() {
        let rows = [
            row("s", "500 uA", ""),
            row("w", "300 uA", &over("site", "")),
            row("m", "250 uA", &over("maker", "model = \"Tropf 2\"")),
            row("a", "200 uA", &over("maker", "asset = \"P-9\"")),
        ];
        let table = table(&rows).unwrap();
        let found = |id: &str, model: &str| {
            let table = table.for_asset(&asset(id, model));
            table.find(&KEY).unwrap().id.clone()
        };
        assert_eq!(found("P-1", "Helle"), "w");
        assert_eq!(found("P-1", "Tropf 2"), "m");
        assert_eq!(found("P-9", "Tropf 2"), "a");
        let how = table.row("w").unwrap().how().unwrap();
        assert_eq!(how, "site limit, approved by K. Vogt on 2026-11-24: maker asks");
        let all: Vec<_> = table.rows.iter().collect();
        assert_eq!(Table::parse(&table.text_of(&all)).unwrap().rows, table.rows);
    }

    /// Models of two makers may bear one name.
    #[test]
    fn a_makers_limit_is_for_its_own_models() {
        let named = |maker: &str| over("maker", &format!("model = \"2000\"\nmaker = \"{maker}\""));
        let table = table(&[row("s", "500 uA", ""), row("m", "5 mA", &named("Quellhof"))]).unwrap();
        let found = |maker: &str| {
            let asset = Asset { maker: maker.into(), ..asset("P-1", "2000") };
            table.for_asset(&asset).find(&KEY).unwrap().id.clone()
        };
        assert_eq!((found("Quellhof").as_str(), found("Other").as_str()), ("m", "s"));
        let all: Vec<_> = table.rows.iter().collect();
        assert_eq!(Table::parse(&table.text_of(&all)).unwrap().rows, table.rows);
        let second = over("site", "second = \"R. Ohm\"");
        let how = self::table(&[row("w", "1 mA", &second)]).unwrap().rows[0].how().unwrap();
        assert_eq!(how, "site limit, approved by K. Vogt and R. Ohm on 2026-11-24: maker asks");
        let both = over("maker", "asset = \"P-1\"\nmaker = \"Quellhof\"");
        assert!(self::table(&[row("a", "1 mA", &both)]).unwrap_err()[0].contains("one `model`"));
    }

    #[test]
    fn a_layer_over_the_standard_names_who_when_and_why() {
        let faults = |layer: &str| table(&[row("w", "300 uA", layer)]).unwrap_err();
        assert_eq!(faults("layer = \"site\"").len(), 3);
        let unknown = |fault: &String| fault.contains("unknown word `ours`");
        assert!(faults("layer = \"ours\"").iter().any(unknown));
        let dated = over("site", "").replace("2026-11-24", "24.11.2026");
        assert!(faults(&dated)[0].contains("no day"));
        for scope in ["", "model = \"a\"\nasset = \"b\""] {
            assert!(
                faults(&over("maker", scope))[0]
                    .contains("one `model` (of a `maker`) or one `asset`")
            );
        }
        assert!(faults("approved_by = \"K. Vogt\"")[0].contains("no known key"));
    }

    #[test]
    fn one_layer_has_one_row_for_a_key() {
        let site = over("site", "");
        let twice = table(&[row("a", "1 mA", &site), row("b", "2 mA", &site)]).unwrap_err();
        assert!(twice[0].contains("share a key"), "{twice:?}");
        let model = |name: &str| over("maker", &format!("model = \"{name}\""));
        let both = [row("a", "1 mA", &model("x")), row("b", "2 mA", &model("y"))];
        assert!(table(&both).is_ok());
        assert!(table(&[row("a", "1 mA", &model("x")), row("b", "2 mA", &model("x"))]).is_err());
    }
}
