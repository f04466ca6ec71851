//! Labels in two parts: a second symbol that identifies nothing by itself belongs to the one
//! before.

use super::content::Content;
use super::gs1::dictionary::entry;
use crate::reading::{Now, ScanKind};

/// A second part comes within this time, microseconds: one movement of the hand.
pub const JOIN_US: u64 = 10_000_000;

/// The first part of a label that a second may follow.
#[derive(Debug, Clone, Default)]
pub struct Join {
    first: Option<(Content, Now)>,
}

impl Join {
    /// Nothing was before.
    pub fn clear(&mut self) {
        self.first = None;
    }

    /// Gives a part the fields of the part before it, where it has no key of its own and fits.
    #[must_use]
    pub fn take(&mut self, mut content: Content, at: Now) -> Content {
        let near = self.first.take().filter(|(first, then)| {
            first.kind == content.kind && at.0.saturating_sub(then.0) <= JOIN_US
        });
        if let Some((first, _)) =
            near.filter(|(first, _)| !has_key(&content) && fits(first, &content))
        {
            for (name, said) in first.fields {
                content.says(name, said);
            }
            content.warnings.retain(|word| *word != "no_key");
            content.warn("joined");
            // What links a third part is the first one's check character.
            self.first = Some((Content { elements: first.elements, ..content.clone() }, at));
            return content;
        }
        self.first = has_key(&content).then(|| (content.clone(), at));
        content
    }
}

/// It identifies something by itself.
fn has_key(content: &Content) -> bool {
    match content.kind {
        ScanKind::Gs1 => {
            content.elements.iter().any(|one| entry(&one.key).is_some_and(|e| e.is_key()))
        }
        ScanKind::Hibc => content.elements.iter().any(|one| one.key == "lic"),
        // No other label is split.
        _ => true,
    }
}

/// GS1 has no mark that links two symbols, so nothing may contradict. HIBC has one: the second
/// repeats the check character of the first.
fn fits(first: &Content, second: &Content) -> bool {
    let value = |content: &Content, key: &str| {
        content.elements.iter().find(|one| one.key == key).map(|one| one.value.clone())
    };
    match second.kind {
        ScanKind::Hibc => {
            let link = value(second, "link");
            link.is_some() && link == value(first, "check")
        }
        _ => {
            second.elements.iter().all(|one| value(first, &one.key).is_none_or(|v| v == one.value))
        }
    }
}
