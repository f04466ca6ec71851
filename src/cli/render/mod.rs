//! The live log as a person reads it: one aligned line an event, quiet about repetition.

mod line;
mod paint;

use serde_json::Value;

pub use paint::Paint;

use super::plain;

/// Turns stored lines into lines for people.
#[derive(Debug)]
pub struct Renderer {
    paint: Paint,
    zone: jiff::tz::TimeZone,
    quiet: line::Quiet,
    /// Columns of the widest place so far: what stands behind it stays aligned.
    wide: usize,
}

/// Columns of a place, at least and at most.
const PLACE: (usize, usize) = (9, 28);

impl Renderer {
    /// A renderer for a terminal or a file.
    #[must_use]
    pub fn new(paint: Paint, zone: jiff::tz::TimeZone) -> Renderer {
        Renderer { paint, zone, quiet: line::Quiet::default(), wide: PLACE.0 }
    }

    /// The line of one event of the feed, `None` where it would say nothing new.
    pub fn line(&mut self, event: &Value) -> Option<String> {
        let said = self.quiet.say(event)?;
        let time = self.time(event["t"].as_str()?);
        let bench = plain::line(event["bench"].as_str().unwrap_or(""));
        let place = plain::line(&said.place);
        self.wide = self.wide.max(place.chars().count()).min(PLACE.1);
        let wide = self.wide;
        let text = self.paint.verdicts(&plain::plain(&said.text));
        Some(format!("{time}  {bench:4} {place:wide$} {text}").trim_end().to_owned())
    }

    /// Local time of day to the tenth of a second; the stamp itself where it can't be read.
    fn time(&self, stamp: &str) -> String {
        let Ok(moment) = stamp.parse::<jiff::Timestamp>() else {
            return plain::line(stamp).into_owned();
        };
        let local = moment.to_zoned_datetime(self.zone.clone());
        let tenth = local.subsec_nanosecond() / 100_000_000;
        format!("{}.{tenth}", local.strftime("%H:%M:%S"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_behind_a_place_stays_in_its_column() {
        let mut renderer = Renderer::new(Paint::Plain, jiff::tz::TimeZone::UTC);
        let mut line = |place: &str, text: &str| {
            let (t, bench) = ("2026-11-24T08:14:03.53Z", "b1");
            let note = serde_json::json!({"k": "end", "t": t, "bench": bench, "step": place,
                "outcome": text, "reason": "x"});
            let line = renderer.line(&note).unwrap();
            line.chars().collect::<String>().find(text).unwrap()
        };
        let narrow = line("pe", "first");
        assert_eq!(line("pe/1", "second"), narrow);
        let wide = line("touch_current/12", "third");
        assert_eq!(wide, narrow + "touch_current/12".len() - PLACE.0);
        assert_eq!(line("pe", "fourth"), wide, "it never goes back");
        let most = line(&"x".repeat(60), "fifth");
        assert_eq!(most, narrow + 60 - PLACE.0, "a longer one stands out and moves nothing");
        assert_eq!(line("pe", "sixth"), narrow + PLACE.1 - PLACE.0);
    }

    #[test]
    fn no_text_from_elsewhere_reaches_the_terminal_as_a_command() {
        let mut renderer = Renderer::new(Paint::Colour, jiff::tz::TimeZone::UTC);
        let hostile = "\u{1b}[2J\u{9b}1A\r\u{202e}x";
        let mut shown = 0;
        for event in [
            serde_json::json!({"k": "note", "text": hostile}),
            serde_json::json!({"k": "link", "link": hostile, "state": hostile, "identity": hostile}),
            serde_json::json!({"k": "scan", "raw": hostile, "kind": "text", "asset": hostile}),
            serde_json::json!({"k": "in", "link": hostile, "read": [{"v": hostile, "u": hostile}]}),
            serde_json::json!({"k": "refused", "what": hostile, "why": hostile}),
            serde_json::json!({"k": "begin", "asset": hostile, "plan": hostile, "operator": hostile}),
            serde_json::json!({"k": "verdict", "verdict": hostile, "reasons": [hostile]}),
        ] {
            let mut event = event;
            event["t"] = hostile.into();
            event["bench"] = hostile.into();
            let Some(line) = renderer.line(&event) else { continue };
            shown += usize::from(line.contains("\\u001b"));
            let obeyed = |c: char| c != '\n' && (c.is_control() || c == '\u{202e}');
            assert!(!line.contains(obeyed), "{line:?}");
        }
        assert!(shown >= 5, "{shown} of these lines show such a text");
    }
}
