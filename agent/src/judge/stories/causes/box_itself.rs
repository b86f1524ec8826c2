//! Rows of the table: the machine. Data that changes on its way, and starts that nobody asked for.

use super::Row;
use crate::verdict::Cause;

const PATH: &[Cause] = &[Cause::DataPath];

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
];
