//! What a plan becomes for an asset, as text.

use std::fmt::Write;

use tapline_protocols::plan::{
    Capture, Contact, Direction, Hazard, Missing, Outline, Planned, Remark, Rule, Totals, While,
};
use tapline_protocols::register::{Asset, Class, Cord};

use super::rows::{one_row, table, wrapped};
use crate::words::{self, Words};

/// How sure a limit is.
pub(crate) fn confidence(word: &str) -> &'static str {
    match word {
        "two_sources" => "two sources",
        "one_source" => "one source",
        "confirmed_here" => "confirmed here",
        _ => "unconfirmed",
    }
}

/// A plan for one asset: heading, what is missing, steps, cost.
pub(crate) fn show(outline: &Outline, asset: &Asset, on_paper: bool) -> String {
    let words = words::english();
    let mut out = String::new();
    let _ = writeln!(out, "{} ({}:{})", outline.title, outline.standard, outline.edition);
    let _ = writeln!(out, "{}  {}, {}", asset.id, one_row(&asset.description), kind(asset));
    out.push_str(&first(outline, words, on_paper));
    let rows: Vec<_> = outline.steps.iter().map(|planned| row(planned, words)).collect();
    let _ = write!(out, "\nSteps\n{}", table(&rows));
    out.push_str(&off(outline));
    out.push_str(&set_otherwise(outline));
    out.push_str(&proves(outline, words));
    out.push_str(&placements(outline, words));
    let _ = writeln!(out, "\n{}", cost(&outline.totals));
    out
}

/// Steps of the plan that are left out unless somebody asks for them.
fn off(outline: &Outline) -> String {
    match outline.off.as_slice() {
        [] => String::new(),
        off => {
            let with: Vec<String> = off.iter().map(|step| format!("`--with {step}`")).collect();
            format!("\nOff unless asked for: {}\n", with.join(", "))
        }
    }
}

/// Limits that are not simply the standard's, each once.
fn set_otherwise(outline: &Outline) -> String {
    let mut out = String::new();
    let mut last = None;
    for planned in &outline.steps {
        let how = planned.judged_by.as_ref().and_then(|judged| judged.how.as_ref());
        if let Some(how) = how.filter(|how| last != Some((&planned.expanded.of, *how))) {
            let lead_in = format!("  {}: ", planned.expanded.of);
            let _ = writeln!(
                out,
                "{}{}",
                if out.is_empty() { "\n" } else { "" },
                wrapped(&lead_in, how)
            );
            last = Some((&planned.expanded.of, how));
        }
    }
    out
}

/// What can be proved with what stands on the bench.
fn proves(outline: &Outline, words: &Words) -> String {
    if outline.proves.is_empty() {
        return String::new();
    }
    let mut out = format!("\n{}\n", words.say("foresee", "title"));
    for one in &outline.proves {
        let of = format!("  {}, {}, {}: ", one.step, one.instrument, one.bound);
        let values = [
            ("passes", one.passes.as_deref().unwrap_or_default()),
            ("share", one.share.as_deref().unwrap_or_default()),
            ("rule", one.rule.map_or("", |rule| words.say("foresee", rule))),
        ];
        let code = match (one.word, one.direction, &one.passes) {
            ("proves", _, None) => "above",
            ("proves", direction, Some(_)) => direction,
            (word, ..) => word,
        };
        let known = if one.share.is_some() { "" } else { ".no_share" };
        let code = format!("{code}{known}");
        let text = match words.find("foresee", &code) {
            Some(_) => words.tell("foresee", &code, &values),
            None => words.tell("foresee", code.trim_end_matches(".no_share"), &values),
        };
        let _ = writeln!(out, "{}", wrapped(&of, &text));
    }
    out
}

/// What keeps this from being a pass, before anything else.
fn first(outline: &Outline, words: &Words, on_paper: bool) -> String {
    let mut out = String::new();
    if !outline.missing.is_empty() {
        out.push_str("\nMissing on this bench: the outcome stays undecided\n");
        for Missing { step, closed, lacks } in &outline.missing {
            let what = if lacks.is_empty() { closed.replace('_', " ") } else { lacking(lacks) };
            let _ = writeln!(out, "  {step}: {what}");
            let _ = writeln!(out, "{}", wrapped("    ", words.say("reason", closed)));
        }
    }
    for remark in &outline.remarks {
        let _ = writeln!(out, "\n{}", sentence(remark));
    }
    if on_paper {
        out.push_str("\nNo instruments were given (`--instruments FILE`): none is checked.\n");
    }
    out
}

fn sentence(remark: &Remark) -> String {
    match remark.code {
        "no_earthed_point" => format!(
            "`{}` is class I and names no earthed point: nothing can prove its protective earth.",
            remark.about
        ),
        "part_not_measured" => format!(
            "No step of this plan measures the applied part `{}`: look whether another plan does.",
            remark.about
        ),
        _ => format!("The asset excludes step `{}`, which this plan does not have.", remark.about),
    }
}

