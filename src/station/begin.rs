//! An inspection opens: the plan is expanded for the asset on this bench, and everything that it
//! rests on is copied into its book, so that the record stands alone.

use std::collections::BTreeSet;

use tapline_drivers::Now;
use tapline_protocols::fact::{CheckFact, Earlier, Given, Open, Opened, Word};
use tapline_protocols::limits::Row;
use tapline_protocols::plan::{
    BenchGiven, Expanded, Fit, Foreseen, Outline, Plan, expand, fits, foresee, outline,
};
use tapline_protocols::register::{Asset, Class, Competence};
use tapline_protocols::{Fact, Fault};

use super::case::Case;
use super::command::Seat;
use super::complete::lacking;
use super::core::{Core, given};
use super::event::{Answer, BookId, Problem};
use super::library::sha256;
use super::on_bench::OnBench;
use super::say::{bad, conflict, missing};
use crate::clock::Stamp;

/// Most expanded steps in one line.
const STEPS_A_LINE: usize = 64;
/// Most earlier values in one line.
const EARLIER_A_LINE: usize = 32;

/// What is asked when an inspection begins.
pub(super) struct Begin {
    pub asset: Option<String>,
    pub plan: Option<String>,
    pub reason: Option<String>,
    pub order: Option<String>,
    pub with: Vec<String>,
}

/// What can't be proved with this bench, said before anybody measures.
fn doubts(foreseen: &[Foreseen]) -> Vec<Vec<String>> {
    let sentence = |one: &Foreseen| {
        let share = one.share.clone().unwrap_or_default();
        let key = format!("begin.{}", one.word);
        vec![key, one.step.clone(), one.instrument.clone(), one.bound.clone(), share]
    };
    foreseen.iter().filter(|one| one.word != "proves").map(sentence).collect()
}

/// What an inspection would be opened with.
struct Opening {
    plan: Plan,
    steps: Vec<Expanded>,
    here: OnBench,
    doubts: Vec<Vec<String>>,
}

impl Core {
    /// Opens an inspection.
    pub(super) fn begin(&mut self, seat: &Seat, begin: &Begin) -> Result<Answer, Problem> {
        let (bench, at) = (seat.bench.as_str(), seat.at);
        self.may_begin(bench, at)?;
        let by = seat.by.clone().ok_or_else(|| {
            conflict("nobody is logged in at this bench", "Scan a badge, then begin.")
        })?;
        self.may_inspect(&by, at)?;
        let selected = self.benches[bench].selected.clone();
        let scan = selected.as_ref().filter(|(id, _)| begin.asset.as_ref().is_none_or(|a| a == id));
        let scan = scan.map(|(_, seq)| *seq);
        let asset = begin.asset.clone().or(selected.map(|(id, _)| id)).ok_or_else(|| {
            bad("no asset is selected").next("Scan the asset, or name it with --asset.")
        })?;
        let asset = self.register.asset(&asset).cloned().ok_or_else(|| missing("asset", &asset))?;
        self.not_open(&asset.id)?;
        self.in_use(&asset, at)?;
        let (reason, order, of_order) = self.why(begin, &asset)?;
        let Opening { plan, steps, here, doubts } = self.expanded(bench, at, &asset, begin)?;
        let besides = [of_order, lacking(&asset), Core::checks_off(&here), doubts].concat();
        let former = self.former_given(&asset.id, &reason);
        let say = if unprovable(&plan, &asset, &steps) { "begin.unproved" } else { "begin.open" };
        let id = self.next_name(at);
        let opened = Opened {
            bench: bench.into(),
            asset: asset.id.clone(),
            plan: plan.id.clone(),
            reason,
            order,
            policy: self.settings.policy.clone(),
            scan,
            legend: Some(LEGEND.into()),
        };
        let open = Open { inspection: Some(opened), ..self.open_fact(id.clone(), at) };
        let open = Open { verify: Some(VERIFY.into()), key: self.context.key.clone(), ..open };
        let mut facts = vec![Fact::Open(Box::new(open))];
        facts.extend(self.given((bench, &by), (asset, &plan), steps, here));
        facts.extend(former);
        rehearse(&id, at, &facts, &by).map_err(|faults| self.faulty(&plan.id, &faults))?;
        let seq = self.open(seat, &id, facts, &by);
        Ok(Answer::done(seq).about(&id).say(&[say, &id]).besides(besides))
    }

    fn may_begin(&self, bench: &str, at: Stamp) -> Result<(), Problem> {
        if let Some(id) = &self.benches[bench].active {
            return Err(conflict(
                format!("{id} is open on this bench"),
                "Sign, end or park it first.",
            ));
        }
        self.not_elsewhere(bench)?;
        self.clock_may_be_right(at)
    }

