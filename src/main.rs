//! Parse the command line, call one command, print its error.

use std::process::ExitCode;

fn main() -> ExitCode {
    peregrinus::cli::main()
}
