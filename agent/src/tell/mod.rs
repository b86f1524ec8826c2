//! Tells what is new: words for conditions, and the ways out.

mod drive_words;
mod heat_words;
pub mod letter;
pub mod letter_words;
pub mod log;
pub mod message;
pub mod outbox;
mod pool_words;
pub mod test_words;
pub mod wording;
