//! Sends what is told: [`channels`], and the [`sender`], the thread that hands them what waits in the outbox. [`log`] writes
//! log lines.

pub mod channels;
pub mod log;
pub mod sender;
