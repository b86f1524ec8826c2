//! Tells what is new: words for conditions, and the ways out.

pub mod cause_words;
mod drive_words;
pub mod evidence_words;
mod heat_words;
pub mod incident_log;
pub mod incident_words;
pub mod limit_words;
pub mod log;
mod pool_words;
pub mod test_words;
pub mod wording;
