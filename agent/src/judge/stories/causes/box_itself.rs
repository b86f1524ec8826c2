//! Rows about the machine: data that changes on its way, and starts that nobody asked for.

use super::Row;
use crate::verdict::Cause;

const PATH: &[Cause] = &[Cause::DataPath];
const RESTART: &[Cause] = &[Cause::RestartPower, Cause::RestartHeat, Cause::RestartUnclear];

pub const ROWS: &[Row] = &[
    // R12: data disagrees on three drives, or in a pool; L and M flat.
    Row::yes(
        "R12",
        PATH,
        [
            "checksums fail on three drives",
            "300 errors 1 checksum 2; errors 2 checksum 1; errors 4 checksum 3",
            "data-path likely",
        ],
    ),
    Row::yes("R12", PATH, ["on all of them", "300 errors all checksum 2", "data-path likely"]),
    Row::yes("R12", PATH, ["a comparison finds places that do not agree", "300 mismatches 128", "data-path possible"]),
    Row::no(
        "R12",
        PATH,
        ["on two drives", "300 errors 1 checksum 2; errors 2 checksum 1", "unclear possible, unclear possible"],
    ),
    Row::no(
        "R12",
        PATH,
        [
            "one of them cannot read",
            "300 errors 1 checksum 2; errors 2 checksum 1; errors 4 checksum 3; count 4 pending 2",
            "drive-fails likely, unclear possible, unclear possible",
        ],
    ),
    Row::no(
        "R12",
        PATH,
        [
            "reads fail on three, and nothing disagrees",
            "300 errors 1 read 2; errors 2 read 1; errors 4 read 3",
            "unclear possible, unclear possible, unclear possible",
        ],
    ),
    Row::no("R12", PATH, ["a mirror, where that happens", "0 level raid1; 300 mismatches 128", "as-it-says certain"]),
    // R14: the machine started again by itself.
    Row::yes(
        "R14",
        RESTART,
        ["the supply was low", "280 low on; 300 reboot; low off", "as-it-says certain, restart-power likely"],
    ),
    Row::yes(
        "R14",
        RESTART,
        ["two drives were starting", "0 asleep 2 3; 280 awake 2 3; 300 reboot", "restart-power likely"],
    ),
    Row::yes(
        "R14",
        RESTART,
        ["the processor was too hot", "60 processor 99; 300 reboot; processor 55", "restart-heat possible"],
    ),
    Row::yes(
        "R14",
        RESTART,
        [
            "it was too hot, and its supply was low",
            "60 processor 99; 280 low on; 300 reboot; low off; processor 55",
            "as-it-says certain, restart-power likely",
        ],
    ),
    Row::no(
        "R14",
        &[Cause::RestartHeat],
        [
            "it had been too hot, and cooled down before",
            "60 processor 99; 200 processor 55; 1200 reboot",
            "restart-unclear possible",
        ],
    ),
    Row::yes("R14", RESTART, ["nothing says why", "300 reboot", "restart-unclear possible"]),
    Row::yes(
        "R14",
        RESTART,
        ["drives had started minutes before", "0 asleep 2 3; 100 awake 2 3; 300 reboot", "restart-unclear possible"],
    ),
    Row::no("R14", RESTART, ["it was shut down", "290 stop; 300 reboot", ""]),
    Row::no("R14", RESTART, ["the program alone was started again", "300 restart", ""]),
    Row::no("R14", RESTART, ["the supply was low, and it ran on", "280 low on; 290 low off", "as-it-says certain"]),
];
