//! The table of a summary: a line a number, a line an asset that is missing.

use tapline_paper::summary::{Missing, Outcomes, Part, Share, Summary};

use super::csv::{Field, Form};

/// Columns of `summary-1`.
pub const SUMMARY: [&str; 21] = [
    "table",
    "station",
    "period",
    "first",
    "last",
    "as_of",
    "grace",
    "kind",
    "of",
    "number",
    "count",
    "all",
    "percent",
    "minutes",
    "asset",
    "description",
    "place",
    "risk",
    "due",
    "late",
    "visit",
];

/// Columns that each line begins with.
const HEAD: usize = 7;

/// The table, with its heading.
#[must_use]
pub fn table(summary: &Summary, form: Form) -> String {
    let mut out = form.heading(&SUMMARY);
    lines(summary).iter().for_each(|line| out += &form.line(line));
    out
}

/// Its lines.
#[must_use]
pub fn lines(summary: &Summary) -> Vec<Vec<Field>> {
    let mut lines = Lines { summary, lines: Vec::new() };
    for (code, share) in &summary.shares {
        lines.share(("all", ""), code, *share);
    }
    lines.outcomes(("all", ""), summary.outcomes);
    let minutes = &summary.minutes;
    for (code, at) in [("minutes_median", &minutes.median), ("minutes_p90", &minutes.p90)] {
        let at = at.clone().unwrap_or_default();
        lines.put(("all", "", code), [&minutes.inspections.to_string(), "", "", &at]);
    }
    lines.count(("all", ""), "damaged", summary.damaged);
    lines.count(("all", ""), "missing", summary.missing_all);
    summary.days.iter().for_each(|(day, of)| lines.outcomes(("day", day), *of));
    summary.places.iter().for_each(|part| lines.part("place", part));
    summary.risks.iter().for_each(|part| lines.part("risk", part));
    for one in &summary.set_aside {
        lines.count(("operator", &one.by), "set_aside", one.values);
        lines.count(("operator", &one.by), "set_aside_in_force", one.in_force);
    }
    summary.missing.iter().for_each(|one| lines.missing(one));
    lines.lines
}

struct Lines<'a> {
    summary: &'a Summary,
    lines: Vec<Vec<Field>>,
}

impl Lines<'_> {
    fn head(&self) -> Vec<Field> {
        let of = self.summary;
        let texts = ["summary-1", &of.site.station, &of.period, &of.first, &of.last, &of.as_of];
        let mut line: Vec<Field> = texts.into_iter().map(Field::text).collect();
        line.push(Field::Number(of.grace.to_string()));
        line
    }

    /// `count`, `all`, `percent`, `minutes`.
    fn put(&mut self, (kind, of, number): (&str, &str, &str), values: [&str; 4]) {
        let mut line = self.head();
        line.extend([kind, of, number].map(Field::text));
        line.extend(values.map(|value| Field::Number(value.to_owned())));
        line.resize(SUMMARY.len(), Field::text(""));
        self.lines.push(line);
    }

    fn count(&mut self, (kind, of): (&str, &str), number: &str, count: u64) {
        self.put((kind, of, number), [&count.to_string(), "", "", ""]);
    }

    fn share(&mut self, (kind, of): (&str, &str), number: &str, share: Share) {
        let percent = share.percent().unwrap_or_default();
        let values = [&*share.of.to_string(), &share.all.to_string(), &percent, ""];
        self.put((kind, of, number), values);
    }

    fn outcomes(&mut self, of: (&str, &str), outcomes: Outcomes) {
        let all = outcomes.all();
        for (code, count) in outcomes.named() {
            self.share(of, code, Share { of: count, all });
        }
    }

    fn part(&mut self, kind: &str, part: &Part) {
        let of = (kind, part.name.as_str());
        self.share(of, "on_time", part.on_time);
        self.share(of, "overdue", part.overdue);
        self.outcomes(of, part.outcomes);
    }

    fn missing(&mut self, one: &Missing) {
        let mut line = self.head();
        line.extend(["missing", &one.asset, "missing"].map(Field::text));
        line.extend([Field::Number("1".into())]);
        line.resize(SUMMARY.len() - HEAD, Field::text(""));
        let some = |text: &Option<String>| text.clone().unwrap_or_default();
        let texts = [&one.asset, &one.what, &one.place, &one.risk, &one.due];
        line.extend(texts.into_iter().map(Field::text));
        line.extend([some(&one.late), some(&one.visit)].map(Field::Text));
        self.lines.push(line);
    }
}
