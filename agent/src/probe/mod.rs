//! The probe process: it alone touches drives, mounts and chips, and may be lost without loss. It writes one snapshot
//! after another to its socket and ends when nobody reads them any more.

mod account;
pub mod keeper;
mod manners;
mod pools;
pub mod rounds;
mod seen;
mod steady;
pub mod wire;
mod workers;

use crate::clock::Clock;
use crate::sense::host::Host;
use rounds::Rounds;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::io::{self, Write};
use std::os::unix::net::UnixStream;
use std::time::Duration;

/// Time between two snapshots; a rate needs two, so the second comes sooner.
pub const PACE: Duration = Duration::from_secs(2);
/// Time between the first snapshot and the second.
pub const FIRST_PACE: Duration = Duration::from_secs(1);

/// Runs until the reader of `out` is gone.
///
/// # Errors
/// When the socket fails in another way than by its reader going away.
pub fn run(host: Host, clock: Clock, mut out: UnixStream) -> io::Result<()> {
    let mut rounds = Rounds::new(host, clock);
    let mut pace = FIRST_PACE;
    loop {
        let snapshot = rounds.round();
        let sent = wire::encode(&snapshot).and_then(|bytes| out.write_all(&bytes));
        match sent {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => return Ok(()),
            other => other?,
        }
        if reader_goes_within(&out, pace)? {
            return Ok(());
        }
        pace = PACE;
    }
}

/// Waits out the pace; true as soon as the other end is closed. The reader never writes, so readable means closed.
fn reader_goes_within(socket: &UnixStream, pace: Duration) -> io::Result<bool> {
    let mut watched = [PollFd::new(socket, PollFlags::IN)];
    let wait = Timespec { tv_sec: pace.as_secs() as i64, tv_nsec: i64::from(pace.subsec_nanos()) };
    match poll(&mut watched, Some(&wait)) {
        Ok(ready) => Ok(ready > 0),
        Err(rustix::io::Errno::INTR) => Ok(false),
        Err(error) => Err(error.into()),
    }
}
