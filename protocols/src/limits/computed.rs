//! Limits that grow with a size of the asset: by the length of its cord, by its heating power.

use alloc::format;
use alloc::string::{String, ToString};
use core::cmp::Ordering;

use tapline_drivers::Number;

use super::{Row, Table};
use crate::amount::Amount;
use crate::exact::{Arithmetic, Ratio};
use crate::read::Value;
use crate::register::Asset;

/// Decimal places that a computed limit keeps; what is beyond is cut off, to the safe side.
const PLACES: i32 = 6;

/// A limit grows by an amount for each step of a size beyond the size that its value is for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plus {
    /// One step of the size.
    pub each: Number,
    /// Which size.
    pub of: Size,
    /// The size up to which nothing is added.
    pub beyond: Number,
    /// What a step adds, in the unit of the limit.
    pub add: Amount,
    /// What counts as a step.
    pub count: Count,
    /// The limit never grows beyond this.
    pub up_to: Amount,
}

/// A size of an asset.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Size {
    /// Length of its mains cord, metres.
    CordMetres,
    /// Its heating power, kilowatts.
    HeatingKw,
}

/// What counts as a step, where the standard leaves it open: a choice that stands in the record.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Count {
    /// Whole steps only.
    Full,
    /// A step that was begun counts whole.
    Started,
    /// In proportion.
    Share,
}

const SIZES: [(&str, Size); 2] =
    [("cord_metres", Size::CordMetres), ("heating_kw", Size::HeatingKw)];
const COUNTS: [(&str, Count); 3] =
    [("full", Count::Full), ("started", Count::Started), ("share", Count::Share)];

impl Size {
    fn of(self, asset: &Asset) -> Option<&str> {
        match self {
            Size::CordMetres => asset.cord_metres.as_deref(),
            Size::HeatingKw => asset.heating_kw.as_deref(),
        }
    }

    fn words(self) -> (&'static str, &'static str) {
        match self {
            Size::CordMetres => ("m", "of cord"),
            Size::HeatingKw => ("kW", "of heating"),
        }
    }
}

impl Table {
    /// The limits as they are for one asset: those of other models are left out, and a limit that
    /// grows with a size has been computed and says how. Where the size is not given, the limit
    /// without it stands, which is the strictest, and says so.
    #[must_use]
    pub fn for_asset(&self, asset: &Asset) -> Table {
        let own = |row: &&Row| row.layer.is_for(asset);
        let rows = self.rows.iter().filter(own).map(|row| row.for_asset(asset));
        Table { rows: rows.collect(), ..self.clone() }
    }
}

impl Row {
    fn for_asset(&self, asset: &Asset) -> Row {
        let mut row = self.clone();
        let Some(plus) = row.plus.take() else { return row };
        let number = plus.of.of(asset).and_then(Number::parse);
        let grown =
            number.and_then(|number| Some((number, plus.grown(row.bound.amount, number).ok()?)));
        let (unit, what) = plus.of.words();
        row.computed = Some(match grown {
            Some((size, amount)) => {
                let base = row.bound.amount;
                row.bound.amount = amount;
                format!("{} {unit} {what}: {base} and {}", size.text(), plus.in_words())
            }
            None => format!("{} of the asset is not given: nothing is added", plus.of.word()),
        });
        row
    }
}

impl Plus {
    /// The limit for a size.
    fn grown(&self, base: Amount, size: Number) -> Result<Amount, Arithmetic> {
        let over = Ratio::of(size)?.minus(Ratio::of(self.beyond)?)?;
        if over.is_negative() {
            return Ok(base);
        }
        let (steps, one) = over.over(Ratio::of(self.each)?)?.parts();
        let whole = steps.div_euclid(one);
        let steps = match self.count {
            Count::Full => Ratio::new(whole, 1)?,
            Count::Started => Ratio::new(whole + i128::from(steps.rem_euclid(one) != 0), 1)?,
            Count::Share => Ratio::new(steps, one)?,
        };
        let none = Ratio::new(0, 1)?;
        let more = none.minus(Ratio::of(self.add.number)?.times(steps)?)?;
        let grown = Ratio::of(base.number)?.minus(more)?;
        match grown.compare(Ratio::of(self.up_to.number)?)? {
            Ordering::Less => Ok(Amount { number: cut(grown)?, unit: base.unit }),
            Ordering::Equal | Ordering::Greater => Ok(self.up_to),
        }
    }

