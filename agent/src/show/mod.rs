//! Shows the verdict: which page now, what is on it, and the panel it goes to.
//!
//! In reading order: [`turn`] chooses the page, [`pages`] draw it, [`care`] spares the panel (at night, by [`sun`]), [`panel`]
//! sends it, [`buttons`] are beside it. [`stage`] is the panel in a terminal; [`outlet`] and its `log_thread` take pictures and
//! log lines there.

pub mod buttons;
pub mod care;
mod log_thread;
pub mod outlet;
pub mod pages;
pub mod panel;
pub mod stage;
pub mod sun;
pub mod turn;
