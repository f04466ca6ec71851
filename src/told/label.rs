//! Why there is no label, and how one is where nothing else is asked.

use tapline_paper::label::NoLabel;

use crate::words::english;

/// Width and height.
pub(crate) const USUAL_SIZE: &str = "50x25mm";
/// Dots an inch of common label printers.
pub(crate) const USUAL_DPI: u16 = 203;

/// Why none is printed of an inspection, and what to do next in a line of its own.
pub(crate) fn none(id: &str, why: &NoLabel) -> String {
    let no = |code: &str, values: &[(&str, &str)]| english().tell("label", code, values);
    match why {
        NoLabel::Rejected => no("rejected", &[("id", id)]),
        NoLabel::Unsealed => no("unsealed", &[("id", id)]),
        NoLabel::Ended(how) => no("ended", &[("id", id), ("how", english().say("ended", how))]),
        NoLabel::NoRoom(why) => no("no_room", &[("why", why)]),
    }
}
