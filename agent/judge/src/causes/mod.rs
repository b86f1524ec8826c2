//! From conditions and signs to causes: a list of rules, tried in a fixed order. The first that fits takes the
//! conditions that it explains; what no rule takes stands for itself. The order and the rules are those of the table in
//! `README.md` beside this file. [`view`] is what they look at, [`diagnosis`] what they find; [`lost`] tells how a drive went.

mod connection;
mod controller;
mod diagnosis;
mod drive;
mod heat;
mod host;
pub mod lost;
mod power;
mod shared;
mod transfer;
mod usb;
pub mod view;

use diagnosis::Left;
use std::collections::BTreeSet;
use view::CauseView;

pub use diagnosis::Diagnosis;

type CauseRule = for<'v, 'a> fn(&Left<'v, 'a>) -> Vec<Diagnosis>;

/// The rules, in the order in which they are tried.
const RULES: [CauseRule; 25] = [
    connection::taken_out,
    connection::slow_to_wake,
    controller::update,
    controller::stopped,
    power::supply_that_drives_confirm,
    usb::bridge,
    shared::path_lost,
    usb::power,
    power::supply,
    power::dark_since_start,
    connection::wrong_tray,
    controller::pcie_link,
    controller::path_hangs,
    power::tray_power,
    transfer::after_a_move,
    shared::damage,
    transfer::cable,
    drive::hangs,
    connection::link_power_saving,
    shared::silence,
    drive::fails,
    host::data_path,
    heat::warmth,
    host::restart,
    connection::unknown,
];

/// What lies behind what holds. Each open condition that a rule explains is claimed by exactly one diagnosis.
pub fn diagnose(view: &CauseView) -> Vec<Diagnosis> {
    let mut left = Left { view, explained: BTreeSet::new(), claimed: BTreeSet::new() };
    let mut found = Vec::new();
    for rule in RULES {
        for mut diagnosis in rule(&left) {
            left.take(&mut diagnosis);
            diagnosis.evidence.sort_by_key(|sign| sign.event.at);
            found.push(diagnosis);
        }
    }
    found
}
