//! Programs of other makes, run by Python.

use std::path::{Path, PathBuf};

/// The interpreter that has the packages of `contrib/packages.txt`: `TAPLINE_PYTHON`, else the
/// one that `contrib/ci.sh` puts into `.venv`.
#[track_caller]
pub(crate) fn interpreter() -> PathBuf {
    let own = || Path::new(env!("CARGO_MANIFEST_DIR")).join(".venv/bin/python");
    let python = std::env::var_os("TAPLINE_PYTHON").map_or_else(own, PathBuf::from);
    assert!(
        python.is_file(),
        "this test needs Python with the packages of contrib/packages.txt, and {} is not there: \
         run `sh contrib/ci.sh` once, or name another interpreter in TAPLINE_PYTHON",
        python.display()
    );
    python
}
