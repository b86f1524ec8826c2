//! Rows about damaged transfers: the data cable, the port, the drive's own connector.

use super::Row;
use traylight_data::verdict::Cause;

const CABLE: &[Cause] = &[Cause::DataCable];
const MOVED: &[Cause] = &[Cause::PortOrCable, Cause::DriveConnector];

/// Drives of trays 1 and 2 change places while the box is off.
macro_rules! swapped {
    ($before:literal, $after:literal) => {
        concat!(
            "0 count all damaged 0; ",
            $before,
            "; 590 stop; 600 reboot; port 1 0000/1c.0/00.0/ata-2; port 2 0000/1c.0/00.0/ata-1; ",
            $after
        )
    };
}

pub const ROWS: &[Row] = &[
    // `data-cable`: damage on one tray; nothing unreadable, no loss of power.
    Row::yes(
        "data-cable",
        CABLE,
        ["one error", "0 count 2 damaged 198; 300 count 2 damaged 199", "data-cable possible"],
    ),
    Row::yes(
        "data-cable",
        CABLE,
        [
            "the kernel saw it too",
            "0 count 2 damaged 0; 298 tell drive 2 damaged; 300 count 2 damaged 4",
            "data-cable likely",
        ],
    ),
    Row::yes(
        "data-cable",
        CABLE,
        [
            "and its link was made slower",
            "0 count 2 damaged 0; 300 count 2 damaged 4; speed 2 1500; 1200 end",
            "data-cable likely",
        ],
    ),
    Row::yes(
        "data-cable",
        CABLE,
        [
            "commands time out besides",
            "0 count 2 damaged 0; 300 count 2 damaged 4; timeouts 2 1",
            "data-cable possible",
        ],
    ),
    Row::yes(
        "data-cable",
        CABLE,
        [
            "it ends by losing the drive",
            "0 count 2 damaged 0; 300 count 2 damaged 4; 400 lose 2",
            "data-cable possible",
        ],
    ),
    Row::no("data-cable", CABLE, ["an old total", "0 count 2 damaged 198; 300 end", ""]),
    Row::no(
        "data-cable",
        CABLE,
        ["it cannot read either", "0 count 2 damaged 0; 300 count 2 pending 1; count 2 damaged 4", "unknown possible"],
    ),
    Row::no(
        "data-cable",
        CABLE,
        [
            "it lost its power too",
            "0 count all starts 50; count 2 damaged 0; 300 count 2 starts 51; count 2 damaged 4",
            "unknown possible",
        ],
    ),
    Row::no(
        "data-cable",
        CABLE,
        ["two trays", "0 count all damaged 0; 300 count 2 damaged 4; count 3 damaged 4", "shared-path possible"],
    ),
    Row::no("data-cable", CABLE, ["a counter that began anew", "0 count 2 damaged 198; 300 count 2 damaged 2", ""]),
    // `port-or-cable`: after drives changed places.
    Row::yes(
        "port-or-cable",
        MOVED,
        [
            "the errors stay with the port",
            swapped!("300 count 1 damaged 4", "900 count 2 damaged 4"),
            "port-or-cable likely, self-evident certain",
        ],
    ),
    Row::yes(
        "port-or-cable",
        MOVED,
        [
            "the errors go along with the drive",
            swapped!("300 count 1 damaged 4", "900 count 1 damaged 9"),
            "drive-connector likely, self-evident certain",
        ],
    ),
    Row::yes(
        "port-or-cable",
        MOVED,
        [
            "the drive alone is put on another port",
            "0 count all damaged 0; 300 count 1 damaged 4; 590 stop; 600 reboot; port 1 0000/1c.0/00.0/ata-8; \
         900 count 1 damaged 9",
            "drive-connector likely, self-evident certain",
        ],
    ),
    Row::yes(
        "port-or-cable",
        MOVED,
        [
            "another drive is put on the port",
            "0 count all damaged 0; 300 count 6 damaged 4; 590 stop; 600 reboot; port 2 0000/1c.0/00.0/ata-6; \
         port 6 0000/1c.0/00.0/ata-8; \
         900 count 2 damaged 9",
            "port-or-cable likely, self-evident certain",
        ],
    ),
    Row::no(
        "port-or-cable",
        MOVED,
        [
            "no errors after the change",
            swapped!("300 count 1 damaged 4", "900 end"),
            "data-cable possible, self-evident certain",
        ],
    ),
    Row::no(
        "port-or-cable",
        MOVED,
        [
            "errors before and after, on the same port",
            "0 count 1 damaged 0; 300 count 1 damaged 4; 600 lose 1; 630 back 1; rejoin 1; 900 count 1 damaged 9",
            "data-cable possible",
        ],
    ),
    Row::no(
        "port-or-cable",
        MOVED,
        [
            "both drives have errors after the change",
            swapped!("300 count 1 damaged 4", "900 count 1 damaged 9; count 2 damaged 4"),
            "shared-path possible, self-evident certain",
        ],
    ),
];
