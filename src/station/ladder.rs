//! Which asset a code names, by the strongest of what it says: the hospital's own number, then the
//! type of product together with a serial number.

use std::collections::BTreeSet;

use tapline_drivers::scan::{Content, field};
use tapline_protocols::register::Asset;

use super::register::Register;

/// Length of a GRAI without serial number: a type of asset.
const GRAI: usize = 14;

/// What a code names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Named {
    /// One asset of the register.
    One(String),
    /// Several: nobody but a person can say which.
    Several(Vec<String>),
    /// A type of product, and no serial number with it.
    Type(String),
    /// None that the register knows.
    None,
}

/// The assets that a code names. `text` is the code as an asset number or badge would be.
pub(super) fn named(register: &Register, content: &Content, text: &str) -> Named {
    let mut found: BTreeSet<&str> = BTreeSet::new();
    for own in own_numbers(content, text) {
        found.extend(register.asset(own).map(|asset| asset.id.as_str()));
        let marked = |asset: &&Asset| asset.giai.as_deref() == Some(own);
        found.extend(assets(register).filter(marked).map(|asset| asset.id.as_str()));
    }
    let device = content.field(field::DEVICE_ID);
    let serial = content.field(field::SERIAL);
    if let Some((device, serial)) = device.zip(serial) {
        let this =
            |asset: &&Asset| asset.udi_di.as_deref() == Some(device) && asset.serial == serial;
        found.extend(assets(register).filter(this).map(|asset| asset.id.as_str()));
    }
    let mut found = found.into_iter().map(String::from);
    match (found.next(), found.len()) {
        (Some(one), 0) => Named::One(one),
        (Some(one), _) => Named::Several(std::iter::once(one).chain(found).collect()),
        (None, _) => match device.filter(|_| serial.is_none()) {
            Some(device) => Named::Type(device.into()),
            None => Named::None,
        },
    }
}

fn assets(register: &Register) -> impl Iterator<Item = &Asset> {
    register.assets.values().map(|(_, asset)| &**asset)
}

/// Numbers that the owner gave: the code itself, what a pattern of the site found in it, its GIAI,
/// its GRAI with a serial number.
pub(super) fn own_numbers<'a>(
    content: &'a Content,
    text: &'a str,
) -> impl Iterator<Item = &'a str> {
    let element = |(key, value): (&'a str, &'a str)| match key {
        "8004" => Some(value),
        "8003" if value.len() > GRAI => Some(value),
        _ => None,
    };
    let elements = content.elements.iter().map(|one| (one.key.as_str(), one.value.as_str()));
    let field = content.field(field::ASSET_ID);
    [text]
        .into_iter()
        .chain(content.text.as_deref())
        .chain(field)
        .chain(elements.filter_map(element))
}

#[cfg(test)]
mod tests {
    use super::*;
    use tapline_drivers::scan::{Profile, read};
    use tapline_protocols::Fact;
    use tapline_protocols::register::read_assets;

    const CSV: &str = "asset,description,serial,udi_di,giai,class,functional_earth,cord,switching_supply,earthed_points,accessible_parts,applied_parts
P-0107,pump,1234,05102222233336,061414132a/b,I,no,fixed,no,,,
P-0108,pump,1235,05102222233336,,I,no,fixed,no,,,
P-0109,pump,1235,05102222233336,,I,no,fixed,no,,,
P-0110,lamp,7,A123BJC5D6E71,0061414112345232a/b,I,no,fixed,no,,,
06291041500213,lamp,8,,,I,no,fixed,no,,,
";

    fn register() -> Register {
        let mut register = Register::default();
        let at = crate::clock::Stamp { wall_us: 0, boot_us: 0 };
        for asset in read_assets(CSV).unwrap() {
            register.apply(1, at, &Fact::Asset(Box::new(asset)));
        }
        register
    }

    fn says(code: &str) -> Named {
        let content =
            read(code.as_bytes(), &Profile::parse("asset=inv%3A%28P-####%29").unwrap()).unwrap();
        let text = code.strip_prefix("]C1").or(code.strip_prefix("]C0")).unwrap_or(code);
        named(&register(), &content, text)
    }

    fn one(id: &str) -> Named {
        Named::One(id.into())
    }

    #[test]
    fn each_rung_of_the_ladder_finds_its_asset() {
        assert_eq!(says("P-0107"), one("P-0107"));
        assert_eq!(says("]C0P-0107"), one("P-0107"));
        assert_eq!(says("inv:P-0107"), one("P-0107"));
        assert_eq!(says("]C18004061414132a/b"), one("P-0107"));
        assert_eq!(says("https://id.example/8004/061414132a%2Fb"), one("P-0107"));
        assert_eq!(says("]C180030061414112345232a/b"), one("P-0110"));
        assert_eq!(says("]C10105102222233336211234"), one("P-0107"));
        assert_eq!(says("+A123BJC5D6E71/$+7E"), one("P-0110"));
        // A number of the register is one, whatever else it looks like.
        assert_eq!(says("06291041500213"), one("06291041500213"));
    }

    #[test]
    fn what_names_several_or_only_a_type_names_none() {
        let both = Named::Several(vec!["P-0108".into(), "P-0109".into()]);
        assert_eq!(says("]C10105102222233336211235"), both);
        let two = Named::Several(vec!["P-0107".into(), "P-0110".into()]);
        assert_eq!(says("(8004)061414132a/b(8003)0061414112345232a/b"), two);
        let apart = Named::Several(vec!["P-0107".into(), "P-0108".into(), "P-0109".into()]);
        assert_eq!(says("(8004)061414132a/b(01)05102222233336(21)1235"), apart);
        assert_eq!(says("]C10105102222233336"), Named::Type("05102222233336".into()));
        assert_eq!(says("]C1010510222223333610A"), Named::Type("05102222233336".into()));
        assert_eq!(says("]C10105102222233336219"), Named::None);
        assert_eq!(says("]C1800300614141123452"), Named::None, "a GRAI without serial number");
        assert_eq!(says("X"), Named::None);
    }
}
