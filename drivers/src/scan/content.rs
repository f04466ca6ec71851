//! What a code says, whichever grammar it follows: elements, fields, warnings; or why it is
//! refused.

use alloc::string::String;
use alloc::vec::Vec;

use super::date::Day;
use crate::reading::ScanKind;

/// Most elements of one code.
pub const ELEMENTS_MAX: usize = 64;

/// One element: an application identifier of GS1, a flag of HIBC or ISBT 128, and its value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Element {
    /// `01`, `$$3`, `=,` and the like.
    pub key: String,
    /// The value as it stands in the code, or percent-decoded where a link holds it.
    pub value: String,
}

impl Element {
    pub(super) fn new(key: &str, value: &str) -> Element {
        Element { key: key.into(), value: value.into() }
    }
}

/// What a field says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    /// Text as it stands in the code.
    Text(String),
    /// A day, or a day and an hour; its century may be open.
    Day(Day),
}

/// Names of fields, closed.
pub mod field {
    /// UDI-DI: which type of product.
    pub const DEVICE_ID: &str = "device_id";
    /// Serial number.
    pub const SERIAL: &str = "serial";
    /// Lot or batch.
    pub const LOT: &str = "lot";
    /// Day of making.
    pub const MADE_ON: &str = "made_on";
    /// Last day of use.
    pub const EXPIRES_ON: &str = "expires_on";
    /// The owner's own number of this very thing.
    pub const ASSET_ID: &str = "asset_id";
    /// Secondary serial number.
    pub const SERIAL2: &str = "serial2";
    /// Another number of the model.
    pub const MODEL_ALT: &str = "model_alt";
    /// Place.
    pub const LOCATION: &str = "location";
    /// Place within it.
    pub const LOCATION_EXT: &str = "location_ext";
    /// Who: the service relation number of a provider.
    pub const OPERATOR: &str = "operator";
    /// How many.
    pub const QUANTITY: &str = "quantity";
    /// HIBC unit of measure, 0 to 9.
    pub const UNIT_OF_USE: &str = "unit_of_use";
}

/// What a code says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Content {
    /// Which grammar.
    pub kind: ScanKind,
    /// The grammar was found by looking at the code, because no symbology identifier was sent.
    pub sniffed: bool,
    /// Elements in their order, at most [`ELEMENTS_MAX`].
    pub elements: Vec<Element>,
    /// Fields in the order in which they were found; each name once.
    pub fields: Vec<(&'static str, Said)>,
    /// Closed words: `no_separator_seen no_key joined one_extra_separator no_aim`.
    pub warnings: Vec<&'static str>,
    /// The code as text without the check character of Code 39, or the asset number that a pattern
    /// of the site found in it; `None` where the grammar has no such thing.
    pub text: Option<String>,
}

impl Content {
    pub(super) fn new(kind: ScanKind) -> Content {
        Content {
            kind,
            sniffed: false,
            elements: Vec::new(),
            fields: Vec::new(),
            warnings: Vec::new(),
            text: None,
        }
    }

    /// The text of a field; `None` where it is missing or a day.
    #[must_use]
    pub fn field(&self, name: &str) -> Option<&str> {
        self.fields.iter().find_map(|(known, said)| match said {
            Said::Text(text) if *known == name => Some(text.as_str()),
            _ => None,
        })
    }

    /// Adds a field, unless there is one of this name.
    pub(super) fn says(&mut self, name: &'static str, said: Said) {
        if self.fields.iter().all(|(known, _)| *known != name) {
            self.fields.push((name, said));
        }
    }

    pub(super) fn text_field(&mut self, name: &'static str, text: &str) {
        self.says(name, Said::Text(text.into()));
    }

    pub(super) fn warn(&mut self, word: &'static str) {
        if !self.warnings.contains(&word) {
            self.warnings.push(word);
        }
    }

    /// Adds an element.
    ///
    /// The same one twice is one; the same key with another value is a contradiction, but where a
    /// grammar says that keys may repeat.
    pub(super) fn element(&mut self, key: &str, value: &str, at: usize) -> Result<(), Fault> {
        match self.elements.iter().find(|known| known.key == key) {
            Some(known) if known.value == value => return Ok(()),
            Some(_) => return Err(Fault::of("contradiction", at, key)),
            None => {}
        }
        if self.elements.len() == ELEMENTS_MAX {
            return Err(Fault::of("too_many_elements", at, key));
        }
        self.elements.push(Element::new(key, value));
        Ok(())
    }
}

/// Why a code is refused, and where.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// A closed word: see [`Scan::refused`](crate::reading::Scan::refused).
    pub word: &'static str,
    /// Byte of the code without its symbology identifier, counted from 0.
    pub at: usize,
    /// The element's key, where one was read.
    pub key: Option<String>,
}

impl Fault {
    pub(super) fn new(word: &'static str, at: usize) -> Fault {
        Fault { word, at, key: None }
    }

    pub(super) fn of(word: &'static str, at: usize, key: &str) -> Fault {
        Fault { word, at, key: Some(key.into()) }
    }
}
