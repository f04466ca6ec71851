//! What lies beside the records of an archive: paper, a table a month, the assets.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;

use tapline_paper::report::{Paper, Report, about, pages};
use tapline_paper::{pdf, words::Language};
use tapline_protocols::Fact;
use tapline_protocols::register::{Asset, write_assets};

use crate::archive::{Fault, Put, paper_path};
use crate::books::place::InspectionName;
use crate::books::{OnShelf, Shelf};
use crate::config::Config;
use crate::exchange::csv::Form;
use crate::exchange::tables;
use crate::past::{self, place_of};
use crate::report::{House, Of, report, wanted};
use crate::station::event::BookId;

fn refused(file: &str) -> impl Fn(String) -> Fault {
    move |why| Fault::Said("beside", vec![("file", file.to_owned()), ("why", why)])
}

/// Makes what is new of it.
pub(super) fn made(config: &Config, fresh: &[String], put: Put<'_>) -> Result<(), Fault> {
    let folder = &config.store.folder;
    let records = past::records(folder).map_err(refused("inspections"))?;
    let sealed: Vec<OnShelf> =
        records.into_iter().filter(|one| one.sealed && !one.id.contains('+')).collect();
    let fresh: BTreeSet<&str> = fresh.iter().map(String::as_str).collect();
    papers(config, &sealed, &fresh, put)?;
    months(config, &sealed, &fresh, put)?;
    let assets = assets(folder)?;
    put("tables/assets.csv", write_assets(assets.values()).as_bytes())
}

/// Reports, asset by asset: the earlier inspections of one are read once.
fn papers(
    config: &Config,
    sealed: &[OnShelf],
    fresh: &BTreeSet<&str>,
    put: Put<'_>,
) -> Result<(), Fault> {
    let (folder, house) = (&config.store.folder, House::of(Some(config)));
    let mut of_assets: BTreeMap<String, Vec<&OnShelf>> = BTreeMap::new();
    for record in sealed {
        let asset = asset_of(folder, &record.id).map_err(refused(&record.id))?;
        of_assets.entry(asset).or_default().push(record);
    }
    for (asset, records) in of_assets {
        if !records.iter().any(|record| fresh.contains(record.id.as_str())) {
            continue;
        }
        let read = |one: &&OnShelf| past::read(folder, one, Some(&asset)).ok().flatten();
        let mut pasts: Vec<_> = records.iter().filter_map(read).collect();
        pasts.retain(|past| past.signed.is_some());
        pasts.sort_by_key(|past| past.signed.map(|(seq, _)| seq));
        for record in records.iter().filter(|record| fresh.contains(record.id.as_str())) {
            // What can't be read is told when the archive is checked.
            let (file, in_work) = place_of(folder, record);
            let Ok(told) = report(Of { file: &file, in_work, until: None }, &house, &pasts) else {
                continue;
            };
            let path = paper_path(&record.id).expect("its name was read when it was listed");
            put(&path, &printed(config, &told).map_err(refused(&record.id))?)?;
        }
    }
    Ok(())
}

fn printed(config: &Config, told: &Report) -> Result<Vec<u8>, String> {
    let language = Language::named(&config.paper.language).unwrap_or_default();
    let size = Paper::named(&config.paper.size).unwrap_or_default();
    let pages = pages(told, language, size).map_err(|error| error.to_string())?;
    pdf::pdf(&pages, &about(told, language)).map_err(|error| error.to_string())
}

/// The measurements of each month that has something new.
fn months(
    config: &Config,
    sealed: &[OnShelf],
    fresh: &BTreeSet<&str>,
    put: Put<'_>,
) -> Result<(), Fault> {
    let (folder, house) = (&config.store.folder, House::of(Some(config)));
    let months: BTreeSet<String> = fresh.iter().filter_map(|id| month(id)).collect();
    for wanted_month in months {
        let mut text = Form::default().heading(&tables::MEASUREMENTS);
        for record in sealed.iter().filter(|one| month(&one.id).as_ref() == Some(&wanted_month)) {
            let told = wanted(&place_of(folder, record).0, &house, |_, _| true);
            for report in told.into_iter().flatten() {
                let lines = tables::measurements(&report);
                text.extend(lines.iter().map(|line| Form::default().line(line)));
            }
        }
        put(&format!("tables/{wanted_month}.csv"), text.as_bytes())?;
    }
    Ok(())
}

/// `2026-11`.
fn month(id: &str) -> Option<String> {
    let day = InspectionName::read(id)?.day;
    Some(format!("{}-{}", &day[..4], &day[4..6]))
}

/// The asset that the first line of an inspection names; nothing where there is none.
fn asset_of(folder: &Path, id: &str) -> Result<String, String> {
    let disk = past::folder(folder)?;
    let book = BookId::Inspection(id.to_owned());
    let mut lines =
        Shelf::new(std::sync::Arc::new(disk)).lines(&book).map_err(|halted| halted.to_string())?;
    Ok(match lines.next() {
        Some(Ok(line)) => match line.fact {
            Fact::Open(open) => open.inspection.map(|one| one.asset).unwrap_or_default(),
            _ => String::new(),
        },
        _ => String::new(),
    })
}

/// The register as it is.
fn assets(folder: &Path) -> Result<BTreeMap<String, Asset>, Fault> {
    let disk = past::folder(folder).map_err(refused("station"))?;
    let mut assets = BTreeMap::new();
    for line in Shelf::new(std::sync::Arc::new(disk)).lines(&BookId::Station)? {
        if let Fact::Asset(asset) = line?.fact {
            assets.insert(asset.id.clone(), *asset);
        }
    }
    Ok(assets)
}
