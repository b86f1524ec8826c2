//! `launcher`: starts probes for `run`, which has given up the rights to. Its socket is its standard input.

use super::shared::TreeFlag;
use std::io;
use std::os::fd::AsFd;
use std::process::ExitCode;

/// Runs until nobody asks any more.
pub fn command(tree: &TreeFlag) -> io::Result<ExitCode> {
    // It was started by a link, and would be called after that. Only who looks for it minds.
    let _ = rustix::thread::set_name(c"traylight-start");
    let core = io::stdin().as_fd().try_clone_to_owned()?;
    traylight::probe::launcher::run(&tree.root, &core).map(|()| ExitCode::SUCCESS)
}
