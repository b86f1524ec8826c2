//! Stories of the schedule.
