//! Rows about the drive itself: it fails, or it hangs.

use super::Row;
use traylight_data::verdict::Cause;

const FAILS: &[Cause] = &[Cause::DriveFails];
const HANGS: &[Cause] = &[Cause::DriveHangs];

pub const ROWS: &[Row] = &[
    // `drive-fails`: unreadable on one drive, no damage, no loss of power; or the drive says that it fails.
    Row::yes("drive-fails", FAILS, ["it says so", "300 failing 2", "drive-fails certain"]),
    Row::yes("drive-fails", FAILS, ["one place cannot be read", "300 count 2 pending 1", "drive-fails possible"]),
    Row::yes(
        "drive-fails",
        FAILS,
        ["places cannot be read and are replaced", "300 count 2 pending 1; count 2 replaced 8", "drive-fails likely"],
    ),
    Row::yes(
        "drive-fails",
        FAILS,
        ["the kernel saw it too", "298 tell drive 2 unreadable; 300 count 2 pending 1", "drive-fails likely"],
    ),
    Row::yes(
        "drive-fails",
        FAILS,
        ["its pool counts errors", "300 count 2 pending 1; errors 2 read 3", "drive-fails likely"],
    ),
    Row::yes(
        "drive-fails",
        FAILS,
        ["it dies of it", "300 count 2 pending 9; 390 tell drive 2 timed-out; 400 lose 2", "drive-fails likely"],
    ),
    Row::yes(
        "drive-fails",
        FAILS,
        [
            "its own word counts, whatever its cable does",
            "0 count 2 damaged 0; 300 count 2 damaged 4; failing 2",
            "drive-fails certain, data-cable possible",
        ],
    ),
    Row::no("drive-fails", FAILS, ["a lost connection alone", "300 lose 2", "unknown possible"]),
    Row::no("drive-fails", FAILS, ["time-outs alone", "300 timeouts 2 3", "unknown possible"]),
    Row::no(
        "drive-fails",
        FAILS,
        [
            "its transfers are damaged",
            "0 count 2 damaged 0; 300 count 2 damaged 4; count 2 pending 1",
            "unknown possible",
        ],
    ),
    Row::no(
        "drive-fails",
        FAILS,
        ["it lost its power", "0 count all starts 50; 300 count 2 starts 51; count 2 pending 1", "unknown possible"],
    ),
    Row::no("drive-fails", FAILS, ["old replaced places", "0 count 2 replaced 40; 300 end", ""]),
    // `drive-hangs`: one drive has work and finishes none.
    Row::yes("drive-hangs", HANGS, ["one stands still", "300 stall 2", "drive-hangs possible"]),
    Row::yes(
        "drive-hangs",
        HANGS,
        ["the kernel waits too", "300 stall 2; 330 tell drive 2 timed-out", "drive-hangs likely"],
    ),
    Row::yes("drive-hangs", HANGS, ["its pool lets it go", "300 stall 2; 420 out 2", "drive-hangs possible"]),
    Row::yes("drive-hangs", HANGS, ["it goes in the end", "300 stall 2; 480 lose 2", "drive-hangs possible"]),
    Row::no("drive-hangs", HANGS, ["twenty seconds only", "300 stall 2; 320 go-on 2", ""]),
    Row::no("drive-hangs", HANGS, ["two of six", "300 stall 2 3", "shared-path possible"]),
    Row::no("drive-hangs", HANGS, ["all of a controller", "300 stall all", "path-hangs likely"]),
    Row::no(
        "drive-hangs",
        HANGS,
        ["it cannot read what it holds", "300 stall 2; count 2 pending 2", "drive-fails possible"],
    ),
];
