//! The `tapline` binary: see `tapline::cli`.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(tapline::cli::main())
}
