//! The list of steps: the plan's, and under the one that is worked on its parts.

use maud::{Markup, html};

use super::work::{Captured, Part, Planned, Work};
use super::{say, verdict};
use crate::station::codes::CAUSES;
use crate::words::english;

/// The list; the active step is open.
pub(super) fn steps(work: &Work) -> Markup {
    html! {
        h2 { (say("steps")) }
        ol.steps {
            @for planned in &work.planned {
                (one(planned))
            }
        }
    }
}

fn one(planned: &Planned) -> Markup {
    let active = planned.parts.iter().any(|part| part.state == "active");
    let done = planned.parts.iter().filter(|part| part.state != "waiting").count();
    let done = if active { done - 1 } else { done };
    let of = planned.parts.len();
    html! {
        li.step .active[active] aria-current=[active.then_some("step")] {
            details open[active] id={ "of-" (planned.of) } {
                summary {
                    span.mark aria-hidden="true" { @if active { "▶" } }
                    span.name { (name(&planned.of)) }
                    span.count { (done) "/" (of) }
                    @if let Some(judged) = &planned.verdict {
                        @let word = super::word(judged.verdict);
                        span.shown { (super::shown(judged)) }
                        (verdict(&word))
                    } @else {
                        span.shown {}
                        span.verdict.none { (say("open")) }
                    }
                }
                @if let Some(judged) = &planned.verdict {
                    @for reason in &judged.reasons {
                        p.reason { (english().say("reason", reason)) }
                    }
                }
                ul.parts { @for part in &planned.parts { (part_of(part)) } }
            }
        }
    }
}

fn part_of(part: &Part) -> Markup {
    html! {
        li.part .active[part.state == "active"] {
            span.name { (full(&part.step)) }
            span.at { (part.at.join(" · ")) }
            span.state { (english().say("step_state", part.state)) }
            @if let Some(reason) = &part.reason {
                span.reason { (english().reason(reason)) }
            }
            @for value in &part.values { (captured(value)) }
            @if part.state == "skipped" || part.state == "done" && !part.values.is_empty() {
                form.small data-act="repeat" {
                    input type="hidden" name="step" value=(part.step);
                    button type="submit" { (say("repeat")) }
                }
            }
        }
    }
}

/// A captured value, and how it is set aside.
fn captured(value: &Captured) -> Markup {
    html! {
        div.captured {
            @if value.dropped { s { (value.amount) } (sent(value)) " " (say("aside")) } @else {
                strong { (value.amount) }
                (sent(value))
                details id={ "aside-" (value.seq) } {
                    summary { (say("set_aside")) }
                    form.small data-act="discard" {
                        input type="hidden" name="seq" value=(value.seq) data-number;
                        label {
                            (say("cause"))
                            select name="cause" {
                                @for cause in CAUSES {
                                    option value=(cause) { (english().say("cause", cause)) }
                                }
                            }
                        }
                        (super::acts::badge("second", say("second"), None))
                        button type="submit" { (say("set_aside")) }
                    }
                }
            }
        }
    }
}

/// An expanded step as people read it: `Protective earth 2`; of a null its lead set.
pub(crate) fn full(step: &str) -> String {
    match step.split_once('/') {
        Some(("null", lead)) => super::tell("null", &[("lead", lead)]),
        Some((of, rest)) => format!("{} {rest}", name(of)),
        None => name(step),
    }
}

/// What the meter showed, where that is not what is judged.
pub(super) fn sent(value: &Captured) -> Markup {
    html! {
        @if let Some(sent) = &value.sent {
            span.quiet { " · " (super::tell("meter_showed", &[("amount", sent)])) }
        }
        @if value.typed { span.quiet { " · " (say("typed")) } }
    }
}

/// A step's name as people read it.
pub(super) fn name(of: &str) -> String {
    match english().find("step", of) {
        Some(words) => words.to_owned(),
        None => of.replace('_', " "),
    }
}
