//! What summaries look like, as far as a program can tell: that they stay short, that nothing lies
//! on something else or beyond the margin, that nothing is missing. `PICTURES=DIR` keeps the files.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "support/boxes.rs"]
mod boxes;

use boxes::{nothing_overlaps, text};
use tapline_paper::canvas::{Mark, Page};
use tapline_paper::moment::Moment;
use tapline_paper::pdf;
use tapline_paper::report::{Paper, Site};
use tapline_paper::summary::{
    Aside, MISSING_MAX, Minutes, Missing, Outcomes, Part, Share, Summary, about, html, pages,
};
use tapline_paper::words::Language;

fn outcomes(pass: u64, fail: u64) -> Outcomes {
    let (conditional_pass, conditional_fail, undecided, ended) = (pass / 20, fail / 3, 1, 2);
    Outcomes { pass, conditional_pass, conditional_fail, fail, undecided, ended }
}

fn part(name: &str, all: u64) -> Part {
    Part {
        name: name.into(),
        on_time: Share { of: all * 4 / 5, all },
        overdue: Share { of: all / 9, all: all * 12 },
        outcomes: outcomes(all, all / 12),
    }
}

fn missing(n: usize) -> Missing {
    Missing {
        asset: format!("P-{n:05}"),
        what: "Infusionspumpe mit sehr langer Bezeichnung, zweikanalig, tragbar".into(),
        place: format!("Nordgebäude/Ebene 2/Intensivstation/Bett {n}"),
        risk: "high".into(),
        due: "2026-11-17".into(),
        late: n.is_multiple_of(3).then(|| "2026-11-24".into()),
        visit: n.is_multiple_of(2).then(|| "with_patient".into()),
    }
}

/// A month of a large house.
fn month(places: u64, lost: usize) -> Summary {
    let share = |code: &str, of, all| (code.to_owned(), Share { of, all });
    let day = |n: u64| (format!("2026-11-{n:02}"), outcomes(n * 7 % 23, n % 4));
    Summary {
        site: Site {
            workshop: "Werkstatt Nord".into(),
            address: vec!["Werkstraße 1".into(), "00000 Musterort".into()],
            station: "K3".into(),
            ..Site::default()
        },
        period: "2026-11".into(),
        kind: "month".into(),
        first: "2026-11-01".into(),
        last: "2026-11-30".into(),
        as_of: "2026-11-27".into(),
        open: true,
        grace: 7,
        counted: Moment::read("2026-11-27T07:30:00Z"),
        program: "0.1.0".into(),
        shares: vec![
            share("on_time", 301, 344),
            share("location", 340, 344),
            share("yield", 22, 330),
            share("first_time_pass", 289, 330),
            share("repeat_failure", 2, 29),
        ],
        minutes: Minutes {
            median: Some("12.5".into()),
            p90: Some("27.3".into()),
            inspections: 330,
        },
        outcomes: outcomes(301, 22),
        days: (1..=27).map(day).collect(),
        places: (0..places).map(|n| part(&format!("Gebäude {n}"), 9 + n * 5 % 31)).collect(),
        risks: ["high", "medium", "low", ""].map(|risk| part(risk, 40)).into(),
        set_aside: vec![
            Aside { by: "op-7".into(), values: 12, in_force: 1 },
            Aside { by: String::new(), values: 1, in_force: 0 },
        ],
        missing: (0..lost).map(missing).collect(),
        missing_all: lost as u64,
        damaged: 0,
    }
}

fn every() -> Vec<(&'static str, Summary)> {
    let week = Summary {
        period: "2026-W48".into(),
        kind: "week".into(),
        first: "2026-11-23".into(),
        last: "2026-11-29".into(),
        days: month(0, 0).days.split_off(22),
        grace: 0,
        ..month(3, 4)
    };
    let day = Summary {
        period: "2026-11-27".into(),
        kind: "day".into(),
        first: "2026-11-27".into(),
        last: "2026-11-27".into(),
        days: vec![("2026-11-27".into(), outcomes(3, 1))],
        damaged: 2,
        ..month(1, 1)
    };
    let nothing = Summary {
        site: month(0, 0).site,
        period: "2026-12".into(),
        kind: "month".into(),
        first: "2026-12-01".into(),
        last: "2026-12-31".into(),
        shares: month(0, 0).shares.into_iter().map(|(c, _)| (c, Share::default())).collect(),
        counted: month(0, 0).counted,
        ..Summary::default()
    };
    let many = month(60, 10_000);
    vec![
        ("month", month(6, 12)),
        ("week", week),
        ("day", day),
        ("nothing", nothing),
        ("many", many),
    ]
}

