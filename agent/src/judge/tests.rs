//! Stories of judging.
