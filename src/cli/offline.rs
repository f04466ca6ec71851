//! Commands that need no station.

use std::fs;
use std::io::{self, IsTerminal, Read};
use std::path::{Path, PathBuf};

use tapline_drivers::AnyDriver;

use super::args::{Common, PlanShow};
use super::{Exit, Trouble, decode, judge, output, plan, rebuild};
use crate::books::Folder;
use crate::capture::Capture;
use crate::clock;
use crate::config::{Config, drivers};
use crate::past;
use crate::station::Described;
use crate::words::english;

/// Largest file that is read whole, bytes.
const FILE_MAX: u64 = 64 << 20;

/// The bytes of a file, or of standard input.
pub(super) fn bytes(file: Option<&Path>) -> Result<Vec<u8>, Trouble> {
    let name = file.map_or_else(|| "standard input".into(), |f| f.display().to_string());
    let refused = |error: io::Error| Trouble::Said(format!("can't read {name}: {error}"));
    let source: Box<dyn Read> = match file {
        Some(file) => Box::new(fs::File::open(file).map_err(refused)?),
        None => Box::new(io::stdin().lock()),
    };
    let mut bytes = Vec::new();
    source.take(FILE_MAX + 1).read_to_end(&mut bytes).map_err(refused)?;
    if bytes.len() as u64 > FILE_MAX {
        return Err(Trouble::Said(format!("{name} is larger than 64 MiB\n  next: split it")));
    }
    Ok(bytes)
}

/// The text of a file.
pub(super) fn text(file: &Path) -> Result<String, Trouble> {
    String::from_utf8(bytes(Some(file))?).map_err(|error| {
        let at = error.utf8_error().valid_up_to();
        Trouble::Said(format!("{} is no UTF-8 text: byte {at}", file.display()))
    })
}

/// A capture.
pub(super) fn capture(file: &Path) -> Result<Capture, Trouble> {
    let refused = |why| Trouble::Said(format!("{}: {why}", file.display()));
    Capture::read(&text(file)?).map_err(refused)
}

/// A name as part of a path of the interface.
pub(super) fn escaped(name: &str) -> String {
    let plain = |b: u8| b.is_ascii_alphanumeric() || b"-_.~".contains(&b);
    let one = |b: u8| if plain(b) { char::from(b).to_string() } else { format!("%{b:02X}") };
    name.bytes().map(one).collect()
}

/// Decodes a file or standard input. With a file that describes a driver, and nothing to decode,
/// it says what came of the file's examples.
pub(super) fn decode(driver: &str, file: Option<&Path>) -> Result<Exit, Trouble> {
    let fresh = if drivers::is_path(driver) {
        let described = described(Path::new(driver))?;
        if file.is_none() && io::stdin().is_terminal() {
            return tried(&described);
        }
        let fresh = AnyDriver::described(&described.description);
        if file.is_none() {
            let sent = bytes(None)?;
            return if sent.is_empty() { tried(&described) } else { decoded(fresh, &sent) };
        }
        fresh
    } else {
        decode::named(driver).map_err(|error| Trouble::Said(error.to_string()))?
    };
    match file.filter(|file| file.extension().is_some_and(|ending| ending == "cap")) {
        Some(file) => said(&decode::decode_capture(fresh, &capture(file)?)),
        None => decoded(fresh, &bytes(file)?),
    }
}

fn decoded(fresh: AnyDriver, bytes: &[u8]) -> Result<Exit, Trouble> {
    said(&decode::decode_by(fresh, bytes))
}

fn said(lines: &[String]) -> Result<Exit, Trouble> {
    lines.iter().try_for_each(|line| output::data(line))?;
    Ok(Exit::Done)
}

/// The driver that a file describes, or all that is wrong with it.
fn described(file: &Path) -> Result<Described, Trouble> {
    drivers::load(file).map_err(|faults| {
        let faults: Vec<String> = faults.iter().map(|fault| format!("\n  {fault}")).collect();
        Trouble::Said(format!("{} can't be used:{}", file.display(), faults.concat()))
    })
}

/// Its examples were tried when it was read.
fn tried(described: &Described) -> Result<Exit, Trouble> {
    let count = described.examples.to_string();
    let values = [("name", described.name()), ("count", &count)];
    output::data(&english().tell("decode", "examples", &values))?;
    Ok(Exit::Done)
}

/// Judges each line; a line that can't be read is named and the others are judged all the same.
pub(super) fn judge(file: Option<&Path>) -> Result<Exit, Trouble> {
    let text = String::from_utf8_lossy(&bytes(file)?).into_owned();
    let mut code = 0;
    for (number, line) in text.lines().enumerate().filter(|(_, line)| !line.trim().is_empty()) {
        let of_line = match judge::judge_line(line) {
            Ok(judged) => {
                output::data(&judged.json)?;
                judged.code
            }
            Err(fault) => {
                output::talk(&format!("tapline: line {}: {fault}", number + 1));
                judge::BAD_INPUT
            }
        };
        code = judge::worse(code, of_line);
    }
    Ok(Exit::of_code(code))
}

pub(super) fn plan(said: &plan::Said) -> Result<Exit, Trouble> {
    if !said.stderr.is_empty() {
        output::talk(said.stderr.trim_end());
    }
    if !said.stdout.is_empty() {
        output::data(said.stdout.trim_end())?;
    }
    Ok(Exit::of_code(said.code))
}

pub(super) fn plan_show(
    show: &PlanShow,
    assets: &Path,
    fixtures: &Path,
    common: &Common,
) -> Result<Exit, Trouble> {
    plan(&plan::show(&plan::Show {
        plan: show.plan.clone(),
        assets: assets.to_owned(),
        asset: show.asset.clone(),
        fixtures: fixtures.to_owned(),
        instruments: show.instruments.clone(),
        with: show.with.clone(),
        site: show.config.parent().map(Path::to_owned),
        today: clock::utc_day(clock::now().wall_us),
        json: common.json,
    }))
}

/// Builds the index of the configured data folder again.
pub(super) fn rebuild(config: &Path, common: &Common) -> Result<Exit, Trouble> {
    output::said(&rebuild::run(&folder(None, config)?, common.json))
}

/// The data folder that is named, else the one of the configuration.
pub(super) fn folder(named: Option<&Path>, config: &Path) -> Result<PathBuf, Trouble> {
    if let Some(folder) = named {
        return Ok(folder.to_owned());
    }
    Ok(load(config)?.store.folder)
}

/// The configuration, or all its faults.
pub(super) fn load(config: &Path) -> Result<Config, Trouble> {
    Config::load(config).map_err(|faults| {
        let faults: Vec<String> = faults.iter().map(|f| format!("\n  {f}")).collect();
        Trouble::Said(format!("{} can't be used:{}", config.display(), faults.concat()))
    })
}

/// A data folder to be read. What is none is not made into one.
pub(super) fn disk(folder: &Path) -> Result<Folder, Trouble> {
    past::folder(folder).map_err(Trouble::Said)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_safe_in_paths() {
        assert_eq!(escaped("K3-20261124-0007"), "K3-20261124-0007");
        assert_eq!(escaped("a/b c?"), "a%2Fb%20c%3F");
    }
}
