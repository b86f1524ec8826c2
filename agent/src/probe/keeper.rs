//! The core's side of the probe: starts it, listens to it, and replaces it when it dies, hangs or talks nonsense.

use super::order::Order;
use super::wire::{self, Decoder};
use crate::clock::{Clock, Moment};
use crate::reading::Snapshot;
use std::io::Write;
use std::os::fd::OwnedFd;
use std::path::PathBuf;
use std::process::Stdio;
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio::net::UnixStream;
use tokio::process::{Child, Command};

/// A probe that says nothing for so long is lost: five of its paces.
const WEDGED_AFTER: Duration = Duration::from_secs(10);
/// Waits before the next start; the last one is kept up.
const BACK_OFF_SECONDS: [u64; 6] = [1, 2, 5, 10, 30, 60];
/// A probe that lived so long was no failure to start.
const PROVEN_AFTER: Duration = Duration::from_secs(60);

/// What there is to hear.
#[derive(Debug)]
pub enum News {
    /// A new snapshot.
    Snapshot(Box<Snapshot>),
    /// The probe is lost; another will be started.
    Lost {
        /// Why, in words.
        why: String,
        /// When the next one starts.
        again_in: Duration,
    },
}

/// Keeps one probe running.
pub struct Keeper {
    root: PathBuf,
    clock: Clock,
    probe: Option<Probe>,
    /// What every probe is told first.
    orders: Vec<Order>,
    failures: usize,
    start_at: Moment,
}

struct Probe {
    child: Child,
    socket: UnixStream,
    decoder: Decoder,
    started: Moment,
    last_heard: Moment,
}

impl Keeper {
    /// Nothing is started yet: the first question for news does it.
    pub fn new(root: PathBuf, clock: Clock) -> Self {
        let start_at = clock.now();
        Self { root, clock, probe: None, orders: Vec::new(), failures: 0, start_at }
    }

    /// Tells the probe something. What outlasts a probe is told to the next one as well; all else is lost with it.
    ///
    /// # Errors
    /// When it cannot be told now.
    pub fn tell(&mut self, order: Order) -> std::io::Result<()> {
        let told = match &self.probe {
            Some(probe) => probe.tell(&order),
            None if order.outlasts_the_probe() => Ok(()),
            None => Err(std::io::Error::other("no probe is running")),
        };
        if order.outlasts_the_probe() {
            self.orders.retain(|old| std::mem::discriminant(old) != std::mem::discriminant(&order));
            self.orders.push(order);
        }
        told
    }

    /// The next news. May be dropped and asked again at any time without losing anything.
    pub async fn news(&mut self) -> News {
        loop {
            let now = self.clock.now();
            let lost = match &mut self.probe {
                None if now < self.start_at => {
                    tokio::time::sleep(self.start_at.since(now)).await;
                    continue;
                }
                None => match start(&self.root, &self.orders, now) {
                    Ok(probe) => {
                        self.probe = Some(probe);
                        continue;
                    }
                    Err(error) => format!("it could not be started: {error}"),
                },
                Some(probe) => match probe.hear(&self.clock).await {
                    Ok(snapshot) => return News::Snapshot(Box::new(snapshot)),
                    Err(why) => why,
                },
            };
            return self.lose(lost);
        }
    }

    fn lose(&mut self, why: String) -> News {
        let now = self.clock.now();
        if self.probe.as_ref().is_some_and(|probe| now.since(probe.started) >= PROVEN_AFTER) {
            self.failures = 0;
        }
        // Dropping the child kills it; one that the kernel will not let go of stays behind and is not waited for.
        self.probe = None;
        let again_in = Duration::from_secs(BACK_OFF_SECONDS[self.failures.min(BACK_OFF_SECONDS.len() - 1)]);
        self.failures += 1;
        self.start_at = now.plus(again_in);
        News::Lost { why, again_in }
    }
}

impl Probe {
    /// An order is far shorter than the socket's buffer, so one that does not fit is told to nobody.
    fn tell(&self, order: &Order) -> std::io::Result<()> {
        let bytes = wire::encode(order)?;
        match self.socket.try_write(&bytes)? {
            written if written == bytes.len() => Ok(()),
            written => Err(std::io::Error::other(format!("{written} of {} bytes were written", bytes.len()))),
        }
    }

    async fn hear(&mut self, clock: &Clock) -> Result<Snapshot, String> {
        loop {
            match self.decoder.next_message() {
                Ok(Some(snapshot)) => {
                    self.last_heard = clock.now();
                    return Ok(snapshot);
                }
                Ok(None) => {}
                Err(fault) => return Err(format!("it spoke nonsense: {fault}")),
            }
            let mut piece = [0; 16 << 10];
            let patience = (self.last_heard.plus(WEDGED_AFTER)).since(clock.now());
            match tokio::time::timeout(patience, self.socket.read(&mut piece)).await {
                Err(_) => return Err(format!("it said nothing for {} s", WEDGED_AFTER.as_secs())),
                Ok(Ok(0)) => return Err(self.how_it_ended().await),
                Ok(Ok(length)) => self.decoder.push(&piece[..length]),
                Ok(Err(error)) => return Err(format!("its socket failed: {error}")),
            }
        }
    }

    async fn how_it_ended(&mut self) -> String {
        match tokio::time::timeout(Duration::from_secs(1), self.child.wait()).await {
            Ok(Ok(status)) => format!("it ended: {status}"),
            Ok(Err(error)) => format!("it closed its socket: {error}"),
            Err(_) => "it closed its socket and runs on".to_owned(),
        }
    }
}

fn start(root: &std::path::Path, orders: &[Order], now: Moment) -> std::io::Result<Probe> {
    let (mut ours, theirs) = std::os::unix::net::UnixStream::pair()?;
    for order in orders {
        ours.write_all(&wire::encode(order)?)?;
    }
    ours.set_nonblocking(true)?;
    // Not by its path: after an upgrade on disk another version would stand there, or for a moment none.
    let child = Command::new("/proc/self/exe")
        .arg0("traylight")
        .arg("probe")
        .arg("--root")
        .arg(root)
        .stdin(Stdio::from(OwnedFd::from(theirs)))
        .stdout(Stdio::null())
        // A key press that ends the core is the core's to hear; the probe ends with its socket.
        .process_group(0)
        .kill_on_drop(true)
        .spawn()?;
    Ok(Probe { child, socket: UnixStream::from_std(ours)?, decoder: Decoder::default(), started: now, last_heard: now })
}
