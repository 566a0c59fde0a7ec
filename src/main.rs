//! The `gritledger` program: parse, run, exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    gritledger::cli::run()
}
