//! How the leads lie, as a drawing: the asset, its plug, where it stands, and the two ends of what
//! measures. The sentence beside it says the same.

use maud::{Markup, html};

/// Somewhere a lead ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum End {
    /// Earth contact of the plug.
    PlugEarth,
    /// Both mains pins of the plug, joined.
    MainsPins,
    /// Earth contact of the coupler or inlet.
    Inlet,
    /// Protective earth, beside the asset.
    Earth,
    /// The metal point that is named.
    Point,
    /// Foil on the housing.
    Foil,
    /// Connections of the applied part, joined.
    Part,
    /// One connection of the applied part.
    Single,
    /// The other patient connections.
    Others,
}

/// What measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Meter {
    Ohm,
    Network,
    /// The network in line with the isolated source.
    Source,
    Insulation,
    /// A clamp around both supply conductors.
    Clamp,
}

/// A placement: what measures between which ends; whether the asset is in the supply box.
struct Placement {
    meter: Meter,
    ends: [End; 2],
    boxed: bool,
    cord: bool,
}

fn placement(key: &str) -> Option<Placement> {
    use End::{Earth, Foil, Inlet, MainsPins, Others, Part, PlugEarth, Point, Single};
    use Meter::{Clamp, Insulation, Network, Ohm, Source};
    let (meter, ends, boxed, cord) = match key {
        "pe.plug_to_part" | "pe.earth_contact_to_part" => (Ohm, [PlugEarth, Point], false, true),
        "pe.inlet_to_part" => (Ohm, [Inlet, Point], false, false),
        "pe.cord" => (Ohm, [PlugEarth, Inlet], false, true),
        "pe.installed" => (Ohm, [Earth, Point], false, true),
        "leak.box" => (Network, [Earth, PlugEarth], true, true),
        "leak.case" => (Network, [Foil, Earth], true, true),
        "part.from_source" | "total.from_source" => (Source, [Part, Earth], true, true),
        "part.direct" | "total.type" => (Network, [Part, Earth], true, true),
        "touch.part" | "touch.u1" | "touch.u2" => (Network, [Point, Earth], true, true),
        "part.single" => (Network, [Single, Earth], true, true),
        "part.single_from_source" => (Source, [Single, Earth], true, true),
        "part.single_alternative" => (Source, [Single, MainsPins], false, true),
        "part.alternative" => (Source, [Part, MainsPins], false, true),
        "auxiliary.single" => (Network, [Single, Others], true, true),
        "leak.alternative" => (Source, [MainsPins, PlugEarth], false, true),
        "leak.differential" => (Clamp, [PlugEarth, PlugEarth], true, true),
        "touch.installed" => (Network, [Point, Earth], false, true),
        "insulation.mains_to_earth" => (Insulation, [MainsPins, PlugEarth], false, true),
        "insulation.mains_to_accessible" => (Insulation, [MainsPins, Point], false, true),
        "insulation.mains_to_applied_part" => (Insulation, [MainsPins, Part], false, true),
        "insulation.applied_part_to_earth" => (Insulation, [Part, PlugEarth], false, true),
        _ => return None,
    };
    Some(Placement { meter, ends, boxed, cord })
}

impl End {
    /// Where it is in the drawing.
    fn at(self) -> (u32, u32) {
        match self {
            End::PlugEarth => (58, 92),
            End::MainsPins => (26, 71),
            End::Inlet => (150, 78),
            End::Earth => (58, 178),
            End::Point => (270, 62),
            End::Foil => (250, 31),
            End::Part => (300, 112),
            End::Single => (300, 100),
            End::Others => (300, 124),
        }
    }
}

/// Where the two leads lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lies {
    /// As the value is measured.
    Apart,
    /// Both where the first will stay: before the value.
    OnFirst,
    /// Both where the second lies: after it.
    OnSecond,
}

/// The drawing of a placement; nothing for one that has none.
pub(super) fn drawing(key: &str, lies: Lies) -> Markup {
    let Some(mut placed) = placement(key) else { return html! {} };
    match lies {
        Lies::Apart => {}
        Lies::OnFirst => placed.ends[1] = placed.ends[0],
        Lies::OnSecond => placed.ends[0] = placed.ends[1],
    }
    let mut ends = placed.ends;
    // Side by side they do not cross: of two at the plug the outer one runs below.
    let plug = |end: &End| matches!(end, End::MainsPins | End::PlugEarth);
    match ends.iter().all(plug) {
        true => ends.sort_by_key(|end| std::cmp::Reverse(end.at().0)),
        false => ends.sort_by_key(|end| end.at().1),
    }
    let beside = if lies == Lies::Apart { [0, 0] } else { [-7, 7] };
    let applied =
        placed.ends.iter().any(|end| matches!(end, End::Part | End::Single | End::Others));
    html! {
        svg.drawing viewBox="0 0 330 200" aria-hidden="true" {
            (asset(&placed, applied))
            @if placed.ends.contains(&End::Foil) {
                rect.foil x="180" y="26" width="70" height="10" {}
            }
            @if placed.ends.contains(&End::Earth) {
                path.line d="M40 178 H76 M47 184 H69 M54 190 H62" {}
            }
            @match placed.meter {
                Meter::Clamp => {
                    // Around line and neutral inside of the box; the earth conductor stays outside.
                    ellipse.lead cx="27" cy="71" rx="6" ry="14" {}
                    (meter(placed.meter))
                    path.lead d="M27 85 V138 Q27 150 39 150 H146" {}
                }
                _ => {
                    (meter(placed.meter))
                    @for ((end, aside), height) in ends.into_iter().zip(beside).zip([144, 157]) {
                        (lead(end, aside, height))
                        @let away = matches!(end, End::MainsPins | End::Earth);
                        @if away && placed.meter == Meter::Source {
                            (source(height))
                        }
                    }
                }
            }
        }
    }
}

