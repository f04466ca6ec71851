//! One value to be captured, resolved: which meter, which function, how long, how far.

use alloc::string::{String, ToString};
use alloc::vec::Vec;

use tapline_drivers::{Function, Quantity};

use super::brief::Brief;
use super::null::SLOW_GUARD_US;
use super::scale;
use super::tester::DANGEROUS;
use crate::amount::Amount;
use crate::correct::Network;
use crate::limits::Direction as Side;
use crate::plan::{
    Combine, Comparison, Contact, Direction, Expanded, Hazard, Needs, Proof, Rule, Settings, Step,
    Switch, isolation_needed, offers,
};
use crate::register::{Fixture, FixtureKind, Instrument, Over, Range};

/// The maker excludes the step.
pub(super) const EXCLUDED: &str = "excluded";

/// One value to be captured.
#[derive(Debug, Clone)]
pub(super) struct Job {
    pub(super) step: String,
    pub(super) of: String,
    /// The instrument; empty where the bench has none.
    pub(super) meter: String,
    /// Network and voltmeter as one.
    pub(super) setup: Option<String>,
    /// The terminals of the network that the voltmeter is at.
    pub(super) terminals: Option<Network>,
    /// The function that is captured.
    pub(super) function: Function,
    pub(super) rule: Rule,
    /// Length of the window, microseconds.
    pub(super) window_us: u64,
    /// `None`: the response is unknown, the operator captures.
    pub(super) guard_us: Option<u64>,
    /// The driver asks: one conversion after the guard is thrown away.
    pub(super) polled: bool,
    /// The meter has no line: a person enters what it shows.
    pub(super) typed: bool,
    /// Smallest of the values instead of the largest.
    pub(super) smallest: bool,
    pub(super) hazard: Option<Hazard>,
    pub(super) prove: Vec<Proof>,
    pub(super) set: Settings,
    /// An isolated source drives the current: it is shown on before each value.
    pub(super) source: bool,
    /// The supply box energises it.
    pub(super) by_box: bool,
    /// Switches that it does not name have to be at rest.
    pub(super) rests: bool,
    /// The plug is the lead: the network stands in the box's own protective earth.
    pub(super) in_earth: bool,
    pub(super) direction: Direction,
    pub(super) leads: Option<String>,
    /// Operating state that the asset is set to and seen in, where it has several.
    pub(super) operating: Option<String>,
    /// The limit as the meter shows it, 10^-24 of volts or ohms, if there is one.
    pub(super) limit: Option<i128>,
    /// A resistance from here on is an open circuit or a lifted probe; `None` where no factor of
    /// the limit says so.
    pub(super) open_at: Option<i128>,
    /// What overload means: more than this.
    pub(super) range_end: Option<Amount>,
    /// Energising the asset has to move the meter: a value of less than twice what it read before
    /// is said, where a sound asset leaks something.
    pub(super) moves: bool,
    /// Its values say how far their readings scatter.
    pub(super) scatters: bool,
    /// After each value a known current shows that the ammeter sees all that flows.
    pub(super) test_current: bool,
    /// The test voltage that it asks for, 10^-24 volts, where it is measured between hands clear
    /// and dead.
    pub(super) tested: Option<i128>,
    /// Why it can't start, a word of the reasons.
    pub(super) closed: Option<&'static str>,
    /// Why its readings can't be judged, though they are kept: `out_of_calibration`.
    pub(super) lapsed: bool,
}