    /// Whoever is registered needs the competence, valid today.
    fn may_inspect(&self, by: &str, at: Stamp) -> Result<(), Problem> {
        let Some(operator) = self.register.operators.get(by) else { return Ok(()) };
        let today = self.settings.zone.date(at.wall_us);
        let may = |one: &Competence| one.what == "inspect" && today <= one.until;
        match operator.competence.iter().any(may) {
            true => Ok(()),
            false => Err(conflict(
                format!("`{by}` has no competence `inspect` that is valid today"),
                "Let somebody else begin, or register the competence with its new date.",
            )),
        }
    }

    /// What is out of use for good is not inspected.
    fn in_use(&self, asset: &Asset, at: Stamp) -> Result<(), Problem> {
        match (asset.is_retired(&self.settings.zone.date(at.wall_us)), &asset.retired) {
            (true, Some(day)) => Err(conflict(
                format!("`{}` is retired since {day}", asset.id),
                "If it is in use again, import it with an empty `retired`, then begin.",
            )),
            _ => Ok(()),
        }
    }

    fn not_open(&self, asset: &str) -> Result<(), Problem> {
        let Some(case) = self.cases.values().find(|case| case.asset() == asset) else {
            return Ok(());
        };
        let who = case.inspection.record().opened.as_ref().and_then(|line| line.by.clone());
        let how = if case.parked { "parked" } else { "open" };
        Err(conflict(
            format!(
                "`{asset}` has an inspection already: {} is {how} on bench {}, begun by {}",
                case.id,
                case.bench,
                who.unwrap_or_else(|| "nobody named".into())
            ),
            "Go on with that one, or end it.",
        ))
    }

    /// The plan of an asset, where it is settled.
    pub(super) fn plan_for(&self, asset: &str) -> Option<&Plan> {
        fits(self.register.asset(asset)?, self.library.plans()).plan()
    }

    fn expanded(
        &self,
        bench: &str,
        at: Stamp,
        asset: &Asset,
        begin: &Begin,
    ) -> Result<Opening, Problem> {
        let plan = match &begin.plan {
            Some(id) => {
                self.library.plan(id).map(|(_, plan)| plan).ok_or_else(|| missing("plan", id))
            }
            None => plan_of(asset, fits(asset, self.library.plans())),
        }?;
        let on_bench = self.on_bench(bench);
        let today = self.settings.zone.date(at.wall_us);
        let given = self.bench_given(&on_bench, &today, &begin.with);
        let steps = expand(plan, asset, &given).map_err(|faults| self.faulty(&plan.id, &faults))?;
        let rule = &self.settings.policy.decision_rule;
        let doubts = doubts(&foresee((plan, asset), &given, &steps, rule));
        Ok(Opening { plan: plan.clone(), steps, here: on_bench, doubts })
    }

    /// A plan for an asset as it would be opened on a bench now, before anybody starts.
    ///
    /// # Errors
    /// Plan, asset or bench are not known, or the plan is not for the asset.
    pub fn outline(
        &self,
        at: Stamp,
        bench: &str,
        plan: &str,
        asset: &str,
    ) -> Result<(Outline, Asset), Problem> {
        if !self.settings.benches.iter().any(|known| known.id == bench) {
            return Err(missing("bench", bench));
        }
        let (_, plan) = self.library.plan(plan).ok_or_else(|| missing("plan", plan))?;
        let asset = self.register.asset(asset).ok_or_else(|| missing("asset", asset))?;
        let on_bench = self.on_bench(bench);
        let today = self.settings.zone.date(at.wall_us);
        let given = self.bench_given(&on_bench, &today, &[]);
        let mut outline = outline(plan, asset, &given).map_err(|f| self.faulty(&plan.id, &f))?;
        let steps: Vec<Expanded> = outline.steps.iter().map(|one| one.expanded.clone()).collect();
        let rule = &self.settings.policy.decision_rule;
        outline.proves = foresee((plan, asset), &given, &steps, rule);
        self.say_what_is_confirmed(plan, &mut outline);
        Ok((outline, asset.clone()))
    }

    /// Limits that the workshop has read in its own copy are no more sure of than by that.
    fn say_what_is_confirmed(&self, plan: &Plan, outline: &mut Outline) {
        let Some(table) = self.library.table(&plan.standard, &plan.edition) else { return };
        for step in &mut outline.steps {
            let row = step.expanded.limit.as_ref().and_then(|id| table.row(id));
            if let (Some(judged), Some(row)) = (&mut step.judged_by, row)
                && self.has_confirmed(row)
            {
                judged.confidence = "confirmed_here";
            }
        }
    }

