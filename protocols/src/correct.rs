//! Corrections, each a link of the chain with its inputs: magnitude and lead null per direction,
//! network volt to ampere, scaling to the reference mains voltage, insulation at a reference
//! temperature.
//!
//! The network is the weighting (IEC 60601-1 Figure 12, IEC 60990 Figure 4): the current judged is
//! the voltage over 1 kohm, or 500 ohm, at every frequency. No frequency enters here.

mod network;

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::cmp::Ordering;

use tapline_drivers::{Indication, Number, Prefix, Quantity, Unit};

use crate::amount::Amount;
use crate::certificate::Certificate;
use crate::doubt::scatter::Scatter;
use crate::exact::{Arithmetic, Ratio};
use crate::fact::ChainLink;
use crate::temperature::Temperature;

pub use network::Network;

/// What stands for a supply that nobody measured, in the `assumed` of its link.
pub const ASSUMED_MAINS: &str = "mains_at_90_percent";
/// What stands for a direct share that nobody read.
const ASSUMED_DIRECT: &str = "no_direct_current";

/// An indication on its way to a verdict.
#[derive(Debug, Clone, Copy)]
pub enum Shape {
    /// A value.
    Value(Ratio),
    /// More than this.
    Above(Ratio),
    /// Less than this.
    Below(Ratio),
    /// Beyond a range end that nobody knows.
    Overload,
    /// No value.
    NoValue,
}

impl Shape {
    /// The value or bound, where there is one.
    #[must_use]
    pub fn ratio(self) -> Option<Ratio> {
        match self {
            Shape::Value(r) | Shape::Above(r) | Shape::Below(r) => Some(r),
            Shape::Overload | Shape::NoValue => None,
        }
    }

    /// As a link of the chain writes it: `0.182`, `above(2)`, `overload`.
    #[must_use]
    pub fn text(self) -> String {
        match self {
            Shape::Value(r) => r.text(),
            Shape::Above(r) => format!("above({})", r.text()),
            Shape::Below(r) => format!("below({})", r.text()),
            Shape::Overload => "overload".to_string(),
            Shape::NoValue => "none".to_string(),
        }
    }

    /// The word of contract and record; `None` for a value.
    #[must_use]
    pub fn indication(self) -> Option<&'static str> {
        match self {
            Shape::Value(_) => None,
            Shape::Above(_) => Some("above"),
            Shape::Below(_) => Some("below"),
            Shape::Overload => Some("overload"),
            Shape::NoValue => Some("none"),
        }
    }

    fn map(self, f: impl Fn(Ratio) -> Result<Ratio, Arithmetic>) -> Result<Shape, Arithmetic> {
        Ok(match self {
            Shape::Value(r) => Shape::Value(f(r)?),
            Shape::Above(r) => Shape::Above(f(r)?),
            Shape::Below(r) => Shape::Below(f(r)?),
            other => other,
        })
    }

    /// Without its sign. "More than -2" has no magnitude, "less than -2" is more than 2.
    fn magnitude(self) -> Shape {
        match self {
            Shape::Value(r) => Shape::Value(r.abs()),
            Shape::Above(r) if r.is_negative() => Shape::Overload,
            Shape::Below(r) if r.is_negative() => Shape::Above(r.abs()),
            other => other,
        }
    }
}

/// One value, with what its uncertainty needs, all in one unit.
#[derive(Debug, Clone)]
pub struct Item {
    /// What is judged.
    pub shape: Shape,
    /// Power of ten of the indication's last digit.
    pub places: i32,
    /// The reading before the null, scaled as the value is.
    pub reading: Option<Ratio>,
    /// One count of the last digit, scaled as the value is.
    pub digit: Ratio,
    /// The null that was subtracted, magnitude.
    pub null: Option<Ratio>,
    /// Standard deviation of repeated readings, scaled as the value is, and its degrees of
    /// freedom.
    pub scatter: Option<(Ratio, u32)>,
    /// Standard uncertainty of the certificate's errors, scaled as the value is.
    pub certificate: Option<Ratio>,
}

/// The resistance of a lead set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Null {
    /// Its reading in the same direction; zero where the meter itself subtracts.
    pub amount: Amount,
    /// Line of the record.
    pub seq: Option<u64>,
}

/// The supply of the asset while it was measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mains {
    /// As measured.
    pub measured: Amount,
    /// What the plan scales to.
    pub reference: Amount,
    /// Line of the record.
    pub seq: Option<u64>,
}

