//! What reports look like, as far as a program can tell: how many pages, that nothing lies on
//! something else or beyond the margin, that nothing is missing. `PICTURES=DIR` keeps the files.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

#[path = "support/boxes.rs"]
mod boxes;
mod support;

use boxes::{nothing_overlaps, text};
use tapline_paper::canvas::{Mark, Page};
use tapline_paper::pdf;
use tapline_paper::report::checklist::{ASKED, gaps};
use tapline_paper::report::{Outcome, Paper, Report, about, html, pages};
use tapline_paper::seal::Word;
use tapline_paper::words::Language;

fn every() -> Vec<(&'static str, Report)> {
    let mut fail = support::pass();
    fail.outcome = Outcome::Ended("with_patient".into());
    vec![
        ("pass", support::pass()),
        ("full", support::full()),
        ("sweep", support::sweep()),
        ("long", support::long()),
        ("open", support::open()),
        ("ended", fail),
        ("amended", support::amended()),
        ("typed", support::typed()),
    ]
}

fn each(mut check: impl FnMut(&str, &Report, Language, &[Page])) {
    for (name, report) in every() {
        for language in Language::ALL {
            for (size, paper) in [("a4", Paper::A4), ("letter", Paper::Letter)] {
                let name = format!("{name}-{size}-{}", language.code());
                check(&name, &report, language, &pages(&report, language, paper).unwrap());
            }
        }
    }
}

#[test]
fn the_same_data_give_the_same_bytes() {
    each(|name, report, language, pages| {
        let write = || pdf::pdf(pages, &about(report, language)).unwrap();
        let bytes = write();
        assert!(bytes == write(), "{name}");
        if let Some(folder) = std::env::var_os("PICTURES") {
            let file = std::path::Path::new(&folder).join(format!("{name}.pdf"));
            std::fs::write(file, bytes).unwrap();
        }
    });
}

#[test]
fn eight_measurements_fit_on_one_page() {
    let report = support::full();
    let many: usize = report.groups.iter().map(|group| group.values.len()).sum();
    assert!(many >= 8, "{many}");
    for language in Language::ALL {
        let pages = pages(&report, language, Paper::A4).unwrap();
        assert_eq!(pages.len(), 1, "{}", language.code());
    }
}

#[test]
fn a_sweep_shows_its_worst_value_first_and_all_of_them_at_the_end() {
    let pages = pages(&support::sweep(), Language::English, Paper::A4).unwrap();
    let of = |n: usize| format!("ECG, electrode {n},");
    let first = text(&pages[..1]);
    assert!(first.contains(&of(101)) && !first.contains(&of(102)), "{first}");
    let all = text(&pages);
    for n in 1..=246 {
        assert!(all.contains(&of(n)), "{n}");
    }
    assert!(pages.len() <= 7, "{}", pages.len());
}

#[test]
fn nothing_lies_on_something_else_or_beyond_the_margin() {
    each(|name, _, _, pages| nothing_overlaps(name, pages));
}

#[test]
fn every_page_names_the_report_and_the_last_one_its_end() {
    each(|name, report, language, pages| {
        let words = language.words();
        let end = words.tell("page", "end", &[("id", report.number())]);
        for (at, page) in pages.iter().enumerate() {
            let shown = text(std::slice::from_ref(page));
            let values = [("page", (at + 1).to_string()), ("pages", pages.len().to_string())];
            let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
            assert!(shown.contains(&words.tell("page", "of", &values)), "{name}");
            assert!(shown.contains(report.number()), "{name}");
            assert_eq!(shown.contains(&end), at + 1 == pages.len(), "{name}");
        }
    });
}

/// The same words in HTML: nothing is told on paper alone.
#[test]
fn html_tells_what_the_pages_tell() {
    for (report, language) in [support::full(), support::amended(), support::typed()]
        .iter()
        .flat_map(|report| Language::ALL.map(|language| (report, language)))
    {
        let html = html::html(report, language).unwrap().replace("&amp;", "&");
        let words = language.words();
        // What a drawing needs: its heading, its days, how many values; columns without a name.
        let drawn = ["values", "what", "serial", "meter", "certificate", "due"]
            .map(|code| {
                words.say("heading", code) + &words.say("mark", code) + &words.say("column", code)
            })
            .concat();
        let of_page = words.say("page", "of") + &words.say("page", "goes_on");
        for mark in pages(report, language, Paper::A4).unwrap().iter().flat_map(|page| &page.marks)
        {
            let Mark::Text { text, .. } = mark else { continue };
            for part in text.split([' ', '·', '(', ')', ',', ';']) {
                let numbers = part.bytes().all(|byte| byte.is_ascii_digit());
                let apart = [&drawn, &of_page].into_iter().any(|text| text.contains(part));
                let known = html.contains(part) || numbers || apart || part.len() == 10;
                assert!(known, "`{part}` of `{text}` is not in the HTML");
            }
        }
    }
}

