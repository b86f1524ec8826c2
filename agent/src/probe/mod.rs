//! The probe process: it alone touches drives, mounts and chips, and may be lost without loss. It writes one snapshot
//! after another to its socket, takes the few orders that come back, and ends when nobody reads any more.

mod account;
pub mod keeper;
mod manners;
mod mounts;
pub mod order;
mod pools;
pub mod rounds;
pub mod schedule;
mod seen;
mod steady;
pub mod wire;
mod workers;

use crate::clock::Clock;
use crate::sense::host::Host;
use order::Order;
use rounds::Rounds;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use std::io::{self, Read, Write};
use std::os::unix::net::UnixStream;
use std::time::Duration;
use wire::Decoder;

/// Time between two snapshots; a rate needs two, so the second comes sooner.
pub const PACE: Duration = Duration::from_secs(2);
/// Time between the first snapshot and the second.
pub const FIRST_PACE: Duration = Duration::from_secs(1);

/// Runs until the other end of `core` is gone.
///
/// # Errors
/// When the socket fails in another way than by its other end going away, or nonsense comes from there.
pub fn run(host: Host, clock: Clock, mut core: UnixStream) -> io::Result<()> {
    let mut rounds = Rounds::new(host, clock);
    let mut decoder = Decoder::default();
    let mut pace = FIRST_PACE;
    loop {
        let snapshot = rounds.round();
        let sent = wire::encode(&snapshot).and_then(|bytes| core.write_all(&bytes));
        match sent {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => return Ok(()),
            other => other?,
        }
        if has_word_within(&core, pace)? {
            let mut piece = [0; 4096];
            match core.read(&mut piece) {
                Ok(0) => return Ok(()),
                Ok(length) => decoder.push(&piece[..length]),
                Err(error) if error.kind() == io::ErrorKind::ConnectionReset => return Ok(()),
                Err(error) => return Err(error),
            }
            while let Some(order) = decoder.next_message::<Order>().map_err(io::Error::other)? {
                rounds.take_order(order);
            }
        }
        pace = PACE;
    }
}

/// Waits out the pace; true as soon as the other end has written something or is closed.
fn has_word_within(socket: &UnixStream, pace: Duration) -> io::Result<bool> {
    let mut watched = [PollFd::new(socket, PollFlags::IN)];
    let wait = Timespec { tv_sec: pace.as_secs() as i64, tv_nsec: i64::from(pace.subsec_nanos()) };
    match poll(&mut watched, Some(&wait)) {
        Ok(ready) => Ok(ready > 0),
        Err(rustix::io::Errno::INTR) => Ok(false),
        Err(error) => Err(error.into()),
    }
}
