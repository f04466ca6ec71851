//! Writing assets as CSV.

use alloc::format;
use alloc::string::String;
use alloc::vec::Vec;

use super::read::{COLUMNS_MORE, COLUMNS_NEEDED};
use crate::register::{Asset, Class, Cord, Ownership, PartType, Risk};

/// Assets as CSV: every column, separated by `,`, rows ended by CR LF, a field in quotes where it
/// needs them (RFC 4180). [`super::read_assets`] reads the same assets from it.
#[must_use]
pub fn write_assets<'a>(assets: impl IntoIterator<Item = &'a Asset>) -> String {
    let columns: Vec<&str> = COLUMNS_NEEDED.into_iter().chain(COLUMNS_MORE).collect();
    let mut text = columns.join(",");
    text.push_str("\r\n");
    for asset in assets {
        let row: Vec<String> = columns.iter().map(|column| quoted(cell(asset, column))).collect();
        text.push_str(&row.join(","));
        text.push_str("\r\n");
    }
    text
}

pub(in crate::register) fn quoted(text: String) -> String {
    match text.contains(['"', ',', ';', '\r', '\n']) {
        true => format!("\"{}\"", text.replace('"', "\"\"")),
        false => text,
    }
}

fn cell(asset: &Asset, column: &str) -> String {
    match column {
        "asset" => asset.id.clone(),
        "description" => asset.description.clone(),
        "maker" => asset.maker.clone(),
        "model" => asset.model.clone(),
        "serial" => asset.serial.clone(),
        "udi_di" => may(asset.udi_di.as_ref()),
        "giai" => may(asset.giai.as_ref()),
        "location" => asset.location.clone(),
        "owner" => asset.owner.clone(),
        "ownership" => asset.ownership.map_or("", ownership).into(),
        "return_by" => may(asset.return_by.as_ref()),
        "risk" => asset.risk.map_or("", risk).into(),
        "retired" => may(asset.retired.as_ref()),
        "class" => class(asset.class).into(),
        "functional_earth" => yes_no(asset.functional_earth),
        "cord" => cord(asset.cord).into(),
        "cords" => asset.cords.join("|"),
        "rated_volts" => may(asset.rated_volts.as_ref()),
        "rated_amps" => may(asset.rated_amps.as_ref()),
        "cord_metres" => may(asset.cord_metres.as_ref()),
        "heating_kw" => may(asset.heating_kw.as_ref()),
        "switching_supply" => yes_no(asset.switching_supply),
        "earthed_points" => asset.earthed_points.join("|"),
        "accessible_parts" => asset.accessible_parts.join("|"),
        "applied_parts" => parts(asset),
        "states" => asset.states.join("|"),
        "built_to" => asset.built_to.clone(),
        "plan" => may(asset.plan.as_ref()),
        "interval" => may(asset.interval.as_ref()),
        "due" => may(asset.due.as_ref()),
        "excluded" => {
            let entry = |one: &crate::register::Excluded| format!("{}={}", one.step, one.reason);
            asset.excluded.iter().map(entry).collect::<Vec<_>>().join("|")
        }
        _ => String::new(),
    }
}

pub(in crate::register) fn may(text: Option<&String>) -> String {
    text.cloned().unwrap_or_default()
}

fn yes_no(flag: bool) -> String {
    if flag { "yes" } else { "no" }.into()
}

fn class(class: Class) -> &'static str {
    match class {
        Class::I => "I",
        Class::II => "II",
        Class::III => "III",
        Class::Internal => "internal",
        Class::System => "system",
    }
}

fn ownership(ownership: Ownership) -> &'static str {
    match ownership {
        Ownership::Hospital => "hospital",
        Ownership::Loaner => "loaner",
        Ownership::Rented => "rented",
        Ownership::Donated => "donated",
        Ownership::PatientOwned => "patient_owned",
    }
}

fn risk(risk: Risk) -> &'static str {
    match risk {
        Risk::High => "high",
        Risk::Medium => "medium",
        Risk::Low => "low",
    }
}

fn cord(cord: Cord) -> &'static str {
    match cord {
        Cord::Fixed => "fixed",
        Cord::Detachable => "detachable",
        Cord::Installed => "installed",
        Cord::None => "none",
    }
}

fn parts(asset: &Asset) -> String {
    let entry = |part: &crate::register::AppliedPart| {
        let kind = match part.part_type {
            PartType::B => "B",
            PartType::BF => "BF",
            PartType::CF => "CF",
        };
        format!("{}:{kind}:{}", part.name, part.connections)
    };
    asset.applied_parts.iter().map(entry).collect::<Vec<_>>().join("|")
}
