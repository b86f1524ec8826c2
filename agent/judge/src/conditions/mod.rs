//! The rules: each file is one kind of condition, or a few of one thing: its limits, and what it says of a look at the box.
//! [`rule`] says what makes a rule; [`RULES`] is the table of them; [`itself`] is about the program, which is no part of a
//! look.

pub mod answering;
pub mod attachments;
pub mod board;
pub mod controllers;
pub mod drive_context;
pub mod fans;
pub mod health;
pub mod heat;
pub mod itself;
pub mod links;
pub mod member_errors;
pub mod member_faulty;
pub mod new_drives;
pub mod pool_work;
pub mod pools;
pub mod presence;
pub mod processor;
pub mod rule;
pub mod space;
pub mod starts;
pub mod supply;
pub mod volumes;
pub mod warmth;

use crate::kinds::Kinds;
use crate::play::Play;
use rule::{KindRow, Rule};
use std::sync::LazyLock;
use traylight_config::Settings;
use traylight_data::reading::Snapshot;
use traylight_data::verdict::{Condition, Kind, Limit};

/// All rules, in the order in which what they see is taken in.
pub const RULES: [&Rule; 20] = [
    &presence::RULE,
    &answering::RULE,
    &new_drives::RULE,
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
    &links::RULE,
    &controllers::RULE,
    &supply::RULE,
    &processor::RULE,
    &board::RULE,
];

/// All kinds, rule by rule, each once.
fn rows() -> impl Iterator<Item = &'static KindRow> {
    RULES.iter().flat_map(|rule| rule.kinds).chain(itself::KINDS)
}

/// From where on a condition begins and ends, with this snapshot of the box.
pub fn limits(settings: &Settings, snapshot: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    let is_its_kind = |row: &KindRow| row.traits.kind == condition.kind();
    match RULES.iter().find(|rule| rule.kinds.iter().any(is_its_kind)) {
        Some(rule) => (rule.limits)(settings, snapshot, condition),
        None => itself::limits(condition),
    }
}

/// How a condition of this kind is played in a rehearsal.
pub fn how_played(kind: Kind) -> Play {
    let row = rows().find(|row| row.traits.kind == kind);
    row.map_or(Play::fast(&[], 0, |_, _| {}), |row| row.play)
}

/// What the rules say of their kinds.
pub fn kinds() -> &'static Kinds {
    static KINDS: LazyLock<Kinds> = LazyLock::new(|| Kinds(rows().map(|row| row.traits).collect()));
    &KINDS
}

#[cfg(test)]
mod tests {
    use super::kinds;
    use traylight_data::verdict::Kind;

    #[test]
    fn each_kind_has_one_rule() {
        let mut found: Vec<Kind> = kinds().0.iter().map(|traits| traits.kind).collect();
        found.sort();
        assert_eq!(found, Kind::ALL);
    }
}
