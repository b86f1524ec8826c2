//! Rows about the way over USB: one bridge, or the 5 V of several.

use super::Row;
use traylight_data::verdict::Cause;

const BRIDGE: &[Cause] = &[Cause::UsbBridge];
const POWER: &[Cause] = &[Cause::UsbPower];

/// Trays 1 and 2 are behind one bridge, tray 3 behind another, and so is tray 4, of the same host.
macro_rules! on_usb {
    ($story:literal) => {
        concat!(
            "0 port 1 0000/14.0/usb-2.1:0; port 2 0000/14.0/usb-2.1:1; port 3 0000/14.0/usb-2.2:0; ",
            "port 4 0000/14.0/usb-2.3:0; ",
            $story
        )
    };
}

pub const ROWS: &[Row] = &[
    // `usb-bridge`: all drives of one USB bridge lost or reset, nothing else.
    Row::yes("usb-bridge", BRIDGE, ["both of its drives go", on_usb!("300 lose 1; 302 lose 2"), "usb-bridge likely"]),
    Row::yes("usb-bridge", BRIDGE, ["its only drive goes", on_usb!("300 lose 3"), "usb-bridge possible"]),
    Row::yes(
        "usb-bridge",
        BRIDGE,
        [
            "its only drive goes, and the kernel tells of it as of a plug that is pulled",
            on_usb!("300 tell usb 2.2 vanished; lose 3"),
            "usb-bridge possible",
        ],
    ),
    Row::yes(
        "R7",
        BRIDGE,
        [
            "its only drive goes after it was reset",
            on_usb!("290 tell usb 2.2 reset; 300 tell usb 2.2 vanished; lose 3"),
            "usb-bridge likely",
        ],
    ),
    Row::yes(
        "R7",
        BRIDGE,
        [
            "it is reset, and both time out",
            on_usb!("300 tell usb 2.1 reset; timeouts 1 1; timeouts 2 1"),
            "usb-bridge likely",
        ],
    ),
    Row::yes(
        "usb-bridge",
        BRIDGE,
        [
            "its drives lost their power with it",
            on_usb!(
                "count all starts 50; 300 lose 1 2; 360 back 1 2; 370 count 1 starts 51; count 2 starts 51; 372 end"
            ),
            "usb-bridge likely",
        ],
    ),
    Row::no("usb-bridge", BRIDGE, ["one of its two drives goes", on_usb!("300 lose 1"), "unknown possible"]),
    Row::no("usb-bridge", BRIDGE, ["a drive elsewhere goes too", on_usb!("300 lose 1 2 5"), "supply possible"]),
    Row::no("usb-bridge", BRIDGE, ["another bridge goes too", on_usb!("300 lose 1 2 3"), "usb-power possible"]),
    Row::no(
        "usb-bridge",
        BRIDGE,
        ["both time out, and it was not reset", on_usb!("300 timeouts 1 1; timeouts 2 1"), "shared-path possible"],
    ),
    Row::no(
        "usb-bridge",
        BRIDGE,
        [
            "two drives elsewhere went with its only one, and are back first",
            on_usb!("300 tell usb 2.2 vanished; lose 3 5 6; 360 back 5 6; rejoin 5"),
            "supply possible",
        ],
    ),
    Row::yes(
        "usb-bridge",
        BRIDGE,
        [
            "two drives elsewhere went with its only one; they are back, and it is reset once more",
            on_usb!("300 lose 3 5 6; 360 back 5 6; rejoin 5; 400 tell usb 2.2 reset"),
            "usb-bridge likely",
        ],
    ),
    // `usb-power`: two bridges of one host lost within ten seconds.
    Row::yes(
        "usb-power",
        POWER,
        ["three drives of two bridges", on_usb!("300 lose 1 2; 306 lose 3"), "usb-power possible"],
    ),
    Row::yes(
        "usb-power",
        POWER,
        ["the board's supply is low", on_usb!("298 low on; 300 lose 3 4"), "self-evident certain, usb-power likely"],
    ),
    Row::yes("usb-power", POWER, ["all bridges", on_usb!("300 lose 1 2 3 4"), "usb-power possible"]),
    Row::no("usb-power", POWER, ["one bridge", on_usb!("300 lose 1 2"), "usb-bridge likely"]),
    Row::no(
        "usb-power",
        POWER,
        ["of two hosts", "0 port 1 0000/14.0/usb-2.1:0; port 2 0000/15.0/usb-1:0; 300 lose 1 2", "supply possible"],
    ),
    Row::no(
        "usb-power",
        POWER,
        ["half a minute apart", on_usb!("300 lose 3; 330 lose 4"), "usb-bridge possible, wrong-tray possible"],
    ),
    Row::no(
        "usb-power",
        POWER,
        [
            "the drives say that their own power went",
            on_usb!("count all starts 50; 300 count 3 starts 51; count 4 starts 51"),
            "supply likely",
        ],
    ),
];
