//! The sender: a thread of its own that stores what is to be told, sends it, and says what came of it. Neither a memory
//! card that hangs nor a server that is slow can hold up the judging; nor can one channel hold up another.

mod heartbeat;
mod order;
mod round;
mod storing;
mod trial;
mod world;

use crate::keep::OutboxStore;
use crate::send::channels::ChannelFault;
use crate::tell::box_state::BoxState;
use crate::tell::message::Message;
use crate::tell::outbox::QueueState;
pub use order::{SendEvent, SenderSettings, TrialReply};
use order::{SenderOrder, Trial};
use round::{LAST, Round};
use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use tokio::sync::mpsc;
use tokio::sync::watch;
pub use world::{Machine, World, random};

/// So many orders wait for the thread while a disk or a channel holds it up.
pub const MOST_ORDERS: usize = 256;
/// Places among them that no message takes: what its owner asks for finds one.
const RESERVED: usize = 32;

/// What the sender is given.
pub struct Errand {
    /// What its owner wants.
    pub wanted: SenderSettings,
    /// True when messages are held back.
    pub is_muted: bool,
    /// Where what waits is kept, where a store could be opened.
    pub store: Option<OutboxStore>,
}

/// The handle of the sender's thread.
pub struct Sender {
    orders: mpsc::Sender<SenderOrder>,
    state: watch::Sender<BoxState>,
    standings: watch::Receiver<Vec<QueueState>>,
    is_watched: Arc<AtomicBool>,
    thread: JoinHandle<()>,
}

impl Sender {
    /// Starts the thread. `report` is called from it.
    pub fn start(
        errand: Errand,
        world: impl World + 'static,
        report: impl Fn(SendEvent) + Send + 'static,
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
        let _ = self.orders.try_send(SenderOrder::Tell(Box::new(message)));
    }

    /// Sends this on one channel immediately, whatever waits for it; `reply` is called with what came of it.
    pub fn try_channel(&self, channel: &str, message: Message, reply: TrialReply) {
        if self.has_place().is_err() {
            return reply(Err(ChannelFault::SenderBlocked));
        }
        let trial = Trial { channel: channel.to_owned(), message, reply };
        let _ = self.orders.try_send(SenderOrder::Try(Box::new(trial)));
    }

    /// A rehearsal is over: what is last said of it. What of the rest has not left does not leave any more.
    pub fn end_rehearsal(&self, last: Vec<Message>) {
        let _ = self.orders.try_send(SenderOrder::EndRehearsal(last));
    }

    /// Messages that are made while somebody works on the box are held back, until that is over.
    pub fn mute(&self, is_muted: bool) {
        let _ = self.orders.try_send(SenderOrder::Mute(is_muted));
    }

    /// From now on this is wanted. The files that the settings name are read anew, what waits is tried at once, and what is
    /// under way has a moment to end.
    pub fn renew(&self, wanted: SenderSettings) -> io::Result<()> {
        self.has_place()?;
        // Only this handle gives orders: the place is still there.
        let _ = self.orders.try_send(SenderOrder::Renew(Box::new(wanted)));
        Ok(())
    }

    /// From now on what waits is kept in this store, and so is what an earlier run has left there. Happens once, and has a
    /// place of its own.
    pub fn keep(&self, store: OutboxStore) {
        let _ = self.orders.try_send(SenderOrder::Keep(Box::new(store)));
    }

    /// Whether there is a place for an order of the owner's, who can be told that there is none. The last is not his.
    fn has_place(&self) -> io::Result<()> {
        let held_up = "the alert thread is blocked, for example by a disk that does not respond";
        if self.orders.capacity() > 1 { Ok(()) } else { Err(io::Error::other(held_up)) }
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
    pub fn standings(&self) -> Vec<QueueState> {
        self.standings.borrow().clone()
    }

    /// Stops; what is under way has a moment to end. What waits is kept.
    pub fn finish(self) {
        drop(self.orders);
        let _ = self.thread.join();
    }
}

#[cfg(test)]
mod tests;
