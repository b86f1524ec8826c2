//! Arguments in, exit code out.

mod commands;

fn main() -> std::process::ExitCode {
    commands::run()
}
