//! What can be done now: one large button for what the station asks for, small ones for the rest.
//! The script sends a form's fields as JSON to the act it names; `data-expect` adds what was seen.

use maud::{Markup, html};
use serde_json::Value;
use tapline_protocols::plan::Switch;

use super::bench::Bench;
use super::{say, work};
use crate::station::status::Opened;
use crate::words::english;

/// The state of the bench, a word of the prompt.
fn state(bench: &Bench) -> &str {
    bench.prompt().map_or("", |prompt| prompt.state)
}

/// The buttons of the bench.
pub(super) fn acts(bench: &Bench) -> Markup {
    html! {
        h2.hidden { (say("acts")) }
        div.primary { (primary(bench)) }
        @if bench.status.inspection.is_some() {
            details.more #more {
                summary { (say("more")) }
                div.forms {
                    @if let Some(work) = &bench.work { (more(bench)) (by_word(bench, work)) }
                    (leave())
                }
            }
        }
        @if bench.status.inspection.is_none() {
            @for rests in &bench.parked { (resume(rests)) }
        }
    }
}

/// Goes on with what rests at this bench.
fn resume(rests: &Opened) -> Markup {
    let values = [("asset", rests.asset.as_str()), ("id", rests.id.as_str())];
    html! {
        form.small data-act="resume" {
            input type="hidden" name="id" value=(rests.id);
            button type="submit" { (super::tell("resume", &values)) }
        }
    }
}

/// What the station asks for.
fn primary(bench: &Bench) -> Markup {
    match state(bench) {
        "" if bench.status.selected.is_some() => {
            begin(bench.status.selected.as_ref().map_or(&[][..], |selected| &selected.orders))
        }
        "" => match bench.stranger() {
            Some(stranger) => super::stranger::answers(stranger),
            None => html! {},
        },
        "look" | "answer" => items(bench),
        "arm" | "measure" if misses(bench, &["lead_not_nulled", "null_too_old"]) => {
            html! { @for lead in leads(bench) { (null(lead, true)) } (by_hand(false)) }
        }
        "arm" | "measure" => by_hand(true),
        "connect" if misses(bench, &["supply_not_checked"]) => {
            html! { (supply(bench, true)) (plain("act", &[("what", "connected")], "connected")) }
        }
        "connect" => act("connected"),
        "clear" => act("clear"),
        "live" | "voltage_on" => act("live"),
        "test_current" => html! { (act("test")) (off()) },
        "dead" | "voltage_off" | "may_be_live" => act("dead"),
        "alive" | "set_state" => {
            html! { (button("prove", &[("what", "alive")], false, "alive")) (off()) }
        }
        "capture" => off(),
        "join_clips" => button("prove", &[("what", "closed_path")], false, "closed_path"),
        "source" => html! { (source()) (off()) },
        "enter" => enter(),
        "enter_live" => html! { (enter()) (off()) },
        "sign" => sign(bench),
        _ => html! {},
    }
}

fn act(what: &str) -> Markup {
    button("act", &[("what", what)], true, what)
}

/// One of these is missing for the step.
fn misses(bench: &Bench, reasons: &[&str]) -> bool {
    bench.prompt().is_some_and(|prompt| prompt.missing.iter().any(|one| reasons.contains(&&**one)))
}

fn leads(bench: &Bench) -> &[String] {
    bench.work.as_ref().map(|work| work.leads.as_slice()).unwrap_or_default()
}

/// Whoever is at a step that may be live can always say that it is switched off.
fn off() -> Markup {
    plain("act", &[("what", "dead")], "dead")
}

/// A button that stands back.
fn plain(act: &str, fields: &[(&str, &str)], word: &str) -> Markup {
    html! {
        form data-act=(act) data-expect[act == "act"] {
            @for (name, value) in fields { input type="hidden" name=(name) value=(value); }
            button type="submit" { (say(&format!("do_{word}"))) }
        }
    }
}