/// What was read of values as direct current, which does not grow with the mains voltage.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Direct {
    /// As sent, one each; `none` where nothing was read.
    pub texts: Vec<String>,
    /// Lines of the record.
    pub from: Vec<u64>,
    /// It was read of every value.
    pub all: bool,
}

/// Values of one question in one unit, and the links so far.
#[derive(Debug, Clone)]
pub struct Items {
    /// Values in the order given.
    pub list: Vec<Item>,
    /// Their unit.
    pub unit: Unit,
    /// Links so far.
    pub chain: Vec<ChainLink>,
    /// Signs are gone.
    absolute: bool,
    /// What readings of the meter are multiplied by.
    off: Option<Ratio>,
    /// What the meter reads wrong.
    certificate: Option<Certificate>,
}

impl Items {
    /// Lifts indications into one unit, that of the first. `resolution`: one count of the last
    /// digit where the register knows it.
    ///
    /// `Ok(None)`: no values, or values of different quantities.
    ///
    /// # Errors
    /// When a value has no room.
    pub fn new(
        values: &[(Indication, Unit)],
        resolution: Option<Amount>,
    ) -> Result<Option<Items>, Arithmetic> {
        let Some((_, unit)) = values.first().copied() else { return Ok(None) };
        if values.iter().any(|(_, u)| u.quantity != unit.quantity) {
            return Ok(None);
        }
        let resolution = resolution.filter(|r| r.unit.quantity == unit.quantity);
        let lift = |(indication, own): &(Indication, Unit)| {
            let up = i32::from(own.prefix.exponent()) - i32::from(unit.prefix.exponent());
            item(indication, up, unit, resolution)
        };
        let list = values.iter().map(lift).collect::<Result<_, _>>()?;
        Ok(Some(Items {
            list,
            unit,
            chain: Vec::new(),
            absolute: false,
            off: None,
            certificate: None,
        }))
    }

    /// Readings scatter: those of each value, where `common` stands for what nobody knows.
    ///
    /// # Errors
    /// When it is of another quantity, or has no room.
    pub fn scattered(
        &mut self,
        each: &[Option<Scatter>],
        common: Option<Scatter>,
    ) -> Result<(), Arithmetic> {
        let unit = self.unit;
        let each = each.iter().copied().chain(core::iter::repeat(common));
        for (item, scatter) in self.list.iter_mut().zip(each) {
            let lift = |s: Scatter| Ok((amount_in(s.deviation, unit)?.abs(), s.freedom));
            item.scatter = scatter.map(lift).transpose()?;
        }
        Ok(())
    }

    /// Minus what the meter's certificate says that it reads wrong: the values, and the nulls that
    /// it took.
    ///
    /// # Errors
    /// When it is of another quantity, or a value has no room.
    pub fn certified(&mut self, certificate: &Certificate) -> Result<(), Arithmetic> {
        let (before, unit, mut minus) = (self.texts(), self.unit, Vec::new());
        let standard = certificate.standard(unit)?;
        for item in &mut self.list {
            let Some(reading) = item.reading else { continue };
            let error = certificate.error(reading, unit)?;
            item.shape = item.shape.map(|r| r.minus(error))?;
            item.reading = Some(reading.minus(error)?);
            item.certificate = Some(standard);
            minus.push(error.text());
        }
        self.certificate = Some(certificate.clone());
        self.push(ChainLink { minus, gives: self.texts(), ..link("certificate", before) });
        Ok(())
    }

    /// Puts right what the meter read wrong: the values, and the nulls that it took.
    ///
    /// # Errors
    /// When a value has no room.
    pub fn put_right(&mut self, factor: Ratio) -> Result<(), Arithmetic> {
        let before = self.texts();
        for item in &mut self.list {
            item.scale(|r| r.times(factor))?;
        }
        self.off = Some(factor);
        let (num, den) = factor.parts();
        let times = Some(format!("{num}/{den}"));
        self.push(ChainLink { times, gives: self.texts(), ..link("put_right", before) });
        Ok(())
    }

