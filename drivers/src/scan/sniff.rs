//! Which grammar a code follows: by its symbology identifier, else by looking at it.

use alloc::format;

use super::aim::Carrier;
use super::check::{checked43, mod10};
use super::content::{Content, Fault, field};
use super::profile::Profile;
use super::{gs1, hibc, isbt, link};
use crate::reading::ScanKind;
use crate::wire::latin;

/// Reads a code that is no control code.
///
/// # Errors
/// It is of a grammar, and damaged.
pub(super) fn read(carrier: Carrier, payload: &[u8], profile: &Profile) -> Result<Content, Fault> {
    match carrier {
        Carrier::Gs1 => {
            let text = core::str::from_utf8(payload)
                .map_err(|fault| Fault::new("characters", fault.valid_up_to()))?;
            gs1::read(&profile.separated(text), profile.proven)
        }
        Carrier::Gtin(digits) => gtin(payload, &[digits])
            .ok_or_else(|| Fault::new("check_digit", payload.len().saturating_sub(1))),
        Carrier::Checked => {
            let body = checked43(payload)
                .ok_or_else(|| Fault::new("check_character", payload.len().saturating_sub(1)))?;
            look(body, profile)
        }
        Carrier::Any => look(payload, profile),
        Carrier::Other => {
            Ok(Content { text: Some(latin(payload)), ..Content::new(ScanKind::Other) })
        }
    }
}

/// The grammar of a code that was refused.
#[must_use]
pub(super) fn kind(carrier: Carrier, payload: &[u8]) -> ScanKind {
    match carrier {
        Carrier::Gs1 => ScanKind::Gs1,
        Carrier::Gtin(_) => ScanKind::Gtin,
        Carrier::Checked => ScanKind::Text,
        Carrier::Any | Carrier::Other => match payload.first() {
            Some(b'+') => ScanKind::Hibc,
            Some(b'h' | b'H') => ScanKind::Gs1Link,
            _ => ScanKind::Gs1,
        },
    }
}

/// The grammars in their order, the ones that can be told apart best first.
fn look(payload: &[u8], profile: &Profile) -> Result<Content, Fault> {
    let plain = || Content { text: Some(latin(payload)), ..Content::new(ScanKind::Text) };
    let Ok(text) = core::str::from_utf8(payload) else { return Ok(plain()) };
    if gs1::bracket::claims(text) {
        return gs1::bracket::read(text);
    }
    if let Some(read) = link::read(text) {
        return read;
    }
    if let Some(read) = hibc::read(text) {
        return read;
    }
    if let Some(read) = isbt::read(text) {
        return Ok(read);
    }
    if let Some(asset) = profile.assets.iter().find_map(|pattern| pattern.find(text)) {
        let mut content = Content::new(ScanKind::Asset);
        content.text = Some(asset.into());
        content.text_field(field::ASSET_ID, asset);
        return Ok(content);
    }
    if let Some(read) = gtin(payload, &[8, 12, 13, 14]) {
        return Ok(read);
    }
    let separated = profile.separated(text);
    if begins_with_gtin(&separated) {
        let mut content = gs1::read(&separated, profile.proven)?;
        content.warn("no_aim");
        return Ok(content);
    }
    Ok(plain())
}

/// Digits alone with a right check digit: a type of product.
fn gtin(payload: &[u8], lengths: &[usize]) -> Option<Content> {
    let digits = core::str::from_utf8(payload).ok()?;
    (lengths.contains(&digits.len()) && mod10(payload)).then(|| {
        let mut content = Content::new(ScanKind::Gtin);
        content.text = Some(digits.into());
        content.text_field(field::DEVICE_ID, &format!("{digits:0>14}"));
        content
    })
}

/// An element string that no identifier announced: `01` and 14 digits that check.
fn begins_with_gtin(text: &str) -> bool {
    let text = text.strip_prefix(gs1::GS).unwrap_or(text);
    text.strip_prefix("01").and_then(|rest| rest.as_bytes().get(..14)).is_some_and(mod10)
}
