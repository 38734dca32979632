//! The server's program: the command line, and nothing else.

use std::process::ExitCode;

fn main() -> ExitCode {
    caselot::cli::main()
}
