//! Prints what a year of healthy boxes has told, for nothing: `quiet_year` plays each day, `quiet_year 13` every
//! thirteenth. A second argument, part of a box's name, plays that one and prints each line.

use std::env::args;
use std::process::ExitCode;
use traylight_tests::year::{BOXES, MOST, table, year};

fn main() -> ExitCode {
    let every = args().nth(1).and_then(|days| days.parse().ok()).unwrap_or(1);
    let only = args().nth(2).unwrap_or_default();
    let told: Vec<_> =
        BOXES.into_iter().filter(|kind| kind.name.contains(&only)).map(|kind| (kind, year(kind, every))).collect();
    if !only.is_empty() {
        told.iter().flat_map(|(_, told)| &told.lines).for_each(|line| println!("{line}"));
    }
    println!("{}", table(&told));
    let is_quiet = told.iter().all(|(_, told)| told.alerts() <= MOST.0 && told.notices() <= MOST.1);
    if is_quiet { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
