//! Who answers for it, how anyone can check it, and what it does not say.

use super::checklist;
use super::data::{Report, Signature};
use super::flow::{Flow, SMALL, TEXT};
use super::tell::{self, head_code};
use crate::canvas::{Ink, Style};
use crate::codes::{Code, NotDrawn};

/// Width of a square of the head's code: 24 rows in 16 mm.
const MODULE: f32 = 1.9;

/// How much of the width signatures take; the rest tells how to check it.
const SIGNED: f32 = 0.31;
const SIGNATURE: f32 = 31.0;

pub(super) fn foot(flow: &mut Flow, report: &Report) -> Result<(), NotDrawn> {
    let says = flow.words.say("page", "says");
    let small = Style::quiet(SMALL);
    let lines = small.wrapped(&says, flow.width()).len();
    let signed = SIGNATURE * report.signatures.len().min(12) as f32;
    // Signatures, seal and small print stay together.
    flow.heading("signatures", signed.max(24.0 * MODULE + 14.0) + 8.2 * lines as f32);
    let from = flow.y;
    signatures(flow, report);
    let below = flow.y;
    flow.y = from;
    verify(flow, report)?;
    flow.y = flow.y.max(below) + 2.0;
    let gaps = checklist::gaps(report);
    if !gaps.is_empty() {
        let names: Vec<String> = gaps.iter().map(|gap| flow.words.say("gap", gap)).collect();
        let text = flow.words.tell("page", "gaps", &[("what", &names.join(", "))]);
        flow.paragraph(Style::strong(SMALL + 0.2), &text);
    }
    flow.paragraph(small, &says);
    Ok(())
}

fn signatures(flow: &mut Flow, report: &Report) {
    let wide = flow.width() * SIGNED - 16.0;
    if report.signatures.is_empty() {
        let (left, y, style) = (flow.left(), flow.y, Style::plain(TEXT));
        let text = flow.words.say("page", "unsigned");
        for (at, line) in (0_u8..).zip(style.wrapped(&text, wide)) {
            flow.page().text(left, y + 8.0 + 9.6 * f32::from(at), style, &line);
        }
        flow.y += 24.0;
    }
    for one in &report.signatures {
        let at = (flow.left(), flow.y);
        signature(flow, one, at, wide);
        flow.y += SIGNATURE;
    }
}

fn signature(flow: &mut Flow, one: &Signature, (x, y): (f32, f32), wide: f32) {
    let words = flow.words;
    let meaning = words.say("meaning", &one.meaning);
    let at = one.at.map(|at| words.moment(at)).unwrap_or_default();
    let auth = words.say("auth", &one.auth);
    let page = flow.page();
    page.text(x, y + 6.5, Style::quiet(SMALL), &meaning);
    page.text(x, y + 16.5, Style::strong(TEXT + 0.4), &one.name);
    page.text(x, y + 25.0, Style::plain(SMALL), &format!("{} · {at} · {auth}", one.id));
    page.rule(x, y + 28.0, wide, Ink::RULE);
}

fn verify(flow: &mut Flow, report: &Report) -> Result<(), NotDrawn> {
    let words = flow.words;
    let (left, y, right) = (flow.left() + flow.width() * SIGNED, flow.y, flow.right());
    let Some(head) = &report.printed_head() else {
        let style = Style::strong(TEXT);
        let lines = style.wrapped(&words.say("page", "unsealed"), right - left);
        for (at, line) in (0_u8..).zip(&lines) {
            flow.page().text(left, y + 8.0 + 9.6 * f32::from(at), style, line);
        }
        flow.y += 8.0 + 9.6 * lines.len() as f32;
        return Ok(());
    };
    let code = Code::squares(head, false)?;
    let side = code.wide(MODULE);
    code.draw(flow.page(), (left, y + 2.0), MODULE, Ink::FULL);
    let x = left + side + 10.0;
    let text = tell::verify(words, report);
    let key = words.tell("page", "key", &[("key", &report.key)]);
    let made = [("program", report.program.as_str()), ("judge", &report.judge)];
    let made = words.tell("page", "program", &made);
    let small = Style::quiet(SMALL);
    let page = flow.page();
    page.text(x, y + 6.5, small, &words.say("page", "head"));
    page.text(x, y + 17.0, Style::strong(9.4), &head_code(head));
    let mut at = y + 26.0;
    for text in [format!("{text} {made}"), key] {
        let (style, lines) = small.snug(&text, right - x);
        for line in lines {
            page.text(x, at, style, &line);
            at += 7.8;
        }
    }
    flow.y = (at - 2.0).max(y + side + 6.0);
    Ok(())
}
