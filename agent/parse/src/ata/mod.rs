//! ATA drives: what they answer to IDENTIFY DEVICE, SMART and the general purpose logs.

pub mod abilities;
pub mod attributes;
pub mod errors;
pub mod identify;
pub mod logs;
pub mod power;
pub mod recovery;
pub mod sct;
pub mod self_test;
pub mod smart;
pub mod statistics;
mod words;
