//! A plot of like values over the years: how much of the limit each one used. The limit is the
//! broken line; what lies above it is beyond, whichever side conforms.

use maud::{Markup, html};

/// Like values, oldest first.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Plot {
    /// What they have in common: what was measured, and how.
    pub heading: (String, String),
    /// Those of the table.
    pub dots: Vec<Dot>,
    /// Those that are drawn: of long times some.
    pub drawn: Vec<Dot>,
    /// Where it is going, in words.
    pub trend: Vec<String>,
}

/// One value.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(crate) struct Dot {
    /// Inspection.
    pub id: String,
    /// Its day, in words and as a number.
    pub day: (String, u32),
    pub shown: String,
    pub limit: String,
    /// Code of the verdict.
    pub verdict: String,
    /// How much of the limit it used, per mille; `None` where that can't be told.
    pub used: Option<u32>,
    /// From paper: where it stands there. It was never judged.
    pub paper: Option<String>,
}

const WIDE: u32 = 600;
const HIGH: u32 = 180;
const LEFT: u32 = 56;
const BELOW: u32 = 28;

/// The plot with its table: what the drawing shows can be read, too.
pub(super) fn plot(plot: &Plot) -> Markup {
    html! {
        section.plotted {
            h2 { (plot.heading.0) }
            p.quiet { (plot.heading.1) }
            @if plot.drawn.iter().filter(|dot| dot.used.is_some()).count() > 1 {
                (drawn(plot))
                @if plot.drawn.iter().any(|dot| dot.paper.is_some() && dot.used.is_some()) {
                    p.quiet { (super::say("hollow")) }
                }
            }
            @for line in &plot.trend { p { (line) } }
            div.table tabindex="0" role="region" aria-label=(super::say("list")) {
                table {
                    thead { tr {
                        th { (super::say("day")) } th { (super::say("value")) }
                        th { (super::say("verdict")) } th { (super::say("of_limit")) }
                        th { (super::say("the_limit")) } th { (super::say("inspection")) }
                    } }
                    tbody {
                        @for dot in plot.dots.iter().rev() {
                            tr {
                                td { (dot.day.0) }
                                td { (dot.shown) }
                                @if dot.paper.is_some() { td.paper { (super::say("from_paper")) } }
                                @else { td { (super::verdict(&dot.verdict)) } }
                                td { @if let Some(used) = dot.used { (used / 10) " %" } @else { "–" } }
                                td.bound { (dot.limit) }
                                @if let Some(paper) = &dot.paper { td.paper { (paper) } }
                                @else { td { a href={ "/inspection/" (dot.id) } { (dot.id) } } }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn drawn(plot: &Plot) -> Markup {
    let used = plot.drawn.iter().filter_map(|dot| dot.used);
    let top = used.max().unwrap_or_default().clamp(1_000, 3_000) * 11 / 10;
    let days = plot.drawn.iter().map(|dot| dot.day.1);
    let (first, last) = (days.clone().min().unwrap_or_default(), days.max().unwrap_or_default());
    let across = |day: u32| {
        let (from, span) = (LEFT + 14, WIDE - LEFT - 28);
        from + (day - first) * span / (last - first).max(1)
    };
    let up = |used: u32| HIGH - used.min(top) * (HIGH - 12) / top;
    let line: Vec<String> = plot
        .drawn
        .iter()
        .filter(|dot| dot.paper.is_none())
        .filter_map(|dot| Some(format!("{},{}", across(dot.day.1), up(dot.used?))))
        .collect();
    let (limit, right) = (up(1_000), WIDE);
    html! {
        svg.plot viewBox={ "0 0 " (WIDE) " " (HIGH + BELOW) } role="img" aria-label=(plot.heading.0) {
            path.axis fill="none" d={ "M" (LEFT) " 6 V" (HIGH) " H" (right) } {}
            path.limit d={ "M" (LEFT) " " (limit) " H" (right) } {}
            text x=(LEFT - 8) y=(limit + 5) text-anchor="end" { "100 %" }
            text x=(LEFT - 8) y=(HIGH) text-anchor="end" { "0" }
            @if let Some(dot) = plot.drawn.first() { text x=(LEFT) y=(HIGH + 20) { (dot.day.0) } }
            @if let Some(dot) = plot.drawn.last() {
                text x=(right) y=(HIGH + 20) text-anchor="end" { (dot.day.0) }
            }
            polyline.path points=(line.join(" ")) {}
            @for dot in &plot.drawn {
                @if let Some(used) = dot.used { (mark(dot, across(dot.day.1), up(used))) }
            }
        }
    }
}

/// A round mark passed, a square one did not, a hollow one is from paper: no line leads to it.
fn mark(dot: &Dot, x: u32, y: u32) -> Markup {
    let passed = matches!(dot.verdict.as_str(), "pass" | "conditional_pass");
    html! {
        @if dot.paper.is_some() { circle.paper cx=(x) cy=(y) r="5" {} }
        @else if passed { circle.dot cx=(x) cy=(y) r="5" {} }
        @else { rect.bad x=(x - 5) y=(y.saturating_sub(5)) width="10" height="10" {} }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dot(day: u32, used: u32, verdict: &str) -> Dot {
        let day = (format!("day {day}"), day);
        Dot { day, used: Some(used), verdict: verdict.into(), ..Dot::default() }
    }

    #[test]
    fn a_plot_holds_all_its_marks_inside() {
        let dots =
            vec![dot(45_000, 300, "pass"), dot(45_400, 900, "pass"), dot(45_800, 9_000, "fail")];
        let text = drawn(&Plot { drawn: dots, ..Plot::default() }).into_string();
        assert_eq!(text.matches("class=\"dot\"").count(), 2);
        assert_eq!(text.matches("class=\"bad\"").count(), 1);
        assert!(text.contains("y=\"7\""), "what is far beyond stands at the top: {text}");
    }

    #[test]
    fn a_value_from_paper_is_hollow_and_no_line_leads_to_it() {
        let paper = Dot { paper: Some("folder A".into()), ..dot(44_000, 300, "") };
        let all = vec![paper, dot(45_000, 400, "pass"), dot(45_400, 500, "pass")];
        let text = plot(&Plot { dots: all.clone(), drawn: all, ..Plot::default() }).into_string();
        assert_eq!(text.matches("class=\"dot\"").count(), 2);
        assert_eq!(text.matches("circle class=\"paper\"").count(), 1);
        let line = text.split("points=\"").nth(1).and_then(|rest| rest.split('"').next());
        assert_eq!(line.unwrap().split(' ').count(), 2);
        assert!(text.contains("folder A") && text.matches("/inspection/").count() == 2, "{text}");
        let hollow = crate::page::say("hollow");
        assert_eq!(text.matches(hollow).count(), 1, "it is said what a hollow mark is: {text}");
        let own = vec![dot(45_000, 400, "pass"), dot(45_400, 500, "pass")];
        let text = plot(&Plot { dots: own.clone(), drawn: own, ..Plot::default() }).into_string();
        assert!(!text.contains(hollow), "and not where there is none: {text}");
    }

    #[test]
    fn the_verdict_stands_before_the_limit() {
        let all = vec![dot(45_000, 400, "pass"), dot(45_400, 500, "pass")];
        let text = plot(&Plot { dots: all.clone(), drawn: all, ..Plot::default() }).into_string();
        let at = |what: &str| text.find(what).unwrap();
        let heads = ["value", "verdict", "of_limit", "the_limit"].map(crate::page::say);
        assert!(heads.map(|head| at(&format!("<th>{head}</th>"))).is_sorted(), "{text}");
        assert!(at("class=\"verdict pass\"") < at("class=\"bound\""), "{text}");
    }

    #[test]
    fn one_day_alone_is_no_division_by_zero() {
        let dots = vec![dot(45_000, 300, "pass"), dot(45_000, 301, "pass")];
        assert!(drawn(&Plot { drawn: dots, ..Plot::default() }).into_string().contains("polyline"));
    }
}