    /// `0.1 Ohm for each full 7.5 m beyond 5 m, at most 1.0 Ohm`.
    #[must_use]
    pub fn in_words(&self) -> String {
        let (unit, _) = self.of.words();
        let count = match self.count {
            Count::Full => "each full",
            Count::Started => "each started",
            Count::Share => "each",
        };
        let (each, beyond) = (self.each.text(), self.beyond.text());
        format!(
            "{} for {count} {each} {unit} beyond {beyond} {unit}, at most {}",
            self.add, self.up_to
        )
    }

    /// Keys and values as they stand in a file.
    pub(super) fn fields(&self) -> [(&'static str, String); 6] {
        let count = COUNTS.iter().find(|(_, count)| *count == self.count);
        let count = count.map_or("", |(word, _)| word);
        [
            ("each", self.each.text()),
            ("of", self.of.word().to_string()),
            ("beyond", self.beyond.text()),
            ("add", self.add.to_string()),
            ("count", count.to_string()),
            ("up_to", self.up_to.to_string()),
        ]
    }
}

impl Size {
    fn word(self) -> &'static str {
        SIZES.iter().find(|(_, size)| *size == self).map_or("", |(word, _)| word)
    }
}

/// A decimal that is not above the ratio.
fn cut(ratio: Ratio) -> Result<Number, Arithmetic> {
    let (num, den) = ratio.shifted(PLACES)?.parts();
    let mut digits = u64::try_from(num.div_euclid(den)).map_err(|_| Arithmetic)?;
    let mut exponent = -6;
    while exponent < 0 && digits.is_multiple_of(10) {
        digits /= 10;
        exponent += 1;
    }
    Ok(Number { negative: false, digits, exponent })
}

