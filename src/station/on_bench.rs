//! What is on a bench: as an inspection is given it when it begins.

use std::collections::BTreeSet;

use tapline_protocols::fact::{CheckFact, LinkGiven};
use tapline_protocols::inspection::{TYPED, typed_link};
use tapline_protocols::register::{Fixture, Instrument, Isolation, IsolationKind, Lead, Setup};

use super::core::Core;
use super::link::Link;
use super::wire::Wire;

/// Rated isolation of what has no data connection: no conductor leads from the instrument here.
const NO_LINE_VOLTS: u32 = 100_000;

/// What hangs on a bench, as the register knows it.
pub(super) struct OnBench {
    pub(super) instruments: Vec<Instrument>,
    pub(super) setups: Vec<Setup>,
    pub(super) fixtures: Vec<Fixture>,
    pub(super) leads: Vec<Lead>,
    pub(super) links: Vec<LinkGiven>,
    pub(super) checks: Vec<CheckFact>,
}

impl Core {
    pub(super) fn on_bench(&self, bench: &str) -> OnBench {
        let links: Vec<&Link> =
            self.links.values().filter(|link| link.settings.bench == bench).collect();
        let here = self.settings.benches.iter().find(|b| b.id == bench);
        let typed: &[String] = here.map_or(&[], |b| &b.typed);
        let heard = links.iter().filter_map(|link| link.settings.instrument.as_ref());
        let named: BTreeSet<&String> = heard.chain(typed).collect();
        let labels: &[String] = here.map_or(&[], |b| &b.fixtures);
        let register = &self.register;
        let setups = register.setups.values();
        OnBench {
            instruments: named
                .iter()
                .filter_map(|id| register.instruments.get(*id))
                .cloned()
                .collect(),
            setups: setups
                .filter(|s| named.contains(&s.meter) && labels.contains(&s.network))
                .cloned()
                .collect(),
            fixtures: labels.iter().filter_map(|id| register.fixtures.get(id)).cloned().collect(),
            leads: labels.iter().filter_map(|id| register.leads.get(id)).cloned().collect(),
            links: links
                .iter()
                .map(|link| self.link_given(link))
                .chain(typed.iter().map(|label| read_by_a_person(label)))
                .collect(),
            checks: register
                .checks
                .values()
                .filter_map(|points| Some(points.back()?.fact.clone()))
                .filter(|check| named.iter().any(|id| *id == check.judged()))
                .collect(),
        }
    }

    fn link_given(&self, link: &Link) -> LinkGiven {
        let settings = &link.settings;
        let wire = Wire::of(settings).ok();
        let instrument =
            settings.instrument.as_ref().and_then(|i| self.register.instruments.get(i));
        let own = instrument.map_or(0, |i| volts(i.isolation));
        LinkGiven {
            link: settings.id.clone(),
            driver: settings.driver.clone(),
            instrument: settings.instrument.clone(),
            isolation_volts: own.max(settings.isolation.map_or(0, volts)),
            polled: wire.as_ref().is_some_and(Wire::sends),
            period_ms: wire.as_ref().and_then(Wire::period_ms),
        }
    }
}

/// An instrument without a line stands among the links as what a person enters.
fn read_by_a_person(instrument: &str) -> LinkGiven {
    LinkGiven {
        link: typed_link(instrument),
        driver: TYPED.into(),
        instrument: Some(instrument.into()),
        isolation_volts: NO_LINE_VOLTS,
        polled: false,
        period_ms: None,
    }
}

fn volts(isolation: Isolation) -> u32 {
    match isolation.kind {
        IsolationKind::Optical => isolation.volts,
        IsolationKind::None | IsolationKind::Unknown => 0,
    }
}
