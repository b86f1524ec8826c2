//! Rows about what several drives share: a card, a port multiplier, an expander.

use super::Row;
use traylight_data::verdict::Cause;

const SHARED: &[Cause] = &[Cause::SharedPath];
const PCIE_LINK: &[Cause] = &[Cause::PcieLink];

/// Trays 4 and 5 are behind a port multiplier.
macro_rules! multiplied {
    ($story:literal) => {
        concat!("0 port 4 0000/1c.0/00.0/ata-4.0; port 5 0000/1c.0/00.0/ata-4.1; count all damaged 0; ", $story)
    };
}

/// Trays 3 and 4 are on another card.
macro_rules! two_cards {
    ($story:literal) => {
        concat!(
            "0 controller works; second-card; port 3 0000/1d.0/00.0/ata-1; port 4 0000/1d.0/00.0/ata-2; ",
            "count all damaged 0; ",
            $story
        )
    };
}

pub const ROWS: &[Row] = &[
    // Damage on two drives or more of one card.
    Row::yes(
        "several",
        SHARED,
        [
            "two trays at once",
            "0 count all damaged 0; 300 count 2 damaged 4; count 3 damaged 4",
            "shared-path possible",
        ],
    ),
    Row::yes(
        "several",
        SHARED,
        [
            "first one, then another",
            "0 count all damaged 0; 300 count 2 damaged 4; 20000 count 3 damaged 4",
            "shared-path possible",
        ],
    ),
    Row::yes(
        "several",
        SHARED,
        [
            "the program is started again between",
            "0 count all damaged 0; 300 count 2 damaged 4; 400 restart; 500 count 3 damaged 4",
            "shared-path possible",
        ],
    ),
    Row::yes(
        "several",
        SHARED,
        [
            "three, and one times out",
            "0 count all damaged 0; 300 count 2 damaged 4; count 3 damaged 4; timeouts 5 2",
            "shared-path likely",
        ],
    ),
    Row::yes(
        "several",
        SHARED,
        ["both of a multiplier", multiplied!("300 count 4 damaged 4; count 5 damaged 4"), "shared-path possible"],
    ),
    Row::yes(
        "several",
        SHARED,
        [
            "one is damaged, and another times out",
            "0 count all damaged 0; 300 count 2 damaged 4; timeouts 3 2; timeouts 2 1",
            "shared-path possible",
        ],
    ),
    Row::no(
        "several",
        SHARED,
        [
            "one of each card",
            two_cards!("300 count 2 damaged 4; count 3 damaged 4"),
            "data-cable possible, data-cable possible",
        ],
    ),
    Row::yes(
        "several",
        SHARED,
        [
            "two of one card and one of another",
            two_cards!("300 count 1 damaged 4; count 2 damaged 4; count 3 damaged 4"),
            "shared-path possible, data-cable possible",
        ],
    ),
    Row::no("several", SHARED, ["one tray", "0 count all damaged 0; 300 count 2 damaged 4", "data-cable possible"]),
    Row::no(
        "several",
        SHARED,
        [
            "two that cannot read either",
            "0 count all damaged 0; 300 count 2 damaged 4; count 3 damaged 4; count 2 pending 1; count 3 pending 1",
            "unknown possible, unknown possible",
        ],
    ),
    // Commands run out on two drives or more of one card: the third way to see a bad ribbon or slot.
    Row::yes(
        "pcie-link or shared-path",
        PCIE_LINK,
        [
            "two drives",
            "0 controller works; controller uncounted; 300 timeouts 2 1; timeouts 4 2",
            "pcie-link possible",
        ],
    ),
    Row::yes(
        "pcie-link or shared-path",
        PCIE_LINK,
        [
            "an hour apart",
            "0 controller works; controller uncounted; 300 timeouts 2 1; 3900 timeouts 4 2",
            "pcie-link possible",
        ],
    ),
    Row::yes(
        "pcie-link or shared-path",
        PCIE_LINK,
        [
            "three",
            "0 controller works; controller uncounted; 300 timeouts 1 1; timeouts 2 1; timeouts 5 1",
            "pcie-link possible",
        ],
    ),
    Row::no(
        "pcie-link or shared-path",
        PCIE_LINK,
        [
            "one hangs",
            "0 controller works; controller uncounted; 300 timeouts 2 1; stall 4",
            "drive-hangs possible, unknown possible",
        ],
    ),
    Row::no(
        "pcie-link or shared-path",
        PCIE_LINK,
        [
            "its PCIe errors are counted, and there are none",
            "0 controller works; 300 timeouts 2 1; timeouts 4 2",
            "shared-path possible",
        ],
    ),
    Row::no(
        "pcie-link or shared-path",
        PCIE_LINK,
        ["one drive", "0 controller works; controller uncounted; 300 timeouts 2 1", "unknown possible"],
    ),
    Row::no(
        "pcie-link or shared-path",
        PCIE_LINK,
        ["one of each card", two_cards!("300 timeouts 2 1; timeouts 3 1"), "unknown possible, unknown possible"],
    ),
    Row::no(
        "pcie-link or shared-path",
        PCIE_LINK,
        [
            "transfers are damaged",
            "0 controller works; controller uncounted; count all damaged 0; 300 timeouts 2 1; timeouts 4 2; \
         count 2 damaged 4; count 4 damaged 4",
            "shared-path possible",
        ],
    ),
    // All drives behind one multiplier or expander.
    Row::yes("one path", SHARED, ["both go", multiplied!("300 lose 4; 304 lose 5"), "shared-path likely"]),
    Row::yes(
        "one path",
        SHARED,
        [
            "they lost their power",
            multiplied!(
                "count all starts 50; 300 lose 4 5; 360 back 4 5; 370 count 4 starts 51; count 5 starts 51; 372 end"
            ),
            "shared-path likely",
        ],
    ),
    Row::yes(
        "one path",
        SHARED,
        [
            "three behind an expander",
            "0 port 4 0000/1c.0/00.0/exp-1.0:4:0; port 5 0000/1c.0/00.0/exp-1.0:5:0; port 6 0000/1c.0/00.0/exp-1.0:6:0; \
         300 lose 4; 302 lose 5 6",
            "shared-path likely",
        ],
    ),
    Row::yes(
        "one path",
        SHARED,
        ["off since the start", multiplied!("290 stop; 300 reboot; lose 4 5; 700 end"), "shared-path likely"],
    ),
    Row::no("one path", SHARED, ["and one elsewhere", multiplied!("300 lose 1 4 5"), "supply possible"]),
    Row::no("one path", SHARED, ["one of two", multiplied!("300 lose 4"), "unknown possible"]),
    Row::no(
        "one path",
        SHARED,
        ["an hour apart", multiplied!("300 lose 4; 3900 lose 5; 3910 end"), "unknown possible, wrong-tray possible"],
    ),
];