    /// Instruments of the bench whose newest check was off.
    fn checks_off(here: &OnBench) -> Vec<Vec<String>> {
        let off = here.checks.iter().filter(|check| !check.ok);
        let said = |check: &CheckFact| {
            ["begin.check_off", check.judged(), &check.standard].map(str::to_owned).to_vec()
        };
        off.map(said).collect()
    }

    fn bench_given<'a>(
        &'a self,
        here: &'a OnBench,
        today: &'a str,
        asked: &'a [String],
    ) -> BenchGiven<'a> {
        BenchGiven {
            instruments: &here.instruments,
            setups: &here.setups,
            fixtures: &here.fixtures,
            leads: &here.leads,
            links: &here.links,
            limits: self.library.tables(),
            today,
            asked,
            calibration_blocks: self.settings.policy.out_of_calibration == "block",
            on_paper: false,
        }
    }

    pub(super) fn faulty(&self, plan: &str, faults: &[Fault]) -> Problem {
        let texts: Vec<String> = faults.iter().map(ToString::to_string).collect();
        bad(format!("plan `{plan}` can't be used here: {}", texts.join("; ")))
    }

    fn given(
        &self,
        (bench, by): (&str, &str),
        (asset, plan): (Asset, &Plan),
        steps: Vec<Expanded>,
        here: OnBench,
    ) -> Vec<Fact> {
        let (text, _) = self.library.plan(&plan.id).expect("it was found above");
        let witness = self.settings.benches.iter().find(|b| b.id == bench);
        let witness = witness.map(|b| b.witness.clone()).unwrap_or_default();
        let limits = self.limits_given(plan, &asset, &steps);
        let mut given = vec![
            Given::Asset { asset: Box::new(asset) },
            Given::Plan { text: text.into(), sha256: sha256(text) },
        ];
        given.extend(limits);
        given.push(Given::Instruments {
            list: here.instruments,
            setups: here.setups,
            checks: here.checks,
        });
        given.push(Given::Fixtures { list: here.fixtures, leads: here.leads, witness });
        given.push(Given::Links { list: here.links });
        if let Some(operator) = self.register.operators.get(by) {
            given.push(Given::Operator { operator: Box::new(operator.clone()) });
        }
        given.extend(steps.chunks(STEPS_A_LINE).map(|list| Given::Steps { list: list.to_vec() }));
        given.into_iter().map(Fact::Given).collect()
    }

    /// The workshop has read this very row in its own copy.
    #[must_use]
    pub fn has_confirmed(&self, row: &Row) -> bool {
        let read = self.register.confirmed.get(&row.id);
        read.is_some_and(|read| self.library.is_as_read(row, read.as_ref()))
    }

    /// The rows that the steps come to, as they are for the asset, and which of them this workshop
    /// has confirmed.
    fn limits_given(&self, plan: &Plan, asset: &Asset, steps: &[Expanded]) -> Option<Given> {
        let raw = self.library.table(&plan.standard, &plan.edition)?;
        let table = raw.for_asset(asset);
        let ids: BTreeSet<&String> = steps.iter().filter_map(|step| step.limit.as_ref()).collect();
        let rows: Vec<_> = ids.iter().filter_map(|id| table.row(id)).collect();
        let own = |id: &&&String| raw.row(id).is_some_and(|row| self.has_confirmed(row));
        let confirmed = ids.iter().filter(own);
        (!rows.is_empty()).then(|| Given::Limits {
            text: table.text_of(&rows),
            table: table.sha256.clone(),
            confirmed: confirmed.map(|id| (*id).clone()).collect(),
        })
    }

    /// Earlier values were read: they stand in the record that they are compared in.
    pub(super) fn compare_with(&mut self, id: &str, at: Stamp, list: &[Earlier]) {
        if self.cases.get(id).is_none_or(|case| case.closed) {
            return;
        }
        for list in list.chunks(EARLIER_A_LINE) {
            let given = Given::Earlier { list: list.to_vec() };
            self.put_case(id, at, Fact::Given(given), None);
        }
    }

    /// The inspection before was not passed: the record of its retest names it.
    pub(super) fn retest(&mut self, id: &str, at: Stamp, failed: Option<(String, Word)>) {
        if let (Some((of, outcome)), Some(case)) = (failed, self.cases.get(id))
            && !case.closed
        {
            self.put_case(id, at, Fact::Given(Given::Retest { of, outcome }), None);
        }
    }

    fn next_name(&self, at: Stamp) -> String {
        let date = self.settings.zone.date(at.wall_us).replace('-', "");
        let given = self.numbers.get(&date).copied().unwrap_or(0);
        format!("{}-{date}-{:04}", self.settings.id, given.saturating_add(1))
    }

    fn open(&mut self, seat: &Seat, id: &str, facts: Vec<Fact>, by: &str) -> u64 {
        let (bench, at) = (seat.bench.as_str(), seat.at);
        given(&mut self.numbers, id);
        self.cases.insert(id.into(), Case::new(id.into()));
        let book = BookId::Inspection(id.into());
        for fact in facts {
            let by = matches!(fact, Fact::Open(_)).then(|| by.to_string());
            self.put(book.clone(), at, fact, by);
        }
        self.carry(bench, id, at, by);
        let case = self.cases.get_mut(id).expect("just made");
        case.inspection.prepare().expect("it was rehearsed with the same facts");
        let place = self.bench(bench);
        (place.active, place.check) = (Some(id.into()), None);
        place.selected = None;
        self.settle(id, at);
        self.tap_bench(bench, at);
        self.seq
    }
}

