//! The view that is worked with: what to do, the live value with its limit, how the leads lie, the
//! switches and how each is known, the steps. Asset and location are always in sight.
//!
//! It is a list of parts; the script puts a part anew when it changed.

use maud::{Markup, html};
use tapline_protocols::inspection::Prompt;

use super::bar::{Bar, bar};
use super::lead::Lies;
use super::work::Work;
use super::{View, acts, document, lead, say, steps, stranger, tell};
use crate::serve::shared::Halt;
use crate::station::event::Problem;
use crate::station::status::{BenchStatus, Heard, Opened, StrangerStatus};
use crate::words::english;

/// Everything that the view shows.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Bench {
    pub status: BenchStatus,
    /// Where the selected asset belongs.
    pub location: String,
    pub halted: Option<Halt>,
    /// Inspections that rest here.
    pub parked: Vec<Opened>,
    /// The day and the minute, as the station has them.
    pub time: String,
    pub work: Option<Work>,
    pub bar: Option<Bar>,
}

impl Bench {
    /// What the open inspection asks for.
    pub(crate) fn prompt(&self) -> Option<&Prompt> {
        self.status.inspection.as_ref().map(|open| &open.prompt)
    }

    /// An unknown asset that is asked about, while somebody is there to answer.
    pub(super) fn stranger(&self) -> Option<&StrangerStatus> {
        let stranger = self.status.stranger.as_ref().filter(|one| one.question.is_some());
        stranger.filter(|_| self.asks() == "idle")
    }

    /// What to do now: a word of the prompts.
    fn asks(&self) -> &str {
        match (&self.halted, self.prompt()) {
            (Some(halt), _) if !halt.starting => "halted",
            (Some(_), _) => "waiting",
            (None, Some(prompt)) => prompt.state,
            (None, None) if self.status.operator.is_none() => "login",
            (None, None) if self.status.selected.is_none() => "idle",
            (None, None) => "selected",
        }
    }

    /// Something may hurt now.
    fn hot(&self) -> bool {
        let hot = "halted join_clips voltage_on alive set_state source capture enter_live test_current \
                   dead voltage_off may_be_live";
        hot.split_whitespace().any(|state| state == self.asks())
    }
}

/// The whole document.
pub(crate) fn page(view: &Bench) -> String {
    let status = &view.status;
    let main = html! {
        div #gone role="alert" hidden { p { (say("gone")) } }
        div #view { (parts(view)) }
        form.scan data-act="scan" {
            label for="code" { (say("scan")) }
            input #code name="code" autocomplete="off" autocapitalize="off" spellcheck="false"
                maxlength="4096" required;
            button type="submit" { (say("do_scan")) }
        }
        p.hidden #told role="status" {}
    };
    let asset = status.inspection.as_ref().map_or(status.name.as_str(), |open| open.asset.as_str());
    document(&format!("{asset} · Tapline"), Some(View::Bench), Some(&status.id), &main)
}

/// All benches, where there are several.
pub(crate) fn choice(benches: &[BenchStatus], opened: &[Opened]) -> String {
    let main = html! {
        h1 { (say("benches")) }
        ul.benches {
            @for bench in benches {
                li { a href={ "/bench/" (bench.id) } { (bench.name) }
                    @if let Some(open) = &bench.inspection { " · " (open.asset) " · " (open.location) }
                    @for rests in opened.iter().filter(|one| one.parked && one.bench == bench.id) {
                        (super::goes_on(rests))
                    } }
            }
        }
    };
    document("Tapline", Some(View::Bench), None, &main)
}

/// The parts, each under its name. What is typed into one stays while others change.
pub(crate) fn parts(view: &Bench) -> Markup {
    let asks = view.asks();
    let prompt = view.prompt();
    let expect = prompt.map(|prompt| {
        serde_json::json!({ "step": prompt.step, "state": prompt.state, "seq": prompt.seq })
    });
    html! {
        section.asset #p-asset aria-label=(say("asset")) { (asset(view)) }
        section.now #p-now .hot[view.hot()] data-state=(asks)
            data-expect=[expect.map(|expect| expect.to_string())] aria-label=(say("now"))
            { (now(view)) }
        p #said role="status" {}
        section.last #p-last aria-label=(say("newest")) {
            @if let Some(work) = view.work.as_ref().filter(|_| asks != "sign") { (last(work)) }
        }
        section.live #p-live aria-label=(say("live")) { (live(view)) }
        section.acts #p-acts aria-label=(say("acts")) { (acts::acts(view)) }
        section.hints #p-hints aria-label=(say("how")) { (hints(view)) }
        section.list #p-steps aria-label=(say("steps")) {
            @if let Some(work) = &view.work { (steps::steps(work)) }
        }
    }
}

