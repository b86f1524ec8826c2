//! Rows about what lies between the board and several drives at once: the controller, and all of its drives.

use super::Row;
use traylight_data::verdict::Cause;

const STOPPED: &[Cause] = &[Cause::ControllerStopped, Cause::ControllerHot];
const HOT: &[Cause] = &[Cause::ControllerHot];
const HANGS: &[Cause] = &[Cause::PathHangs];
const PCIE_LINK: &[Cause] = &[Cause::PcieLink];
const KERNEL: &[Cause] = &[Cause::KernelUpdate];

pub const ROWS: &[Row] = &[
    // `controller-stopped`: all drives of a controller lost or silent, and the controller dead; no loss of power.
    Row::yes(
        "controller-stopped",
        STOPPED,
        [
            "its registers read as all ones",
            "0 controller works; 300 controller all-ones; lose all",
            "controller-stopped certain",
        ],
    ),
    Row::yes(
        "controller-stopped",
        STOPPED,
        ["it is gone itself", "0 controller works; 300 controller gone; lose all", "controller-stopped certain"],
    ),
    Row::yes(
        "controller-stopped",
        STOPPED,
        [
            "it was the only one",
            "0 controller works; 300 controller gone-alone; lose all",
            "controller-stopped certain",
        ],
    ),
    Row::yes(
        "controller-stopped",
        STOPPED,
        [
            "its driver let it go",
            "0 controller works; 300 lose all; 304 controller undriven",
            "controller-stopped certain",
        ],
    ),
    Row::yes(
        "controller-stopped",
        STOPPED,
        [
            "only the kernel's log tells",
            "0 controller works; 300 tell controller all-ones; lose all",
            "controller-stopped likely",
        ],
    ),
    Row::yes(
        "controller-stopped",
        STOPPED,
        [
            "drives that hang instead of going",
            "0 controller works; 300 controller all-ones; stall all",
            "controller-stopped certain",
        ],
    ),
    Row::yes(
        "controller-stopped",
        STOPPED,
        [
            "one drive that has nothing to do has not noticed",
            "0 controller works; 300 controller all-ones; lose 1 2 3 4 5",
            "controller-stopped certain",
        ],
    ),
    Row::no(
        "controller-stopped",
        STOPPED,
        ["the controller works", "0 controller works; 300 lose all", "supply possible"],
    ),
    Row::no(
        "controller-stopped",
        STOPPED,
        [
            "the log tells, and one drive goes on",
            "0 controller works; 300 tell controller all-ones; lose 1 2 3",
            "unknown possible, unknown possible, unknown possible",
        ],
    ),
    Row::no(
        "controller-stopped",
        STOPPED,
        [
            "the drives lost their power",
            "0 controller works; count all starts 50; 300 tell controller all-ones; count all starts 51",
            "unknown possible, unknown possible, unknown possible, unknown possible, unknown possible, unknown possible",
        ],
    ),
    Row::no(
        "controller-stopped",
        STOPPED,
        [
            "it was reset days ago",
            "0 controller works; 300 tell controller all-ones; 200000 lose all",
            "supply possible",
        ],
    ),
    Row::no(
        "controller-stopped",
        STOPPED,
        [
            "a board that keeps no list of its controller",
            "0 port all hutsoc.sata/ata-1; controller works; 300 lose all",
            "supply possible",
        ],
    ),
    // `controller-hot`: the same, 45 °C or more before, and it works again.
    Row::yes(
        "controller-hot",
        HOT,
        [
            "all come back",
            "0 hot all 46; controller works; 300 controller all-ones; lose all; 600 controller works; back all; 640 end",
            "controller-hot certain",
        ],
    ),
    Row::yes(
        "controller-hot",
        HOT,
        [
            "some come back",
            "0 hot all 47; controller works; 300 controller gone; lose all; 600 controller works; back 1 2; 640 end",
            "controller-hot certain",
        ],
    ),
    Row::yes(
        "controller-hot",
        HOT,
        [
            "only the log tells",
            "0 hot 3 46; controller works; 300 tell controller all-ones; lose all; 600 back all; 640 end",
            "controller-hot likely",
        ],
    ),
    Row::no(
        "controller-hot",
        HOT,
        [
            "it was cool",
            "0 controller works; 300 controller all-ones; lose all; 600 controller works; back all; 640 end",
            "controller-stopped certain",
        ],
    ),
    Row::no(
        "controller-hot",
        HOT,
        [
            "it stays dead",
            "0 hot all 46; controller works; 300 controller all-ones; lose all",
            "controller-stopped certain",
        ],
    ),
    Row::no(
        "controller-hot",
        HOT,
        ["it never stopped", "0 hot all 46; controller works; 300 lose all; 600 back all; 640 end", "supply possible"],
    ),
    // `pcie-link`: errors counted on the PCIe link, or it is slower than it was; no damage.
    Row::yes(
        "pcie-link",
        PCIE_LINK,
        ["errors on its link", "0 controller works; 300 controller errors 40", "pcie-link possible"],
    ),
    Row::yes(
        "pcie-link",
        PCIE_LINK,
        [
            "and drives on two ports feel it",
            "0 controller works; 300 controller errors 40; timeouts 2 1; timeouts 4 2",
            "pcie-link likely",
        ],
    ),
    Row::yes(
        "pcie-link",
        PCIE_LINK,
        ["its link is slower than it was", "0 controller works; 300 controller slow; 4500 end", "pcie-link possible"],
    ),
    Row::no("pcie-link", PCIE_LINK, ["five errors", "0 controller works; 300 controller errors 5", ""]),
    Row::no(
        "pcie-link",
        PCIE_LINK,
        [
            "damaged transfers behind it",
            "0 controller works; count 2 damaged 0; 298 count 2 damaged 4; 300 controller errors 40",
            "data-cable possible, self-evident certain",
        ],
    ),
    Row::no(
        "pcie-link",
        PCIE_LINK,
        ["it is dead", "0 controller works; 300 controller all-ones; lose all", "controller-stopped certain"],
    ),
    // `kernel-update`: not seen since the start, another kernel than before, no driver for the controller.
    Row::yes(
        "kernel-update",
        KERNEL,
        [
            "no driver under the new kernel",
            "0 kernel 6.12; controller works; 290 stop; 300 reboot; kernel 6.13; controller undriven; lose all; 700 end",
            "kernel-update likely",
        ],
    ),
    Row::yes(
        "kernel-update",
        KERNEL,
        [
            "the driver gave an error",
            "0 kernel 6.12; controller works; 290 stop; 300 reboot; kernel 6.13; lose all; \
         304 tell controller not-started -12; 700 end",
            "kernel-update likely",
        ],
    ),
    Row::yes(
        "kernel-update",
        KERNEL,
        [
            "drives elsewhere are there",
            "0 port 6 0000/02.0/ata-1; kernel 6.12; controller works; 290 stop; 300 reboot; kernel 6.13; \
         controller undriven; lose 1 2 3 4 5; 700 end",
            "kernel-update likely",
        ],
    ),
    Row::no(
        "kernel-update",
        KERNEL,
        [
            "the kernel is the same",
            "0 kernel 6.12; controller works; 290 stop; 300 reboot; controller undriven; lose all; 700 end",
            "controller-stopped certain",
        ],
    ),
    Row::no(
        "kernel-update",
        KERNEL,
        [
            "the drives were seen first",
            "0 kernel 6.12; controller works; 290 stop; 300 reboot; kernel 6.13; 600 controller undriven; lose all",
            "controller-stopped certain",
        ],
    ),
    Row::no("kernel-update", KERNEL, ["all is there", "0 kernel 6.12; 290 stop; 300 reboot; kernel 6.13; 700 end", ""]),
    // `path-hangs`: all drives of one controller have work and finish none.
    Row::yes("path-hangs", HANGS, ["all at once", "300 stall all", "path-hangs likely"]),
    Row::yes(
        "path-hangs",
        HANGS,
        [
            "the kernel waits too",
            "300 stall all; 330 tell drive 1 timed-out; tell drive 4 timed-out",
            "path-hangs likely",
        ],
    ),
    Row::yes(
        "path-hangs",
        HANGS,
        [
            "each when it has work",
            "300 stall 1; 330 stall 2; 360 stall 3; 390 stall 4; 420 stall 5; 450 stall 6",
            "path-hangs possible",
        ],
    ),
    Row::no("path-hangs", HANGS, ["one goes on", "300 stall 1 2 3 4 5", "shared-path possible"]),
    Row::no("path-hangs", HANGS, ["one alone", "300 stall 3", "drive-hangs possible"]),
    Row::no("path-hangs", HANGS, ["for twenty seconds", "300 stall all; 320 go-on all", ""]),
    Row::no(
        "path-hangs",
        HANGS,
        ["the only drive of its controller", "0 port 3 0000/02.0/ata-1; 300 stall 3", "drive-hangs possible"],
    ),
];
