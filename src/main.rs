//! The thin binary: hands the arguments to the library and ends with its status.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(preblock::inner::cli::run(std::env::args_os()))
}
