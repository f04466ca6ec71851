//! What a stranger reads in five seconds, and what it is about.

use super::changes;
use super::data::Report;
use super::flow::{Flow, SMALL, TEXT};
use super::tell::{next, outcome};
use crate::canvas::{Ink, Style};
use crate::seal::seal;
use crate::words::{Words, offset};

/// A field of the grid: its name, its text.
type Field = (String, String);

pub(super) fn head(flow: &mut Flow, report: &Report) {
    letterhead(flow, report);
    banner(flow, report);
    grid(flow, report);
}

fn letterhead(flow: &mut Flow, report: &Report) {
    let (left, right, width, y) = (flow.left(), flow.right(), flow.width(), flow.y);
    let title = changes::title(flow.words, report);
    let number = changes::number(flow.words, report);
    let site = &report.site;
    let page = flow.page();
    page.text(left, y + 9.0, Style::strong(12.5), &title);
    page.text(left, y + 20.0, Style::quiet(TEXT), &number);
    page.right(right, y + 9.0, Style::strong(9.0), &site.workshop);
    page.right(right, y + 20.0, Style::quiet(TEXT), &site.address.join(" · "));
    page.rule(left, y + 27.0, width, Ink::RULE);
    flow.y += 34.0;
}

/// The asset to the left, what came of it to the right.
fn banner(flow: &mut Flow, report: &Report) {
    let (left, right, width, y) = (flow.left(), flow.right(), flow.width(), flow.y);
    let (word, said, means) = outcome(flow.words, &report.outcome);
    let asset = &report.asset;
    let serial = flow.words.tell("page", "serial", &[("n", &asset.serial)]);
    let made = [asset.maker.as_str(), &asset.model].join(" ");
    let box_width = width * 0.42;
    let from = right - box_width;
    let (what, step, lines) = title(&asset.what, width - box_width - 16.0);
    let below = 44.0_f32.max(step * lines.len() as f32 + 26.0);
    let page = flow.page();
    page.frame([from, y, box_width, below + 4.0], 0.8, word.ink());
    seal(page, word, (from + 24.0, y + below / 2.0 + 2.0), 14.5, word.ink());
    let big = Style::strong(19.0).fitting(&said, box_width - 60.0);
    page.text(from + 48.0, y + 20.5, big.ink(word.ink()), &said);
    let small = Style::plain(6.6);
    for (at, line) in (0_u8..).zip(small.wrapped(&means, box_width - 56.0).iter().take(2)) {
        page.text(from + 48.0, y + 31.5 + 8.4 * f32::from(at), small, line);
    }
    for (at, line) in (0_u8..).zip(&lines) {
        page.text(left, y + 14.0 + step * f32::from(at), what, line);
    }
    let end = y + step * lines.len() as f32;
    page.text(left, end + 10.0, Style::strong(10.0), &asset.id);
    let made = format!("{made} · {serial}");
    let style = Style::plain(8.0).fitting(&made, width - box_width - 12.0);
    page.text(left, end + 22.0, style, &made);
    flow.y += below + 13.0;
}

/// What the asset is: large where it is short; with the step from line to line.
fn title(text: &str, width: f32) -> (Style, f32, Vec<String>) {
    let large = Style::strong(15.0);
    let lines = large.wrapped(text, width);
    if lines.len() <= 2 {
        return (large, 18.0, lines);
    }
    let small = Style::strong(9.5);
    (small, 12.0, small.wrapped(text, width))
}

fn grid(flow: &mut Flow, report: &Report) {
    let fields = fields(flow.words, report);
    let gap = 12.0;
    let column = (flow.width() - 3.0 * gap) / 4.0;
    for row in fields.chunks(4) {
        let texts: Vec<(Style, Vec<String>)> =
            row.iter().map(|(_, text)| Style::plain(TEXT).snug(text, column)).collect();
        let lines = texts.iter().map(|(_, text)| text.len()).max().unwrap_or(1);
        let height = 8.0 + 9.4 * lines as f32 + 3.0;
        flow.need(height);
        let (y, left) = (flow.y, flow.left());
        for (at, ((name, _), (style, text))) in (0_u8..).zip(row.iter().zip(&texts)) {
            let x = left + f32::from(at) * (column + gap);
            let page = flow.page();
            page.text(x, y + 6.4, Style::quiet(SMALL), name);
            for (n, line) in (0_u8..).zip(text) {
                page.text(x, y + 15.2 + 9.4 * f32::from(n), *style, line);
            }
        }
        flow.y += height;
    }
}

/// Four in a row: the asset, by what it was inspected, when, and who.
pub(super) fn fields(words: &Words, report: &Report) -> Vec<Field> {
    let asset = &report.asset;
    let name = |code: &str| words.say("field", code);
    let moment = |at: Option<_>| at.map_or_else(|| "–".to_owned(), |at| words.moment(at));
    let zone = report.opened.map(offset).unwrap_or_default();
    let opened = format!("{} {zone}", moment(report.opened));
    let mut class = vec![
        words.tell("page", "class", &[("class", &asset.class)]),
        words.say("cord", &asset.cord),
    ];
    class.extend(asset.rated.iter().map(|rated| words.amount(&rated.digits, &rated.unit)));
    let plan = &report.plan;
    let known = |text: &str| if text.is_empty() { "–".to_owned() } else { text.to_owned() };
    let listed = |list: &[String]| known(&list.join(", "));
    let by = report.signatures.first();
    let by = by.map(|one| format!("{} ({})", one.name, one.id)).unwrap_or_default();
    let place = words.tell(
        "page",
        "bench",
        &[("station", &report.site.station), ("bench", &report.site.bench)],
    );
    let reason = match &report.retest_of {
        None => words.say("why", &report.reason),
        Some(of) => {
            let of = words.tell("page", "retest", &[("of", of)]);
            format!("{}, {of}", words.say("why", &report.reason))
        }
    };
    vec![
        (name("owner"), known(&asset.owner)),
        (name("plan"), format!("{} ({})", plan.title, plan.id)),
        (name("opened"), opened),
        (name("by"), known(&by)),
        (name("place"), known(&asset.place)),
        (name("standard"), known(&plan.standard)),
        (name("issued"), moment(report.closed)),
        (name("where"), place),
        (name("class"), class.join(", ")),
        (name("rule"), words.say("rule", &plan.rule)),
        (name("next"), next(words, report)),
        (name("reason"), reason),
        (name("parts"), listed(&asset.parts)),
        (name("hash"), plan.hash.get(..16).unwrap_or(&plan.hash).to_owned()),
        (name("built_to"), known(&asset.built_to)),
        (name("accessories"), listed(&asset.accessories)),
    ]
}
