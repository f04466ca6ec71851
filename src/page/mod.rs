//! The bench page: data in, HTML out. Nothing is decided here and nothing judged; the sentences
//! are those of the words file. Whatever an instrument, a barcode or a register says is text: it
//! goes through `maud`, which escapes it, and the script puts it in as text.
//!
//! Reading order: `bench` is the view that is worked with, `acts` its buttons, `steps` its list,
//! `bar` and `lead` its drawings; then [`lists`], [`asset`], [`review`] and [`state`].

mod acts;
pub(crate) mod asset;
pub(crate) mod bar;
pub(crate) mod bench;
mod lead;
pub(crate) mod life;
pub(crate) mod lists;
pub(crate) mod month;
pub(crate) mod plot;
pub(crate) mod review;
pub(crate) mod state;
pub(crate) mod steps;
mod stranger;
pub(crate) mod work;

use maud::{DOCTYPE, Markup, html};
use tapline_drivers::{Number, Unit};
use tapline_protocols::fact::{Judged, Word};

use crate::station::status::Opened;
use crate::words::english;

/// The style of all views.
pub(crate) const STYLE: &str = include_str!("page.css");

/// The script of all views.
pub(crate) const SCRIPT: &str = include_str!("page.js");

/// The mark in a browser's tab.
pub(crate) const ICON: &str = include_str!("icon.svg");

/// A sentence of the page.
pub(crate) fn say(code: &str) -> &str {
    english().say("page", code)
}

/// A sentence of the page with its values.
pub(crate) fn tell(code: &str, values: &[(&str, &str)]) -> String {
    english().tell("page", code, values)
}

/// The closed word of a value.
pub(crate) fn code(of: &impl serde::Serialize) -> String {
    match serde_json::to_value(of) {
        Ok(serde_json::Value::String(word)) => word,
        _ => String::new(),
    }
}

/// The word of a verdict.
pub(crate) fn word(of: Word) -> String {
    code(&of)
}

/// A judged value as people see it: in the unit of its limit, digit for digit.
pub(crate) fn shown(judged: &Judged) -> String {
    let mark = match judged.indication.as_deref() {
        Some("above") => "> ",
        Some("below") => "< ",
        _ => "",
    };
    let (Some(shown), Some(own)) = (&judged.shown, judged.unit) else { return String::new() };
    let other = judged.limit.as_ref().map(|limit| limit.unit);
    let other = other.filter(|other| other.quantity == own.quantity).unwrap_or(own);
    match Number::parse(shown).and_then(|number| shifted(number, own, other)) {
        Some(number) => format!("{mark}{} {}", number.text(), unit(other.ucum())),
        None => format!("{mark}{shown} {}", unit(own.ucum())),
    }
}

/// A number in another prefix of its quantity: the same digits.
fn shifted(number: Number, from: Unit, to: Unit) -> Option<Number> {
    let up = i16::from(from.prefix.exponent()) - i16::from(to.prefix.exponent());
    let exponent = i8::try_from(i16::from(number.exponent) + up).ok()?;
    Some(Number { exponent, ..number })
}

/// The limit of a verdict: `at most 500 µA`, and where it stands.
pub(crate) fn limit(judged: &Judged) -> String {
    let Some(limit) = &judged.limit else { return String::new() };
    let side = if limit.direction == "max" { "at_most" } else { "at_least" };
    let bound = tell(
        "limit",
        &[
            ("side", english().say("explain", side)),
            ("value", &limit.value),
            ("unit", &unit(limit.unit.ucum())),
        ],
    );
    format!("{bound}, {} {} {}", limit.standard, limit.edition, limit.clause)
}

/// An inspection that is not at its end: a link to the bench where it goes on.
pub(crate) fn goes_on(opened: &Opened) -> Markup {
    let word = if opened.parked { "rests_here" } else { "open_here" };
    let values = [("bench", opened.bench_name.as_str()), ("id", opened.id.as_str())];
    html! { p { a href={ "/bench/" (opened.bench) } { (tell(word, &values)) } } }
}

