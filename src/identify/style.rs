//! Which styles fit what was heard: every driver that can't send reads it, those of the catalogue
//! and those that files describe.

use tapline_drivers::catalogue::{self, AnyDriver};
use tapline_drivers::{Driver, Input, Message, Now, Output, Span};

use super::Heard;
use super::described::Candidate;
use crate::told::reading::render;

/// Readings that are shown as a sample.
const SAMPLES: usize = 3;
/// Ticks that a driver gets at the end at most; each ends something that waits.
const TICKS_MAX: usize = 16;
/// Readings after which nobody needs to listen on.
const ENOUGH: usize = 3;
/// Codes that a hand may scan while a setting is listened to.
const CODES_MAX: usize = 5;

/// How well a style fits.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fit {
    /// Driver, as a configuration names it.
    pub driver: String,
    /// A file describes it.
    pub described: bool,
    /// `confirmed` or `unconfirmed`: how sure its layout is.
    pub layout: &'static str,
    /// Readings, states of contacts, or codes.
    pub readings: usize,
    /// Bytes that they stand in.
    pub understood: u64,
    /// Bytes that were heard.
    pub heard: u64,
    /// The first of them, as `tapline decode` prints them.
    pub sample: Vec<String>,
}

impl Fit {
    /// Most of what was heard makes sense. Lines that come faster than a hand scans are no codes.
    #[must_use]
    pub fn is_likely(&self) -> bool {
        let by_hand = self.driver != "scan" || self.readings <= CODES_MAX;
        by_hand && self.readings > 0 && self.understood * 2 > self.heard
    }

    /// Nobody needs to listen on. Any line of text is a code to a scanner's driver, so that one
    /// never is enough.
    #[must_use]
    pub fn is_sure(&self) -> bool {
        self.driver != "scan" && self.readings >= ENOUGH && self.understood * 10 > self.heard * 7
    }

    /// Order of belief: any style before that of scanners, then by what was understood. Of equals
    /// what somebody wrote down for an instrument of theirs goes before what fits many.
    fn rank(&self) -> (bool, u64, bool, bool) {
        (self.driver != "scan", self.understood, self.described, self.layout == "confirmed")
    }
}

/// All styles that find something, built in or `described`, the likeliest first.
#[must_use]
pub fn fits(heard: &Heard, described: &[Candidate]) -> Vec<Fit> {
    let bytes = heard.bytes();
    let built_in =
        catalogue::names().filter_map(|name| Some((name, false, catalogue::by_name(name)?)));
    let described =
        described.iter().map(|one| (&*one.named, true, AnyDriver::described(&one.about)));
    let mut fits: Vec<Fit> = built_in
        .chain(described)
        .filter(|(_, _, driver)| !driver.sends())
        .map(|(name, described, driver)| fit((name, described), driver, heard, &bytes))
        .filter(|fit| fit.readings > 0)
        .collect();
    fits.sort_by_key(|fit| std::cmp::Reverse(fit.rank()));
    fits
}

fn fit((name, described): (&str, bool), mut driver: AnyDriver, heard: &Heard, bytes: &[u8]) -> Fit {
    let mut fit = Fit {
        driver: name.to_owned(),
        described,
        layout: driver.source().word(),
        readings: 0,
        understood: 0,
        heard: bytes.len() as u64,
        sample: Vec::new(),
    };
    let begin = heard.reads.first().map_or(0, |(at, _)| *at);
    driver.handle(Now(begin), Input::Open);
    take(&mut driver, &mut fit, bytes);
    for (at, read) in &heard.reads {
        tick(&mut driver, &mut fit, bytes, Now(*at));
        driver.handle(Now(*at), Input::Bytes(read));
        take(&mut driver, &mut fit, bytes);
    }
    tick(&mut driver, &mut fit, bytes, Now(heard.until_us));
    fit
}

/// Deadlines that came before a moment.
fn tick(driver: &mut AnyDriver, fit: &mut Fit, bytes: &[u8], now: Now) {
    for _ in 0..TICKS_MAX {
        let Some(due) = driver.deadline().filter(|due| *due <= now) else { return };
        driver.handle(due, Input::Tick);
        take(driver, fit, bytes);
    }
}

