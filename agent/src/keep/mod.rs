//! What is kept over restarts: one small database in the state folder, written seldom and whole. It keeps what it is
//! given; what is worth keeping, and when, is said elsewhere.
//!
//! In reading order: `store` is the file, with `aside` for one that cannot be used; `database` opens it, `rows` and `outbox` are
//! what is in it, `stamp` is when that was written. `opened` is a store with what was in it, `saver` the thread that writes,
//! `fault` what can go wrong.

mod aside;
mod database;
mod fault;
mod opened;
mod outbox;
mod rows;
mod saver;
mod stamp;
mod store;

pub use fault::{KeepFault, Trouble};
pub use opened::{Opened, Opening, Outboxes};
pub use outbox::OutboxStore;
pub use saver::{SaveEvent, Saver};
pub use store::Store;
