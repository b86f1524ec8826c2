//! How a SATA drive goes, as the kernel tells it: one step of a script becomes the lines of libata, seconds apart. And what
//! its partitions may serve for besides.

use super::script::Step;
use traylight_data::reading::UsedBy;

/// The steps that a step stands for: `yank 4 idle`, and the other ways to go. Others stand for themselves.
pub fn steps(second: u64, words: Vec<String>) -> Vec<Step> {
    let lines = match words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
        ["yank", _, how] => yanked(how),
        ["dies", _] => DIES,
        _ => return vec![Step { second, words }],
    };
    let tray = &words[1];
    let step = |(later, line): &(u64, &str)| {
        let line = line.replace('#', tray);
        Step { second: second + later, words: line.split_whitespace().map(str::to_owned).collect() }
    };
    lines.iter().map(step).collect()
}

/// A hand pulls it out of a box that is on: its connection breaks, the kernel looks for it three times and detaches it.
fn yanked(how: &str) -> &'static [(u64, &'static str)] {
    match how {
        "idle" => &[
            (0, "tell drive # changed"),
            (0, "tell drive # damaged"),
            (0, "tell drive # reset"),
            (1, "tell drive # link-down 0"),
            (6, "tell drive # link-down 0"),
            (6, "tell drive # slowed"),
            (11, "tell drive # given-up"),
            (11, "tell drive # vanished"),
            (11, "pull #"),
            (11, "tell drive # failed"),
        ],
        "busy" => &[
            (0, "stall #"),
            (0, "tell drive # changed"),
            (0, "tell drive # damaged"),
            (0, "tell drive # failed"),
            (1, "tell drive # link-down 0"),
            (6, "tell drive # slowed"),
            (11, "tell drive # given-up"),
            (11, "tell drive # failed"),
            (11, "tell drive # member-failed"),
            (11, "tell drive # vanished"),
            (11, "lose #"),
        ],
        // A round comes between what its pool notices and the end of its device.
        "noticed" => &[
            (0, "stall #"),
            (0, "tell drive # changed"),
            (0, "tell drive # failed"),
            (1, "tell drive # link-down 0"),
            (7, "tell drive # given-up"),
            (7, "tell drive # member-failed"),
            (7, "thrown-out #"),
            (11, "tell drive # vanished"),
            (11, "lose #"),
        ],
        // Where links save power no interrupt tells of it: what is waited for times out first.
        "unnoticed" => &[
            (0, "stall #"),
            (32, "tell drive # timed-out"),
            (32, "tell drive # reset"),
            (33, "tell drive # link-down 0"),
            (43, "tell drive # given-up"),
            (43, "tell drive # failed"),
            (43, "tell drive # vanished"),
            (43, "lose #"),
        ],
        "fast" => &[
            (0, "tell drive # changed"),
            (0, "tell drive # link-down 0"),
            (0, "tell drive # failed"),
            (0, "tell drive # given-up"),
            (0, "tell drive # vanished"),
            (0, "pull #"),
        ],
        other => panic!("a story has no hand that pulls {other}"),
    }
}

/// It stops answering, is reset in vain, and is given up.
const DIES: &[(u64, &str)] = &[
    (0, "stall #"),
    (31, "tell drive # timed-out"),
    (31, "tell drive # reset"),
    (37, "tell drive # slow"),
    (42, "tell drive # link-down 1"),
    (60, "tell drive # slow"),
    (75, "tell drive # link-down 0"),
    (76, "tell drive # given-up"),
    (76, "tell drive # failed"),
    (76, "tell drive # member-failed"),
    (76, "tell drive # vanished"),
    (76, "lose #"),
];

/// What a partition serves for.
#[derive(Debug, Clone)]
pub enum Purpose {
    Known(UsedBy),
    /// It could not be read.
    Unknown,
}

pub fn purpose(word: &str) -> Purpose {
    match word {
        "root" => Purpose::Known(UsedBy::Mount("/".into())),
        "swap" => Purpose::Known(UsedBy::Swap),
        "mapped" => Purpose::Known(UsedBy::Holder("dm-3".into())),
        "another-pool" => Purpose::Known(UsedBy::Holder("md1".into())),
        "nobody-knows" => Purpose::Unknown,
        other => panic!("a partition of a story serves for no {other}"),
    }
}