fn take(driver: &mut AnyDriver, fit: &mut Fit, bytes: &[u8]) {
    while let Some(output) = driver.poll() {
        let Some(span) = meant(&output) else { continue };
        fit.readings += 1;
        fit.understood += span.to.saturating_sub(span.from);
        if fit.sample.len() < SAMPLES {
            fit.sample.push(render(driver.name(), &output, bytes));
        }
    }
}

/// The bytes of an output that says something.
fn meant(output: &Output<Message>) -> Option<Span> {
    match output {
        Output::Reading(reading) => Some(reading.span),
        Output::Contacts(contacts) => Some(contacts.span),
        Output::Scan(scan) if scan.refused.is_none() && scan.length > 2 => Some(scan.span),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::identify::setting;

    fn heard(reads: &[&[u8]]) -> Heard {
        let reads: Vec<(u64, Vec<u8>)> =
            (1..).zip(reads).map(|(n, read)| (n * 400_000, read.to_vec())).collect();
        let until_us = reads.last().map_or(0, |(at, _)| at + 3_000_000);
        Heard { line: setting(9600, "8N1").unwrap(), reads, until_us }
    }

    fn best(reads: &[&[u8]]) -> Option<Fit> {
        fits(&heard(reads), &[]).into_iter().next()
    }

    #[test]
    fn the_style_that_understands_most_comes_first() {
        let meter =
            best(&[b"R4 +0.181 Ohm\r\n", b"R4 +0.182 Ohm\r\n", b"R4 +0.182 Ohm\r\n"]).unwrap();
        assert_eq!((&*meter.driver, meter.readings), ("val-unit-line", 3));
        assert!(meter.is_sure() && meter.is_likely());
        assert!(meter.sample[0].contains(r#""value":"0.181""#), "{:?}", meter.sample);
        let contacts = best(&[b"C 1010\r\n", b"C 0010\r\n", b"C 0010\r\n"]).unwrap();
        assert_eq!(contacts.driver, "contacts");
    }

    #[test]
    fn a_code_is_a_scanner_only_where_nothing_else_fits() {
        let gun = best(&[b"]C0P-0107\r\n"]).unwrap();
        assert_eq!(gun.driver, "scan");
        assert!(gun.is_likely() && !gun.is_sure());
        let lines = [&b"N213,R,+00.183,Ohm\r\n"[..]; 15];
        let meter = best(&lines).unwrap();
        assert_eq!((&*meter.driver, meter.is_likely()), ("scan", false), "nobody scans that fast");
    }

    #[test]
    fn what_a_file_describes_goes_before_what_fits_many() {
        let text = include_str!("../../contrib/drivers/bench-ohm-line.toml");
        let about = crate::station::Described::read(text).unwrap().description;
        let described = [Candidate { named: "ohm.toml".into(), about, line: None }];
        let all = fits(&heard(&[&b"R4 +0.182 Ohm\r\n"[..]; 4]), &described);
        assert_eq!(
            (&*all[0].driver, all[0].described, all[0].layout),
            ("ohm.toml", true, "unconfirmed")
        );
        assert_eq!((&*all[1].driver, all[1].understood), ("val-unit-line", all[0].understood));
        assert!(all[0].is_sure());
        // A description that understands less comes later.
        let all = fits(&heard(&[b"R4 +0.182 Ohm\r\n", b"DCV 1.2 mV\r\n"]), &described);
        assert_eq!(&*all[0].driver, "val-unit-line");
    }

    #[test]
    fn noise_fits_nothing() {
        let noise: Vec<u8> =
            (0..4000u32).map(|n| (n.wrapping_mul(2_654_435_761) >> 24) as u8).collect();
        let found = fits(&heard(&[&noise]), &[]);
        assert!(!found.iter().any(Fit::is_likely), "{found:?}");
        assert_eq!(best(&[]), None);
    }
}
