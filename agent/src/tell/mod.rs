//! Tells what is new: from a verdict to words, log lines and messages. Sending them is [`crate::send`]'s.
//!
//! In reading order: [`tongue`] has the tables of words. [`wording`] puts a condition into words, with `fact_words`,
//! `heat_words`, `pool_words`, `board_words`, and [`limit_words`] for its limits; [`incident_words`] an incident, with
//! [`cause_words`] and [`evidence_words`]; [`test_words`] self-tests. [`log`] and [`incident_log`] are log lines. [`tidings`]
//! makes a [`message`] of what is new about an incident, [`outbox`] holds it until it may leave, a [`batch`] is what leaves in
//! one piece (`batch_words` as text, `batch_page` as HTML). [`confirm`] checks that somebody reads a channel, and
//! [`box_state`] is for channels that show a state.

pub mod batch;
#[cfg(feature = "mail")]
pub mod batch_page;
pub mod batch_words;
mod board_words;
pub mod box_state;
pub mod cause_words;
pub mod confirm;
pub mod evidence_words;
mod fact_words;
mod heat_words;
pub mod incident_log;
pub mod incident_words;
#[cfg(test)]
mod keys_in_use;
pub mod limit_words;
pub mod log;
pub mod message;
pub mod outbox;
mod pool_words;
pub mod test_words;
pub mod tidings;
pub mod tongue;
pub mod wording;