/// A unit as people write it.
pub(crate) fn unit(ucum: &str) -> String {
    let text = ucum.replace("Ohm", "Ω");
    match text.strip_prefix('u') {
        Some(rest) => format!("µ{rest}"),
        None => text,
    }
}

/// Where a view stands in the list of views.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum View {
    Bench,
    Due,
    Results,
    State,
}

/// A whole document.
pub(crate) fn document(
    title: &str,
    view: Option<View>,
    bench: Option<&str>,
    main: &Markup,
) -> String {
    let links = [
        (View::Bench, "/", "bench"),
        (View::Due, "/due", "due"),
        (View::Results, "/results", "results"),
        (View::State, "/state", "state"),
    ];
    html! {
        (DOCTYPE)
        html lang=(english().language()) {
            (head(title))
            body data-bench=[bench] {
                a.skip href="#main" { (say("skip")) }
                header.top {
                    p.brand { "Tapline" }
                    nav aria-label=(say("views")) {
                        @for (one, to, word) in links {
                            a href=(to) aria-current=[(view == Some(one)).then_some("page")] {
                                (say(word))
                            }
                        }
                    }
                    div.tools {
                        button #sound type="button" aria-pressed="true" { (say("sound")) }
                        button #dark type="button" aria-pressed="false" { (say("dark")) }
                    }
                }
                main #main tabindex="-1" { (main) }
                footer.proof { p { (english().say("caution", "screen_no_proof")) } }
            }
        }
    }
    .into_string()
}

/// What a browser without a key gets: nothing of the station's.
pub(crate) fn door() -> String {
    html! {
        (DOCTYPE)
        html lang=(english().language()) {
            (head("Tapline"))
            body data-door {
                main #main {
                    h1 { (say("door")) }
                    p { (say("door_how")) }
                    p #said role="status" {}
                }
                footer.proof { p { (english().say("caution", "screen_no_proof")) } }
            }
        }
    }
    .into_string()
}

fn head(title: &str) -> Markup {
    html! {
        head {
            meta charset="utf-8";
            meta name="viewport" content="width=device-width, initial-scale=1";
            meta name="color-scheme" content="light dark";
            title { (title) }
            link rel="icon" type="image/svg+xml" href="/icon.svg";
            link rel="stylesheet" href="/page.css";
            script src="/page.js" defer {}
        }
    }
}

/// A word of a verdict with its shape: never by colour alone.
pub(crate) fn verdict(code: &str) -> Markup {
    let shape = match code {
        "pass" => "M2 9 A7 7 0 1 1 16 9 A7 7 0 1 1 2 9 M5.5 9 L8 11.8 L12.6 6.2",
        "conditional_pass" => "M2 9 A7 7 0 1 1 16 9 A7 7 0 1 1 2 9 M6 9 L12 9",
        "fail" => "M2.5 2.5 H15.5 V15.5 H2.5 Z M5.8 5.8 L12.2 12.2 M12.2 5.8 L5.8 12.2",
        "conditional_fail" => "M2.5 2.5 H15.5 V15.5 H2.5 Z M6 9 L12 9",
        _ => "M9 2 L16.5 15.5 H1.5 Z M9 7 V11 M9 13 V13.4",
    };
    html! {
        span class={ "verdict " (code) } {
            svg viewBox="0 0 18 18" aria-hidden="true" { path d=(shape) {} }
            (english().say("verdict", code))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_page_is_small_and_nothing_of_it_comes_from_elsewhere() {
        assert!(SCRIPT.len() < 30_000, "{} bytes", SCRIPT.len());
        assert!(STYLE.len() + SCRIPT.len() < 100_000);
        for text in [SCRIPT, STYLE] {
            assert!(!text.contains("http:") && !text.contains("https:"), "nothing is fetched");
            assert!(!text.contains("innerHTML") && !text.contains("eval("), "text is put as text");
        }
    }

    #[test]
    fn units_are_written_as_people_do() {
        assert_eq!(unit("Ohm"), "Ω");
        assert_eq!(unit("MOhm"), "MΩ");
        assert_eq!(unit("uA"), "µA");
        assert_eq!(unit("mV"), "mV");
    }
}
