//! `tapline explain INSPECTION STEP`: a verdict from its bytes on, as a person would write it down.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};
use tapline_protocols::fact::{Judged, ReadingId};

use super::args::{Common, Explain};
use super::{Exit, Trouble, offline, output};
use crate::books::{Line, OnShelf};
use crate::clock::rfc3339;
use crate::past::{self, Refused, believed, place_of};
use crate::replay::{Bytes, Heard, Named, Rests};
use crate::told::verdict::text;
use crate::words::english;

/// Says how the verdict of a step came about. Exit: as its word; 2 where there is none.
pub(super) fn explain(args: &Explain, common: &Common) -> Result<Exit, Trouble> {
    let (file, in_work) = file(&args.inspection, args.folder.as_deref(), &args.config)?;
    let refused = |refused| match refused {
        Refused::Trouble(why) => Trouble::Said(format!("{}: {why}", file.display())),
        Refused::Unwanted => Trouble::Quiet,
    };
    let mut named = Named::default();
    believed(&file, in_work, |_, _| true, |line| named.line(line)).map_err(refused)?;
    let Some(rests) = named.rests(&args.step) else {
        let steps: Vec<&str> = named.judged().collect();
        let values = [("step", args.step.as_str()), ("steps", &steps.join(", "))];
        return Err(Trouble::Said(english().tell("explain", "no_verdict", &values)));
    };
    let mut bytes = Bytes::of(&rests);
    believed(&file, in_work, |_, _| true, |line| bytes.line(line)).map_err(refused)?;
    let heard = bytes.end();
    match common.json {
        true => output::data(&object(&named, &rests, &heard).to_string())?,
        false => text(&named, &rests, &heard).iter().try_for_each(|line| output::data(line))?,
    }
    Ok(Exit::of_word(&code(&rests.verdict.judged)))
}

/// A file that is named, or an inspection of the data folder; and whether it is in work.
pub(super) fn file(
    inspection: &str,
    folder: Option<&Path>,
    config: &Path,
) -> Result<(PathBuf, bool), Trouble> {
    let named = Path::new(inspection);
    if named.is_file() {
        let open = named.parent().and_then(Path::file_name);
        return Ok((named.to_owned(), open.is_some_and(|name| name == crate::books::place::OPEN)));
    }
    let folder = offline::folder(folder, config)?;
    let records = past::records(&folder).map_err(Trouble::Said)?;
    let found = records.iter().find(|one: &&OnShelf| one.id == inspection);
    let values = [("id", inspection)];
    let missing = || Trouble::Said(english().tell("explain", "no_inspection", &values));
    Ok(place_of(&folder, found.ok_or_else(missing)?))
}

fn code(judged: &Judged) -> String {
    let code = serde_json::to_value(judged.verdict).unwrap_or_default();
    code.as_str().unwrap_or_default().to_owned()
}

fn object(named: &Named, rests: &Rests, heard: &BTreeMap<ReadingId, Heard>) -> Value {
    let fact = |line: &Line| {
        let mut object = json!({ "seq": line.seq, "t": rfc3339(line.at.wall_us), "by": line.by });
        object["fact"] = json!(line.fact);
        object
    };
    let read = |(id, heard): (&ReadingId, &Heard)| {
        let raw = crate::books::line::raw_text(&heard.bytes);
        json!({
            "seq": id.0, "i": id.1, "at": rfc3339(heard.at.wall_us), "link": heard.link,
            "instrument": heard.instrument, "driver": heard.driver.0,
            "driver_version": heard.driver.1, "span": [heard.span.0, heard.span.1], "raw": raw,
            "read": heard.read,
        })
    };
    json!({
        "id": named.id, "asset": named.asset, "seq": rests.line.seq, "step": rests.verdict.step,
        "verdict": rests.verdict.judged,
        "facts": rests.facts.iter().map(fact).collect::<Vec<_>>(),
        "readings": heard.iter().map(read).collect::<Vec<_>>(),
    })
}
