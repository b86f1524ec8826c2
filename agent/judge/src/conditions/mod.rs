//! The rules: each file is one kind of condition, its limits, and what it says of a look at the box.

pub mod about;
pub mod airflow;
pub mod answering;
pub mod attachments;
pub mod board;
pub mod controllers;
pub mod fans;
pub mod health;
pub mod heat;
pub mod itself;
pub mod links;
pub mod member_errors;
pub mod member_faulty;
pub mod newcomers;
pub mod pool_work;
pub mod pools;
pub mod presence;
pub mod processor;
pub mod space;
pub mod starts;
pub mod supply;
pub mod volumes;
pub mod warmth;

use crate::Memory;
use crate::track::Sight;
use traylight_config::Settings;
use traylight_data::reading::Snapshot;

/// What makes a condition: a constant of this type in each file of a rule.
#[derive(Debug)]
pub struct Rule {
    /// Looks at what is remembered and read, and says what it sees.
    pub(crate) sights: fn(&Settings, &Memory, &Snapshot) -> Vec<Sight>,
}

/// All rules, in the order in which what they see is taken in.
pub const RULES: [&Rule; 21] = [
    &presence::RULE,
    &answering::RULE,
    &newcomers::RULE,
    &attachments::RULE,
    &heat::RULE,
    &warmth::RULE,
    &health::RULE,
    &pools::RULE,
    &pool_work::RULE,
    &member_errors::RULE,
    &member_faulty::RULE,
    &starts::RULE,
    &volumes::RULE,
    &space::RULE,
    &fans::RULE,
    &airflow::RULE,
    &links::RULE,
    &controllers::RULE,
    &supply::RULE,
    &processor::RULE,
    &board::RULE,
];
