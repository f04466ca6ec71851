//! What the person does with an insulation tester.

use serde_json::json;

use super::follow::{Deeds, READ_US};
use super::{Asked, Does, Person, What, act};
use crate::hand::{Hand, Key, Meter};
use crate::room::{Clips, Laid};

/// Two reports and more, microseconds.
const REPORTS_US: u64 = 2_500_000;

impl Asked {
    /// The step is measured with the insulation tester.
    pub(super) fn insulates(&self) -> bool {
        self.lead.as_deref().is_some_and(|lead| lead.starts_with("insulation."))
    }

    /// The two points that its clips belong on; the first stays where the clips were joined.
    fn ends(&self) -> Laid {
        let point = || self.point.clone().unwrap_or_else(|| "case".to_owned());
        let part = || self.part.clone().unwrap_or_default();
        let (one, other) = match self.lead.as_deref().unwrap_or_default() {
            "insulation.mains_to_earth" => ("PE".to_owned(), "mains".to_owned()),
            "insulation.mains_to_applied_part" => (part(), "mains".to_owned()),
            "insulation.applied_part_to_earth" => ("PE".to_owned(), part()),
            _ => (point(), "mains".to_owned()),
        };
        Laid::Between(one, other)
    }
}

impl Person {
    /// Both clips on the first point; after the value the first is brought to where the second
    /// lies, which stays as it is.
    pub(super) fn join_clips(&self, asked: &Asked) -> Deeds {
        let off = self.slips(asked, Does::Loses, What::Probe) && self.laid;
        let to = if off { Laid::Open } else { Laid::Joined };
        Deeds::default()
            .at(0, Hand::Tester { on: false })
            .at(0, Hand::Plug { plugged: false })
            .at(0, Hand::Clips { to: Clips::Open })
            .then(Hand::TesterClips { to })
            .then(Hand::Tester { on: true })
            .ask(REPORTS_US, json!({ "do": "prove", "what": "closed_path" }))
    }

    pub(super) fn lay_tester(&mut self, asked: &Asked) -> Deeds {
        self.laid = true;
        let off = self.slips(asked, Does::Loses, What::Probe);
        let to = if off { Laid::Open } else { asked.ends() };
        let low = self.slips(asked, Does::Sets, What::TestVoltage);
        let deeds = Deeds::default()
            .at(0, Hand::Tester { on: false })
            .at(0, Hand::Asset { on: true })
            .at(0, Hand::TesterVolts { volts: low.then(|| "250 V".to_owned()) });
        let deeds = deeds.then(Hand::TesterClips { to });
        deeds.ask(READ_US, act("connected", asked))
    }

    pub(super) fn voltage_on(&self, asked: &Asked) -> Deeds {
        let mut deeds = Deeds::default();
        if self.slips(asked, Does::Presses, What::Hold) {
            deeds = deeds.then(Hand::Press { meter: Meter::Iso, key: Key::Hold, on: true });
        }
        if !self.slips(asked, Does::Forgets, What::TestVoltage) {
            deeds = deeds.then(Hand::Tester { on: true });
        }
        deeds.ask(READ_US, act("live", asked))
    }
}
