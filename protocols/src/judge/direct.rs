//! The direct share of a leakage. Insulation and capacitors leak in proportion to the mains
//! voltage; what comes out of a rectifier does not, and it is not known how else it grows.

use alloc::string::{String, ToString};
use alloc::vec::Vec;
use core::cmp::Ordering;

use tapline_drivers::{Indication, Number, Unit};

use super::{Measured, Question};
use crate::amount::Amount;
use crate::correct::{Direct, Items, Mains, amount_in};
use crate::exact::{Arithmetic, Ratio};

/// What a meter read as direct current of a value, in the same condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Share {
    /// With its sign as sent, in the quantity of the value as sent; `None`: more than the meter
    /// reads.
    pub amount: Option<Amount>,
    /// Line of the record.
    pub seq: Option<u64>,
}

/// Scales to the reference voltage what grows in proportion to it: nothing where more than a tenth
/// of any value is direct. Then the raw values are judged, and the reasons say where they may be
/// better than they would be at the reference.
pub(super) fn scaled(
    question: &Question<'_>,
    items: &mut Items,
) -> Result<Vec<&'static str>, Arithmetic> {
    let mains = question.mains.as_ref();
    if question.scales_all {
        items.mains(mains, None)?;
        return Ok(Vec::new());
    }
    let direct = direct(&question.values);
    let mut largely = false;
    for value in &question.values {
        largely |= is_large(value)?;
    }
    if !largely {
        items.mains(mains, Some(direct))?;
        return Ok(Vec::new());
    }
    items.not_scaled(mains, direct);
    Ok(match mains {
        None => Vec::from(["no_mains_value", "direct_share"]),
        Some(mains) if lower(mains)? => Vec::from(["direct_share"]),
        Some(_) => Vec::new(),
    })
}

/// Whether more than a tenth of a value is direct (common practice, no source): what is scaled
/// wrongly is then less than a hundredth of it, inside the tolerance of the mains.
fn is_large(value: &Measured) -> Result<bool, Arithmetic> {
    let Some(share) = value.direct else { return Ok(false) };
    let Some(amount) = share.amount else { return Ok(true) };
    let number = match value.indication {
        Indication::Value(n) | Indication::Above(n) | Indication::Below(n) => n,
        Indication::Overload | Indication::NoValue => return Ok(false),
    };
    let direct = amount_in(amount, value.unit)?.abs();
    let whole = size(number, value.unit)?;
    Ok(direct.times(Ratio::new(10, 1)?)?.compare(whole)? == Ordering::Greater)
}

fn size(number: Number, unit: Unit) -> Result<Ratio, Arithmetic> {
    Ok(amount_in(Amount { number, unit }, unit)?.abs())
}

/// Measured below the reference: at it there is more.
fn lower(mains: &Mains) -> Result<bool, Arithmetic> {
    Ok(mains.factor()?.compare(Ratio::new(1, 1)?)? == Ordering::Greater)
}

fn direct(values: &[Measured]) -> Direct {
    let text = |share: Option<Share>| match share.map(|share| share.amount) {
        None => "none".to_string(),
        Some(None) => "overload".to_string(),
        Some(Some(amount)) => said(amount),
    };
    Direct {
        texts: values.iter().map(|value| text(value.direct)).collect(),
        from: values.iter().filter_map(|value| value.direct?.seq).collect(),
        all: values.iter().all(|value| value.direct.is_some()),
    }
}

fn said(amount: Amount) -> String {
    alloc::format!("{} {}", amount.number.text(), amount.unit.ucum())
}
