//! The state socket: whoever connects gets the document and the end. Nothing comes in. A thread of its own serves it, so
//! that a flood of visitors holds up no judging; each user has a few places, so that one does not crowd out another.

use super::listener::{Listener, WITHOUT_DESCRIPTORS};
use crate::clock::Clock;
use crate::tell::words::phrases::{Language, Phrases};
use rustix::net::sockopt::{Timeout, set_socket_timeout};
use rustix::net::{AddressFamily, SocketAddrUnix, SocketFlags, SocketType, connect, socket_with};
use std::collections::BTreeMap;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::io::AsyncWriteExt;
use tokio::net::UnixStream;
use tokio::sync::{mpsc, oneshot};

/// A reader that takes longer is let go, and an agent that takes longer is not waited for.
const PATIENCE: Duration = Duration::from_secs(2);
/// No state is longer, in bytes.
const LONGEST: u64 = 16 << 20;
/// Everybody may read the state.
const MODE: u32 = 0o666;
/// Visitors that root and the agent's own user may have at a time, each.
const OURS: usize = 16;
/// Visitors that any other user may have at a time.
const EACH: usize = 4;
/// Visitors that all other users may have at a time.
const OTHERS: usize = 64;
/// A place stays taken for so long after a visit: visits one after another are bounded, too.
const REST: Duration = Duration::from_millis(50);

/// Where the state is served.
pub fn path(run_dir: &Path) -> PathBuf {
    run_dir.join("state.sock")
}

/// Somebody wants the state.
#[derive(Debug)]
pub struct WantedDocument(oneshot::Sender<Arc<str>>);

impl WantedDocument {
    /// Hands the state over. All visitors share the one text.
    pub fn answer(self, state: Arc<str>) {
        // Whoever wanted it may be gone by now.
        let _ = self.0.send(state);
    }
}

/// The socket, as the loop sees it. It is closed and removed when this is dropped.
pub struct StateSocket {
    wanted: Option<mpsc::Receiver<WantedDocument>>,
    thread: Option<JoinHandle<()>>,
}

impl StateSocket {
    /// Opens the socket in the run folder, and starts its thread.
    ///
    /// # Errors
    /// When the folder cannot be made, another agent answers there already, or the machine has no thread to spare.
    pub fn open(run_dir: &Path) -> io::Result<Self> {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        let listener = {
            let _inside = runtime.enter();
            Listener::open(path(run_dir), MODE)?
        };
        // One that waits is enough: the loop answers all of them with the same text.
        let (asking, wanted) = mpsc::channel(1);
        let work = move || runtime.block_on(serve(listener, asking));
        let thread = std::thread::Builder::new().name("state".to_owned()).spawn(work)?;
        Ok(Self { wanted: Some(wanted), thread: Some(thread) })
    }

    /// The next one who wants the state.
    pub async fn wanted(&mut self) -> WantedDocument {
        match &mut self.wanted {
            Some(wanted) => match wanted.recv().await {
                Some(wanted) => wanted,
                None => std::future::pending().await,
            },
            None => std::future::pending().await,
        }
    }
}

impl Drop for StateSocket {
    fn drop(&mut self) {
        self.wanted = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

async fn serve(listener: Listener, asking: mpsc::Sender<WantedDocument>) {
    let guests = Guests::new(rustix::process::geteuid().as_raw());
    loop {
        tokio::select! {
            visitor = listener.visitor() => match visitor {
                Ok(visitor) => {
                    // Whoever finds no place is told by the end of the connection.
                    let place = visitor.peer_cred().ok().and_then(|peer| guests.place(peer.uid()));
                    if let Some(place) = place {
                        tokio::spawn(hand_out(visitor, asking.clone(), place));
                    }
                }
                Err(_) => tokio::time::sleep(WITHOUT_DESCRIPTORS).await,
            },
            () = asking.closed() => return,
        }
    }
}

async fn hand_out(mut visitor: UnixStream, asking: mpsc::Sender<WantedDocument>, place: GuestPlace) {
    let hand_out = async {
        let (answer, state) = oneshot::channel();
        if asking.send(WantedDocument(answer)).await.is_ok() {
            if let Ok(state) = state.await {
                let _ = visitor.write_all(state.as_bytes()).await;
            }
        }
    };
    let _ = tokio::time::timeout(PATIENCE, hand_out).await;
    drop(visitor);
    tokio::time::sleep(REST).await;
    drop(place);
}

/// How many visitors each user has now.
#[derive(Clone)]
struct Guests {
    ours: u32,
    each: Arc<Mutex<BTreeMap<u32, usize>>>,
}

/// A visitor's place; free again when this is dropped.
struct GuestPlace {
    user: u32,
    guests: Guests,
}

impl Guests {
    fn new(ours: u32) -> Self {
        Self { ours, each: Arc::default() }
    }

    fn is_ours(&self, user: u32) -> bool {
        user == 0 || user == self.ours
    }

    /// A place for this user, while there is one.
    fn place(&self, user: u32) -> Option<GuestPlace> {
        let mut each = self.each.lock().unwrap_or_else(PoisonError::into_inner);
        let others: usize = each.iter().filter(|(user, _)| !self.is_ours(**user)).map(|(_, count)| count).sum();
        let count = each.get(&user).copied().unwrap_or(0);
        let is_free = if self.is_ours(user) { count < OURS } else { count < EACH && others < OTHERS };
        is_free.then(|| {
            each.insert(user, count + 1);
            GuestPlace { user, guests: self.clone() }
        })
    }
}

impl Drop for GuestPlace {
    fn drop(&mut self) {
        let mut each = self.guests.each.lock().unwrap_or_else(PoisonError::into_inner);
        match each.get_mut(&self.user) {
            Some(count) if *count > 1 => *count -= 1,
            _ => drop(each.remove(&self.user)),
        }
    }
}

/// What came of asking for the state.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Answered {
    /// The state.
    State(String),
    /// No agent runs here.
    Nobody,
    /// One does, and gave no state.
    Silent(Silence),
}

/// Why an agent that runs gave no state.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Silence {
    /// It did not answer in time.
    Late,
    /// The connection broke, or was refused; how.
    Interrupted(String),
    /// It has none yet, or too many clients.
    NoState,
}

