//! Check standards: resistors, chains and open ends that a bench is checked with before it is
//! believed.

use alloc::string::String;
use alloc::vec::Vec;

use serde::{Deserialize, Serialize};
use tapline_drivers::Function;

use super::unique::entries;
use crate::amount::Amount;
use crate::fault::Fault;
use crate::read::{self, Form};

/// A check standard.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CheckStandard {
    /// Its label, `CS-1`.
    pub id: String,
    /// What it is, in words.
    pub what: String,
    /// The function that it checks.
    pub function: Function,
    /// The instrument that it judges, where another one reads: a source whose current or voltage
    /// is measured. Absent: the one that reads.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub of: Option<String>,
    /// What it is by its certificate; absent: an open end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<Amount>,
    /// Farthest that an instrument of this bench may read from that; absent for an open end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub room: Option<Amount>,
    /// Number of the certificate.
    pub certificate: String,
    /// Calibration valid until, `2027-03-31`.
    pub calibration_due: String,
}

/// Reads `tapline-standards-1`.
///
/// # Errors
/// All faults at once, each with its line.
pub fn read_standards(text: &str) -> Result<Vec<CheckStandard>, Vec<Fault>> {
    let build = |form: &mut Form<'_, '_>| Some(entries(form, "standard", standard, |one| &one.id));
    read::read(text, ("tapline-standards-", 1), build).map(|(read, _)| read)
}

fn standard(mut form: Form<'_, '_>) -> Option<CheckStandard> {
    let id = form.need("id").and_then(|v| v.name());
    let what = form.need("what").and_then(|v| v.text());
    let function: Option<Function> = form.need("function").and_then(|v| v.word());
    let of = form.may("of").and_then(|v| v.name());
    let known = function.and_then(Function::quantity);
    let value = form.need("value");
    let open = value.as_ref().and_then(|v| v.any_text()) == Some("open");
    let value = value.filter(|_| !open);
    let value = value.zip(known).and_then(|(v, known)| v.amount(known));
    let room = match open {
        true => form.may("room").and_then(|v| v.fault("an open end has none: leave it out".into())),
        false => form.need("room").zip(known).and_then(|(v, known)| v.amount(known)),
    };
    let certificate = form.need("certificate").and_then(|v| v.text());
    let calibration_due = form.need("calibration_due").and_then(|v| v.date());
    form.finish();
    if !open && (value.is_none() || room.is_none()) {
        return None;
    }
    Some(CheckStandard {
        id: id?,
        what: what?,
        function: function?,
        of,
        value,
        room,
        certificate: certificate?,
        calibration_due: calibration_due?,
    })
}