fn each(mut check: impl FnMut(&str, &Summary, Language, &[Page])) {
    for (name, summary) in every() {
        for language in Language::ALL {
            for (size, paper) in [("a4", Paper::A4), ("letter", Paper::Letter)] {
                let name = format!("summary-{name}-{size}-{}", language.code());
                check(&name, &summary, language, &pages(&summary, language, paper));
            }
        }
    }
}

#[test]
fn the_same_data_give_the_same_bytes() {
    each(|name, summary, language, pages| {
        let write = || pdf::pdf(pages, &about(summary, language)).unwrap();
        let bytes = write();
        assert!(bytes == write(), "{name}");
        if let Some(folder) = std::env::var_os("PICTURES") {
            let file = std::path::Path::new(&folder).join(format!("{name}.pdf"));
            std::fs::write(file, bytes).unwrap();
        }
    });
}

#[test]
fn nothing_lies_on_something_else_or_beyond_the_margin() {
    each(|name, _, _, pages| nothing_overlaps(name, pages));
}

/// However much is missing: what is left out is counted, and the pages stay few.
#[test]
fn ten_thousand_missing_are_no_three_hundred_pages() {
    for language in Language::ALL {
        let summary = month(60, 10_000);
        let pages = pages(&summary, language, Paper::A4);
        assert!(pages.len() <= 12, "{} pages", pages.len());
        let told = text(&pages);
        assert!(told.contains(&format!("P-{:05}", MISSING_MAX - 1)));
        assert!(!told.contains(&format!("P-{MISSING_MAX:05}")));
        assert!(told.contains("9750"), "how many more is said: {told}");
        assert!(told.contains("2026-11 --as csv"), "and where they are");
    }
    assert_eq!(pages(&month(6, 0), Language::English, Paper::A4).len(), 1, "a usual month is one");
}

#[test]
fn every_page_names_the_summary_and_the_last_one_its_end() {
    each(|name, summary, language, pages| {
        let title = about(summary, language).title;
        for (at, page) in pages.iter().enumerate() {
            let shown = text(std::slice::from_ref(page));
            let values = [("page", (at + 1).to_string()), ("pages", pages.len().to_string())];
            let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
            assert!(shown.contains(&language.words().tell("page", "of", &values)), "{name}");
            assert!(shown.contains(&title), "{name}");
        }
        let ends = text(&pages[pages.len() - 1..]);
        let end = ["End of summary", "Ende der Zusammenfassung"];
        assert!(end.iter().any(|end| ends.contains(end)), "{name}");
    });
}

/// A share without its count is no number; both stand on paper, and in HTML.
#[test]
fn shares_stand_with_their_numerator_and_denominator() {
    each(|name, summary, language, pages| {
        let shown = text(pages);
        let html = html::html(summary, language);
        let numbers = summary.shares.iter().map(|(_, share)| *share);
        let of_parts = summary.places.iter().take(8).chain(&summary.risks);
        for share in numbers.chain(of_parts.map(|part| part.overdue)) {
            let text = format!("{} / {}", share.of, share.all);
            assert!(shown.contains(&text) && html.contains(&text), "{name}: {text}");
        }
        for code in ["on_time", "minutes", "overdue"] {
            let means = language.words().say("number_means", code);
            let begin: String = means.chars().take(30).collect();
            assert!(shown.contains(&begin) && html.contains(&begin), "{name}: {code}");
        }
    });
}

/// 301 of 344 is 87.5 %, by hand; German writes a comma.
#[test]
fn numbers_are_the_readers() {
    let shown = |language| text(&pages(&month(3, 1), language, Paper::A4));
    assert!(shown(Language::English).contains("87.5\u{a0}%"));
    assert!(shown(Language::German).contains("87,5\u{a0}%"));
    assert!(shown(Language::German).contains("01.11.2026 bis 30.11.2026"));
    let bars = pages(&month(3, 1), Language::English, Paper::A4);
    let filled = bars.iter().flat_map(|page| &page.marks);
    let filled = filled.filter(|mark| matches!(mark, Mark::Fill { .. })).count();
    assert!(filled > 80, "bars are drawn: {filled}");
}

/// A section that has nothing to tell says so.
#[test]
fn that_no_value_was_set_aside_is_said() {
    for (language, none) in
        Language::ALL.into_iter().zip(["No value was set aside.", "Es wurde kein Wert verworfen."])
    {
        for (aside, told) in [(0, true), (1, false)] {
            let mut summary = month(3, 0);
            summary.set_aside.truncate(aside);
            assert_eq!(summary.set_aside.len(), aside);
            let paper = text(&pages(&summary, language, Paper::A4));
            assert_eq!(paper.contains(none), told, "{paper}");
            assert_eq!(html::html(&summary, language).contains(none), told);
        }
    }
}
