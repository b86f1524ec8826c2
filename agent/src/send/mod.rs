//! Sends what is told: the channels, and the thread that hands them what waits in the outbox.

pub mod channels;
pub mod log;
pub mod sender;
