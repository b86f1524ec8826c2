//! The control socket: the box's owner asks the running agent for something. One request a connection, one line of JSON
//! in and one out.

use super::listener::{Listener, WITHOUT_DESCRIPTORS};
use crate::verdict::IncidentId;
use serde::{Deserialize, Serialize};
use std::io::{self, BufRead, Read, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::time::Duration;
use tokio::io::{AsyncBufReadExt, AsyncReadExt, AsyncWriteExt, BufReader};
use tokio::net::UnixStream;
use tokio::sync::{Semaphore, mpsc, oneshot};

/// A request that takes longer to arrive is none, and an answer that nobody takes within this is dropped.
const PATIENCE: Duration = Duration::from_secs(2);
/// An agent that judges answers within this.
const ANSWER_LIMIT: Duration = Duration::from_secs(8);
/// The test of a channel is answered only when the other side has answered, or its time limit is over.
const TEST_LIMIT: Duration = Duration::from_secs(320);
/// No request is longer, in bytes.
const LONGEST: u64 = 4096;
/// No answer is longer, in bytes.
const LONGEST_ANSWER: u64 = 64 << 10;
/// As narrow as the look at who asks: its user, and root, whom no permission stops.
const MODE: u32 = 0o600;
/// Requests that wait for the loop; it takes them one by one.
const WAITING: usize = 8;
/// So many visitors are heard at a time; others wait in the socket's queue. A program that alerts go to may ask, too, and
/// may do so without end.
const VISITORS: usize = 16;

/// Nobody works on a box for longer without a break; what is muted for good is forgotten.
pub const LONGEST_MUTE: Duration = Duration::from_secs(8 * 3600);
/// A rehearsal must not hide what is real for longer.
pub const LONGEST_REHEARSAL: Duration = Duration::from_secs(600);

/// What can be asked for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
pub enum ControlRequest {
    /// Its owner knows of an incident.
    Acknowledge {
        /// Which.
        id: IncidentId,
    },
    /// Its owner agrees with what an incident misses: it is no longer expected.
    Accept {
        /// Which.
        id: IncidentId,
    },
    /// Hold messages back: somebody works on the box.
    Mute {
        /// For how long.
        for_s: u64,
    },
    /// Hold them back no longer.
    Unmute,
    /// Send a message with a code on a channel.
    TryChannel {
        /// Its name.
        channel: String,
    },
    /// Give a code back that came on a channel.
    Confirm {
        /// The code.
        code: String,
    },
    /// Play a fault as if it happened.
    Rehearse {
        /// Its name.
        fault: String,
        /// To which drive it happens, as its owner calls it.
        drive: Option<String>,
        /// For how long it is shown.
        for_s: u64,
    },
    /// End the rehearsal that is shown.
    EndRehearsal,
}

/// What came of it, in words.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ControlAnswer {
    /// It was done.
    Done(String),
    /// It was not, and why.
    Refused(String),
}

impl From<Result<String, String>> for ControlAnswer {
    fn from(outcome: Result<String, String>) -> Self {
        outcome.map_or_else(Self::Refused, Self::Done)
    }
}

/// A request that waits for its answer.
#[derive(Debug)]
pub struct PendingRequest {
    /// What is asked for.
    pub request: ControlRequest,
    answer: oneshot::Sender<ControlAnswer>,
}

impl PendingRequest {
    /// Answers it. Whoever asked may be gone by now.
    pub fn answer(self, answer: ControlAnswer) {
        let _ = self.answer.send(answer);
    }
}

/// Where requests are taken.
pub fn path(run_dir: &Path) -> PathBuf {
    run_dir.join("control.sock")
}

/// The socket. It is removed when this is dropped.
pub struct Control {
    listener: Listener,
    places: Arc<Semaphore>,
    asking: mpsc::Sender<PendingRequest>,
    asked: mpsc::Receiver<PendingRequest>,
}

impl Control {
    /// Opens the socket in the run folder.
    ///
    /// # Errors
    /// When the folder cannot be made or another agent answers there already.
    pub fn open(run_dir: &Path) -> io::Result<Self> {
        let (asking, asked) = mpsc::channel(WAITING);
        let places = Arc::new(Semaphore::new(VISITORS));
        Ok(Self { listener: Listener::open(path(run_dir), MODE)?, places, asking, asked })
    }

    /// The next request of somebody who may ask. Whoever is slow holds up nobody else.
    pub async fn next(&mut self) -> PendingRequest {
        let (listener, places, asking) = (&self.listener, &self.places, &self.asking);
        let take_in = async {
            loop {
                let Ok(place) = Arc::clone(places).acquire_owned().await else { return };
                match listener.visitor().await {
                    Ok(visitor) => {
                        let asking = asking.clone();
                        tokio::spawn(async move {
                            converse(visitor, asking).await;
                            drop(place);
                        });
                    }
                    Err(_) => tokio::time::sleep(WITHOUT_DESCRIPTORS).await,
                }
            }
        };
        tokio::select! {
            () = take_in => std::future::pending().await,
            Some(asked) = self.asked.recv() => asked,
        }
    }
}

