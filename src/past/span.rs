//! Which inspections are meant.

/// Of an asset, opened in a span; each part may be left out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Span {
    /// The asset.
    pub(crate) asset: Option<String>,
    /// Opened at this moment or later: a day, or the beginning of a moment, UTC.
    pub(crate) from: Option<String>,
    /// Opened before this moment.
    pub(crate) to: Option<String>,
}

impl Span {
    /// It is among those that are wanted; `opened` in UTC, microseconds and `Z`.
    pub(crate) fn wants(&self, asset: Option<&str>, opened: &str) -> bool {
        self.asset.as_ref().is_none_or(|wanted| Some(wanted.as_str()) == asset)
            && self.from.as_ref().is_none_or(|from| from.as_str() <= opened)
            && self.to.as_ref().is_none_or(|to| opened < to.as_str())
    }
}
