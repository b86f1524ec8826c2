//! Shows the verdict: which page now, what is on it, and the panel it goes to.

pub mod buttons;
pub mod care;
mod log_thread;
pub mod outlet;
pub mod pages;
pub mod panel;
pub mod stage;
pub mod sun;
pub mod turn;