/// A large button that needs no words.
fn button(act: &str, fields: &[(&str, &str)], expect: bool, word: &str) -> Markup {
    html! {
        form data-act=(act) data-expect[expect] {
            @for (name, value) in fields { input type="hidden" name=(name) value=(value); }
            button.large #primary type="submit" { (say(&format!("do_{word}"))) }
        }
    }
}

/// A capture by hand: it comes by itself, so the button stands back.
fn by_hand(first: bool) -> Markup {
    html! {
        form data-act="capture" data-expect {
            button .large[first] .plain id=[first.then_some("primary")] type="submit" { (say("do_capture")) }
        }
    }
}

/// With the reason of the order that is wanted first, where there is one: it is then made for it.
fn begin(orders: &[Value]) -> Markup {
    let of = |order: &Value, name: &str| order[name].as_str().unwrap_or_default().to_owned();
    let wanted = orders.first().map(|order| of(order, "reason"));
    html! {
        @for order in orders { p { (say("order")) " " (of(order, "order")) " " (of(order, "remark")) } }
        form data-act="begin" {
            label {
                (say("reason"))
                select name="reason" {
                    @for reason in ["scheduled", "acceptance", "after_repair", "other"] {
                        option value=(reason) selected[wanted.as_deref() == Some(reason)] { (english().say("why_inspected", reason)) }
                    }
                }
            }
            button.large #primary type="submit" { (say("do_begin")) }
        }
    }
}

/// Each item of a look, try or ask with its three answers, and one answer for all.
fn items(bench: &Bench) -> Markup {
    let items = bench.prompt().map(|prompt| prompt.items.as_slice()).unwrap_or_default();
    html! {
        ul.items {
            @for item in items {
                li {
                    span { (english().say("item", item)) }
                    div.answers role="group" aria-label=(english().say("item", item)) {
                        (answer(item, "pass"))
                        (answer(item, "not_applicable"))
                        details id={ "fail-" (item) } {
                            summary { (english().say("answer", "fail")) " …" }
                            (failed(item))
                        }
                    }
                }
            }
        }
        form data-act="answer" {
            input type="hidden" name="answer" value="pass";
            button.large #primary type="submit" { (say("do_all_pass")) }
        }
    }
}

fn answer(item: &str, answer: &str) -> Markup {
    html! {
        form data-act="answer" {
            input type="hidden" name="item" value=(item);
            input type="hidden" name="answer" value=(answer);
            button type="submit" { (english().say("answer", answer)) }
        }
    }
}

/// A fail says why.
fn failed(item: &str) -> Markup {
    html! {
        form data-act="answer" {
            input type="hidden" name="item" value=(item);
            input type="hidden" name="answer" value="fail";
            label { (say("why")) input name="reason" autocomplete="off" required; }
            button type="submit" { (english().say("answer", "fail")) }
        }
    }
}

/// What a meter without a line shows.
fn enter() -> Markup {
    html! {
        form data-act="enter" {
            label {
                (say("display"))
                input name="shows" autocomplete="off" spellcheck="false" required;
            }
            button.large #primary type="submit" { (say("do_enter")) }
        }
    }
}

fn source() -> Markup {
    html! {
        form data-act="prove" {
            input type="hidden" name="what" value="source";
            label { (say("source_volts")) input name="ln" inputmode="decimal" autocomplete="off" required; }
            button.large #primary type="submit" { (say("do_source")) }
        }
    }
}

fn sign(bench: &Bench) -> Markup {
    let word = bench.work.as_ref().and_then(|work| work.outcome.as_deref());
    let passed = word == Some("pass");
    html! {
        @if let Some(word) = word { p.outcome { (super::verdict(word)) } }
        @if let Some(work) = bench.work.as_ref().filter(|_| !passed) {
            ul.against { @for planned in &work.planned { (against(planned)) } }
        }
        @let lacks = bench.work.as_ref().map_or(&[][..], |work| &work.lacks);
        @if !lacks.is_empty() { (super::stranger::lacking(lacks)) }
        p.signs { (signer(bench)) }
        form data-act="sign" {
            input type="hidden" name="as" value="performed";
            @if !passed {
                fieldset {
                    legend { (say("tag")) }
                    label.choice {
                        input type="radio" name="tag" value="attached" required; (say("tag_attached"))
                    }
                    label.choice {
                        input type="radio" name="tag" value="refused"; (say("tag_refused"))
                    }
                    label { (say("tag_why")) input name="reason" autocomplete="off"; }
                }
            }
            (badge("badge", say("badge"), Some("badge")))
            @if bench.work.as_ref().is_some_and(|work| work.pin) { (pin("pin", say("pin"), true)) }
            button.large #primary type="submit" { (say("do_sign")) }
        }
    }
}

