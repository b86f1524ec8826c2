//! Arguments in, exit code out.

#![deny(clippy::print_stdout, clippy::print_stderr)]

mod commands;

fn main() -> std::process::ExitCode {
    commands::run()
}
