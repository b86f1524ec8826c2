//! `launcher`: starts probes for `run`, which has given up the rights to. Its socket is its standard input.

use std::io;
use std::os::fd::AsFd;
use std::path::PathBuf;
use std::process::ExitCode;

/// Flags of `launcher`.
#[derive(clap::Args)]
pub struct Flags {
    /// The root of the host's files
    #[arg(long, value_name = "DIR", default_value = "/")]
    root: PathBuf,
}

/// Runs until nobody asks any more.
pub fn command(flags: &Flags) -> io::Result<ExitCode> {
    // It was started by a link, and would be called after that. Only who looks for it minds.
    let _ = rustix::thread::set_name(c"traylight-start");
    let core = io::stdin().as_fd().try_clone_to_owned()?;
    traylight::probe::launcher::run(&flags.root, &core).map(|()| ExitCode::SUCCESS)
}