impl Job {
    /// Resolves one expanded step.
    pub(super) fn of(brief: &Brief, step: &Step, expanded: &Expanded) -> Job {
        let named = expanded.instrument.as_deref().unwrap_or_default();
        let setup = brief.setups.get(named);
        let meter = setup.map_or(named, |setup| setup.meter.as_str());
        let instrument = brief.instruments.get(meter);
        let wanted = step.needs.as_ref().map(|needs| needs.function.as_slice()).unwrap_or_default();
        let has = |function: &Function| range(instrument, step, *function).is_some();
        let function = setup
            .map(|setup| setup.function)
            .or_else(|| wanted.iter().copied().find(has))
            .or_else(|| wanted.first().copied())
            .unwrap_or(Function::VoltageAc);
        let link = brief.link_of(meter);
        let limit = brief.row(expanded).map(|row| (row.bound.direction, row.bound.amount));
        let terminals = step.needs.as_ref().and_then(Needs::terminals);
        let ohms = terminals.unwrap_or_default().ohms();
        let shown = limit.map(|(_, amount)| as_shown(amount, function, ohms));
        let factor = i128::from(brief.policy.release.factor);
        let high = matches!(limit, Some((Side::Max, _))) && is_resistance(function);
        let capture = step.capture;
        let tested = (brief.policy.proofs >= 4).then(|| test_voltage(step)).flatten();
        Job {
            step: expanded.step.clone(),
            of: expanded.of.clone(),
            meter: meter.to_string(),
            setup: setup.map(|setup| setup.id.clone()),
            terminals,
            function,
            rule: capture.map_or(Rule::Operator, |capture| capture.rule),
            window_us: u64::from(capture.and_then(|c| c.seconds).unwrap_or(5)) * 1_000_000,
            // A minute is longer than any response.
            guard_us: guard_us(brief, meter, function).or(tested.map(|_| SLOW_GUARD_US)),
            polled: link.is_some_and(|link| link.polled),
            typed: super::typed::is_typed(brief, meter),
            smallest: step.combine == Some(Combine::Smallest),
            hazard: step.hazard,
            prove: step.prove.clone(),
            set: expanded.set.clone(),
            source: brief.policy.proofs >= 3
                && step.fixtures.contains(&FixtureKind::IsolatedSource),
            by_box: tested.is_none()
                && (brief.policy.proofs < 3 || step.fixtures.contains(&FixtureKind::SupplyBox)),
            rests: brief.policy.proofs >= 3 && step.fixtures.contains(&FixtureKind::SupplyBox),
            in_earth: step.contact == Some(Contact::Plug),
            direction: expanded.direction.unwrap_or(Direction::None),
            leads: expanded.leads.clone(),
            operating: operating(brief, step, expanded),
            limit: shown,
            open_at: shown.filter(|_| high).and_then(|limit| limit.checked_mul(factor)),
            range_end: instrument.and_then(|one| range_end(one, function)),
            moves: brief.policy.proofs >= 2
                && step.hazard == Some(Hazard::Live)
                && !(brief.policy.proofs >= 3 && may_be_nothing(step, function)),
            scatters: brief.policy.doubt >= 2,
            test_current: brief.policy.proofs >= 6 && step.prove.contains(&Proof::TestCurrent),
            tested,
            closed: closed(brief, step, expanded, instrument),
            lapsed: lapsed(brief, instrument, setup.map(|setup| setup.calibration_due.as_str())),
        }
    }

    /// Something else than the supply box energises it, too.
    pub(super) fn apart(&self) -> bool {
        self.runs() && (self.source || !self.by_box)
    }

    /// The asset is energised while it is measured.
    pub(super) fn live(&self) -> bool {
        self.hazard == Some(Hazard::Live)
    }

    /// It is done as a run: leads laid, hands clear, live, dead.
    pub(super) fn runs(&self) -> bool {
        self.live() || self.tested.is_some()
    }

    /// What is shown is a resistance of a path that should be low.
    pub(super) fn low_resistance(&self) -> bool {
        self.open_at.is_some()
    }

    /// The protective earth switch takes part: class I with the network in its place.
    pub(super) fn opens_earth(&self) -> bool {
        self.in_earth && self.set.contains_key(&Switch::S7)
    }

    /// Its network is that of IEC 60990 Figure 4.
    pub(super) fn over_500(&self) -> bool {
        matches!(self.terminals, Some(Network::U1 | Network::U2))
    }

    /// The operator captures: the rule says so, or nobody knows how fast the meter follows.
    pub(super) fn by_operator(&self) -> bool {
        self.rule == Rule::Operator || self.guard_us.is_none()
    }

    /// The network has to be read before and after.
    pub(super) fn proves_network(&self) -> bool {
        self.prove.contains(&Proof::NetworkResistance)
    }
}

/// The state that a person sets and sees: while the asset is energised alone.
fn operating(brief: &Brief, step: &Step, expanded: &Expanded) -> Option<String> {
    let asked = brief.policy.proofs >= 5 && step.hazard == Some(Hazard::Live);
    expanded.state.clone().filter(|_| asked)
}

/// What a sound asset may well have none of: dc, and a current between two of its connections.
fn may_be_nothing(step: &Step, function: Function) -> bool {
    let between = step.measurand.as_deref() == Some("patient_auxiliary_current");
    function == Function::VoltageDc || between
}

