//! The probe process: it alone touches drives, mounts and chips, and may be lost without loss. It writes one snapshot
//! after another to its socket, by its pace and when the kernel calls, takes the few orders that come back, and ends
//! when nobody reads any more.
//!
//! In reading order: the core's side is [`keeper`], with [`launcher`] between the two; [`wire`] and [`order`] are what passes
//! over the socket. `wakers` and `pacing` choose the time of a round; [`rounds`] runs it. A round asks by `workers`: `seen` is
//! one drive, with `account` (what it told), `polling` (when it may be asked) and [`schedule`] (when it tests itself); `mounts`
//! and `pools` are the rest, `steady` smooths readings, `happened` and `kernel_names` sort the kernel's messages by part.

mod account;
mod happened;
pub mod keeper;
mod kernel_names;
pub mod launcher;
mod mounts;
pub mod order;
mod pacing;
mod polling;
mod pools;
pub mod rounds;
pub mod schedule;
mod seen;
mod steady;
mod wakers;
pub mod wire;
mod workers;

use crate::clock::Clock;
use crate::reading::Snapshot;
use crate::sense::host::Host;
use order::ProbeOrder;
use pacing::{Pacing, PacingStep};
use rounds::Rounds;
use std::io::{self, Read, Write};
use std::os::unix::net::UnixStream;
use std::time::Duration;
use wakers::{Wakers, Woken};
use wire::Decoder;

/// Runs until the other end of `core` is gone.
///
/// # Errors
/// When the socket fails in another way than by its other end going away, or nonsense comes from there.
pub fn run(host: Host, clock: Clock, core: UnixStream) -> io::Result<()> {
    let mut probe = Probe {
        wakers: Wakers::new(host.clone(), clock.clone()),
        rounds: Rounds::new(host, clock.clone()),
        pacing: Pacing::new(),
        orders: Decoder::default(),
        clock,
        core,
    };
    while probe.waits_for_round()? && probe.round()? {}
    Ok(())
}

struct Probe {
    clock: Clock,
    core: UnixStream,
    orders: Decoder,
    wakers: Wakers,
    pacing: Pacing,
    rounds: Rounds,
}

impl Probe {
    /// Waits until a round is due; false as soon as the core is gone.
    fn waits_for_round(&mut self) -> io::Result<bool> {
        while let PacingStep::Wait { left, listening } = self.pacing.step(self.clock.now()) {
            match self.wakers.wait(&self.core, left, listening)? {
                Woken::TimeUp => {}
                Woken::Core if !self.take_orders()? => return Ok(false),
                woken => self.pacing.woken(self.clock.now(), woken != Woken::ForNothing),
            }
        }
        // The round answers calls that nobody listened to, too.
        let woken = self.wakers.wait(&self.core, Duration::ZERO, true)?;
        self.pacing.round(self.clock.now(), woken == Woken::Called);
        Ok(woken != Woken::Core || self.take_orders()?)
    }

    /// Looks and tells; false when the core is gone.
    fn round(&mut self) -> io::Result<bool> {
        self.wakers.renew();
        self.rounds.add_events(self.wakers.take_events());
        let events_unavailable = self.wakers.events_unavailable().cloned();
        let kernel_log_unreadable = self.wakers.kernel_log_unreadable().cloned();
        let snapshot = Snapshot { events_unavailable, kernel_log_unreadable, ..self.rounds.round() };
        self.pacing.round_ended(&snapshot.events);
        match wire::encode(&snapshot).and_then(|bytes| self.core.write_all(&bytes)) {
            Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(false),
            sent => sent.map(|()| true),
        }
    }

    /// Takes what the core has written; false when it is gone.
    fn take_orders(&mut self) -> io::Result<bool> {
        let mut piece = [0; 4096];
        match self.core.read(&mut piece) {
            Ok(0) => return Ok(false),
            Ok(length) => self.orders.push(&piece[..length]),
            Err(error) if error.kind() == io::ErrorKind::ConnectionReset => return Ok(false),
            Err(error) => return Err(error),
        }
        while let Some(order) = self.orders.next_message::<ProbeOrder>().map_err(io::Error::other)? {
            self.rounds.take_order(order);
        }
        Ok(true)
    }
}
