//! Labels: which one a result gets, and that its dots are whole. `PICTURES=DIR` keeps them.
#![allow(clippy::unwrap_used, reason = "a test may panic")]

mod support;

use tapline_paper::canvas::{Mark, Page};
use tapline_paper::label::{NoLabel, Own, Size, asset, result};
use tapline_paper::raster::raster;
use tapline_paper::report::{Change, Outcome, Report};
use tapline_paper::seal::Word;
use tapline_paper::words::Language;

fn of(outcome: Outcome) -> Report {
    Report { outcome, ..support::pass() }
}

fn texts(page: &Page) -> Vec<String> {
    let text = |mark: &Mark| match mark {
        Mark::Text { text, .. } => Some(text.clone()),
        Mark::Fill { .. } => None,
    };
    page.marks.iter().filter_map(text).collect()
}

fn sizes() -> Vec<Size> {
    let size = |width, height, dpi| Size { width, height, dpi };
    vec![size(50, 25, 203), size(50, 25, 300), size(62, 29, 300), size(100, 50, 203)]
}

#[test]
fn only_a_pass_says_pass() {
    for (word, says) in [
        (Word::Pass, "PASS"),
        (Word::ConditionalPass, "PASS"),
        (Word::Undecided, "HOLD"),
        (Word::ConditionalFail, "FAIL"),
        (Word::Fail, "FAIL"),
    ] {
        let words = Language::English.words();
        let label = result(&of(Outcome::Signed(word)), words, Size::default()).unwrap();
        let texts = texts(&label);
        assert!(texts.contains(&says.to_owned()), "{word:?}: {texts:?}");
        assert_eq!(texts.contains(&"PASS".to_owned()), says == "PASS", "{word:?}");
        assert_eq!(texts.iter().any(|text| text.starts_with("next")), says == "PASS", "{word:?}");
    }
}

#[test]
fn what_is_not_sealed_or_was_not_measured_has_no_label() {
    let words = Language::English.words();
    let label = |report: &Report| result(report, words, Size::default()).unwrap_err();
    assert_eq!(label(&support::open()), NoLabel::Unsealed);
    let draft = Report { head: None, ..support::pass() };
    assert_eq!(label(&draft), NoLabel::Unsealed);
    let rejected = Change { what: "rejected".into(), ..Change::default() };
    let rejected = Report { changes: vec![rejected], ..support::pass() };
    assert_eq!(label(&rejected), NoLabel::Rejected);
    let ended = of(Outcome::Ended("with_patient".into()));
    assert_eq!(label(&ended), NoLabel::Ended("with_patient".into()));
}

/// Each dark module is as many whole dots as the next: nothing is drawn between dots.
#[test]
fn codes_lie_on_the_dots_of_the_printer() {
    for size in sizes() {
        for language in Language::ALL {
            let label = result(&support::pass(), language.words(), size).unwrap();
            let dot = 72.0 / f32::from(size.dpi);
            for mark in &label.marks {
                let Mark::Fill { shape, .. } = mark else { continue };
                // Codes are many boxes in one shape; a seal is one outline or few.
                if shape.len() < 200 {
                    continue;
                }
                for seg in shape {
                    let (x, y) = match seg {
                        tapline_paper::canvas::Seg::Move(x, y)
                        | tapline_paper::canvas::Seg::Line(x, y) => (x / dot, y / dot),
                        _ => continue,
                    };
                    let off = (x - x.round()).abs().max((y - y.round()).abs());
                    assert!(off < 0.01, "{size:?}: {x} {y}");
                }
            }
        }
    }
}

#[test]
fn no_text_of_a_label_lies_on_another_or_beyond_its_edge() {
    let words = [Word::Pass, Word::Undecided, Word::Fail];
    for size in sizes() {
        for language in Language::ALL {
            for word in words {
                let label = result(&of(Outcome::Signed(word)), language.words(), size).unwrap();
                let boxes: Vec<[f32; 4]> = label
                    .marks
                    .iter()
                    .filter_map(|mark| match mark {
                        Mark::Text { x, y, size, face, text, .. } => {
                            Some([*x, x + face.width(text, *size), y - size * 0.73, *y])
                        }
                        Mark::Fill { .. } => None,
                    })
                    .collect();
                for (at, [left, right, top, bottom]) in boxes.iter().enumerate() {
                    assert!(*left > 2.0 && *right < label.width - 2.0, "{size:?} {word:?}");
                    assert!(*top > 2.0 && *bottom < label.height - 2.0, "{size:?} {word:?}");
                    for other in &boxes[at + 1..] {
                        let apart = right <= &other[0]
                            || &other[1] <= left
                            || bottom <= &other[2]
                            || &other[3] <= top;
                        assert!(
                            apart,
                            "{size:?} {word:?} {}: {:?}",
                            language.code(),
                            texts(&label)
                        );
                    }
                }
            }
        }
    }
}

#[test]
fn the_raster_is_as_large_as_the_label_and_black_and_white() {
    let size = Size::default();
    let report = support::pass();
    let label = result(&report, Language::English.words(), size).unwrap();
    let dots = raster(&label, 203).unwrap();
    assert_eq!((dots.width, dots.height), (400, 200));
    assert!(dots.png().starts_with(b"\x89PNG"));
    let own = asset("P-0101", "suction pump", None, Own::Lines, size).unwrap();
    assert_eq!(raster(&own, 203).unwrap().width, 400);
    assert!(asset("P-0101", "suction pump", None, Own::Gs1, size).is_err());
    if let Some(folder) = std::env::var_os("PICTURES") {
        let folder = std::path::Path::new(&folder);
        let own = asset("P-0101", "suction pump", None, Own::Squares, size).unwrap();
        std::fs::write(folder.join("own.png"), raster(&own, 203).unwrap().png()).unwrap();
        let lines = asset("P-0101", "suction pump", None, Own::Lines, size).unwrap();
        std::fs::write(folder.join("lines.png"), raster(&lines, 203).unwrap().png()).unwrap();
        for word in [Word::Pass, Word::Undecided, Word::Fail] {
            for language in Language::ALL {
                let report = of(Outcome::Signed(word));
                let label = result(&report, language.words(), size).unwrap();
                let name = format!("label-{}-{}.png", word.code(), language.code());
                std::fs::write(folder.join(name), raster(&label, 203).unwrap().png()).unwrap();
            }
        }
    }
}
