//! Tells what is new: from a verdict to words, log lines and messages. Sending them is [`crate::send`]'s.
//!
//! In reading order: [`words`] puts what was judged into words. [`log`], [`incident_log`] and `self_test_log` are log lines,
//! `short_line` is what a person reads of them on a terminal. [`message_parts`] makes a [`message`] of what is new about an incident,
//! [`outbox`] holds it until it may leave, a [`batch`] is what leaves in one piece ([`batch_text`] as text, `batch_html` as HTML),
//! [`delivery`] what came of that. [`confirm`] checks that somebody reads a channel, and
//! [`box_state`] is for channels that show a state.

pub mod batch;
#[cfg(feature = "mail")]
pub mod batch_html;
pub mod batch_text;
pub mod box_state;
pub mod confirm;
pub mod delivery;
pub mod incident_log;
pub mod log;
pub mod message;
pub mod message_parts;
pub mod outbox;
mod self_test_log;
mod short_line;
pub mod words;