/// Who signs, as what and when.
fn signer(bench: &Bench) -> Markup {
    let status = &bench.status;
    let id = status.operator.as_deref().unwrap_or(say("nobody"));
    html! {
        (say("signs")) " "
        @if let Some(name) = &status.operator_name { strong { (name) } " (" (id) ")" }
        @else { strong { (id) } }
        " · " (say("signs_as")) " · " (bench.time)
    }
}

/// A field for a badge: scanned or typed, and not shown.
pub(super) fn badge(name: &str, word: &str, id: Option<&str>) -> Markup {
    html! {
        label.badge {
            (word)
            input id=[id] type="password" name=(name) autocomplete="one-time-code"
                autocapitalize="off" spellcheck="false" maxlength="200" required[id.is_some()];
        }
    }
}

/// A field for a PIN: typed, and not shown.
pub(super) fn pin(name: &str, word: &str, required: bool) -> Markup {
    html! {
        label.badge {
            (word)
            input type="password" name=(name) autocomplete="off" autocapitalize="off"
                spellcheck="false" maxlength="64" required[required];
        }
    }
}

/// What stands against a pass: the step with its verdict and why.
fn against(planned: &work::Planned) -> Markup {
    let Some(judged) = &planned.verdict else { return html! {} };
    let word = super::word(judged.verdict);
    html! {
        @if word != "pass" {
            li {
                (super::verdict(&word)) " " (super::steps::name(&planned.of)) " "
                strong { (super::shown(judged)) }
                @for reason in &judged.reasons { p.reason { (english().say("reason", reason)) } }
            }
        }
    }
}

fn null(lead: &str, large: bool) -> Markup {
    html! {
        form data-act="null" {
            input type="hidden" name="lead" value=(lead);
            button .large[large] id=[large.then_some("primary")] type="submit" {
                (super::tell("null", &[("lead", lead)]))
            }
        }
    }
}

/// Three voltages at the outlet, entered twice.
fn supply(bench: &Bench, large: bool) -> Markup {
    let done = bench.work.as_ref().is_some_and(|work| work.supply);
    html! {
        form data-act="prove" {
            fieldset {
                legend { (say("supply")) @if done { " " (say("supply_done")) } }
                input type="hidden" name="what" value="supply";
                @for (name, word) in [("ln", "volts_ln"), ("npe", "volts_npe"), ("lpe", "volts_lpe")] {
                    label { (say(word)) input name=(name) inputmode="decimal" autocomplete="off" required; }
                }
                button .large[large] id=[large.then_some("primary")] type="submit" { (say("do_supply")) }
            }
        }
    }
}

/// Nulls, the supply check, leaving a step out, a note.
fn more(bench: &Bench) -> Markup {
    let asked = |reasons: &[&str], states: &[&str]| {
        misses(bench, reasons) && states.contains(&state(bench))
    };
    html! {
        @if !asked(&["lead_not_nulled", "null_too_old"], &["arm", "measure"]) {
            @for lead in leads(bench) { (null(lead, false)) }
        }
        @if !asked(&["supply_not_checked"], &["connect"]) { (supply(bench, false)) }
        (with_text("skip", "reason", "do_skip", "why"))
        (with_text("note", "text", "do_note", "note"))
        form data-act="park" { button type="submit" { (say("do_park")) } }
    }
}