async fn converse(visitor: UnixStream, asking: mpsc::Sender<PendingRequest>) {
    let answer = match stranger(&visitor) {
        Some(why) => (ControlAnswer::Refused(why), visitor),
        None => {
            let mut reader = BufReader::new(visitor);
            let request = tokio::time::timeout(PATIENCE, read_request(&mut reader)).await;
            let late = || Err(format!("expected one line of JSON within {} s, found none", PATIENCE.as_secs()));
            let answer = match request.unwrap_or_else(|_| late()) {
                Ok(request) => pass_on(request, &asking).await,
                Err(why) => ControlAnswer::Refused(why),
            };
            (answer, reader.into_inner())
        }
    };
    let (answer, mut visitor) = answer;
    let Ok(line) = serde_json::to_string(&answer) else { return };
    let _ = tokio::time::timeout(PATIENCE, visitor.write_all((line + "\n").as_bytes())).await;
}

/// Why somebody may not ask: only root and the user that the agent runs as may (unix(7), SO_PEERCRED).
fn stranger(visitor: &UnixStream) -> Option<String> {
    let ours = rustix::process::geteuid().as_raw();
    match visitor.peer_cred() {
        Ok(peer) if peer.uid() == 0 || peer.uid() == ours => None,
        Ok(peer) => Some(format!("expected root or user {ours}, which the agent runs as, found user {}", peer.uid())),
        Err(error) => Some(format!("the caller cannot be identified: {error}")),
    }
}

async fn read_request(reader: &mut BufReader<UnixStream>) -> Result<ControlRequest, String> {
    let mut line = Vec::new();
    reader.take(LONGEST).read_until(b'\n', &mut line).await.map_err(|error| error.to_string())?;
    if line.last() != Some(&b'\n') {
        return Err(format!("expected one line of JSON, found {} bytes without an end of line", line.len()));
    }
    serde_json::from_slice(&line).map_err(|error| format!("expected a request, found an invalid one: {error}"))
}

async fn pass_on(request: ControlRequest, asking: &mpsc::Sender<PendingRequest>) -> ControlAnswer {
    let (answer, answered) = oneshot::channel();
    let stopping = || ControlAnswer::Refused("the agent is stopping".to_owned());
    match asking.send(PendingRequest { request, answer }).await {
        Ok(()) => answered.await.unwrap_or_else(|_| stopping()),
        Err(_) => stopping(),
    }
}

/// True for the error of [`ask`] where no agent runs.
pub fn nobody_there(error: &io::Error) -> bool {
    matches!(error.kind(), io::ErrorKind::NotFound | io::ErrorKind::ConnectionRefused)
}

/// Asks the agent that runs here; what it did, in words.
///
/// # Errors
/// When none runs here, when the asking user may not, and when the agent refuses.
pub fn ask(run_dir: &Path, request: &ControlRequest) -> io::Result<String> {
    let path = path(run_dir);
    let mut stream = std::os::unix::net::UnixStream::connect(&path).map_err(|error| {
        let why = match error.kind() {
            _ if nobody_there(&error) => "no agent runs here; `traylight run` starts it",
            io::ErrorKind::PermissionDenied => "only root and the user that the agent runs as may do this",
            _ => "the agent cannot be reached",
        };
        io::Error::new(error.kind(), format!("{why} ({}: {error})", path.display()))
    })?;
    let limit = if matches!(request, ControlRequest::TryChannel { .. }) { TEST_LIMIT } else { ANSWER_LIMIT };
    stream.set_read_timeout(Some(limit))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    let line = serde_json::to_string(request)? + "\n";
    // An agent that refuses at once does not read on: its answer says more than the failure to write.
    let written = stream.write_all(line.as_bytes());
    let mut answer = String::new();
    std::io::BufReader::new(stream.take(LONGEST_ANSWER)).read_line(&mut answer).map_err(|error| {
        match error.kind() {
            io::ErrorKind::WouldBlock => {
                let late = format!("the running agent does not answer within {} s", limit.as_secs());
                io::Error::new(io::ErrorKind::TimedOut, late)
            }
            _ => error,
        }
    })?;
    if answer.is_empty() {
        written?;
        return Err(io::Error::new(io::ErrorKind::UnexpectedEof, "the agent exited without an answer"));
    }
    let wrong = |error| io::Error::other(format!("the agent sent an invalid answer: {error}"));
    match serde_json::from_str(&answer).map_err(wrong)? {
        ControlAnswer::Done(said) => Ok(said),
        ControlAnswer::Refused(why) => Err(io::Error::other(why)),
    }
}
