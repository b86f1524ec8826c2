//! Tells what is new: words for conditions, and the channels.

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