/// The asset with its cord and plug, and the box that it is in.
fn asset(placed: &Placement, applied: bool) -> Markup {
    html! {
        @if placed.boxed {
            rect.box x="14" y="46" width="62" height="64" rx="4" {}
            text.word x="45" y="40" text-anchor="middle" { (super::say("supply_box")) }
        }
        @if placed.ends == [End::PlugEarth, End::Inlet] {
            // The cord alone, with its coupler.
            rect.asset x="142" y="66" width="22" height="24" rx="3" {}
        } @else {
            rect.asset x="160" y="42" width="110" height="72" rx="6" {}
            text.word x="215" y="84" text-anchor="middle" { (super::say("asset")) }
        }
        @if placed.cord {
            @let ends = if placed.ends.contains(&End::Inlet) { 142 } else { 160 };
            path.cord d={ "M76 78 H" (ends) } {}
            path.line d="M40 58 H58 V98 H40 Z M58 78 H76 M40 64 H26 M40 78 H26 M40 92 H26" {}
        } @else {
            path.line d="M150 66 V90 H160" {}
        }
        @if applied {
            path.line d="M270 100 H300 M270 112 H300 M270 124 H300" {}
        }
        @if placed.ends.contains(&End::Point) {
            circle.point cx="270" cy="62" r="5" {}
        }
    }
}

fn meter(meter: Meter) -> Markup {
    let letter = match meter {
        Meter::Ohm => "Ω",
        Meter::Network | Meter::Source => "V",
        Meter::Insulation => "MΩ",
        Meter::Clamp => "A",
    };
    html! {
        circle.meter cx="165" cy="150" r="19" {}
        text.letter x="165" y="156" text-anchor="middle" { (letter) }
        @if matches!(meter, Meter::Network | Meter::Source) {
            rect.network x="150" y="174" width="30" height="9" {}
        }
    }
}

/// The isolated source, in the lead that does not come from the applied part.
fn source(height: u32) -> Markup {
    html! {
        circle.meter cx="112" cy=(height) r="11" {}
        text.letter x="112" y=(height + 5) text-anchor="middle" { "~" }
        text.word x="126" y="197" text-anchor="middle" { (super::say("source")) }
    }
}

/// The clips of a lead set, joined or taken apart, on nothing else: how it is nulled.
pub(super) fn nulling(joined: bool) -> Markup {
    let (one, other) = if joined { (157, 173) } else { (120, 210) };
    html! {
        svg.drawing viewBox="0 30 330 140" aria-hidden="true" {
            path.lead d={ "M147 144 H90 Q70 144 70 120 V90 Q70 62 98 62 H" (one) } {}
            path.lead d={ "M183 144 H240 Q260 144 260 120 V90 Q260 62 232 62 H" (other) } {}
            circle.clip cx=(one) cy="62" r="8" {}
            circle.clip cx=(other) cy="62" r="8" {}
            (meter(Meter::Ohm))
        }
    }
}

/// A lead from the near side of the meter to its end, with a clip there or a little aside.
fn lead(end: End, aside: i32, height: u32) -> Markup {
    let (x, y) = end.at();
    let x = x.saturating_add_signed(aside);
    let path = if (119..165).contains(&x) {
        let (down, up) = (height - 14, y + 14);
        format!("M147 {height} H134 Q120 {height} 120 {down} V{up} Q120 {y} 134 {y} H{x}")
    } else if x < 165 {
        format!("M147 {height} H{} Q{x} {height} {x} {y}", x + 28)
    } else {
        let side = (x + 14).max(290);
        let (from, up, down) = (side - 12, height - 12, y + 10);
        format!(
            "M183 {height} H{from} Q{side} {height} {side} {up} V{down} Q{side} {y} {} {y} H{x}",
            side - 10
        )
    };
    html! {
        path.lead d=(path) {}
        circle.clip cx=(x) cy=(y) r="6" {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_placement_that_has_a_sentence_has_a_drawing() {
        for key in crate::words::english().codes("lead") {
            assert!(placement(key).is_some(), "no drawing of {key}");
            for lies in [Lies::Apart, Lies::OnFirst, Lies::OnSecond] {
                let drawn = drawing(key, lies).into_string();
                assert!(drawn.contains("class=\"meter\""), "{key}");
            }
        }
        assert!(drawing("no.such", Lies::Apart).into_string().is_empty());
    }

    #[test]
    fn joined_clips_lie_on_one_point() {
        let clips = |lies| {
            let drawn = drawing("insulation.mains_to_accessible", lies).into_string();
            let clip = |text: &str| {
                let number = |from: &str| {
                    let rest = &text[text.find(from).unwrap() + from.len()..];
                    rest[..rest.find('"').unwrap()].parse::<u32>().unwrap()
                };
                (number("cx=\""), number("cy=\""))
            };
            drawn.split("class=\"clip\"").skip(1).map(clip).collect::<Vec<_>>()
        };
        assert_eq!(clips(Lies::Apart), [(270, 62), (26, 71)]);
        assert_eq!(clips(Lies::OnFirst), [(19, 71), (33, 71)]);
        assert_eq!(clips(Lies::OnSecond), [(263, 62), (277, 62)]);
    }
}
