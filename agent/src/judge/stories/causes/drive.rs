//! Rows about the drive itself: it fails, or it hangs.

use super::Row;
use crate::verdict::Cause;

const FAILS: &[Cause] = &[Cause::DriveFails];
const HANGS: &[Cause] = &[Cause::DriveHangs];

pub const ROWS: &[Row] = &[
    // R4: M on one drive, L and Z flat; or the drive says that it fails.
    Row::yes("R4", FAILS, ["it says so", "300 failing 2", "drive-fails certain"]),
    Row::yes("R4", FAILS, ["one place cannot be read", "300 count 2 pending 1", "drive-fails possible"]),
    Row::yes(
        "R4",
        FAILS,
        ["places cannot be read and are replaced", "300 count 2 pending 1; count 2 replaced 8", "drive-fails likely"],
    ),
    Row::yes(
        "R4",
        FAILS,
        ["the kernel saw it too", "298 tell drive 2 unreadable; 300 count 2 pending 1", "drive-fails likely"],
    ),
    Row::yes("R4", FAILS, ["its pool counts errors", "300 count 2 pending 1; errors 2 read 3", "drive-fails likely"]),
    Row::yes(
        "R4",
        FAILS,
        ["it dies of it", "300 count 2 pending 9; 390 tell drive 2 timed-out; 400 lose 2", "drive-fails likely"],
    ),
    Row::yes(
        "R4",
        FAILS,
        [
            "its own word counts, whatever its cable does",
            "0 count 2 damaged 0; 300 count 2 damaged 4; failing 2",
            "drive-fails certain, data-cable possible",
        ],
    ),
    Row::no("R4", FAILS, ["a lost connection alone", "300 lose 2", "unclear possible"]),
    Row::no("R4", FAILS, ["time-outs alone", "300 timeouts 2 3", "unclear possible"]),
    Row::no(
        "R4",
        FAILS,
        [
            "its transfers are damaged",
            "0 count 2 damaged 0; 300 count 2 damaged 4; count 2 pending 1",
            "unclear possible",
        ],
    ),
    Row::no(
        "R4",
        FAILS,
        ["it lost its power", "0 count all starts 50; 300 count 2 starts 51; count 2 pending 1", "unclear possible"],
    ),
    Row::no("R4", FAILS, ["old replaced places", "0 count 2 replaced 40; 300 end", ""]),
    // R9: one drive has work and finishes none.
    Row::yes("R9", HANGS, ["one stands still", "300 stall 2", "drive-hangs possible"]),
    Row::yes("R9", HANGS, ["the kernel waits too", "300 stall 2; 330 tell drive 2 timed-out", "drive-hangs likely"]),
    Row::yes("R9", HANGS, ["its pool lets it go", "300 stall 2; 420 out 2", "drive-hangs possible"]),
    Row::yes("R9", HANGS, ["it goes in the end", "300 stall 2; 480 lose 2", "drive-hangs possible"]),
    Row::no("R9", HANGS, ["twenty seconds only", "300 stall 2; 320 go-on 2", ""]),
    Row::no("R9", HANGS, ["two of six", "300 stall 2 3", "shared-path possible"]),
    Row::no("R9", HANGS, ["all of a controller", "300 stall all", "path-hangs likely"]),
    Row::no("R9", HANGS, ["it cannot read what it holds", "300 stall 2; count 2 pending 2", "drive-fails possible"]),
];
