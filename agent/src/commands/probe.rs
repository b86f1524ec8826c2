//! `probe`: the half of `run` that touches the hardware. Its socket is its standard input.

use super::shared::TreeFlag;
use std::io;
use std::os::fd::AsFd;
use std::os::unix::net::UnixStream;
use std::process::ExitCode;
use traylight::clock::Clock;
use traylight::sense::host::Host;

/// Runs until nobody listens.
pub fn command(tree: TreeFlag) -> io::Result<ExitCode> {
    // It was started by a link, and would be called after that. Only who looks for it minds.
    let _ = rustix::thread::set_name(c"traylight-probe");
    let socket = UnixStream::from(io::stdin().as_fd().try_clone_to_owned()?);
    socket.local_addr().map_err(|_| {
        io::Error::other(
            "found a standard input that is no socket; `traylight run` and `look` start the probe themselves",
        )
    })?;
    traylight::probe::run(Host::at(tree.root), Clock::of_this_machine(), socket).map(|()| ExitCode::SUCCESS)
}
