//! What a bench has, and whether it is enough for a step.

use tapline_drivers::Function;

use super::compare::Comparison;
use super::model::{Correct, Hazard, Needs, Potential, Proof, Step};
use super::steps::{Settings, Switch};
use crate::fact::LinkGiven;
use crate::limits::Table;
use crate::register::{Fixture, FixtureKind, Instrument, Kind, Lead, Range, Setup};

use alloc::format;
use alloc::string::{String, ToString};
use alloc::vec::Vec;

/// A bench as a plan meets it.
#[derive(Debug, Clone, Copy)]
pub struct BenchGiven<'a> {
    /// Instruments of the register that are at this bench.
    pub instruments: &'a [Instrument],
    /// Networks with their voltmeters.
    pub setups: &'a [Setup],
    /// Fixtures.
    pub fixtures: &'a [Fixture],
    /// Lead sets.
    pub leads: &'a [Lead],
    /// Links: an instrument without one can't send its readings here.
    pub links: &'a [LinkGiven],
    /// Tables of limits in force.
    pub limits: &'a [Table],
    /// Day of the inspection, `2026-11-24`.
    pub today: &'a str,
    /// Steps with `by_reason` that are asked for in this inspection.
    pub asked: &'a [String],
    /// An instrument out of calibration closes the step (policy `out_of_calibration = "block"`).
    pub calibration_blocks: bool,
    /// Instruments are not known, as the plan is only looked at: none is then called missing.
    pub on_paper: bool,
}

/// The instrument for a step, and why the step can't start.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Choice<'a> {
    pub(super) instrument: Option<&'a str>,
    /// Alternating or direct, where the instrument says it.
    pub(super) kind: Option<Kind>,
    pub(super) leads: Option<&'a str>,
    pub(super) closed: Option<&'static str>,
}

impl<'a> BenchGiven<'a> {
    /// Chooses for a step. `set` is what its switches are set to, walked ones included.
    pub(super) fn choose(&self, step: &Step, set: &Settings) -> Choice<'a> {
        let mut choice = step.needs.as_ref().map_or(Choice::default(), |needs| {
            let volts = isolation_needed(step.potential);
            if needs.network.is_some() {
                self.setup(needs, volts)
            } else {
                self.meter(needs, volts)
            }
        });
        if step.correct.contains(&Correct::LeadNull) {
            choice.leads = self.leads.first().map(|lead| lead.id.as_str());
        }
        if !self.lacks(step, set).is_empty() {
            choice.closed = Some("fixture_missing");
        }
        choice
    }

    /// What a step needs and this bench has not: `foil`, `supply_box.S7`, `lead` …
    pub(super) fn lacks(&self, step: &Step, set: &Settings) -> Vec<String> {
        let mut lacks: Vec<String> =
            step.fixtures.iter().filter_map(|kind| self.lacking(*kind, step, set)).collect();
        if let Some(network) = step.needs.as_ref().and_then(|needs| self.lost_network(needs)) {
            lacks.push(network);
        }
        if step.correct.contains(&Correct::LeadNull) && self.leads.is_empty() {
            lacks.push("lead".into());
        }
        lacks
    }

    /// Which of some fixtures are not here, or out of date.
    pub(super) fn missing(&self, kinds: &[FixtureKind]) -> Vec<&'static str> {
        let here = |kind: &&FixtureKind| {
            let fits = |f: &Fixture| f.what == **kind && f.inspection_due.as_str() >= self.today;
            !self.fixtures.iter().any(fits)
        };
        kinds.iter().filter(here).map(|kind| word_of(*kind)).collect()
    }

    /// What the best fixture of a kind lacks; `None` when it is here, in date, and can do what
    /// the step asks of it.
    fn lacking(&self, kind: FixtureKind, step: &Step, set: &Settings) -> Option<String> {
        let mut missing = Some(word_of(kind).to_string());
        for fixture in self.fixtures.iter().filter(|fixture| fixture.what == kind) {
            let why = self.unfit(fixture, step, set)?;
            missing = Some(format!("{}.{why}", word_of(kind)));
        }
        missing
    }

    /// Why a fixture can't serve a step; `None` when it can.
    fn unfit(&self, fixture: &Fixture, step: &Step, set: &Settings) -> Option<&'static str> {
        if fixture.inspection_due.as_str() < self.today {
            return Some("expired");
        }
        if fixture.what != FixtureKind::SupplyBox {
            return None;
        }
        let supply = (step.hazard == Some(Hazard::Live)).then_some(&Switch::Supply);
        let mut needed = set.keys().chain(supply);
        let absent = needed.find(|switch| !fixture.switches.contains_key(switch.name()));
        let poles = step.prove.contains(&Proof::NetworkResistance)
            && fixture.poles.as_deref() != Some("all");
        let test = step.prove.contains(&Proof::TestCurrent) && fixture.test_resistance.is_none();
        absent
            .map(|switch| switch.name())
            .or(poles.then_some("poles"))
            .or(test.then_some("test_current"))
    }

    /// The network of the setup, where that very one is not here or out of date.
    fn lost_network(&self, needs: &Needs) -> Option<String> {
        let kind = needs.network_kind()?;
        let here = |id: &String| {
            let own = |f: &&Fixture| f.id == *id && f.what == kind;
            self.fixtures.iter().filter(own).any(|f| f.inspection_due.as_str() >= self.today)
        };
        let fits = |s: &&Setup| needs.function.contains(&s.function) && needs.takes(s.output);
        let mut fitting = self.setups.iter().filter(fits);
        let lost = fitting.clone().all(|setup| !here(&setup.network));
        fitting.next().filter(|_| lost).map(|setup| setup.network.clone())
    }

    fn setup(&self, needs: &Needs, volts: u32) -> Choice<'a> {
        let of = |setup: &'a Setup| {
            let kind = needs.network_kind();
            let is_network = |f: &Fixture| {
                let own = f.id == setup.network && Some(f.what) == kind;
                own && f.inspection_due.as_str() >= self.today
            };
            let network = self.fixtures.iter().any(is_network);
            let closed = match network {
                false => Some("fixture_missing"),
                true => self.refused(&setup.meter, &setup.calibration_due, volts),
            };
            let kind = kind_of(setup.function);
            Choice { instrument: Some(&setup.id), kind, leads: None, closed }
        };
        let fitting = needs.function.iter().flat_map(|function| {
            let of = move |setup: &&Setup| setup.function == *function;
            self.setups.iter().filter(of).filter(|setup| needs.takes(setup.output))
        });
        self.best(fitting.map(of))
    }

    fn meter(&self, needs: &Needs, volts: u32) -> Choice<'a> {
        let fitting = needs.function.iter().flat_map(|function| {
            let fits = move |range: &&Range| range.function == *function && offers(range, needs);
            self.instruments.iter().filter_map(move |i| Some((i, i.ranges.iter().find(fits)?)))
        });
        self.best(fitting.map(|(instrument, range)| Choice {
            instrument: Some(&instrument.id),
            kind: range.gives.map(|gives| gives.kind).or(kind_of(range.function)),
            leads: None,
            closed: self.refused(&instrument.id, &instrument.calibration_due, volts),
        }))
    }

    /// The first that can start, else the one that lacks least.
    fn best(&self, choices: impl Iterator<Item = Choice<'a>>) -> Choice<'a> {
        let lacks = |choice: &Choice<'a>| match choice.closed {
            None => 0,
            Some("out_of_calibration") => 1,
            Some("link_not_isolated") => 2,
            Some("fixture_missing") => 3,
            Some(_) => 4,
        };
        choices.min_by_key(lacks).unwrap_or_else(|| Choice {
            closed: (!self.on_paper).then_some("unknown_instrument"),
            ..Choice::default()
        })
    }

    fn refused(&self, meter: &str, due: &str, volts: u32) -> Option<&'static str> {
        let known = self.instruments.iter().find(|instrument| instrument.id == meter);
        let mut links = self.links.iter().filter(|l| l.instrument.as_deref() == Some(meter));
        let isolated = links.clone().any(|link| link.isolation_volts >= volts);
        match known {
            None => Some("unknown_instrument"),
            Some(_) if links.next().is_none() => Some("unknown_instrument"),
            Some(_) if !isolated => Some("link_not_isolated"),
            Some(i) if self.calibration_blocks && due.min(&i.calibration_due) < self.today => {
                Some("out_of_calibration")
            }
            Some(_) => None,
        }
    }
}

