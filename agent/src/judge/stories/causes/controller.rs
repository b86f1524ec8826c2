//! Rows of the table: what lies between the board and several drives at once. The controller, and all of its drives.

use super::Row;
use crate::verdict::Cause;

const STOPPED: &[Cause] = &[Cause::ControllerStopped, Cause::ControllerHot];
const HOT: &[Cause] = &[Cause::ControllerHot];
const HANGS: &[Cause] = &[Cause::PathHangs];

pub const ROWS: &[Row] = &[
    // R5: all drives of a controller P or T, and the controller dead; Z flat.
    Row::yes(
        "R5",
        STOPPED,
        [
            "its registers read as all ones",
            "0 controller works; 300 controller all-ones; lose all",
            "controller-stopped certain",
        ],
    ),
    Row::yes(
        "R5",
        STOPPED,
        ["it is gone itself", "0 controller works; 300 controller gone; lose all", "controller-stopped certain"],
    ),
    Row::yes(
        "R5",
        STOPPED,
        [
            "its driver let it go",
            "0 controller works; 300 lose all; 304 controller undriven",
            "controller-stopped certain",
        ],
    ),
    Row::yes(
        "R5",
        STOPPED,
        [
            "only the kernel's log tells",
            "0 controller works; 300 tell controller all-ones; lose all",
            "controller-stopped likely",
        ],
    ),
    Row::yes(
        "R5",
        STOPPED,
        [
            "drives that hang instead of going",
            "0 controller works; 300 controller all-ones; stall all",
            "controller-stopped certain",
        ],
    ),
    Row::yes(
        "R5",
        STOPPED,
        [
            "one drive that has nothing to do has not noticed",
            "0 controller works; 300 controller all-ones; lose 1 2 3 4 5",
            "controller-stopped certain",
        ],
    ),
    Row::no("R5", STOPPED, ["the controller works", "0 controller works; 300 lose all", "supply possible"]),
    Row::no(
        "R5",
        STOPPED,
        [
            "the log tells, and one drive goes on",
            "0 controller works; 300 tell controller all-ones; lose 1 2 3",
            "unclear possible, unclear possible, unclear possible",
        ],
    ),
    Row::no(
        "R5",
        STOPPED,
        [
            "the drives lost their power",
            "0 controller works; count all starts 50; 300 tell controller all-ones; count all starts 51",
            "unclear possible, unclear possible, unclear possible, unclear possible, unclear possible, unclear possible",
        ],
    ),
    Row::no(
        "R5",
        STOPPED,
        [
            "it was reset days ago",
            "0 controller works; 300 tell controller all-ones; 200000 lose all",
            "supply possible",
        ],
    ),
    Row::no(
        "R5",
        STOPPED,
        [
            "a board that keeps no list of its controller",
            "0 port all hutsoc.sata/ata-1; controller works; 300 lose all",
            "supply possible",
        ],
    ),
    // R5b: the same, 45 °C or more before, and it works again.
    Row::yes(
        "R5b",
        HOT,
        [
            "all come back",
            "0 hot all 46; controller works; 300 controller all-ones; lose all; 600 controller works; back all; 640 end",
            "controller-hot certain",
        ],
    ),
    Row::yes(
        "R5b",
        HOT,
        [
            "some come back",
            "0 hot all 47; controller works; 300 controller gone; lose all; 600 controller works; back 1 2; 640 end",
            "controller-hot certain",
        ],
    ),
    Row::yes(
        "R5b",
        HOT,
        [
            "only the log tells",
            "0 hot 3 46; controller works; 300 tell controller all-ones; lose all; 600 back all; 640 end",
            "controller-hot likely",
        ],
    ),
    Row::no(
        "R5b",
        HOT,
        [
            "it was cool",
            "0 controller works; 300 controller all-ones; lose all; 600 controller works; back all; 640 end",
            "controller-stopped certain",
        ],
    ),
    Row::no(
        "R5b",
        HOT,
        [
            "it stays dead",
            "0 hot all 46; controller works; 300 controller all-ones; lose all",
            "controller-stopped certain",
        ],
    ),
    Row::no(
        "R5b",
        HOT,
        ["it never stopped", "0 hot all 46; controller works; 300 lose all; 600 back all; 640 end", "supply possible"],
    ),
    // R10: all drives of one controller have work and finish none.
    Row::yes("R10", HANGS, ["all at once", "300 stall all", "path-hangs likely"]),
    Row::yes(
        "R10",
        HANGS,
        [
            "the kernel waits too",
            "300 stall all; 330 tell drive 1 timed-out; tell drive 4 timed-out",
            "path-hangs likely",
        ],
    ),
    Row::yes(
        "R10",
        HANGS,
        [
            "each when it has work",
            "300 stall 1; 330 stall 2; 360 stall 3; 390 stall 4; 420 stall 5; 450 stall 6",
            "path-hangs possible",
        ],
    ),
    Row::no(
        "R10",
        HANGS,
        [
            "one goes on",
            "300 stall 1 2 3 4 5",
            "unclear possible, unclear possible, unclear possible, unclear possible, unclear possible",
        ],
    ),
    Row::no("R10", HANGS, ["one alone", "300 stall 3", "drive-hangs possible"]),
    Row::no("R10", HANGS, ["for twenty seconds", "300 stall all; 320 go-on all", ""]),
    Row::no(
        "R10",
        HANGS,
        ["the only drive of its controller", "0 port 3 0000/02.0/ata-1; 300 stall 3", "drive-hangs possible"],
    ),
];