    /// Magnitude per direction, then minus the null of the same direction.
    ///
    /// # Errors
    /// When a value has no room, or a null is no resistance.
    pub fn lead_null(&mut self, nulls: &[Null]) -> Result<(), Arithmetic> {
        let before = self.texts();
        let (mut minus, mut gives) = (Vec::new(), Vec::new());
        for (item, null) in self.list.iter_mut().zip(nulls) {
            let mut null = amount_in(null.amount, self.unit)?.abs();
            if let Some(certificate) = self.certificate.as_ref().filter(|_| null.parts().0 != 0) {
                null = null.minus(certificate.error(null, self.unit)?)?;
            }
            if let Some(factor) = self.off {
                null = null.times(factor)?;
            }
            item.shape = item.shape.magnitude().map(|r| r.minus(null))?;
            item.null = Some(null);
            minus.push(null.text());
            gives.push(item.shape.text());
        }
        self.absolute = true;
        let from = nulls.iter().filter_map(|null| null.seq).collect();
        self.push(ChainLink { minus, from, gives, ..link("lead_null", before) });
        Ok(())
    }

    /// Volt across the network's resistor to ampere: over 1 kohm V is mA, mV is uA.
    ///
    /// # Errors
    /// When the values are no voltages, or one has no room.
    pub fn network(&mut self, network: Network) -> Result<(), Arithmetic> {
        let prefix = match (self.unit.quantity, self.unit.prefix) {
            (Quantity::Volt, Prefix::Kilo) => Prefix::One,
            (Quantity::Volt, Prefix::One) => Prefix::Milli,
            (Quantity::Volt, Prefix::Milli) => Prefix::Micro,
            (Quantity::Volt, Prefix::Micro | Prefix::Nano) => Prefix::Nano,
            _ => return Err(Arithmetic),
        };
        let before = self.texts();
        let left = i32::from(self.unit.prefix.exponent()) - 3 - i32::from(prefix.exponent());
        for item in &mut self.list {
            item.scale(|r| r.shifted(left))?;
            if network != Network::Fig12 {
                item.scale(|r| r.times(Ratio::new(1000, network.ohms())?))?;
            }
            item.places += left;
        }
        self.unit = Unit { prefix, quantity: Quantity::Ampere };
        let link = ChainLink {
            times: Some(format!("1/{}", network.ohms())),
            gives: self.texts(),
            unit: Some(self.unit),
            ..link("network", before)
        };
        self.push(link);
        Ok(())
    }

    /// Scales to the reference mains voltage; without a measured one, as if the supply had been
    /// at 0.9 of it, which is the worst inside a tolerance of 10 %.
    ///
    /// `direct`: what was read as direct current; `None` leaves it out, as older lists do.
    ///
    /// # Errors
    /// When a value has no room, or the measured voltage is zero.
    pub fn mains(
        &mut self,
        mains: Option<&Mains>,
        direct: Option<Direct>,
    ) -> Result<(), Arithmetic> {
        let factor = match mains {
            Some(mains) => mains.factor()?,
            None => Ratio::new(10, 9)?,
        };
        let same = factor.compare(Ratio::new(1, 1)?)? == Ordering::Equal;
        let unread = !same && direct.as_ref().is_some_and(|direct| !direct.all);
        let assumed = match mains {
            None => Some(ASSUMED_MAINS),
            Some(_) => unread.then_some(ASSUMED_DIRECT),
        };
        let before = self.texts();
        for item in &mut self.list {
            item.scale(|r| r.times(factor))?;
        }
        let (num, den) = factor.parts();
        let link = ChainLink {
            times: Some(format!("{num}/{den}")),
            assumed: assumed.map(ToString::to_string),
            gives: self.texts(),
            ..by_mains(before, mains, direct.unwrap_or_default())
        };
        self.push(link);
        Ok(())
    }

    /// Leaves the values as they were measured: too much of them is direct.
    pub fn not_scaled(&mut self, mains: Option<&Mains>, direct: Direct) {
        let before = self.texts();
        self.push(by_mains(before, mains, direct));
    }

    /// To what it would be at a reference temperature.
    ///
    /// # Errors
    /// When a temperature is not believed, or a value has no room.
    pub fn temperature(&mut self, temperature: &Temperature) -> Result<(), Arithmetic> {
        let factor = temperature.factor()?;
        let before = self.texts();
        for item in &mut self.list {
            item.scale(|r| r.times(factor))?;
        }
        let link = ChainLink {
            times: Some(factor.text()),
            at: Some(temperature.measured.text()),
            to: Some(temperature.reference.text()),
            from: temperature.seq.into_iter().collect(),
            gives: self.texts(),
            ..link("temperature", before)
        };
        self.push(link);
        Ok(())
    }

