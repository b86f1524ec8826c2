//! Rows about the machine: data that changes on its way, and starts that nobody asked for.

use super::Row;
use traylight_data::verdict::Cause;

const PATH: &[Cause] = &[Cause::DataPath];
const RESTART: &[Cause] = &[Cause::RestartPower, Cause::RestartHeat, Cause::RestartUnexplained];

pub const ROWS: &[Row] = &[
    // `data-path`: data disagrees on three drives, or in a pool; no damage, nothing unreadable.
    Row::yes(
        "data-path",
        PATH,
        [
            "checksums fail on three drives",
            "300 errors 1 checksum 2; errors 2 checksum 1; errors 4 checksum 3",
            "data-path likely",
        ],
    ),
    Row::yes("data-path", PATH, ["on all of them", "300 errors all checksum 2", "data-path likely"]),
    Row::yes(
        "data-path",
        PATH,
        ["a comparison finds places that do not agree", "300 mismatches 128", "data-path possible"],
    ),
    Row::no(
        "data-path",
        PATH,
        ["on two drives", "300 errors 1 checksum 2; errors 2 checksum 1", "unknown possible, unknown possible"],
    ),
    Row::no(
        "data-path",
        PATH,
        [
            "one of them cannot read",
            "300 errors 1 checksum 2; errors 2 checksum 1; errors 4 checksum 3; count 4 pending 2",
            "drive-fails likely, unknown possible, unknown possible",
        ],
    ),
    Row::no(
        "data-path",
        PATH,
        [
            "reads fail on three, and nothing disagrees",
            "300 errors 1 read 2; errors 2 read 1; errors 4 read 3",
            "unknown possible, unknown possible, unknown possible",
        ],
    ),
    Row::no(
        "data-path",
        PATH,
        ["a mirror, where that happens", "0 level raid1; 300 mismatches 128", "self-evident certain"],
    ),
    // `restart`: the machine started again by itself.
    Row::yes(
        "restart",
        RESTART,
        ["the supply was low", "280 low on; 300 reboot; low off", "self-evident certain, restart-power likely"],
    ),
    Row::yes(
        "restart",
        RESTART,
        ["two drives were starting", "0 asleep 2 3; 280 awake 2 3; 300 reboot", "restart-power likely"],
    ),
    Row::yes(
        "restart",
        RESTART,
        ["the processor was too hot", "60 processor 99; 300 reboot; processor 55", "restart-heat possible"],
    ),
    Row::yes(
        "restart",
        RESTART,
        [
            "it was too hot, and its supply was low",
            "60 processor 99; 280 low on; 300 reboot; low off; processor 55",
            "self-evident certain, restart-power likely",
        ],
    ),
    Row::no(
        "restart",
        &[Cause::RestartHeat],
        [
            "it had been too hot, and cooled down before",
            "60 processor 99; 200 processor 55; 1200 reboot",
            "restart-unexplained possible",
        ],
    ),
    Row::yes("restart", RESTART, ["nothing says why", "300 reboot", "restart-unexplained possible"]),
    Row::yes(
        "restart",
        RESTART,
        [
            "drives had started minutes before",
            "0 asleep 2 3; 100 awake 2 3; 300 reboot",
            "restart-unexplained possible",
        ],
    ),
    Row::no("restart", RESTART, ["it was shut down", "290 stop; 300 reboot", ""]),
    Row::no("restart", RESTART, ["the program alone was started again", "300 restart", ""]),
    Row::no(
        "restart",
        RESTART,
        ["the supply was low, and it ran on", "280 low on; 290 low off", "self-evident certain"],
    ),
];
