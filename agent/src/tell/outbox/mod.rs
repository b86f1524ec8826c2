//! Which message goes to which channel, and when: a function of what waits and of the time. It sends nothing and stores
//! nothing; what is to be stored comes out as [`Write`]s, to be on disk before anything leaves.
//!
//! Every channel has a queue of its own, so that one that fails holds up no other. What belongs to one incident leaves in
//! its order.
//!
//! In reading order: `terms` is what it goes by and what it answers, `kept` what of it is stored. `planner` is the
//! outbox, made of `queue`s, from which `fold` leaves out what is too much; `pause` and `heartbeat` are how long what fails is
//! left alone, `quiet` the quiet hours, `reach` and `rehearsed` what becomes of rehearsals.

mod fold;
mod heartbeat;
mod kept;
mod pause;
mod planner;
mod queue;
mod quiet;
mod reach;
mod rehearsed;
mod terms;
#[cfg(test)]
mod tests;

pub use heartbeat::HeartbeatPause;
pub use kept::{Kept, KeptPause, LastSuccess, REMEMBERED, ReportedIncident, Waiting, Write};
pub use planner::Outbox;
pub use rehearsed::Dropped;
pub use terms::{NextStep, Now, Policy, QueueState, Rule};
