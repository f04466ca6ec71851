//! What a summary tells, from the numbers of the index: nothing is counted here.

use tapline_paper::moment::Moment;
use tapline_paper::report::Site;
use tapline_paper::summary::{self, Aside, Minutes, Part, Share, Summary};
use tapline_protocols::due::Day;
use tapline_protocols::due::period::{Kind, Period};

use super::House;
use crate::clock::rfc3339;
use crate::index::{self, Group, Missing, Numbers, NumbersQuery, Outcomes};

/// The numbers of a period, as they were counted at a moment.
pub(crate) fn summary(
    numbers: &Numbers,
    query: &NumbersQuery,
    house: &House,
    wall_us: i64,
) -> Summary {
    let period = query.period;
    let share = |(code, share): &(&str, index::Share)| ((*code).to_owned(), self::share(*share));
    let aside = |(by, values, in_force): &(String, u64, u64)| Aside {
        by: by.clone(),
        values: *values,
        in_force: *in_force,
    };
    Summary {
        site: Site {
            workshop: house.workshop.clone(),
            address: house.address.clone(),
            station: house.station.clone(),
            ..Site::default()
        },
        period: period.name(),
        kind: kind(period).to_owned(),
        first: period.first().text(),
        last: last(period).text(),
        as_of: numbers.as_of.text(),
        open: query.today < period.next(),
        grace: query.grace,
        counted: Moment::read(&rfc3339(wall_us)),
        program: env!("CARGO_PKG_VERSION").to_owned(),
        shares: numbers.shares.iter().map(share).collect(),
        minutes: Minutes {
            median: numbers.minutes_at(50),
            p90: numbers.minutes_at(90),
            inspections: numbers.worked_us.len() as u64,
        },
        outcomes: outcomes(numbers.outcomes),
        days: numbers.days.iter().map(|(day, of)| (day.text(), outcomes(*of))).collect(),
        places: numbers.places.iter().map(|(name, of)| part(name.clone(), of)).collect(),
        risks: numbers.risks.iter().map(|(risk, of)| part(word(risk), of)).collect(),
        set_aside: numbers.set_aside.iter().map(aside).collect(),
        missing: numbers.missing.iter().map(missing).collect(),
        missing_all: numbers.missing_all as u64,
        damaged: numbers.damaged as u64,
    }
}

fn kind(period: Period) -> &'static str {
    match period.kind() {
        Kind::Day => "day",
        Kind::Week => "week",
        Kind::Month => "month",
    }
}

fn last(period: Period) -> Day {
    let (first, next) = (period.first(), period.next());
    let days = next.number().saturating_sub(first.number()).saturating_sub(1);
    first.plus_days(days).unwrap_or(first)
}

fn share(of: index::Share) -> Share {
    Share { of: of.of, all: of.all }
}

fn outcomes(of: Outcomes) -> summary::Outcomes {
    summary::Outcomes {
        pass: of.pass,
        conditional_pass: of.conditional_pass,
        conditional_fail: of.conditional_fail,
        fail: of.fail,
        undecided: of.undecided,
        ended: of.ended,
    }
}

fn part(name: String, of: &Group) -> Part {
    Part {
        name,
        on_time: share(of.on_time),
        overdue: share(of.overdue),
        outcomes: outcomes(of.outcomes),
    }
}

/// A word of a closed list as it is stored; empty where there is none.
fn word(of: &impl serde::Serialize) -> String {
    let value = serde_json::to_value(of).unwrap_or_default();
    value.as_str().unwrap_or_default().to_owned()
}

fn missing(one: &Missing) -> summary::Missing {
    let due = &one.due;
    summary::Missing {
        asset: due.asset.clone(),
        what: due.description.clone(),
        place: due.location.clone(),
        risk: word(&due.risk),
        due: due.due.map(Day::text).unwrap_or_default(),
        late: one.late.map(Day::text),
        visit: one.visit.clone(),
    }
}
