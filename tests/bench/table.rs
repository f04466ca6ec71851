//! What was measured, as a table: each figure beside its floor, and the goal where there is one.
#![allow(dead_code, reason = "each benchmark uses a part of it")]

/// One figure.
#[derive(Debug)]
struct Row {
    what: String,
    figure: String,
    beside: String,
    goal: String,
}

/// The figures of one run.
#[derive(Debug, Default)]
pub(crate) struct Table {
    rows: Vec<Row>,
}

impl Table {
    /// A table of a benchmark; says how busy the machine is, since others may work on it.
    pub(crate) fn new(name: &str) -> Table {
        let load = std::fs::read_to_string("/proc/loadavg").unwrap_or_default();
        let cores = std::thread::available_parallelism().map_or(1, usize::from);
        println!("\n{name}: {cores} cores, load average {}", load.trim());
        Table::default()
    }

    /// A figure, what it is compared with, and its goal.
    pub(crate) fn row(&mut self, what: &str, figure: String, beside: String, goal: &str) {
        let (what, goal) = (what.to_owned(), goal.to_owned());
        self.rows.push(Row { what, figure, beside, goal });
    }

    /// Writes it to standard output.
    pub(crate) fn print(self) {
        let head = Row {
            what: "what".into(),
            figure: "figure".into(),
            beside: "beside".into(),
            goal: "goal".into(),
        };
        for Row { what, figure, beside, goal } in std::iter::once(head).chain(self.rows) {
            println!("| {what:<46} | {figure:<32} | {beside:<44} | {goal:<14} |");
        }
    }
}

/// The value below which `share` of them lie; the list is sorted by this. 0 of an empty list.
pub(crate) fn quantile(values: &mut [u64], share: f64) -> u64 {
    values.sort_unstable();
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        clippy::cast_precision_loss,
        reason = "a place in a list that fits into memory"
    )]
    let place = (values.len().saturating_sub(1) as f64 * share).round() as usize;
    values.get(place).copied().unwrap_or(0)
}

/// Microseconds as milliseconds.
#[allow(clippy::cast_precision_loss, reason = "a figure to be read")]
pub(crate) fn ms(us: u64) -> String {
    format!("{:.2} ms", us as f64 / 1000.0)
}
