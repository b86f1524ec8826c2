//! Rows about what is hours, weeks or a start of the machine apart: it is told apart, however well it would fit together.

use super::Row;
use traylight_data::verdict::Cause;

const SUPPLY: &[Cause] = &[Cause::Supply];
const OWNER: &[Cause] = &[Cause::TakenOut];
const SHARED: &[Cause] = &[Cause::SharedPath, Cause::PcieLink];

pub const ROWS: &[Row] = &[
    // What was missed before the machine started has not gone dark with it.
    Row::no(
        "dark",
        SUPPLY,
        [
            "two that were lost an hour apart, the second by a hand, and then a start",
            "0 level raid6; 60 lose 1; 5000 lose 3; 5500 stop; 5510 reboot; 6000 end",
            "unknown possible, wrong-tray possible",
        ],
    ),
    Row::no(
        "dark",
        SUPPLY,
        [
            "the same over two starts and a restart",
            "0 level raid6; 60 lose 1; 5000 lose 3; 5500 stop; 5510 reboot; 5900 stop; 5910 reboot; 6200 restart; 6600 end",
            "unknown possible, wrong-tray possible",
        ],
    ),
    Row::no(
        "dark",
        SUPPLY,
        [
            "one was missed for weeks, and another since the box was off",
            "0 level raid6; 60 lose 1; 70 pass 1900000; 1900300 stop; 1900310 reboot; lose 4; 1900800 end",
            "unknown possible, unknown possible",
        ],
    ),
    Row::yes(
        "dark",
        SUPPLY,
        [
            "a shelf that is still off at the next start",
            "0 level raid6; 290 stop; 300 reboot; lose 4 5 6; 900 stop; 910 reboot; 1500 end",
            "supply likely",
        ],
    ),
    Row::yes(
        "dark",
        SUPPLY,
        [
            "two go dark, and one was missed before",
            "0 level raid6; 60 lose 1; 290 stop; 300 reboot; lose 4 5; 800 end",
            "unknown possible, supply possible",
        ],
    ),
    // A dip that was repaired, and a drive that is not there after the next start.
    Row::no(
        "supply later",
        OWNER,
        [
            "one of them is missed since the next start",
            "0 count all starts 50; 300 lose 1 3; 360 back 1 3; rejoin 1 3; 370 count 1 starts 51; count 3 starts 51; \
         5000 stop; 5010 reboot; lose 1; count all starts 60; 5600 end",
            "supply likely, unknown possible",
        ],
    ),
    Row::yes(
        "supply later",
        SUPPLY,
        [
            "they stay gone over a start, and are no other story",
            "0 count all starts 50; 300 lose 1 3; 5000 stop; 5010 reboot; count all starts 60; 5600 end",
            "supply possible",
        ],
    ),
    // A pool let go of it by itself, however long ago that was and whoever told of it.
    Row::no(
        "taken-out",
        OWNER,
        [
            "put out for time-outs more than a week before",
            "300 tell drive 2 timed-out; 302 out 2; 600 pass 700000; 700700 lose 2; 701100 end",
            "unknown possible",
        ],
    ),
    Row::no(
        "taken-out",
        OWNER,
        [
            "put out for time-outs that are only counted",
            "300 timeouts 2 4; 302 out 2; 3900 lose 2; 4200 end",
            "unknown possible",
        ],
    ),
    Row::no(
        "taken-out",
        OWNER,
        [
            "the same, with a restart on the way",
            "300 timeouts 2 4; 302 out 2; 1000 restart; 3900 lose 2; 4000 restart; 4400 end",
            "unknown possible",
        ],
    ),
    Row::no(
        "taken-out",
        OWNER,
        ["its pool calls it faulty, and no hand has removed it", "300 thrown-out 2; 3900 lose 2", "unknown possible"],
    ),
    Row::no(
        "taken-out",
        OWNER,
        ["the same, asleep by then", "300 thrown-out 2; 900 asleep 2; 3900 lose 2", "unknown possible"],
    ),
    // One that died hours before does not hang together with another that does not answer for a moment.
    Row::no(
        "pcie-link or shared-path",
        SHARED,
        [
            "one died hours ago, and a hand pulls another",
            "0 controller works; 300 dies 2; 9000 yank 4 unnoticed",
            "drive-hangs likely, wrong-tray possible",
        ],
    ),
    Row::no(
        "pcie-link or shared-path",
        SHARED,
        [
            "one died hours ago, and another hangs",
            "0 level raid6; controller works; 300 dies 2; 9000 stall 4",
            "drive-hangs likely, drive-hangs possible",
        ],
    ),
    Row::yes(
        "pcie-link or shared-path",
        SHARED,
        [
            "two hang, and one of them is gone in the end",
            "0 level raid6; controller works; 300 stall 2 4; 500 lose 2; 1500 end",
            "shared-path possible",
        ],
    ),
];
