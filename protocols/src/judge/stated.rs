//! The doubt of an object to judge: accuracy as stated, and what is known besides.

use alloc::format;
use alloc::vec::Vec;

use tapline_drivers::{Number, Unit};

use super::Besides;
use super::input::{
    CelsiusInput, InputFault, JudgeInput, PointInput, StatedInput, VALUES_MAX, fault, list, number,
    unknown,
};
use crate::amount::Amount;
use crate::certificate::{CalibrationPoint, Certificate};
use crate::doubt::scatter::Scatter;
use crate::exact::Ratio;
use crate::register::{Accuracy, Coverage};
use crate::temperature::{Temperature, is_believed};

/// Stated accuracy.
pub(super) fn accuracy(input: &StatedInput) -> Result<Accuracy, InputFault> {
    number("accuracy.reading_percent", &input.reading_percent)?;
    Ok(Accuracy {
        reading_percent: input.reading_percent.clone(),
        digits: input.digits,
        coverage: match input.coverage.as_deref() {
            None | Some("none") => Coverage::None,
            Some("k2") => Coverage::K2,
            Some("k3") => Coverage::K3,
            Some("p95") => Coverage::P95,
            Some(word) => return Err(unknown("accuracy.coverage", word, &list("coverage"))),
        },
    })
}

/// What is known besides it.
pub(super) fn besides(input: &JudgeInput, unit: Unit) -> Result<Besides, InputFault> {
    let stated = input.accuracy.as_ref();
    let network = stated.and_then(|a| a.network_percent.as_ref());
    let network = network.map(|text| share("accuracy.network_percent", text, 100));
    let null = stated.and_then(|a| a.null_correlation.as_ref());
    let null = null.map(|text| share("accuracy.null_correlation", text, 1));
    Ok(Besides {
        network_percent: network.transpose()?,
        null_correlation: null.transpose()?,
        scatter: input.repeats.as_ref().map(|texts| scatter(input, texts, unit)).transpose()?,
    })
}

/// A decimal from 0 to `most`.
fn share(key: &str, text: &str, most: i128) -> Result<Ratio, InputFault> {
    let within = |ratio: &Ratio| {
        let most = Ratio::new(most, 1).and_then(|most| ratio.compare(most));
        !ratio.is_negative() && most.is_ok_and(core::cmp::Ordering::is_le)
    };
    let ratio = Ratio::of(number(key, text)?).ok().filter(within);
    ratio.ok_or_else(|| fault(key, &format!("`{text}` is not within 0 and {most}")))
}

fn scatter(
    input: &JudgeInput,
    texts: &[alloc::string::String],
    unit: Unit,
) -> Result<Scatter, InputFault> {
    if input.accuracy.is_none() {
        return Err(fault("repeats", "add to a stated `accuracy`, and there is none"));
    }
    if texts.len() < 2 || texts.len() > VALUES_MAX {
        return Err(fault("repeats", &format!("needs 2 to {VALUES_MAX} decimals")));
    }
    let readings: Vec<Number> =
        texts.iter().map(|text| number("repeats", text)).collect::<Result<_, _>>()?;
    let scatter = Scatter::of(&readings, unit);
    scatter.ok_or_else(|| fault("repeats", "have no standard deviation that can be reckoned"))
}

/// Temperatures of an insulation.
pub(super) fn celsius(input: &CelsiusInput, measurand: &str) -> Result<Temperature, InputFault> {
    if measurand != "insulation_resistance" {
        return Err(fault("celsius", "goes with an insulation resistance only"));
    }
    let of = |key: &str, text: &str| {
        let number = number(key, text)?;
        let why = "is no temperature from -10 to 80 degrees, of at most two decimal places";
        is_believed(number).then_some(number).ok_or_else(|| fault(key, why))
    };
    Ok(Temperature {
        measured: of("celsius.measured", &input.measured)?,
        reference: of("celsius.reference", &input.reference)?,
        seq: None,
    })
}

/// What a certificate says.
pub(super) fn certificate(
    input: &JudgeInput,
    unit: Unit,
) -> Result<Option<Certificate>, InputFault> {
    let Some(points) = &input.certificate else { return Ok(None) };
    if input.accuracy.is_none() {
        return Err(fault("certificate", "stands beside a stated `accuracy`, and there is none"));
    }
    let amount = |key: &str, text: &str| Ok(Amount { number: number(key, text)?, unit });
    let point = |point: &PointInput| {
        Ok(CalibrationPoint {
            at: amount("certificate.at", &point.at)?,
            error: amount("certificate.error", &point.error)?,
            expanded: amount("certificate.expanded", &point.expanded)?,
        })
    };
    let points = points.iter().map(point).collect::<Result<Vec<_>, _>>()?;
    Certificate::new(&points).map(Some).map_err(|why| fault("certificate", &why))
}
