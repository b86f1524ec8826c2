//! The sender: a thread of its own that stores what is to be told, sends it, and says what came of it. Neither a memory
//! card that hangs nor a server that is slow can hold up the judging; nor can one way hold up another.

mod heartbeat;
mod round;
mod world;

use super::channels::from_settings::Named;
use crate::keep::{KeepFault, OutboxStore};
use crate::tell::box_state::BoxState;
use crate::tell::message::Message;
use crate::tell::outbox::Standing;
use round::Round;
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::sync::watch;
use traylight_config::Alerts;
pub use world::{Machine, World, random};

/// What is under way when it is asked to stop has so long to end.
const LAST: Duration = Duration::from_secs(5);
/// So many orders wait for the thread while a disk or a channel holds it up.
pub const MOST_ORDERS: usize = 256;
/// Places among them that no message takes: what its owner asks for finds one.
const RESERVED: usize = 32;

/// What is to be said of the sending.
#[derive(Debug, Clone, PartialEq)]
pub enum Report {
    /// The other side has it.
    Delivered {
        /// On which channel.
        channel: String,
        /// The names of the messages.
        ids: Vec<String>,
        /// What the other side said.
        receipt: String,
    },
    /// The other side has it, and does not take it for some of its receivers.
    NotToAll {
        /// On which channel.
        channel: String,
        /// Those, each with the reason.
        refused: Vec<String>,
    },
    /// A channel begins to fail.
    Fails {
        /// Which.
        channel: String,
        /// How.
        why: String,
    },
    /// A channel that failed works again.
    WorksAgain {
        /// Which.
        channel: String,
        /// For how long it had failed, where that is known.
        after: Option<Duration>,
    },
    /// What waited for a channel that is not configured any more goes nowhere.
    Orphans {
        /// The channel that was.
        channel: String,
        /// How many messages.
        count: usize,
    },
    /// What a rehearsal had to say could not leave while it ran, and is not sent any more.
    RehearsalDropped {
        /// On which channel.
        channel: String,
        /// How many messages.
        count: usize,
    },
    /// A way of the configuration cannot be used at all.
    NotBuiltIn(String),
    /// What waits is not stored: a restart would lose it. It is sent all the same.
    NotStored(KeepFault),
    /// It is stored again.
    StoredAgain,
    /// The heartbeat is not taken.
    HeartbeatFails(String),
    /// It is taken again.
    HeartbeatWorksAgain,
}

/// What the sender is given.
pub struct Errand {
    /// What its owner wants.
    pub wanted: Wanted,
    /// True when messages are held back.
    pub is_muted: bool,
    /// Where what waits is kept, where a store could be opened.
    pub store: Option<OutboxStore>,
}

/// What its owner wants of the sender.
pub struct Wanted {
    /// The settings of alerts.
    pub alerts: Alerts,
    /// The name of the box.
    pub box_name: String,
}

/// What the sender is told.
enum Order {
    Tell(Box<Message>),
    Try(String, Box<Message>),
    EndRehearsal(Vec<Message>),
    Mute(bool),
    Renew(Box<Wanted>),
    Keep(Box<OutboxStore>),
}

/// The handle of the sender's thread.
pub struct Sender {
    orders: mpsc::Sender<Order>,
    state: watch::Sender<BoxState>,
    standings: watch::Receiver<Vec<Standing>>,
    is_watched: Arc<AtomicBool>,
    thread: JoinHandle<()>,
}

impl Sender {
    /// Starts the thread. `report` is called from it.
    pub fn start(
        errand: Errand,
        world: impl World + 'static,
        report: impl Fn(Report) + Send + 'static,
    ) -> io::Result<Self> {
        let (orders, taken) = mpsc::channel(MOST_ORDERS);
        let (state, seen) = watch::channel(BoxState::default());
        let (tell_standings, standings) = watch::channel(Vec::new());
        let is_watched = Arc::new(AtomicBool::new(false));
        let heartbeat = Arc::clone(&is_watched);
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        let work = move || {
            runtime.block_on(async move {
                let Errand { wanted, is_muted, store } = errand;
                let mut round = Round::new(Box::new(world), Box::new(report), seen, store);
                round.begin(wanted, is_muted);
                round.run(taken, &heartbeat, &tell_standings).await;
            });
            // A name that is being looked up, and nothing else, may hang here.
            runtime.shutdown_timeout(LAST);
        };
        let thread = std::thread::Builder::new().name("sender".to_owned()).spawn(work)?;
        Ok(Self { orders, state, standings, is_watched, thread })
    }

    /// True when so many messages find a place now, and what goes with them. Only this handle gives orders, so they still
    /// do when they come.
    pub fn has_room_for(&self, messages: usize) -> bool {
        self.orders.capacity() >= messages + RESERVED
    }

    /// Tells this on every channel that is to hear of it. Ask for room before.
    pub fn tell(&self, message: Message) {
        // The thread ends only with this handle.
        let _ = self.orders.try_send(Order::Tell(Box::new(message)));
    }

    /// Tells this on one way, to see whether it arrives.
    ///
    /// # Errors
    /// When the thread is held up, and more waits for it than it can hold.
    pub fn try_channel(&self, channel: &str, message: Message) -> io::Result<()> {
        self.ask(Order::Try(channel.to_owned(), Box::new(message)))
    }

    /// A rehearsal is over: what is last said of it. What of the rest has not left does not leave any more.
    pub fn end_rehearsal(&self, last: Vec<Message>) {
        let _ = self.orders.try_send(Order::EndRehearsal(last));
    }

    /// Messages that are made while somebody works on the box are held back, until that is over.
    pub fn mute(&self, is_muted: bool) {
        let _ = self.orders.try_send(Order::Mute(is_muted));
    }

    /// From now on this is wanted. The files that the settings name are read anew, what waits is tried at once, and what is
    /// under way has a moment to end.
    pub fn renew(&self, wanted: Wanted) -> io::Result<()> {
        self.ask(Order::Renew(Box::new(wanted)))
    }

    /// From now on what waits is kept in this store, and so is what an earlier run has left there. Happens once, and has a
    /// place of its own.
    pub fn keep(&self, store: OutboxStore) {
        let _ = self.orders.try_send(Order::Keep(Box::new(store)));
    }

    /// An order of the owner's, who can be told that there is no place for it. The last place is not his.
    fn ask(&self, order: Order) -> io::Result<()> {
        let held_up = || io::Error::other("the thread that sends alerts is held up, as by a disk that does not answer");
        if self.orders.capacity() > 1 { self.orders.try_send(order).map_err(|_| held_up()) } else { Err(held_up()) }
    }

    /// How the box stands now.
    pub fn show(&self, state: BoxState) {
        self.state.send_if_modified(|before| {
            let is_new = *before != state;
            *before = state;
            is_new
        });
    }

    /// The box was judged just now: the heartbeat may go on. Whoever calls this is who must be alive.
    pub fn is_watched(&self) {
        self.is_watched.store(true, Ordering::Relaxed);
    }

    /// How the channels stand.
    pub fn standings(&self) -> Vec<Standing> {
        self.standings.borrow().clone()
    }

    /// Stops; what is under way has a moment to end. What waits is kept.
    pub fn finish(self) {
        drop(self.orders);
        let _ = self.thread.join();
    }
}

/// The way of this name.
fn named<'a>(channels: &'a [Named], name: &str) -> Option<&'a Named> {
    channels.iter().find(|(known, _)| known == name)
}

#[cfg(test)]
mod tests;
