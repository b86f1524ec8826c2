//! Rows about lost power: what a dip explains and what it does not, suspended machines, drives that
//! are dark since the start.

use super::Row;
use traylight_data::verdict::Cause;

const SUPPLY: &[Cause] = &[Cause::Supply];
const TRAY: &[Cause] = &[Cause::TrayPower, Cause::TrayConnection];
const WRONG: &[Cause] = &[Cause::WrongTray];
const FAILS: &[Cause] = &[Cause::DriveFails];

/// Two drives lose their power together, come back, say so, and are used again; three days later something else happens.
macro_rules! repaired {
    ($later:literal) => {
        concat!(
            "0 count all starts 50; count all damaged 0; 300 lose 1 3; 360 back 1 3; rejoin 1 3; ",
            "370 count 1 starts 51; count 3 starts 51; 380 pass 259000; ",
            $later
        )
    };
}

/// Two drives fell out of a supply that fades.
macro_rules! fading {
    ($later:literal) => {
        concat!("0 level raid6; 300 lose 1 3; ", $later)
    };
}

/// Half a day of power and a night of sleep, in which every drive starts once more.
macro_rules! night {
    ($later:literal) => {
        concat!("0 count all starts 50; unasked all; 300 suspend 28800; ", $later)
    };
}

pub const ROWS: &[Row] = &[
    // A dip that was repaired explains nothing that happens later.
    Row::no(
        "supply later",
        WRONG,
        ["one of them goes alone", repaired!("259500 lose 1"), "supply likely, unknown possible"],
    ),
    Row::no(
        "supply later",
        WRONG,
        ["one of them hangs", repaired!("259500 stall 1"), "supply likely, drive-hangs possible"],
    ),
    Row::no(
        "supply later",
        WRONG,
        [
            "transfers to one of them are damaged",
            repaired!("259500 count 1 damaged 4"),
            "supply likely, data-cable possible",
        ],
    ),
    Row::no(
        "supply later",
        WRONG,
        ["one of them cannot read", repaired!("259500 count 1 pending 1"), "supply likely, drive-fails possible"],
    ),
    Row::no(
        "supply later",
        WRONG,
        ["one is taken out", repaired!("259490 mute; 259500 lose 1"), "supply likely, taken-out likely"],
    ),
    Row::no(
        "supply later",
        WRONG,
        [
            "the program is started again between",
            repaired!("259490 restart; 259500 lose 1"),
            "supply likely, unknown possible",
        ],
    ),
    Row::no("supply later", WRONG, ["it happens again", repaired!("259500 lose 1 2"), "supply likely"]),
    Row::yes(
        "supply later",
        SUPPLY,
        [
            "a week later it is over",
            "0 count all starts 50; 300 count 1 starts 51; count 3 starts 51; 310 pass 604900; 605300 end",
            "",
        ],
    ),
    Row::yes(
        "supply later",
        SUPPLY,
        [
            "over a reboot, too",
            "0 count all starts 50; 300 lose 1 3; 360 back 1 3; rejoin 1 3; 370 count 1 starts 51; count 3 starts 51; \
         1000 stop; 1010 reboot; count all starts 60; 1020 pass 604900; 606100 end",
            "",
        ],
    ),
    Row::no(
        "supply later",
        SUPPLY,
        ["a reboot starts all", "0 count all starts 50; 290 stop; 300 reboot; count all starts 51", ""],
    ),
    // Starts that cannot have been together.
    Row::no(
        "supply apart",
        SUPPLY,
        [
            "two weeks apart",
            "0 count all starts 50; 300 count 1 starts 51; 310 pass 1209600; 1210000 count 3 starts 51",
            "tray-power likely",
        ],
    ),
    Row::no(
        "supply apart",
        SUPPLY,
        [
            "an hour apart, and asked between",
            "0 count all starts 50; 300 count 1 starts 51; 3900 count 3 starts 51",
            "tray-power likely, unknown possible",
        ],
    ),
    Row::yes(
        "supply apart",
        SUPPLY,
        [
            "told an hour apart, and not asked between",
            "0 count all starts 50; unasked all; 20000 count 1 starts 51; count 3 starts 51; asked 1; 23000 asked 3; 23400 end",
            "supply likely",
        ],
    ),
    // A drive that wears out is no matter of power.
    Row::yes(
        "drive-fails worn",
        FAILS,
        [
            "and loses its power",
            "0 count all starts 50; 300 count 2 pending 3; count 2 replaced 8; 400 count 2 starts 51",
            "drive-fails likely",
        ],
    ),
    Row::yes(
        "drive-fails worn",
        FAILS,
        [
            "in a dip of three",
            "0 count all starts 50; 300 count 2 pending 3; count 2 replaced 8; 900 lose 1 2 3; 960 back 1 2 3; \
         970 count 1 starts 51; count 2 starts 51; count 3 starts 51; 972 end",
            "drive-fails likely, supply likely",
        ],
    ),
    Row::yes(
        "drive-fails worn",
        FAILS,
        [
            "in a dip of three, and still gone",
            "0 count all starts 50; 300 count 2 pending 3; count 2 replaced 8; 900 lose 1 2 3",
            "drive-fails likely, supply possible",
        ],
    ),
    Row::yes(
        "drive-fails worn",
        FAILS,
        [
            "after it lost its power",
            "0 count all starts 50; 300 count 2 starts 51; 4000 count 2 pending 5; 8000 count 2 replaced 6",
            "drive-fails likely",
        ],
    ),
    Row::no(
        "drive-fails worn",
        FAILS,
        [
            "one place that the dip left unreadable",
            "0 count all starts 50; 300 count 2 starts 51; 400 count 2 pending 1",
            "tray-power likely",
        ],
    ),
    // The machine was suspended.
    Row::no(
        "Z asleep",
        SUPPLY,
        ["a night, all tell together", night!("29110 count all starts 51; asked all; 29500 end"), ""],
    ),
    Row::no(
        "Z asleep",
        SUPPLY,
        [
            "all tell hours apart",
            night!("29110 count all starts 51; asked 1; 33000 asked 2 3; 36000 asked 4 5 6; 36300 end"),
            "",
        ],
    ),
    Row::no(
        "Z asleep",
        SUPPLY,
        [
            "two nights between two answers",
            night!("36000 suspend 28800; 65000 count all starts 52; asked all; 65300 end"),
            "",
        ],
    ),
    Row::no(
        "Z asleep",
        SUPPLY,
        [
            "the program is started again in the morning",
            night!("29110 count all starts 51; 29112 restart; 29200 asked all; 29500 end"),
            "",
        ],
    ),
    Row::yes(
        "Z asleep",
        TRAY,
        [
            "one counts two more",
            night!("29110 count all starts 51; count 2 starts 52; asked all; 29500 end"),
            "tray-power likely",
        ],
    ),
    Row::yes(
        "Z asleep",
        SUPPLY,
        [
            "a dip after it",
            night!(
                "29110 count all starts 51; asked all; 29200 lose 1 3; 29260 back 1 3; 29270 count 1 starts 52; count 3 starts 52; 29272 end"
            ),
            "supply likely",
        ],
    ),
    // A supply that fades drops one after the other.
    Row::no(
        "supply fading",
        WRONG,
        ["the third goes five minutes later", fading!("600 pull 4; 620 end"), "supply possible"],
    ),
    Row::no(
        "supply fading",
        WRONG,
        ["and the fourth", fading!("600 pull 4; 1100 pull 5; 1120 end"), "supply possible"],
    ),
    Row::no(
        "supply fading",
        WRONG,
        [
            "the first have said that they lost their power",
            "0 level raid6; count all starts 50; 300 lose 1 3; 360 back 1 3; 370 count 1 starts 51; count 3 starts 51; \
         700 pull 4; 720 end",
            "supply likely",
        ],
    ),
    Row::no("supply fading", WRONG, ["over a restart", fading!("500 restart; 600 pull 4; 620 end"), "supply possible"]),
    Row::yes(
        "supply fading",
        WRONG,
        [
            "an hour later it is the wrong tray",
            fading!("3900 pull 4; 3920 end"),
            "supply possible, wrong-tray possible",
        ],
    ),
    Row::yes(
        "supply fading",
        WRONG,
        [
            "while somebody works on the box as well",
            fading!("590 mute; 600 pull 4; 620 end"),
            "supply possible, wrong-tray possible",
        ],
    ),
    // A drive that was taken out starts again when it is back.
    Row::no(
        "Z by hand",
        TRAY,
        [
            "while messages are muted",
            "0 count all starts 50; 200 mute; 300 lose 2; 900 back 2; fill 2; 910 count 2 starts 51; 912 end",
            "taken-out likely",
        ],
    ),
    Row::no(
        "Z by hand",
        TRAY,
        [
            "put out before",
            "0 count all starts 50; 200 out 2; 300 lose 2; 900 back 2; fill 2; 910 count 2 starts 51; 912 end",
            "taken-out likely",
        ],
    ),
    // Not seen since the start.
    Row::yes("dark", SUPPLY, ["a whole shelf", "290 stop; 300 reboot; lose 4 5 6; 700 end", "supply likely"]),
    Row::yes(
        "dark",
        SUPPLY,
        [
            "all drives, and the card works",
            "0 controller works; 290 stop; 300 reboot; lose all; 700 end",
            "supply likely",
        ],
    ),
    Row::yes("dark", SUPPLY, ["two of three", "290 stop; 300 reboot; lose 1 2; 700 end", "supply possible"]),
    Row::yes(
        "dark",
        SUPPLY,
        ["and the program is started again", "290 stop; 300 reboot; lose 4 5 6; 600 restart; 900 end", "supply likely"],
    ),
    Row::no("dark", SUPPLY, ["one of them", "290 stop; 300 reboot; lose 2; 700 end", "unknown possible"]),
    Row::no("dark", SUPPLY, ["another of them", "290 stop; 300 reboot; lose 3; 700 end", "unknown possible"]),
    Row::no(
        "dark",
        SUPPLY,
        [
            "they come before anybody misses them",
            "290 stop; 300 reboot; lose 4 5 6; 340 back 4 5 6; rejoin 4 5 6; 700 end",
            "",
        ],
    ),
    Row::no(
        "dark",
        SUPPLY,
        [
            "a box on USB that is off",
            "0 port 4 0000/14.0/usb-2.1:0; port 5 0000/14.0/usb-2.1:1; 290 stop; 300 reboot; lose 4 5; 700 end",
            "usb-bridge likely",
        ],
    ),
    Row::no(
        "dark",
        SUPPLY,
        [
            "the card is not there either",
            "0 controller works; 290 stop; 300 reboot; controller gone; lose all; 700 end",
            "controller-stopped certain",
        ],
    ),
    Row::no(
        "dark",
        SUPPLY,
        [
            "the card is not there, and the program is started later",
            "0 controller works; 290 stop; 300 reboot; pass 200; controller gone; lose all; 700 end",
            "controller-stopped certain",
        ],
    ),
];
