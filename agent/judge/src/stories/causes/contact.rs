//! Rows about the power contact of one tray, by the lines that a kernel writes while it opens and closes.

use super::Row;
use traylight_data::verdict::Cause;

const TRAY: &[Cause] = &[Cause::TrayPower, Cause::TrayConnection];
const CABLE: &[Cause] = &[Cause::DataCable];

/// The power contact of tray 2 opens while it is written to, by real lines; it comes back.
macro_rules! contact {
    ($middle:literal, $later:literal) => {
        concat!(
            "0 count all starts 50; 300 log 2 cut-busy; ",
            $middle,
            "360 out 2; 362 lose 2; 420 log 2 back; 430 back 2; ",
            $later
        )
    };
}

pub const ROWS: &[Row] = &[
    // `tray-power` on real lines.
    Row::yes(
        "tray-power lines",
        TRAY,
        [
            "it opens while the drive rests",
            "0 count all starts 50; 300 log 2 cut-idle; 314 lose 2; 420 log 2 back; 430 back 2; 436 count 2 starts 51; 438 end",
            "tray-power likely",
        ],
    ),
    Row::yes(
        "tray-power lines",
        TRAY,
        ["while it works", contact!("", "436 count 2 starts 51; 438 end"), "tray-power likely"],
    ),
    Row::yes(
        "tray-power lines",
        TRAY,
        [
            "the program is started again between",
            contact!("340 restart; ", "436 count 2 starts 51; 438 end"),
            "tray-power likely",
        ],
    ),
    Row::yes(
        "tray-power lines",
        TRAY,
        [
            "it is asked two hours later",
            contact!("", "unasked 2; 7000 count 2 starts 51; asked 2; 7002 end"),
            "tray-power likely",
        ],
    ),
    Row::yes(
        "tray-power lines",
        TRAY,
        [
            "a sag that nothing was let go for",
            "0 count all starts 50; 300 log 2 dip; 340 count 2 starts 51",
            "tray-power likely",
        ],
    ),
    Row::yes(
        "tray-power lines",
        TRAY,
        [
            "commands run out in it",
            "0 count all starts 50; 300 log 2 dip; 310 timeouts 2 2; 340 count 2 starts 51",
            "tray-power likely",
        ],
    ),
    Row::yes(
        "tray-power lines",
        TRAY,
        [
            "its link stays slower",
            "0 count all starts 50; 300 log 2 dip; 310 speed 2 3000; 340 count 2 starts 51; 1200 end",
            "tray-power likely",
        ],
    ),
    Row::yes(
        "tray-power lines",
        TRAY,
        [
            "twice, and nothing counts starts",
            "300 log 6 cut-idle; 314 lose 6; 420 log 6 back; 430 back 6; 1000 log 6 cut-busy; 1062 lose 6",
            "tray-connection possible",
        ],
    ),
    Row::no(
        "tray-power lines",
        CABLE,
        ["once, and still gone", "0 count all starts 50; 300 log 2 cut-idle; 314 lose 2", "unknown possible"],
    ),
    Row::no(
        "tray-power lines",
        CABLE,
        [
            "once while it worked, and still gone",
            "0 count all starts 50; 300 log 2 cut-busy; 360 out 2; 362 lose 2",
            "unknown possible",
        ],
    ),
    Row::no(
        "tray-power lines",
        TRAY,
        ["a bad data cable", "0 count all damaged 0; 300 log 2 cable; 302 count 2 damaged 4", "data-cable likely"],
    ),
    Row::no(
        "tray-power lines",
        TRAY,
        [
            "a bad data cable that comes off in the end",
            "0 count all damaged 0; 300 log 2 cable; 302 count 2 damaged 4; 900 log 2 cut-busy; 962 lose 2",
            "data-cable likely",
        ],
    ),
    Row::no(
        "tray-power lines",
        TRAY,
        ["a drive that dies of bad places", "300 log 2 dies; 351 lose 2", "drive-fails likely"],
    ),
    Row::no(
        "tray-power lines",
        TRAY,
        [
            "two trays",
            "0 count all starts 50; 300 log 2 cut-busy; log 3 cut-busy; 362 lose 2 3; 420 back 2 3; 436 count 2 starts 51; \
         count 3 starts 51; 438 end",
            "supply likely",
        ],
    ),
    Row::no(
        "tray-power lines",
        TRAY,
        [
            "two trays at one moment, which the kernel lets go one after the other",
            "0 count all starts 50; 300 log 2 cut-idle; log 3 cut-busy; 314 lose 2; 362 lose 3",
            "supply possible",
        ],
    ),
];