    /// Ends the chain: the largest magnitude of all. Which one is picked by whoever judges.
    pub fn largest_magnitude(&mut self) {
        let before = self.texts();
        let signed = |item: &Item| item.shape.ratio().is_some_and(Ratio::is_negative);
        let strip = !self.absolute && self.list.iter().any(signed);
        if strip {
            for item in &mut self.list {
                item.shape = item.shape.magnitude();
            }
        }
        self.absolute = true;
        if self.list.len() > 1 || strip {
            let gives = if strip { self.texts() } else { Vec::new() };
            self.push(ChainLink { gives, ..link("largest_magnitude", before) });
        }
    }

    /// Ends the chain: the smallest of all, with its sign.
    pub fn smallest(&mut self) {
        if self.list.len() > 1 {
            let before = self.texts();
            self.push(link("smallest", before));
        }
    }

    fn texts(&self) -> Vec<String> {
        self.list.iter().map(|item| item.shape.text()).collect()
    }

    fn push(&mut self, link: ChainLink) {
        self.chain.push(link);
    }
}

impl Item {
    fn scale(&mut self, f: impl Fn(Ratio) -> Result<Ratio, Arithmetic>) -> Result<(), Arithmetic> {
        self.shape = self.shape.map(&f)?;
        self.reading = self.reading.map(&f).transpose()?;
        self.digit = f(self.digit)?;
        self.null = self.null.map(&f).transpose()?;
        let scatter = |(deviation, freedom)| f(deviation).map(|deviation| (deviation, freedom));
        self.scatter = self.scatter.map(scatter).transpose()?;
        self.certificate = self.certificate.map(&f).transpose()?;
        Ok(())
    }
}

impl Mains {
    /// Reference over measured, as written: `230/226`.
    ///
    /// # Errors
    /// When the measured voltage is zero.
    pub fn factor(&self) -> Result<Ratio, Arithmetic> {
        let volt = Unit { prefix: Prefix::One, quantity: Quantity::Volt };
        amount_in(self.reference, volt)?.over(amount_in(self.measured, volt)?)
    }
}

/// An amount as a ratio in another prefix of its quantity.
///
/// # Errors
/// When the quantities differ or it has no room.
pub fn amount_in(amount: Amount, unit: Unit) -> Result<Ratio, Arithmetic> {
    if amount.unit.quantity != unit.quantity {
        return Err(Arithmetic);
    }
    let up = i32::from(amount.unit.prefix.exponent()) - i32::from(unit.prefix.exponent());
    Ratio::of(amount.number)?.shifted(up)
}

fn item(
    indication: &Indication,
    up: i32,
    unit: Unit,
    resolution: Option<Amount>,
) -> Result<Item, Arithmetic> {
    let number = match indication {
        Indication::Value(n) | Indication::Above(n) | Indication::Below(n) => Some(*n),
        Indication::Overload | Indication::NoValue => None,
    };
    let reading = number.map(|n| Ratio::of(n)?.shifted(up)).transpose()?;
    let places = number.map_or(0, |n| i32::from(n.exponent)) + up;
    let digit = match resolution {
        Some(amount) => amount_in(amount, unit)?.abs(),
        None => Ratio::of(Number { negative: false, digits: 1, exponent: 0 })?.shifted(places)?,
    };
    let shape = match (indication, reading) {
        (Indication::Value(_), Some(r)) => Shape::Value(r),
        (Indication::Above(_), Some(r)) => Shape::Above(r),
        (Indication::Below(_), Some(r)) => Shape::Below(r),
        (Indication::Overload, _) => Shape::Overload,
        _ => Shape::NoValue,
    };
    Ok(Item { shape, places, reading, digit, null: None, scatter: None, certificate: None })
}

/// The link of the mains voltage, without what comes of it.
fn by_mains(of: Vec<String>, mains: Option<&Mains>, direct: Direct) -> ChainLink {
    let Direct { texts, from: lines, .. } = direct;
    let none = texts.iter().all(|text| text == "none");
    let from = mains.and_then(|mains| mains.seq).into_iter().chain(lines).collect();
    let direct = if none { Vec::new() } else { texts };
    ChainLink { direct, from, ..link("mains_scaling", of) }
}

fn link(what: &str, of: Vec<String>) -> ChainLink {
    ChainLink {
        what: what.into(),
        of,
        minus: Vec::new(),
        times: None,
        at: None,
        to: None,
        assumed: None,
        direct: Vec::new(),
        from: Vec::new(),
        gives: Vec::new(),
        unit: None,
    }
}

#[cfg(test)]
mod tests;
