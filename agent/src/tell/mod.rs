//! Tells what is new: words for conditions, and the ways out.

mod board_words;
mod box_words;
mod drive_words;
mod heat_words;
pub mod log;
mod pool_words;
pub mod test_words;
pub mod wording;