/// The least test voltage of a step that has one; a dangerous one where it does not say how much.
fn test_voltage(step: &Step) -> Option<i128> {
    let needs = step.needs.as_ref().and_then(|needs| needs.test_voltage.as_deref());
    let least = needs.and_then(|text| Comparison::parse(text).ok()?.least());
    (step.hazard == Some(Hazard::TestVoltage)).then(|| least.map_or(DANGEROUS, scale::of))
}

/// A resistance that tells whether the probe is lifted.
pub(super) fn is_resistance(function: Function) -> bool {
    matches!(function, Function::Resistance2w | Function::Resistance4w)
}

/// Smallest guard before a reading of this function may be used, microseconds; `None` where the
/// response time is not known.
pub(super) fn guard_us(brief: &Brief, meter: &str, function: Function) -> Option<u64> {
    let instrument = brief.instruments.get(meter)?;
    let ranges = instrument.ranges.iter().filter(|range| range.function == function);
    let responses: Option<Vec<u32>> = ranges.map(|range| range.response_ms).collect();
    let response = responses?.into_iter().max()?;
    let period = brief.link_of(meter).and_then(|link| link.period_ms).unwrap_or(0);
    let twice = |ms: u32| if ms == 0 { 0 } else { 2 * u64::from(ms) + 20 };
    let ms = u64::from(brief.policy.guard_ms).max(twice(response)).max(twice(period));
    Some(ms * 1_000)
}

/// The network of a setup.
pub(super) fn network<'a>(brief: &'a Brief, job: &Job) -> Option<&'a Fixture> {
    let setup = brief.setups.get(job.setup.as_ref()?)?;
    let named = |fixture: &&Fixture| fixture.id == setup.network;
    let kind = match job.terminals.unwrap_or_default() {
        Network::Fig12 => FixtureKind::NetworkFig12,
        Network::U1 | Network::U2 => FixtureKind::NetworkFig4,
    };
    let there = job.terminals.unwrap_or_default().output() == setup.output;
    brief.fixtures.iter().find(named).filter(|one| one.what == kind && there)
}

/// The range that a step uses: the first of the function that gives what the step needs, else
/// the first of the function.
pub(crate) fn range<'a>(
    instrument: Option<&'a Instrument>,
    step: &Step,
    function: Function,
) -> Option<&'a Range> {
    let ranges = || instrument.into_iter().flat_map(|one| &one.ranges);
    let of = |range: &&Range| range.function == function;
    let fits = |range: &&Range| step.needs.as_ref().is_none_or(|needs| offers(range, needs));
    ranges().filter(of).find(fits).or_else(|| ranges().find(of))
}

/// The limit in the unit of the meter: a voltmeter reads a current over so many ohms.
fn as_shown(amount: Amount, function: Function, ohms: i128) -> i128 {
    let size = scale::of(amount);
    match (amount.unit.quantity, function.quantity()) {
        (Quantity::Ampere, Some(Quantity::Volt)) => size.saturating_mul(ohms),
        _ => size,
    }
}

/// Overload is more than the smallest range end, and only where every range says so.
pub(crate) fn range_end(instrument: &Instrument, function: Function) -> Option<Amount> {
    let mut ranges = instrument.ranges.iter().filter(|range| range.function == function);
    if ranges.clone().any(|range| range.over == Over::Unknown) {
        return None;
    }
    let first = ranges.next()?.to;
    Some(ranges.fold(first, |end, r| if scale::of(r.to) < scale::of(end) { r.to } else { end }))
}

fn closed(
    brief: &Brief,
    step: &Step,
    expanded: &Expanded,
    instrument: Option<&Instrument>,
) -> Option<&'static str> {
    if let Some(word) = &expanded.closed {
        return Some(reason_word(word));
    }
    let Some(instrument) = instrument else { return Some("fixture_missing") };
    let volts = brief.link_of(&instrument.id).map_or(0, |link| link.isolation_volts);
    if volts < isolation_needed(step.potential) {
        return Some("link_not_isolated");
    }
    None
}

/// The closed word that equals `word`; what is not in the list is a missing fixture to everyone
/// who asks.
fn reason_word(word: &str) -> &'static str {
    if word == EXCLUDED {
        return EXCLUDED;
    }
    let found = crate::terms::choices("reason").into_iter().find(|known| *known == word);
    found.unwrap_or("fixture_missing")
}

fn lapsed(brief: &Brief, instrument: Option<&Instrument>, setup_due: Option<&str>) -> bool {
    let over = |due: &str| due < brief.date.as_str();
    instrument.is_some_and(|one| over(&one.calibration_due)) || setup_due.is_some_and(over)
}