fn asset(view: &Bench) -> Markup {
    let status = &view.status;
    let who = status.operator_name.as_deref().or(status.operator.as_deref());
    html! {
        @if let Some(open) = &status.inspection {
            h1 { (open.asset) }
            p.what { (open.description) }
            p.where { span.hidden { (say("location")) " " } (open.location) }
            p.quiet { a href={ "/inspection/" (open.id) } { (open.id) } " · " (open.plan) }
            p.quiet { a href={ "/asset/" (open.asset) } { (say("earlier_values")) } }
        } @else if let Some(selected) = &status.selected {
            h1 { (selected.asset) }
            p.what { (selected.description) }
            p.where { span.hidden { (say("location")) " " } (view.location) }
            p.quiet { (selected.plan.as_deref().unwrap_or(say("no_plan"))) }
        } @else {
            h1 { (status.name) }
        }
        p.who { (who.unwrap_or(say("nobody"))) }
    }
}

fn now(view: &Bench) -> Markup {
    let prompt = view.prompt();
    html! {
        @if let Some(step) = prompt.and_then(|prompt| prompt.step.as_ref()) {
            p.step { (steps::full(step)) @for place in places(prompt) { " · " strong { (place) } } }
        }
        @let asked = view.stranger().and_then(stranger::question);
        p.ask { (asked.as_deref().unwrap_or(sentence(view))) }
        @if let Some(halt) = &view.halted {
            p { (halt.why) }
            p { (halt.next) }
        }
        @if let Some(reason) = prompt.and_then(|prompt| prompt.refused) {
            p.warn { (english().say("reason", reason)) }
        }
        @for reason in prompt.map(|prompt| prompt.missing.as_slice()).unwrap_or_default() {
            p.warn { (english().say("reason", reason)) }
        }
        @if let Some(Heard::Refused(Problem { detail, next, .. })) = &view.status.heard {
            p.warn { (detail) } p.warn { (next) }
        }
        @if let Some(check) = &view.status.check {
            p { (tell("check", &[("instrument", &check.instrument), ("standard", &check.standard), ("what", &check.what)])) }
        }
    }
}

/// What to do now, in words. Clips are joined at two moments, and at each on another point.
fn sentence(view: &Bench) -> &str {
    match lies(view) {
        Lies::OnFirst => say("join_first"),
        Lies::OnSecond => say("join_second"),
        Lies::Apart => english().say("prompt", view.asks()),
    }
}

/// Where the clips lie now.
fn lies(view: &Bench) -> Lies {
    match (view.asks(), view.work.as_ref().is_some_and(|work| work.measured)) {
        ("join_clips", false) => Lies::OnFirst,
        ("join_clips", true) => Lies::OnSecond,
        _ => Lies::Apart,
    }
}

/// Where this step measures: what tells it from the one before.
fn places(prompt: Option<&Prompt>) -> Vec<String> {
    let Some(prompt) = prompt else { return Vec::new() };
    let named = [&prompt.point, &prompt.part, &prompt.operating].into_iter().flatten().cloned();
    let direction = prompt.direction.as_ref().map(super::code).filter(|word| word != "none");
    named.chain(direction).collect()
}

/// What came of the measuring last: the value that was captured, then the verdict of its step with
/// what stands against it. It stands where the eyes are, however far the list goes on.
fn last(work: &Work) -> Markup {
    html! {
        @if let Some((step, value)) = &work.captured {
            p { span.quiet { (steps::full(step)) } " " strong { (value.amount) } (steps::sent(value)) }
        }
        @if let Some((of, judged)) = &work.judged {
            @let word = super::word(judged.verdict);
            p {
                (super::verdict(&word)) " " (steps::name(of)) " " strong { (super::shown(judged)) }
                @if let Some(limit) = &work.limit { span.quiet { " · " (limit) } }
            }
            @if word != "pass" {
                @for reason in &judged.reasons { p.reason { (english().say("reason", reason)) } }
            }
        }
    }
}