/// The closed word of a kind of fixture.
fn word_of(kind: FixtureKind) -> &'static str {
    match kind {
        FixtureKind::SupplyBox => "supply_box",
        FixtureKind::NetworkFig12 => "network_fig12",
        FixtureKind::NetworkFig4 => "network_fig4",
        FixtureKind::IsolatedSource => "isolated_source",
        FixtureKind::IsolatingTransformer => "isolating_transformer",
        FixtureKind::OutletVoltmeter => "outlet_voltmeter",
        FixtureKind::Foil => "foil",
        FixtureKind::Saline => "saline",
    }
}

/// Rated isolation that a step asks of the data connection, volts.
pub(crate) fn isolation_needed(potential: Option<Potential>) -> u32 {
    match potential {
        None | Some(Potential::ExtraLow) => 0,
        Some(Potential::Mains) => 300,
        Some(Potential::Dc500) => 600,
    }
}

/// A range gives what a step needs.
pub(crate) fn offers(range: &Range, needs: &Needs) -> bool {
    let gives = range.gives;
    let enough = |wanted: &Option<String>, offered| match wanted {
        None => true,
        Some(wanted) => Comparison::parse(wanted).is_ok_and(|wanted| wanted.holds(offered)),
    };
    enough(&needs.test_current, gives.and_then(|g| g.test_current))
        && enough(&needs.open_circuit, gives.and_then(|g| g.open_circuit))
        && enough(&needs.test_voltage, gives.and_then(|g| g.test_voltage))
}

/// Alternating, direct or peak, where the function alone decides it.
pub(crate) fn kind_of(function: Function) -> Option<Kind> {
    match function {
        Function::VoltageAc | Function::CurrentAc => Some(Kind::Ac),
        Function::VoltageDc | Function::CurrentDc | Function::InsulationResistance => {
            Some(Kind::Dc)
        }
        Function::VoltagePeak => Some(Kind::Peak),
        Function::Resistance2w
        | Function::Resistance4w
        | Function::Frequency
        | Function::Contacts => None,
    }
}