/// How a stranger verifies the sealed file.
pub(super) const VERIFY: &str = "sha256sum -c ID.head; openssl pkeyutl -verify -pubin -inkey KEY -rawin \
    -in ID.head -sigfile ID.sig. KEY is the station's public key; its fingerprint (openssl pkey \
    -pubin -in KEY -outform DER | sha256sum) must be the one on paper. Each mark line is the \
    SHA-256 of all bytes above it.";

/// How a stranger reads it.
const LEGEND: &str = "One JSON object a line; seq is its number, t UTC, m microseconds since boot, \
    by the operator who acted. given: what all rests on; a step names its instrument, or a setup \
    of meter and network. in: bytes that arrived; character n of raw is byte n (Latin-1), read is \
    what was understood, at counts the bytes of its link. value: from is [seq, place in read]. \
    verdict: from is the seq of its values, chain how they were corrected, limit the row it was \
    judged by. known: witnessed by contacts, revealed by a measurement, declared by a person. \
    drop: a value set aside. carried: made in another book.";

/// Nothing can prove the protective earth of this asset, and energised steps wait for that.
fn unprovable(plan: &Plan, asset: &Asset, steps: &[Expanded]) -> bool {
    let earthed = matches!(asset.class, Class::I | Class::System);
    let waits = |step: &Expanded| {
        plan.steps.iter().any(|one| one.id == step.of && one.needs_gate.is_some())
    };
    earthed && asset.earthed_points.is_empty() && steps.iter().any(waits)
}

/// An inspection that could not be prepared is never opened.
fn rehearse(id: &str, at: Stamp, facts: &[Fact], by: &str) -> Result<(), Vec<Fault>> {
    let mut trial = Case::new(id.into());
    for (seq, fact) in (1..).zip(facts) {
        trial.inspection.apply(seq, Now(at.boot_us), fact, Some(by));
    }
    trial.inspection.prepare()
}

fn plan_of<'p>(asset: &Asset, fit: Fit<'p>) -> Result<&'p Plan, Problem> {
    let id = &asset.id;
    match fit {
        Fit::Own(plan) | Fit::Follows(plan) => Ok(plan),
        Fit::Several(plans) => {
            let names: Vec<&str> = plans.iter().map(|plan| plan.id.as_str()).collect();
            Err(bad(format!("several plans fit `{id}`: {}", names.join(", "))).next("Name one."))
        }
        Fit::None => Err(bad(format!("no plan is for the class and mains connection of `{id}`"))),
        Fit::Unknown(plan) => Err(missing("plan", &plan)),
        Fit::NotForIt(plan) => Err(bad(format!(
            "the asset names plan `{}`, which is not for its class or mains connection",
            plan.id
        ))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::words::english;

    #[test]
    fn what_cannot_be_proved_is_said_in_words() {
        let one = |word| Foreseen {
            step: "pe".into(),
            limit: "row".into(),
            bound: "at most 0.300 Ohm".into(),
            instrument: "LR-01".into(),
            direction: "max",
            word,
            rule: None,
            share: None,
            passes: None,
        };
        let all = ["proves", "doubt_too_wide", "uncertainty_unknown"].map(one);
        let said = doubts(&all);
        let keys: Vec<&str> = said.iter().map(|words| words[0].as_str()).collect();
        assert_eq!(keys, ["begin.doubt_too_wide", "begin.uncertainty_unknown"]);
        assert!(keys.iter().all(|key| english().find("say", key).is_some()));
        assert_eq!(said[0][1..4], ["pe", "LR-01", "at most 0.300 Ohm"]);
    }
}