/// The live value. It begins as dashes: only the script, which knows the age, puts a number there.
fn live(view: &Bench) -> Markup {
    let prompt = view.prompt();
    if prompt.is_none_or(|prompt| prompt.instrument.is_none()) {
        return html! {};
    }
    html! {
        p.value {
            span #num data-dashes=(DASHES) { (DASHES) }
            " " span #unit {}
        }
        p.quiet #shows {}
        p.age { span #age {} " " span #belongs {} }
        @if let Some(instrument) = prompt.and_then(|prompt| prompt.instrument.as_ref()) {
            @let function = prompt.and_then(|prompt| prompt.function);
            p.quiet {
                (instrument)
                @if let Some(of) = function { " · " (super::code(&of).replace('_', " ")) }
            }
        }
        @if let Some(of) = &view.bar { (bar(of)) }
    }
}

/// What stands for a value that is old, or that nobody is sure of.
const DASHES: &str = "– – –";

/// How the leads lie, the switches, what can hurt.
fn hints(view: &Bench) -> Markup {
    if let Some(stranger) = view.stranger() {
        return stranger::told(stranger);
    }
    let Some(prompt) = view.prompt() else { return html! {} };
    let places =
        [("point", &prompt.point), ("part", &prompt.part), ("operating", &prompt.operating)];
    html! {
        @if !prompt.cautions.is_empty() {
            h2 { (say("cautions")) }
            ul.cautions {
                @for code in &prompt.cautions { li { (english().say("caution", code)) } }
            }
        }
        @if let Some(key) = &prompt.lead {
            h2 { (say("leads")) }
            div.placed {
                (lead::drawing(key, lies(view)))
                p { (english().say("lead", key)) }
            }
        }
        @if let "null" | "null_apart" = prompt.state {
            h2 { (say("leads")) }
            div.placed { (lead::nulling(prompt.state == "null")) }
        }
        dl.places {
            @for (word, text) in places {
                @if let Some(text) = text { div { dt { (say(word)) } dd { (text) } } }
            }
            @if let Some(direction) = prompt.direction {
                @let word = super::code(&direction);
                @if word != "none" { div { dt { (say("direction")) } dd { (word) } } }
            }
        }
        (switches(view, prompt))
    }
}

/// Each switch: what the step wants, how it stands and how that is known.
fn switches(view: &Bench, prompt: &Prompt) -> Markup {
    let known = view.work.as_ref().map(|work| work.switches.as_slice()).unwrap_or_default();
    let wanted = |name: &str| {
        let found = prompt.set.iter().find(|(switch, _)| switch.name() == name);
        found.map(|(_, to)| to.as_str())
    };
    let unknown: Vec<(&str, &str)> = prompt
        .set
        .iter()
        .map(|(switch, to)| (switch.name(), to.as_str()))
        .filter(|(name, _)| known.iter().all(|(one, ..)| one != name))
        .collect();
    if known.is_empty() && unknown.is_empty() {
        return html! {};
    }
    html! {
        h2 { (say("switches")) }
        table.switches {
            thead { tr { th { (say("switch")) } th { (say("wanted")) } th { (say("is")) } th { (say("known")) } } }
            tbody {
                @for (name, is, how) in known {
                    @let want = wanted(name);
                    tr .differs[want.is_some_and(|want| want != is)] {
                        th scope="row" { (english().say("switch", name)) }
                        td { (want.unwrap_or("–")) }
                        td { (is) }
                        td { (english().say("known", how)) }
                    }
                }
                @for (name, want) in unknown {
                    tr.differs {
                        th scope="row" { (english().say("switch", name)) }
                        td { (want) } td { "–" } td { (say("unknown")) }
                    }
                }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::acts::tests::bench;

    #[test]
    fn clips_are_joined_on_another_point_before_the_value_than_after_it() {
        let mut view = bench("join_clips");
        view.work = Some(Work::default());
        let before = now(&view).into_string();
        view.work = Some(Work { measured: true, ..Work::default() });
        let after = now(&view).into_string();
        assert!(before.contains("where the first will stay"), "{before}");
        assert!(after.contains("where the second lies"), "{after}");
        assert_eq!(lies(&bench("capture")), Lies::Apart);
    }

    #[test]
    fn a_null_is_drawn() {
        let drawn = |state| hints(&bench(state)).into_string();
        assert_ne!(drawn("null"), drawn("null_apart"));
        assert!(drawn("null").contains("class=\"clip\""));
    }
}