/// What rests on somebody's word: how a lever stands that no contact sees, and a gate that is
/// opened by competence. The station refuses what may not be said.
fn by_word(bench: &Bench, work: &work::Work) -> Markup {
    let wanted = bench.prompt().map(|prompt| &prompt.set);
    let seen =
        |name: &str| work.switches.iter().any(|(one, _, how)| *one == name && *how == "witnessed");
    let levers = wanted.into_iter().flatten().map(|(switch, _)| *switch);
    let levers = levers.filter(|switch| *switch != Switch::Supply && !seen(switch.name()));
    html! {
        @for switch in levers {
            form data-act="switch" {
                label {
                    (english().say("switch", switch.name()))
                    select name={ "set." (switch.name()) } required {
                        option value="" { "–" }
                        @for word in switch.words() { option value=(word) { (word) } }
                    }
                }
                button type="submit" { (say("do_switch")) }
            }
        }
        form data-act="override" {
            fieldset {
                legend { (say("override")) }
                label {
                    (say("step"))
                    select name="step" {
                        @for one in &work.planned {
                            option value=(one.of) { (super::steps::name(&one.of)) }
                        }
                    }
                }
                label { (say("why")) input name="reason" autocomplete="off" required; }
                button type="submit" { (say("do_override")) }
            }
        }
    }
}

fn with_text(act: &str, name: &str, word: &str, label: &str) -> Markup {
    html! {
        form data-act=(act) {
            label { (say(label)) input name=(name) autocomplete="off" required; }
            button type="submit" { (say(word)) }
        }
    }
}

/// Ending an inspection that is not measured through.
fn leave() -> Markup {
    let outcomes = ["not_found", "in_use", "with_patient", "sent_out", "retired", "given_up"];
    html! {
        form data-act="end" {
            fieldset {
                legend { (say("end")) }
                label {
                    (say("outcome"))
                    select name="outcome" {
                        @for outcome in outcomes {
                            option value=(outcome) { (english().say("ended", outcome)) }
                        }
                    }
                }
                label { (say("why")) input name="reason" autocomplete="off" required; }
                button type="submit" { (say("do_end")) }
            }
        }
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::*;
    use crate::station::status::{BenchStatus, InspectionStatus};
    use tapline_protocols::inspection::{Prompt, STATES};

    /// What is done with hands alone, seen by an instrument or by contacts, or scanned.
    const BY_HAND: &[&str] = &[
        "waiting",
        "parked",
        "capture",
        "null",
        "null_apart",
        "prove_closed",
        "prove_open",
        "probe_earth",
        "probe_part",
        "reprove",
        "close_scan",
        "done",
    ];

    pub(in crate::page) fn bench(state: &'static str) -> Bench {
        let status = BenchStatus {
            id: "b1".into(),
            name: "Bench 1".into(),
            operator: Some("op-7".into()),
            operator_name: None,
            selected: None,
            stranger: None,
            inspection: Some(InspectionStatus {
                id: "K3-20261124-0007".into(),
                asset: "P-0107".into(),
                description: "pump".into(),
                location: "North".into(),
                plan: "a-plan".into(),
                prompt: Prompt { state, ..Prompt::default() },
            }),
            parked: Vec::new(),
            check: None,
            heard: None,
            links: Vec::new(),
        };
        Bench {
            status,
            location: String::new(),
            halted: None,
            parked: Vec::new(),
            time: String::new(),
            work: None,
            bar: None,
        }
    }

    #[test]
    fn every_state_that_asks_for_a_word_has_its_button() {
        for state in STATES {
            let html = primary(&bench(state)).into_string();
            let button = html.contains("id=\"primary\"");
            assert_eq!(button, !BY_HAND.contains(&state), "{state}: {html}");
        }
    }

    #[test]
    fn an_act_that_a_hazard_hangs_on_says_what_was_seen() {
        for state in
            ["connect", "clear", "live", "voltage_on", "test_current", "dead", "capture", "measure"]
        {
            let html = primary(&bench(state)).into_string();
            assert!(html.contains("data-expect"), "{state}: {html}");
        }
    }
}
