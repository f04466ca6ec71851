//! `tapline report --into FOLDER`: the reports of many inspections, asset by asset, so that the
//! earlier inspections of each are read once. All cores work, and no more is held than the records
//! of the assets that they are at.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use tapline_paper::report::Paper;
use tapline_paper::words::Language;

use super::report::{Report, bytes_of};
use super::{Exit, Trouble, crowd, offline, output};
use crate::books::OnShelf;
use crate::books::chain::sibling;
use crate::config::Config;
use crate::past::life::life;
use crate::past::{self, Refused, believed, place_of};
use crate::report::{House, Of, report};
use crate::words::english;

/// A record, and whether its report is wanted.
type Wanted = (OnShelf, bool);

/// Assets with their records.
type Assets = Vec<(String, Vec<Wanted>)>;

/// What was written of an asset, and what was not, each with why.
type Done = (u64, Vec<String>);

/// How each is written.
struct How<'a> {
    folder: &'a Path,
    into: &'a Path,
    form: &'a str,
    house: House,
    language: Language,
    size: Paper,
}

/// Writes them. Exit: 0, or 2 where one can't be told.
pub(super) fn reports(args: &Report, into: &Path) -> Result<Exit, Trouble> {
    let folder = offline::folder(args.folder.as_deref(), &args.config)?;
    let config = Config::load(&args.config).ok();
    let usual = config.as_ref().map(|config| config.paper.clone()).unwrap_or_default();
    let language = args.language.as_deref().unwrap_or(&usual.language);
    let size = args.paper.as_deref().unwrap_or(&usual.size);
    let how = How {
        folder: &folder,
        into,
        form: args.form.as_deref().unwrap_or("pdf"),
        house: House::of(config.as_ref()),
        language: Language::named(language).unwrap_or_default(),
        size: Paper::named(size).unwrap_or_default(),
    };
    fs::create_dir_all(into).map_err(|error| not_written(into, &error.to_string()))?;
    let (assets, mut troubles) = assets(&folder, args)?;
    let mut written = 0;
    crowd::each(
        &assets,
        |(asset, records)| of_asset(&how, asset, records),
        |_, (done, refused): Done| {
            written += done;
            refused.iter().for_each(|why| output::talk(why));
            troubles |= !refused.is_empty();
            Ok(())
        },
    )?;
    let values = [("n", &*written.to_string()), ("folder", &*into.display().to_string())];
    output::talk(&english().tell("report", "many", &values));
    Ok(if troubles { Exit::Trouble } else { Exit::Done })
}

/// Sealed inspections by the asset that they are about now, where one of its reports is wanted; and
/// whether one could not be read.
fn assets(folder: &Path, args: &Report) -> Result<(Assets, bool), Trouble> {
    let records = past::records(folder).map_err(Trouble::Said)?;
    let mut assets: BTreeMap<String, Vec<Wanted>> = BTreeMap::new();
    let mut troubles = false;
    let sealed = records.into_iter().filter(|one| one.sealed && !one.id.contains('+'));
    for record in sealed {
        match opened(folder, &record) {
            Ok((asset, at)) => {
                let wanted = args.span.wants(Some(&asset), &at);
                assets.entry(asset).or_default().push((record, wanted));
            }
            Err(why) => {
                output::talk(&format!("{}: {why}", record.id));
                troubles = true;
            }
        }
    }
    assets.retain(|_, records| records.iter().any(|(_, wanted)| *wanted));
    Ok((assets.into_iter().collect(), troubles))
}

/// The asset that an inspection is about, and the moment of its opening.
fn opened(folder: &Path, record: &OnShelf) -> Result<(String, String), String> {
    let (file, in_work) = place_of(folder, record);
    let first = RefCell::new(None);
    let look = |open: &tapline_protocols::fact::Open, at: &str| {
        let asset = open.inspection.as_ref().map(|one| one.asset.clone());
        first.replace(asset.map(|asset| (asset, at.to_owned())));
        false
    };
    match believed(&file, in_work, look, |_| {}) {
        Err(Refused::Trouble(why)) => return Err(why),
        Ok(()) | Err(Refused::Unwanted) => {}
    }
    let (asset, at) = first.into_inner().ok_or("no inspection begins here")?;
    if !sibling(&file, 1).is_file() {
        return Ok((asset, at));
    }
    let now = life(folder, &record.id)?.0.asset().map(|asset| asset.id.clone());
    Ok((now.unwrap_or(asset), at))
}

fn of_asset(how: &How<'_>, asset: &str, records: &[Wanted]) -> Done {
    let (mut pasts, mut done) = (Vec::new(), (0, Vec::new()));
    for (record, _) in records {
        match past::read(how.folder, record, Some(asset)) {
            Ok(past) => pasts.extend(past.filter(|past| past.signed.is_some())),
            Err(why) => done.1.push(format!("{}: {why}", record.id)),
        }
    }
    pasts.sort_by_key(|past| past.signed.map(|(seq, _)| seq));
    for (record, _) in records.iter().filter(|(_, wanted)| *wanted) {
        match one(how, record, &pasts) {
            Ok(()) => done.0 += 1,
            Err(why) => done.1.push(format!("{}: {why}", record.id)),
        }
    }
    done
}

fn one(how: &How<'_>, record: &OnShelf, pasts: &[past::Past]) -> Result<(), String> {
    let (file, in_work) = place_of(how.folder, record);
    let told = report(Of { file: &file, in_work, until: None }, &how.house, pasts)?;
    let bytes = bytes_of(&told, how.form, how.language, how.size)?;
    let to: PathBuf = how.into.join(format!("{}.{}", told.number(), how.form));
    fs::write(&to, bytes).map_err(|error| format!("{}: {error}", to.display()))
}

fn not_written(into: &Path, why: &str) -> Trouble {
    let values = [("file", &*into.display().to_string()), ("why", why)];
    Trouble::Said(english().tell("report", "not_written", &values))
}