impl Silence {
    /// Why, in words.
    pub fn words(&self, language: Language) -> String {
        match self {
            Self::Late => language.say("look.agent-late", &[("seconds", &PATIENCE.as_secs())]),
            Self::Interrupted(found) => language.say("look.agent-interrupted", &[("found", found)]),
            Self::NoState => language.plain("look.agent-without-state").to_owned(),
        }
    }
}

/// Asks the agent that runs here for its state, for two seconds in all.
pub fn ask(run_dir: &Path, clock: &Clock) -> Answered {
    let late = || Answered::Silent(Silence::Late);
    let begun = clock.now();
    let mut stream = match visit(&path(run_dir)) {
        Ok(stream) => stream,
        Err(error) => match error.kind() {
            io::ErrorKind::NotFound | io::ErrorKind::ConnectionRefused => return Answered::Nobody,
            io::ErrorKind::WouldBlock => return late(),
            _ => return Answered::Silent(Silence::Interrupted(format!("{}: {error}", path(run_dir).display()))),
        },
    };
    let (mut state, mut piece) = (Vec::new(), vec![0; 64 << 10]);
    while (state.len() as u64) < LONGEST {
        let left = PATIENCE.saturating_sub(clock.now().since(begun));
        if left.is_zero() || stream.set_read_timeout(Some(left)).is_err() {
            return late();
        }
        match stream.read(&mut piece) {
            Ok(0) => break,
            Ok(length) => state.extend_from_slice(&piece[..length]),
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) if error.kind() == io::ErrorKind::WouldBlock => return late(),
            Err(error) => return Answered::Silent(Silence::Interrupted(error.to_string())),
        }
    }
    match String::from_utf8(state) {
        Ok(state) if !state.is_empty() => Answered::State(state),
        _ => Answered::Silent(Silence::NoState),
    }
}

/// Connects, and waits no longer than [`PATIENCE`] for a place in the queue of an agent that takes nobody in (unix(7)).
fn visit(path: &Path) -> io::Result<std::os::unix::net::UnixStream> {
    let socket = socket_with(AddressFamily::UNIX, SocketType::STREAM, SocketFlags::CLOEXEC, None)?;
    set_socket_timeout(&socket, Timeout::Send, Some(PATIENCE))?;
    connect(&socket, &SocketAddrUnix::new(path)?)?;
    Ok(socket.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_user_has_a_few_places_and_the_owner_always_has_one() {
        let guests = Guests::new(900);
        let mut flood: Vec<GuestPlace> =
            std::iter::repeat_with(|| guests.place(1000)).map_while(|place| place).collect();
        assert_eq!(flood.len(), EACH);
        // As many users as one likes: a user may have a range of them to give to (user_namespaces(7)).
        flood.extend((100_000..101_000).flat_map(|user| [guests.place(user), guests.place(user)]).flatten());
        assert_eq!(flood.len(), OTHERS);
        assert!(guests.place(1001).is_none());
        for ours in [0, 900] {
            let places: Vec<GuestPlace> =
                std::iter::repeat_with(|| guests.place(ours)).map_while(|place| place).collect();
            assert_eq!(places.len(), OURS, "user {ours}");
        }
        flood.clear();
        assert!(guests.each.lock().unwrap().is_empty(), "who has gone is forgotten");
        assert!(guests.place(1001).is_some());
    }

    /// All visitors get the one text; those that never read hold a bounded number of connections, and the next one who
    /// does read is served.
    #[test]
    fn visitors_who_never_read_are_few_and_share_one_text() {
        let folder = tempfile::tempdir().unwrap();
        let mut socket = StateSocket::open(folder.path()).unwrap();
        let long: Arc<str> = "wren ".repeat(1 << 20).into();
        let visitors: Vec<_> = (0..200).map(|_| visit(&path(folder.path())).unwrap()).collect();
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
        runtime.block_on(async {
            for _ in 0..OURS {
                socket.wanted().await.answer(Arc::clone(&long));
            }
            let more = tokio::time::timeout(Duration::from_millis(20), socket.wanted()).await;
            assert!(more.is_err(), "more than {OURS} are served");
        });
        // Those without a place are at their end already; the others get something.
        let served = visitors.iter().filter(|visitor| {
            visitor.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
            let mut byte = [0];
            let mut visitor: &std::os::unix::net::UnixStream = visitor;
            visitor.read(&mut byte).unwrap() == 1
        });
        assert_eq!(served.count(), OURS);
        drop(visitors);
        let reader = std::thread::spawn({
            let folder = folder.path().to_owned();
            move || {
                let look = || ask(&folder, &Clock::default());
                std::iter::repeat_with(look).find(|answered| matches!(answered, Answered::State(_)))
            }
        });
        runtime.block_on(async { socket.wanted().await.answer(Arc::clone(&long)) });
        assert_eq!(reader.join().unwrap(), Some(Answered::State(long.to_string())));
        drop(socket);
        assert_eq!(ask(folder.path(), &Clock::default()), Answered::Nobody, "the socket goes with its thread");
    }
}
