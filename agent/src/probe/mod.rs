//! The probe process: it alone touches drives, mounts and chips, and may be lost without loss. It writes one snapshot
//! after another to its socket, by its pace and when the kernel calls, and ends when nobody reads them any more.

mod account;
pub mod keeper;
mod manners;
mod pacing;
pub mod rounds;
mod seen;
mod wakers;
pub mod wire;
mod workers;

use crate::clock::Clock;
use crate::reading::Snapshot;
use crate::sense::host::Host;
use pacing::{Pacing, Step};
use rounds::Rounds;
use std::io::{self, Write};
use std::os::unix::net::UnixStream;
use std::time::Duration;
use wakers::{Wakers, Woken};

/// Runs until the reader of `out` is gone.
///
/// # Errors
/// When the socket fails in another way than by its reader going away.
pub fn run(host: Host, clock: Clock, mut out: UnixStream) -> io::Result<()> {
    let mut wakers = Wakers::new(host.clone());
    let mut rounds = Rounds::new(host, clock.clone());
    let mut pacing = Pacing::new();
    while reader_stays_until_round(&mut pacing, &mut wakers, &clock, &out)? {
        wakers.renew();
        let snapshot = Snapshot { deaf: wakers.deaf().cloned(), ..rounds.round() };
        let sent = wire::encode(&snapshot).and_then(|bytes| out.write_all(&bytes));
        match sent {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => break,
            other => other?,
        }
    }
    Ok(())
}

/// Waits until a round is due; false as soon as the reader is gone.
fn reader_stays_until_round(
    pacing: &mut Pacing,
    wakers: &mut Wakers,
    clock: &Clock,
    reader: &UnixStream,
) -> io::Result<bool> {
    while let Step::Wait { left, listening } = pacing.step(clock.now()) {
        match wakers.wait(reader, left, listening)? {
            Woken::TimeUp => {}
            Woken::ReaderGone => return Ok(false),
            called => pacing.woken(clock.now(), called == Woken::Called),
        }
    }
    // The round answers calls that nobody listened to, too.
    let called = wakers.wait(reader, Duration::ZERO, true)?;
    pacing.round(clock.now(), called == Woken::Called);
    Ok(called != Woken::ReaderGone)
}
