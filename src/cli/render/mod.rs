//! The live log as a person reads it: one aligned line an event, quiet about repetition.

mod line;
mod paint;

use serde_json::Value;

pub use paint::Paint;

/// Turns stored lines into lines for people.
#[derive(Debug)]
pub struct Renderer {
    paint: Paint,
    zone: jiff::tz::TimeZone,
    quiet: line::Quiet,
}

impl Renderer {
    /// A renderer for a terminal or a file.
    #[must_use]
    pub fn new(paint: Paint, zone: jiff::tz::TimeZone) -> Renderer {
        Renderer { paint, zone, quiet: line::Quiet::default() }
    }

    /// The line of one event of the feed, `None` where it would say nothing new.
    pub fn line(&mut self, event: &Value) -> Option<String> {
        let said = self.quiet.say(event)?;
        let time = self.time(event["t"].as_str()?);
        let bench = event["bench"].as_str().unwrap_or("");
        let place = said.place;
        let text = self.paint.verdicts(&said.text);
        Some(format!("{time}  {bench:4} {place:9} {text}").trim_end().to_owned())
    }

    /// Local time of day to the tenth of a second; the stamp itself where it can't be read.
    fn time(&self, stamp: &str) -> String {
        let Ok(moment) = stamp.parse::<jiff::Timestamp>() else { return stamp.to_owned() };
        let local = moment.to_zoned_datetime(self.zone.clone());
        let tenth = local.subsec_nanosecond() / 100_000_000;
        format!("{}.{tenth}", local.strftime("%H:%M:%S"))
    }
}
