//! The core's side of the probe: lets it be started, listens to it, and replaces it when it dies, hangs or sends nonsense.

use super::launcher::{Launched, Launcher};
use super::order::ProbeOrder;
use super::wire::{self, Decoder};
use crate::clock::{Clock, Moment};
use crate::reading::Snapshot;
use std::io::{self, Write};
use std::path::Path;
use std::time::Duration;
use tokio::io::AsyncReadExt;
use tokio::net::UnixStream;

/// A probe that says nothing for so long is lost: five of its paces.
const WEDGED_AFTER: Duration = Duration::from_secs(10);
/// Silence is looked at at least so often.
const LOOK: Duration = Duration::from_secs(2);
/// Between two looks no more of the silence counts: if more time has passed, this process was stopped, or the machine
/// was suspended, and the probe could not be heard.
const LONGEST_LOOK: Duration = Duration::from_secs(3);
/// Waits before the next start; the last one is kept up.
const BACK_OFF_SECONDS: [u64; 6] = [1, 2, 5, 10, 30, 60];
/// A probe that lived so long was no failure to start.
const PROVEN_AFTER: Duration = Duration::from_secs(60);

/// What the probe reports.
#[derive(Debug)]
pub enum ProbeEvent {
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
    launcher: Launcher,
    clock: Clock,
    probe: Option<ProbeProcess>,
    /// What every probe is told first.
    orders: Vec<ProbeOrder>,
    failures: usize,
    start_at: Moment,
}

struct ProbeProcess {
    socket: UnixStream,
    ending: UnixStream,
    decoder: Decoder,
    started: Moment,
    silence: Silence,
}

/// For how long no snapshot has come, of the time that somebody listened.
#[derive(Debug, Clone, Copy)]
struct Silence {
    lasted: Duration,
    looked: Moment,
}

impl Silence {
    fn from(now: Moment) -> Self {
        Self { lasted: Duration::ZERO, looked: now }
    }

    /// Takes in that none has come until now; for how long that is so.
    fn goes_on(&mut self, now: Moment) -> Duration {
        self.lasted += now.since(self.looked).min(LONGEST_LOOK);
        self.looked = now;
        self.lasted
    }
}

impl Keeper {
    /// Starts the launcher, with the rights that this process has now. The probe is started by the first question for
    /// news.
    pub fn new(root: &Path, clock: Clock) -> io::Result<Self> {
        let start_at = clock.now();
        Ok(Self { launcher: Launcher::start(root)?, clock, probe: None, orders: Vec::new(), failures: 0, start_at })
    }

    /// Tells the probe something. What outlasts a probe is told to the next one as well; all else is lost with it.
    pub fn tell(&mut self, order: ProbeOrder) -> std::io::Result<()> {
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

    /// The next event. May be dropped and asked again at any time without losing anything.
    ///
    /// # Errors
    /// When no probe can be started any more, since the launcher is gone.
    pub async fn next_event(&mut self) -> io::Result<ProbeEvent> {
        loop {
            let now = self.clock.now();
            let lost = match &mut self.probe {
                None if now < self.start_at => {
                    tokio::time::sleep(self.start_at.since(now)).await;
                    continue;
                }
                None => match start(&self.launcher, &self.orders, now) {
                    Ok(probe) => {
                        self.probe = Some(probe);
                        continue;
                    }
                    Err(error) if is_gone(&error) => return Err(launcher_gone(&error)),
                    Err(error) => format!("it could not be started: {error}"),
                },
                Some(probe) => match probe.next_snapshot(&self.clock).await {
                    Ok(snapshot) => return Ok(ProbeEvent::Snapshot(Box::new(snapshot))),
                    Err(why) => why,
                },
            };
            return Ok(self.lose(lost));
        }
    }

    fn lose(&mut self, why: String) -> ProbeEvent {
        let now = self.clock.now();
        if self.probe.as_ref().is_some_and(|probe| now.since(probe.started) >= PROVEN_AFTER) {
            self.failures = 0;
        }
        // Dropping it ends it.
        self.probe = None;
        let again_in = Duration::from_secs(BACK_OFF_SECONDS[self.failures.min(BACK_OFF_SECONDS.len() - 1)]);
        self.failures += 1;
        self.start_at = now.plus(again_in);
        ProbeEvent::Lost { why, again_in }
    }
}

impl ProbeProcess {
    /// An order is far shorter than the socket's buffer, so one that does not fit is told to nobody.
    fn tell(&self, order: &ProbeOrder) -> std::io::Result<()> {
        let bytes = wire::encode(order)?;
        match self.socket.try_write(&bytes)? {
            written if written == bytes.len() => Ok(()),
            written => Err(std::io::Error::other(format!("{written} of {} bytes were written", bytes.len()))),
        }
    }

