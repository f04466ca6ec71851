//! How a driver is driven: one `handle`, one `poll`, drained to the end.

use alloc::vec::Vec;

use crate::reading::{Contacts, Function, Identity, Note, Now, Reading, Scan};

/// One instrument on one link. Owns no port and no clock; drained to `None` after every input.
///
/// Rules, each a property test:
/// - spans of readings, notes, identities, contacts and scans follow each other without gap or
///   overlap and cover every byte before the held tail;
/// - the same bytes in any cuts give the same outputs, apart from stamps;
/// - at most 64 outputs and 4 096 held bytes;
/// - `Tick` before the deadline does nothing;
/// - one `Send` in flight;
/// - a [`Message`] can only be made from the driver's allow-list.
pub trait Driver: Send {
    /// [`Message`] for drivers that may ask; [`Never`] for listen-only ones.
    type Sends;

    /// Takes one input. Call [`Driver::poll`] to `None` afterwards.
    fn handle(&mut self, now: Now, input: Input<'_>);

    /// The next output, `None` when drained.
    fn poll(&mut self) -> Option<Output<Self::Sends>>;

    /// When [`Input::Tick`] is wanted next; `None` while nothing is awaited.
    fn deadline(&self) -> Option<Now>;
}

/// The type of what a listen-only driver sends: it has no values.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Never {}

/// What can happen to a driver.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Input<'a> {
    /// A fresh stream begins: spans count from zero, a held tail is given up as a note.
    Open,
    /// Bytes that one read returned.
    Bytes(&'a [u8]),
    /// The deadline has come.
    Tick,
    /// The function that a step needs; `None`: stop asking.
    Want(Option<Want>),
}

/// What a step wants of the instrument.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Want {
    /// The function to configure.
    pub function: Function,
    /// The asset may be energised: an instrument that has to be set up again for the same
    /// function is asked and not told.
    pub live: bool,
}

/// What a driver has to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Output<M> {
    /// A reading.
    Reading(Reading),
    /// A scanned code.
    Scan(Scan),
    /// Contacts of a supply box.
    Contacts(Contacts),
    /// Bytes that are no reading.
    Note(Note),
    /// The instrument's answer about itself.
    Identity(Identity),
    /// Configured for this function: readings of it follow.
    Ready(Function),
    /// Bytes to send.
    Send(M),
}

/// A program message from the allow-list of a driver. Only this crate can make one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Message(pub(crate) Vec<u8>);

impl Message {
    /// The bytes to put on the wire.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.0
    }
}
