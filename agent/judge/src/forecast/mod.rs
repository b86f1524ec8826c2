//! What lies ahead: when a volume is full, where a temperature is heading, how long a rebuild takes.

pub mod fill;
pub mod outlook;
pub mod rebuild;
mod student;