    async fn next_snapshot(&mut self, clock: &Clock) -> Result<Snapshot, String> {
        loop {
            let silent = match self.decoder.next_message() {
                Ok(Some(snapshot)) => {
                    self.silence = Silence::from(clock.now());
                    return Ok(snapshot);
                }
                Ok(None) => self.silence.goes_on(clock.now()),
                Err(fault) => return Err(format!("it sent an invalid message: {fault}")),
            };
            let said_nothing = || format!("it did not respond for {} s", WEDGED_AFTER.as_secs());
            // Asked anew again and again, this never gets to wait to the end.
            if silent >= WEDGED_AFTER + LOOK {
                return Err(said_nothing());
            }
            // What has come meanwhile is read first.
            let left = WEDGED_AFTER.saturating_sub(silent).clamp(Duration::from_millis(100), LOOK);
            let mut piece = [0; 16 << 10];
            match tokio::time::timeout(left, self.socket.read(&mut piece)).await {
                Err(_) if self.silence.goes_on(clock.now()) >= WEDGED_AFTER => return Err(said_nothing()),
                Err(_) => {}
                Ok(Ok(0)) => return Err(self.how_it_ended().await),
                Ok(Ok(length)) => self.decoder.push(&piece[..length]),
                Ok(Err(error)) => return Err(format!("its socket failed: {error}")),
            }
        }
    }

    async fn how_it_ended(&mut self) -> String {
        let mut words = String::new();
        match tokio::time::timeout(Duration::from_secs(1), self.ending.read_to_string(&mut words)).await {
            Ok(Ok(1..)) => words,
            Ok(_) => "it exited, and so did the launcher".to_owned(),
            Err(_) => "it closed its socket but is still running".to_owned(),
        }
    }
}

fn start(launcher: &Launcher, orders: &[ProbeOrder], now: Moment) -> io::Result<ProbeProcess> {
    let Launched { mut socket, ending } = launcher.launch()?;
    for order in orders {
        socket.write_all(&wire::encode(order)?)?;
    }
    let tokio = |socket: std::os::unix::net::UnixStream| {
        socket.set_nonblocking(true)?;
        UnixStream::from_std(socket)
    };
    let (socket, ending, silence) = (tokio(socket)?, tokio(ending)?, Silence::from(now));
    Ok(ProbeProcess { socket, ending, decoder: Decoder::default(), started: now, silence })
}

fn is_gone(error: &io::Error) -> bool {
    matches!(
        error.kind(),
        io::ErrorKind::BrokenPipe | io::ErrorKind::ConnectionReset | io::ErrorKind::ConnectionRefused
    )
}

fn launcher_gone(error: &io::Error) -> io::Error {
    io::Error::other(format!("the launcher is gone, so no drive can be read: {error}"))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn second(second: u64) -> Moment {
        Moment::after_boot(Duration::from_secs(second))
    }

    #[test]
    fn a_probe_that_says_nothing_while_it_is_listened_to_is_lost_in_ten_seconds() {
        let mut silence = Silence::from(second(100));
        let lasted: Vec<u64> = (1..=5).map(|look| silence.goes_on(second(100 + 2 * look)).as_secs()).collect();
        assert_eq!(lasted, [2, 4, 6, 8, 10]);
    }

    /// A night of suspend counts in the boot clock, as does a core that was stopped.
    #[test]
    fn a_probe_is_not_lost_because_nobody_listened() {
        let mut silence = Silence::from(second(100));
        assert!(silence.goes_on(second(102)) < WEDGED_AFTER);
        assert!(silence.goes_on(second(36_000)) < WEDGED_AFTER);
        assert!(silence.goes_on(second(36_002)) < WEDGED_AFTER);
        assert!(silence.goes_on(second(36_005)) >= WEDGED_AFTER, "from then on it was listened to");
    }
}
