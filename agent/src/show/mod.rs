//! Shows the verdict: which page now, what is on it, and the glass it goes to.

pub mod buttons;
pub mod care;
pub mod glass;
mod log_thread;
pub mod outlet;
pub mod pages;
pub mod stage;
pub mod sun;
pub mod turn;
