//! Whether anything may be sent to a port, before anybody is asked.

use tapline_protocols::register::SourceClass;

use crate::ports::Wired;

/// What may be done about sending.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Permit {
    /// The register calls the instrument hazardous: no answer changes that.
    Never,
    /// Nobody has declared what it could put on its terminals: only a person who declares it
    /// harmless may let it be asked.
    Declare,
    /// The register calls it harmless: a yes is enough.
    Ask,
}

/// What configuration and register say of a port. A port that no link uses, a link without an
/// instrument and an instrument that the register lacks are not declared.
#[must_use]
pub fn permit(wired: Option<&Wired>) -> Permit {
    match wired.and_then(|wired| wired.class) {
        Some(SourceClass::Hazardous) => Permit::Never,
        Some(SourceClass::None | SourceClass::Low) => Permit::Ask,
        Some(SourceClass::Unknown) | None => Permit::Declare,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_harmless_instrument_is_asked_without_a_declaration() {
        let wired = |class| Wired {
            link: "ohm".into(),
            bench: "b1".into(),
            driver: "scpi".into(),
            layout: Some("confirmed"),
            asks: true,
            instrument: Some("LR-01".into()),
            class,
            isolation: None,
        };
        let of = |class| permit(Some(&wired(class)));
        assert_eq!(of(Some(SourceClass::Hazardous)), Permit::Never);
        assert_eq!(of(Some(SourceClass::Unknown)), Permit::Declare);
        assert_eq!(of(None), Permit::Declare);
        assert_eq!(of(Some(SourceClass::None)), Permit::Ask);
        assert_eq!(of(Some(SourceClass::Low)), Permit::Ask);
        assert_eq!(permit(None), Permit::Declare);
    }
}
