//! All links of the station, each under its supervisor.

use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use tapline_protocols::register::SourceClass;

use crate::clock;
use crate::config;
use crate::inbox::Post;
use crate::link::{LinkSpec, Supervised, supervise};
use crate::station::event::Event;
use crate::station::register::Register;

/// The links that are open. Dropping it closes them.
#[derive(Debug, Default)]
pub(super) struct Links {
    open: Mutex<BTreeMap<String, (bool, Supervised)>>,
}

impl Links {
    /// Opens what is not open yet. A link whose instrument became one that may be asked, or may
    /// no more be asked, is opened anew; the events that say so come back.
    pub(super) fn follow(
        &self,
        links: &[config::Link],
        register: &Register,
        inbox: &Post,
    ) -> Vec<Event> {
        let mut open = self.lock();
        let mut events = Vec::new();
        for link in links {
            let talks = talks(link, register);
            if open.get(&link.id).is_some_and(|(was, _)| *was == talks) {
                continue;
            }
            if open.remove(&link.id).is_some() {
                let why =
                    "opened anew: what the register says of its instrument changed".to_owned();
                events.push(Event::LinkDown { at: clock::now(), link: link.id.clone(), why });
            }
            let spec = LinkSpec { id: link.id.clone(), place: link.place.clone(), talks };
            open.insert(link.id.clone(), (talks, supervise(spec, inbox.clone())));
        }
        events
    }

    /// Puts bytes on a link.
    ///
    /// # Errors
    /// They were not sent, and why.
    pub(super) fn send(&self, link: &str, bytes: Vec<u8>) -> Result<(), &'static str> {
        match self.lock().get(link) {
            Some((_, link)) => link.send(bytes),
            None => Err("there is no such link"),
        }
    }

    /// A new stream of a link begins, in a book that knows nothing of it yet.
    pub(super) fn again(&self, link: &str) {
        if let Some((_, link)) = self.lock().get(link) {
            link.again();
        }
    }

    /// Nobody waits for the bytes of these, or somebody does.
    pub(super) fn quiet<'a>(&self, links: impl Iterator<Item = (&'a str, bool)>) {
        let open = self.lock();
        for (link, quiet) in links {
            if let Some((_, link)) = open.get(link) {
                link.quiet(quiet);
            }
        }
    }

    /// Closes all.
    pub(super) fn close(&self) {
        self.lock().clear();
    }

    fn lock(&self) -> MutexGuard<'_, BTreeMap<String, (bool, Supervised)>> {
        self.open.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Only a driver that asks, on an instrument that can't put out a voltage, gets a writer. An
/// instrument that the register does not know gets none.
fn talks(link: &config::Link, register: &Register) -> bool {
    let asks = tapline_drivers::by_name(&link.driver).is_some_and(|driver| driver.sends());
    let instrument = link.instrument.as_ref().and_then(|id| register.instruments.get(id));
    let class = instrument.map(|instrument| instrument.source_class);
    asks && matches!(class, Some(SourceClass::None | SourceClass::Low))
}
