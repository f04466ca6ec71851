//! The limit as a bar: how much of it is used. Left is good, whichever side conforms; the limit
//! stands at two thirds, what is beyond is to the right of it.

use maud::{Markup, html};

/// The limit stands here, per cent of the bar's length.
const LIMIT: u32 = 66;

/// What stands on the bar; places are per mille of the limit.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Bar {
    /// The limit in words.
    pub limit: String,
    /// Its clause and how sure it is, in words.
    pub source: String,
    /// Values of this step.
    pub own: Vec<u32>,
    /// Values of earlier inspections, oldest first.
    pub earlier: Vec<u32>,
}

/// Per cent of the bar's length; what is far beyond stands at its end.
pub(crate) fn along(place: u32) -> u32 {
    (place.min(1_500) * LIMIT / 1_000).min(99)
}

/// The bar. The script moves `#mark`.
pub(super) fn bar(bar: &Bar) -> Markup {
    let percent = |place: &u32| format!("{}%", along(*place));
    let limit = format!("{LIMIT}%");
    let rest = format!("{}%", 100 - LIMIT);
    html! {
        figure.bar {
            svg width="100%" height="56" role="img" aria-label=(spoken(bar)) {
                rect.within x="0" y="22" width=(limit) height="14" {}
                rect.beyond x=(limit) y="22" width=(rest) height="14" {}
                @for place in &bar.earlier {
                    svg.earlier x=(percent(place)) y="29" overflow="visible" {
                        path d="M0 -6 L5 0 L0 6 L-5 0 Z" {}
                    }
                }
                @for place in &bar.own {
                    circle.own cx=(percent(place)) cy="29" r="6" {}
                }
                line.limit x1=(limit) x2=(limit) y1="12" y2="46" {}
                svg #mark x="0" y="52" overflow="visible" visibility="hidden" {
                    path d="M0 -14 L9 2 L-9 2 Z" {}
                }
            }
            figcaption {
                span.limit-text { (bar.limit) }
                span.quiet { (bar.source) }
                span.quiet { (super::say("used")) }
                @if !bar.earlier.is_empty() {
                    span.quiet { "◆ " (super::say("earlier")) }
                }
            }
        }
    }
}

fn spoken(bar: &Bar) -> String {
    let tenths = |place: &u32| format!("{} %", place / 10);
    let list = |places: &[u32]| places.iter().map(tenths).collect::<Vec<_>>().join(", ");
    let values =
        [("limit", bar.limit.clone()), ("own", list(&bar.own)), ("earlier", list(&bar.earlier))];
    let values: Vec<(&str, &str)> = values.iter().map(|(k, v)| (*k, v.as_str())).collect();
    super::tell("bar", &values)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_limit_is_where_its_line_is_and_nothing_leaves_the_bar() {
        assert_eq!(along(0), 0);
        assert_eq!(along(1_000), LIMIT);
        assert!(along(999) <= LIMIT && along(1_016) > LIMIT);
        assert_eq!(along(u32::MAX), 99);
    }
}
