//! The words for people, the same for the log, the panel, a message and `look`. Pure.
//!
//! In reading order: [`phrases`] has the tables, one a language, [`temperature`] the reader's unit,
//! and [`parts`] what the words of a condition consist of. [`drives`] names drives. [`condition`] puts a condition into words, by `facts`, and by `heat`, `pool` and `board` where that
//! takes arithmetic; [`limit`] its limits. [`incident`] puts an incident into words, with its [`cause`] and [`evidence`];
//! [`self_test`] what becomes of tests; [`acceptance`] what became of an accepted incident; [`delivery`] what came of a delivery; [`fields`] is for facts whose words are one sentence each; [`unseen`] what cannot be looked at.

pub mod acceptance;
mod board;
pub mod cause;
pub mod condition;
pub mod delivery;
pub mod drives;
pub mod evidence;
mod facts;
pub mod fields;
mod heat;
pub mod incident;
#[cfg(test)]
mod keys_in_use;
pub mod limit;
pub mod parts;
pub mod phrases;
mod pool;
pub mod self_test;
pub mod temperature;
pub mod unseen;
