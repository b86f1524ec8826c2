//! Shows the verdict: which page now, what is on it, and the glass it goes to.

pub mod glass;
pub mod outlet;
pub mod pages;
pub mod stage;
pub mod turn;