/// Words for what a bench lacks: `supply box (S7)`.
fn lacking(lacks: &[String]) -> String {
    let one = |word: &String| match word.split_once('.') {
        Some((fixture, "poles")) => format!("{} that opens all poles", fixture.replace('_', " ")),
        Some((fixture, "expired")) => format!("{} in date", fixture.replace('_', " ")),
        Some((fixture, switch)) => format!("{} with {switch}", fixture.replace('_', " ")),
        None => match word.as_str() {
            "lead" => "a lead set".into(),
            _ => word.replace('_', " "),
        },
    };
    lacks.iter().map(one).collect::<Vec<_>>().join(", ")
}

fn kind(asset: &Asset) -> String {
    let class = match asset.class {
        Class::I => "class I",
        Class::II => "class II",
        Class::III => "class III",
        Class::Internal => "internally powered",
        Class::System => "system",
    };
    let cord = match asset.cord {
        Cord::Fixed => "fixed cord",
        Cord::Detachable => "detachable cord",
        Cord::Installed => "permanently installed",
        Cord::None => "no mains",
    };
    let earth = if asset.functional_earth { " with functional earth" } else { "" };
    format!("{class}{earth}, {cord}")
}

/// Step, where, condition, limit, how sure it is, and window or items or why it can't start.
fn row(planned: &Planned, words: &Words) -> [String; 6] {
    let one = &planned.expanded;
    let state = match &one.closed {
        Some(closed) if closed == "excluded" => words.say("reason", closed).to_string(),
        Some(closed) => format!("closed: {}", closed.replace('_', " ")),
        None if !planned.items.is_empty() => planned.items.join(", ").replace('_', " "),
        None => planned.capture.map(window).unwrap_or_default(),
    };
    let judged = planned.judged_by.as_ref();
    let set: Vec<String> = one.set.iter().map(|(s, word)| format!("{} {word}", s.name())).collect();
    [
        one.step.clone(),
        spot(planned),
        set.join(", "),
        judged.map(|judged| judged.limit.clone()).unwrap_or_default(),
        judged.map(|judged| confidence(judged.confidence).to_string()).unwrap_or_default(),
        state,
    ]
}

/// Where the probe lies, and which way the current runs.
fn spot(planned: &Planned) -> String {
    let one = &planned.expanded;
    let direction = match one.direction {
        Some(Direction::Plus) => Some("one direction".to_string()),
        Some(Direction::Minus) => Some("other direction".to_string()),
        Some(Direction::None) | None => None,
    };
    let contact = planned.contact.map(|contact| match contact {
        Contact::ClipOnMetal => "clip".to_string(),
        Contact::Plug => "plug".to_string(),
        Contact::Foil => "foil".to_string(),
        Contact::Saline => "saline".to_string(),
        Contact::Joined => "joined".to_string(),
    });
    let said = [one.part.clone(), one.point.clone(), one.state.clone(), contact, direction];
    said.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

fn window(capture: Capture) -> String {
    let seconds = capture.seconds.unwrap_or_default();
    let flexed = if capture.during == Some(While::Flexed) { ", flexed" } else { "" };
    match capture.rule {
        Rule::WorstOver => format!("worst over {seconds} s{flexed}"),
        Rule::Settled => "settled".into(),
        Rule::AfterSeconds => format!("after {seconds} s"),
        Rule::Operator => "operator captures".into(),
    }
}

/// How leads lie and what to beware of, once for each step of the plan that can start.
fn placements(outline: &Outline, words: &Words) -> String {
    let mut out = String::new();
    let mut last = "";
    for planned in outline.steps.iter().filter(|p| p.expanded.closed.is_none()) {
        let Some(lead) = planned.lead.as_deref().filter(|_| planned.expanded.of != last) else {
            continue;
        };
        last = &planned.expanded.of;
        let live = if planned.hazard == Some(Hazard::Live) { "  (energised)" } else { "" };
        let _ = writeln!(out, "\n{last}{live}\n{}", wrapped("  ", words.say("lead", lead)));
        for caution in &planned.caution {
            let _ = writeln!(out, "{}", wrapped("  - ", words.say("caution", caution)));
        }
    }
    out
}

fn cost(totals: &Totals) -> String {
    let mut out = format!(
        "{}, {}, {}, {}, {}: about {}",
        some(totals.values, "value"),
        some(totals.answers, "answer"),
        some(totals.placements, "placement"),
        some(totals.moves, "switch move"),
        some(totals.acts, "act"),
        some(totals.minutes, "minute"),
    );
    let _ = write!(
        out,
        "\n(estimate: 30 s a placement, 5 s a move or an act, 15 s an answer, window and 3 s a \
         value)"
    );
    if totals.closed > 0 {
        let are = if totals.closed == 1 { "is" } else { "are" };
        let closed = some(totals.closed, "step");
        let _ = write!(out, "\n{closed} can't start and {are} not counted");
    }
    out
}

fn some(count: u32, what: &str) -> String {
    let plural = if count == 1 { "" } else { "s" };
    format!("{count} {what}{plural}")
}