/// Reads the rule of a row.
pub(super) fn read(value: &Value<'_, '_>) -> Option<Plus> {
    let mut form = value.form()?;
    let words = |list: &[&'static str]| list.to_vec();
    let each = form.need("each").and_then(|v| size(&v));
    let beyond = form.need("beyond").and_then(|v| size(&v));
    let of = form.need("of").and_then(|v| v.one_of(&words(&SIZES.map(|(word, _)| word))));
    let count = form.need("count").and_then(|v| v.one_of(&words(&COUNTS.map(|(word, _)| word))));
    let add = form.need("add").and_then(|v| amount(&v));
    let up_to = form.need("up_to").and_then(|v| amount(&v));
    form.finish();
    Some(Plus {
        each: each?,
        of: SIZES.iter().find(|(word, _)| Some(*word) == of.as_deref())?.1,
        beyond: beyond?,
        add: add?,
        count: COUNTS.iter().find(|(word, _)| Some(*word) == count.as_deref())?.1,
        up_to: up_to?,
    })
}

fn size(value: &Value<'_, '_>) -> Option<Number> {
    let text = value.text()?;
    match Number::parse(&text).filter(|n| !n.negative && n.digits > 0) {
        Some(number) => Some(number),
        None => value.fault(format!("`{text}` is no decimal above zero")),
    }
}

fn amount(value: &Value<'_, '_>) -> Option<Amount> {
    match Amount::parse(&value.text()?) {
        Ok(amount) if !amount.number.negative && amount.number.digits > 0 => Some(amount),
        Ok(_) => value.fault("is above zero".into()),
        Err(why) => value.fault(why),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::limits::Table;
    use crate::register::read_assets;
    use alloc::string::String;

    const TABLE: &str = "DGUV Information 203-071";

    fn asset(column: &str, size: &str) -> Asset {
        let head = "asset,description,class,functional_earth,cord,switching_supply,\
                    earthed_points,accessible_parts,applied_parts";
        let text = alloc::format!("{head},{column}\nA,kettle,I,no,fixed,no,base,,,{size}\n");
        read_assets(&text).unwrap().remove(0)
    }

    fn limit(id: &str, asset: &Asset, count: &str) -> (String, String) {
        let text = Table::builtin(TABLE, "2016-era table").unwrap();
        let text = text.replace("count = \"full\"", &alloc::format!("count = \"{count}\""));
        let table = Table::parse(&text).unwrap().for_asset(asset);
        let row = table.row(id).unwrap();
        assert_eq!(row.plus, None);
        let again = Table::parse(&table.text_of(&[row])).unwrap();
        assert_eq!(&again.rows[0], row, "a record keeps how it was computed");
        (row.bound.amount.to_string(), row.computed.clone().unwrap())
    }

    /// Cords of 5, 12.5, 20, 57.5 and 80 m, and just short of a step: DGUV Information 203-071,
    /// Annex 5, excerpt seen. Full and started lengths are both readings of "per further 7.5 m".
    #[test]
    fn a_conductor_limit_grows_with_the_cord() {
        for (metres, full, started) in [
            ("2", "0.3", "0.3"),
            ("5", "0.3", "0.3"),
            ("5.1", "0.3", "0.4"),
            ("12.4", "0.3", "0.4"),
            ("12.5", "0.4", "0.4"),
            ("12.6", "0.4", "0.5"),
            ("20", "0.5", "0.5"),
            ("57.4", "0.9", "1.0"),
            ("57.5", "1.0", "1.0"),
            ("80", "1.0", "1.0"),
        ] {
            let asset = asset("cord_metres", metres);
            let of = |count: &str| limit("dguv203-071.conductor", &asset, count).0;
            assert_eq!(of("full"), alloc::format!("{full} Ohm"), "{metres} m");
            assert_eq!(of("started"), alloc::format!("{started} Ohm"), "{metres} m");
        }
    }

    /// 3.5 mA; heaters above 3.5 kW: 1 mA a kW, at most 10 mA (the same table).
    #[test]
    fn a_current_limit_grows_with_the_heating() {
        for (kw, wanted) in
            [("2", "3.5 mA"), ("3.5", "3.5 mA"), ("3.6", "3.6 mA"), ("6", "6 mA"), ("12", "10 mA")]
        {
            let found =
                limit("dguv203-071.conductor_current.direct", &asset("heating_kw", kw), "full");
            assert_eq!(found.0, wanted, "{kw} kW");
        }
    }

    #[test]
    fn how_it_was_computed_is_said_in_words() {
        let cord = asset("cord_metres", "12.5");
        assert_eq!(
            limit("dguv203-071.conductor", &cord, "full").1,
            "12.5 m of cord: 0.3 Ohm and 0.1 Ohm for each full 7.5 m beyond 5 m, at most 1.0 Ohm"
        );
        let unknown = limit("dguv203-071.conductor", &asset("heating_kw", "1"), "full");
        let said = "cord_metres of the asset is not given: nothing is added";
        assert_eq!(unknown, ("0.3 Ohm".into(), said.into()));
    }

    #[test]
    fn a_third_of_a_step_is_cut_off_to_the_safe_side() {
        let number = |text: &str| Number::parse(text).unwrap();
        let amount = |text: &str| Amount::parse(text).unwrap();
        let plus = Plus {
            each: number("3"),
            of: Size::CordMetres,
            beyond: number("5"),
            add: amount("0.1 Ohm"),
            count: Count::Share,
            up_to: amount("1 Ohm"),
        };
        let found = plus.grown(amount("0.3 Ohm"), number("6")).unwrap();
        assert_eq!(found.to_string(), "0.333333 Ohm");
    }
}