/// What was typed in stands with its figure, what it was read from and that it was typed; the sign
/// of decimals is the reader's.
#[test]
fn what_was_typed_in_is_marked() {
    for (language, mark, figures) in [
        (Language::English, "typed twice by hand", ["229.6 V", "23.5 °C"]),
        (Language::German, "zweimal von Hand eingegeben", ["229,6 V", "23,5 °C"]),
    ] {
        let report = support::typed();
        let values = report.groups.iter().flat_map(|group| &group.values);
        let typed = values.filter(|value| value.typed).count();
        assert_eq!(typed, 2);
        let marks = report.supply.len() + report.entered.len() + typed;
        let on_paper = text(&pages(&report, language, Paper::A4).unwrap()).replace('\n', " ");
        let html = html::html(&report, language).unwrap();
        for told in [&on_paper, &html] {
            assert_eq!(told.matches(mark).count(), marks, "{told}");
            for part in figures.iter().chain(&["fluid line, pressure sensor"]) {
                assert!(told.contains(part), "{part}: {told}");
            }
            assert!(told.contains("thermometer on the housing"), "{told}");
        }
    }
}

/// Manual entry of critical data is told as such (EU GMP Annex 11 section 6, from memory): a value
/// without a reading that does not say so leaves a gap.
#[test]
fn a_typed_value_without_its_mark_is_missed() {
    let report = support::typed();
    assert_eq!(gaps(&report), Vec::<&str>::new());
    let mut silent = report.clone();
    silent.groups[0].values[2].typed = false;
    assert_eq!(gaps(&silent), ["typed"]);
    let mut silent = report;
    silent.entered[1].known.clear();
    assert_eq!(gaps(&silent), ["typed"]);
}

/// Takes one thing away.
type Taken = (&'static str, fn(&mut Report));

const TAKEN: &[Taken] = &[
    ("workshop", |r| r.site.workshop.clear()),
    ("address", |r| r.site.address.clear()),
    ("bench", |r| r.site.bench.clear()),
    ("id", |r| r.id.clear()),
    ("owner", |r| r.asset.owner.clear()),
    ("plan", |r| r.plan.hash.clear()),
    ("standard", |r| r.plan.standard.clear()),
    ("method", |r| r.groups[0].method.clear()),
    ("what", |r| r.asset.what.clear()),
    ("asset", |r| r.asset.id.clear()),
    ("serial", |r| r.asset.serial.clear()),
    ("maker", |r| r.asset.model.clear()),
    ("opened", |r| r.opened = None),
    ("closed", |r| r.closed = None),
    ("unit", |r| r.groups[0].result.as_mut().unwrap().unit.clear()),
    ("typed", |r| r.groups[0].values[0].readings = 0),
    ("signed_by", |r| r.signatures[0].name.clear()),
    ("signed_by", |r| r.signatures[0].meaning.clear()),
    ("signed_by", |r| r.signatures[0].at = None),
    ("signed_by", |r| r.signatures.clear()),
    ("rule", |r| r.plan.rule.clear()),
    ("limit", |r| r.groups[0].limit = None),
    ("meters", |r| r.meters.clear()),
    ("calibration", |r| r.meters[0].due.clear()),
    ("outcome", |r| r.outcome = Outcome::Open),
    ("looks", |r| r.answers.clear()),
    ("class", |r| r.asset.class.clear()),
];

/// ISO/IEC 17025:2017 7.8.2.1 and 7.8.6, IEC 62353:2014 6.1, EU GMP Annex 11 6 (from memory).
#[test]
fn what_is_taken_away_is_missed_and_said_on_the_page() {
    assert_eq!(gaps(&support::pass()), Vec::<&str>::new());
    for (code, take) in TAKEN {
        let mut report = support::pass();
        take(&mut report);
        assert_eq!(gaps(&report), [*code], "without {code}");
        for language in Language::ALL {
            let words = language.words();
            let said = words.tell("page", "gaps", &[("what", &words.say("gap", code))]);
            let shown = text(&pages(&report, language, Paper::A4).unwrap());
            assert!(shown.contains(&said), "{said}");
        }
    }
    let mut bare = support::pass();
    (bare.groups, bare.answers) = (Vec::new(), Vec::new());
    assert_eq!(gaps(&bare), ["results", "looks"]);
    for (letter, code, _) in ASKED {
        let taken = TAKEN.iter().any(|(taken, _)| taken == code) || *code == "results";
        assert!(taken, "nothing takes {letter} {code} away");
    }
}

/// IEC 62353:2014 6.2 (from memory): where safety is not given, the responsible organisation is
/// told in writing.
#[test]
fn a_fail_tells_who_is_responsible_and_nothing_else_does() {
    let notice = ["To the responsible organisation, in writing", "An den Betreiber, schriftlich"];
    let words = [Word::Pass, Word::ConditionalPass, Word::Undecided, Word::Fail];
    for word in words.into_iter().chain([Word::ConditionalFail]) {
        let report = Report { outcome: Outcome::Signed(word), ..support::full() };
        for (language, notice) in Language::ALL.into_iter().zip(notice) {
            let told = matches!(word, Word::Fail | Word::ConditionalFail);
            let paper = text(&pages(&report, language, Paper::A4).unwrap());
            assert_eq!(paper.contains(notice), told, "{word:?}: {paper}");
            assert_eq!(html::html(&report, language).unwrap().contains(notice), told, "{word:?}");
        }
    }
}

/// What is told of them is how many they are; their marks are hollow ones of the plot beside it.
#[test]
fn values_from_paper_are_named_as_such() {
    for (language, name) in Language::ALL.into_iter().zip(["○ from paper: 2", "○ vom Papier: 2"])
    {
        let shown = text(&pages(&support::full(), language, Paper::A4).unwrap());
        assert_eq!(shown.matches(name).count(), 1, "{shown}");
    }
}
