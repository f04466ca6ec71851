//! The piece of configuration for what was found, and the entry for the register.

use std::path::Path;

use tapline_drivers::catalogue;

use super::ask::Answer;
use crate::config::{Config, Line};
use crate::ports::Wired;

/// What is to be written down.
#[derive(Debug, Clone, Copy)]
pub struct Found<'a> {
    /// Name of the port that stays.
    pub port: &'a Path,
    /// At this setting.
    pub line: Line,
    /// Driver, and how sure its layout is.
    pub driver: (&'a str, &'a str),
    /// What it said when it was asked.
    pub answer: Option<&'a Answer>,
}

/// A `[[link]]` of the configuration. What is not an instrument (a scanner, contacts) gets none.
/// With the link that uses the port already, it is that link anew.
#[must_use]
pub fn link(found: &Found<'_>, config: Option<&Config>, wired: Option<&Wired>) -> String {
    let (driver, layout) = found.driver;
    let Line { baud, bits, dtr, rts, .. } = found.line;
    let bench = wired.map(|wired| wired.bench.clone());
    let first = || config.and_then(|config| config.benches.first()).map(|bench| bench.id.clone());
    let bench = bench.or_else(first).unwrap_or_else(|| "b1".to_owned());
    let id = wired.map_or_else(|| free_id(config), |wired| wired.link.clone());
    let warning = match layout {
        "confirmed" => "",
        _ => "   # its layout is from memory: compare its readings with the display",
    };
    let mut text = format!(
        "[[link]]\nid         = {}\nbench      = {}\nserial     = {}\n\
         line       = {{ baud = {baud}, bits = \"{bits}\", dtr = {dtr}, rts = {rts}, \
         flow = \"none\" }}\ndriver     = {}{warning}\n",
        quoted(&id),
        quoted(&bench),
        quoted(&found.port.display().to_string()),
        quoted(driver),
    );
    if catalogue::says_no_function(driver) {
        text +=
            "measures   = \"resistance_2w Ohm\"   # what it always stands at: it does not say\n";
    }
    if is_instrument(driver) {
        text += &format!("instrument = {}\n", quoted(&label(config, wired)));
    }
    text
}

/// An entry for the register, to be completed: what nobody can hear has to be looked up. `None`
/// for a scanner or contacts.
#[must_use]
pub fn instrument(
    found: &Found<'_>,
    config: Option<&Config>,
    wired: Option<&Wired>,
) -> Option<String> {
    if !is_instrument(found.driver.0) {
        return None;
    }
    let told = |n: usize| {
        let field = found.answer.and_then(|answer| answer.identity.split(',').nth(n));
        field.map(str::trim).filter(|field| !field.is_empty() && *field != "0")
    };
    Some(format!(
        "format = \"tapline-instruments-1\"\n[[instrument]]\nid = {}\nwhat = {}\nserial = {}\n\
         source_class = \"unknown\"           # none | low | hazardous: what it can put out\n\
         isolation = {{ kind = \"unknown\" }}   # or {{ kind = \"optical\", volts = 1000 }}\n\
         calibration_due = 2000-01-01       # from its certificate\n\
         certificate = \"none seen\"          # its number\n\
         range = []                         # see contrib/example/instruments.toml\n",
        quoted(&label(config, wired)),
        quoted(told(1).unwrap_or("what it is, in words")),
        quoted(told(2).unwrap_or("serial number on its plate")),
    ))
}

fn is_instrument(driver: &str) -> bool {
    !matches!(driver, "scan" | "contacts")
}

fn label(config: Option<&Config>, wired: Option<&Wired>) -> String {
    let taken = |label: &str| {
        config.is_some_and(|config| {
            config.links.iter().any(|link| link.instrument.as_deref() == Some(label))
        })
    };
    let own = wired.and_then(|wired| wired.instrument.clone());
    own.unwrap_or_else(|| free("NEW", taken))
}

fn free_id(config: Option<&Config>) -> String {
    let taken =
        |id: &str| config.is_some_and(|config| config.links.iter().any(|link| link.id == id));
    free("new", taken)
}

/// `new-1`, or the first number that is free.
fn free(stem: &str, taken: impl Fn(&str) -> bool) -> String {
    let name = |n: u32| format!("{stem}-{n}");
    (1..).map(name).find(|name| !taken(name)).expect("numbers don't run out")
}

/// A TOML string (toml.io, basic strings).
fn quoted(text: &str) -> String {
    let one = |c: char| match c {
        '"' | '\\' => format!("\\{c}"),
        c if c.is_control() => format!("\\u{:04X}", u32::from(c)),
        c => c.to_string(),
    };
    format!("\"{}\"", text.chars().map(one).collect::<String>())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::{Choice, drivers};
    use crate::identify::setting;
    use tapline_protocols::register::read_instruments;

    const EXAMPLE: &str = include_str!("../../contrib/example/tapline.toml");

    fn found<'a>(driver: (&'a str, &'a str), answer: Option<&'a Answer>) -> Found<'a> {
        let port = Path::new("/dev/serial/by-path/a\"b\\c");
        Found { port, line: setting(19_200, "7E1").unwrap(), driver, answer }
    }

    #[test]
    fn a_fragment_is_accepted_behind_any_configuration() {
        let config = Config::read(EXAMPLE, &|_| Choice::BuiltIn).unwrap();
        for name in catalogue::names() {
            for layout in ["confirmed", "unconfirmed"] {
                let text = link(&found((name, layout), None), Some(&config), None);
                let whole = format!("{EXAMPLE}\n{text}");
                let read = Config::read(&whole, &|name| drivers::choose(Path::new(""), name));
                let read = read.unwrap_or_else(|faults| panic!("{faults:?}\n{text}"));
                let made = read.links.last().unwrap();
                assert_eq!((made.id.as_str(), made.bench.as_str()), ("new-1", "b1"));
                assert_eq!(made.driver.split(' ').next(), Some(name));
                let has = made.instrument.is_some();
                assert_eq!(has, !matches!(name, "scan" | "contacts"), "{name}");
            }
        }
    }

    #[test]
    fn a_link_that_uses_the_port_already_is_written_anew() {
        let config = Config::read(EXAMPLE, &|_| Choice::BuiltIn).unwrap();
        let wired = crate::ports::wired(
            Path::new("/"),
            Path::new("/dev/serial/by-id/usb-0001-if00-port0"),
            &config,
            None,
        );
        let text = link(&found(("csv-line", "unconfirmed"), None), Some(&config), wired.as_ref());
        assert!(text.contains("id         = \"ohm\""), "{text}");
        assert!(text.contains("instrument = \"LR-01\""), "{text}");
        assert!(text.contains("from memory"), "{text}");
    }

    #[test]
    fn an_entry_of_the_register_is_read_and_can_not_be_sent_to() {
        let answer = Answer {
            line: setting(9600, "8N1").unwrap(),
            identity: "GENERIC,BENCH \"DMM\",0042,1.0".into(),
            errors: None,
        };
        let text = instrument(&found(("scpi", "confirmed"), Some(&answer)), None, None).unwrap();
        let (list, _) = read_instruments(&text).unwrap();
        let one = &list[0];
        assert_eq!((one.id.as_str(), one.what.as_str()), ("NEW-1", "BENCH \"DMM\""));
        assert_eq!(one.serial, "0042");
        assert_eq!(one.source_class, tapline_protocols::register::SourceClass::Unknown);
        assert_eq!(instrument(&found(("scan", "confirmed"), None), None, None), None);
    }
}
