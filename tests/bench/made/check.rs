//! What was made is what a station makes: it verifies, by its own means and by outside ones, and
//! its bytes give its facts once more.

use std::path::Path;
use std::process::Command;
use std::sync::Arc;

use tapline::books::{Folder, Line, Shelf, place, verify};
use tapline::station::Context;
use tapline::station::event::BookId;
use tapline_protocols::Fact;

/// Checks so many sealed inspections, spread over all. Returns how many those were.
pub(crate) fn check(data: &Path, count: usize) -> usize {
    let shelf = Shelf::new(Arc::new(Folder::open(data).unwrap()));
    let all = shelf.inspections().unwrap();
    assert!(all.iter().all(|book| book.sealed), "all are sealed");
    let every = all.len().div_ceil(count.max(1)).max(1);
    let sample: Vec<&str> = all.iter().step_by(every).map(|book| book.id.as_str()).collect();
    for id in &sample {
        let file = data.join(place::sealed_path(id).unwrap());
        let report = verify(&file, None).unwrap();
        assert!(report.ok && report.sealed, "{report}");
        replays(&shelf, id);
    }
    let last = data.join(place::sealed_path(sample.last().unwrap()).unwrap());
    by_outside_means(&last, &data.join("keys/K3-1.pub.pem"));
    sample.len()
}

fn replays(shelf: &Shelf, id: &str) {
    let lines = shelf.lines(&BookId::Inspection(id.into())).unwrap();
    let lines: Vec<Line> = lines.map(Result::unwrap).collect();
    let Fact::Open(open) = &lines[0].fact else { panic!("{id} begins with `open`") };
    let context = Context {
        version: open.version.clone(),
        judge: open.judge,
        boot: open.boot.clone(),
        synced: open.synced,
        earliest_us: 0,
        key: open.key.clone(),
    };
    let report = tapline::replay::replay(&lines, &context);
    assert_eq!(report.differences, [], "replay of {id}");
}

fn by_outside_means(file: &Path, key: &Path) {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("contrib/verify.sh");
    let said = Command::new("sh").arg(script).arg(file).arg(key).output().unwrap();
    assert!(said.status.success(), "{said:?}");
}
