//! Rows about hands: drives that are pulled, as the kernel tells it; the wrong one of two trays; and what no hand did.

use super::Row;
use traylight_data::verdict::Cause;

const OWNER: &[Cause] = &[Cause::TakenOut];
const WRONG: &[Cause] = &[Cause::WrongTray];
const SAVING: &[Cause] = &[Cause::LinkPowerSaving];
const SUPPLY: &[Cause] = &[Cause::Supply];
const CABLE: &[Cause] = &[Cause::DataCable, Cause::PortOrCable, Cause::DriveConnector];

/// A supply dropped two drives of a pool that survives that.
macro_rules! dipped {
    ($later:literal) => {
        concat!("0 level raid6; 300 lose 1 3; ", $later)
    };
}

const TWO: &str = "unknown possible, wrong-tray possible";

pub const ROWS: &[Row] = &[
    // The pool lacked one, and a hand pulls a good one out of the box while it is on.
    Row::yes("wrong tray", WRONG, ["idle", "300 lose 1; 400 yank 4 idle", TWO]),
    Row::yes("wrong tray", WRONG, ["busy", "300 lose 1; 400 yank 4 busy", TWO]),
    Row::yes("wrong tray", WRONG, ["its pool notices before its device ends", "300 lose 1; 400 yank 4 noticed", TWO]),
    Row::yes("wrong tray", WRONG, ["no interrupt tells of it", "300 lose 1; 400 yank 4 unnoticed", TWO]),
    Row::yes("wrong tray", WRONG, ["all in one moment", "300 lose 1; 400 yank 4 fast", TWO]),
    Row::yes("wrong tray", WRONG, ["busy, messages muted", "300 lose 1; 390 mute; 400 yank 4 busy", TWO]),
    Row::yes("wrong tray", WRONG, ["asleep", "0 asleep 4; 300 lose 1; 400 yank 4 idle", TWO]),
    Row::yes("wrong tray", WRONG, ["asleep, muted", "0 asleep 4; 300 lose 1; 390 mute; 400 yank 4 fast", TWO]),
    Row::yes(
        "wrong tray",
        WRONG,
        ["given up seconds before, by words alone", "300 lose 1; 400 tell drive 4 given-up; 405 lose 4", TWO],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        ["a command failed as it went", "300 lose 1; 400 tell drive 4 failed; 404 lose 4", TWO],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        ["the program starts again meanwhile", "300 lose 1; 400 yank 4 busy; 404 restart", TWO],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        ["a two-fold pool that lacks one", "0 level raid6; 300 lose 1; 400 yank 4 busy", TWO],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "while another is being filled",
            "300 lose 1; 400 back 1; fill 1; pool rebuilds; 500 yank 4 busy; 530 end",
            "wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        ["the pool put one out, and its neighbour is pulled", "300 out 2; 600 yank 3 idle", TWO],
    ),
    // The pool lacked none yet: one of its drives fails or hangs, and a hand pulls the neighbour.
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "the neighbour of one that fails",
            "200 failing 2; 600 yank 3 idle",
            "drive-fails certain, wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "the same, busy and muted",
            "200 failing 2; 590 mute; 600 yank 3 busy",
            "drive-fails certain, wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "the same, asleep",
            "200 failing 2; 590 asleep 3; 600 yank 3 fast",
            "drive-fails certain, wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "the neighbour of one that hangs",
            "200 stall 2; 400 yank 3 idle",
            "drive-hangs possible, wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "the same, without a word of the kernel",
            "200 stall 2; 400 pull 3",
            "drive-hangs possible, wrong-tray possible",
        ],
    ),
    // Five minutes after a supply dropped two drives a hand pulls another: it is the only one, and cleanly off its link.
    Row::yes(
        "wrong tray",
        WRONG,
        ["after a dip, idle", dipped!("600 yank 4 idle; 640 end"), "supply possible, wrong-tray possible"],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        ["after a dip, busy", dipped!("600 yank 4 busy; 640 end"), "supply possible, wrong-tray possible"],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "after a dip, and no interrupt tells of it",
            dipped!("600 yank 4 unnoticed; 660 end"),
            "supply possible, wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "after a dip, and the program starts again between",
            dipped!("500 restart; 600 yank 4 fast; 640 end"),
            "supply possible, wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "after a dip whose drives are back and being filled",
            dipped!("360 back 1 3; fill 1 3; pool rebuilds; 600 yank 4 idle; 640 end"),
            "wrong-tray possible",
        ],
    ),
    Row::no(
        "wrong tray",
        WRONG,
        [
            "after a dip that was repaired, and its pool lacks none",
            dipped!("360 back 1 3; rejoin 1 3; 600 yank 4 idle; 640 end"),
            "unknown possible",
        ],
    ),
    // A supply that fades: at once, with another, with its own word, or with a drive that still tries.
    Row::no("wrong tray", WRONG, ["half a minute after a dip", dipped!("330 yank 4 idle; 640 end"), "supply possible"]),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "after a dip, until another goes after it",
            dipped!("600 yank 4 idle; 700 yank 5 idle; 740 end"),
            "supply possible",
        ],
    ),
    Row::no(
        "wrong tray",
        WRONG,
        [
            "after a dip, and the supply is low again",
            dipped!("598 low on; 600 yank 4 idle; 640 end"),
            "supply possible, self-evident certain",
        ],
    ),
    Row::no(
        "wrong tray",
        WRONG,
        [
            "after a dip, and it tries to start again",
            dipped!(
                "600 tell drive 4 changed; 601 tell drive 4 link-down 0; 604 tell drive 4 slow; 611 lose 4; 640 end"
            ),
            "supply possible",
        ],
    ),
    // Behind a USB bridge of its own: the kernel tells the same of a plug that is pulled and of a bridge that fails.
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "a drive with a USB lead of its own",
            "0 port 4 0000/14.0/usb-2.2:0; 300 lose 1; 400 tell usb 2.2 vanished; lose 4",
            TWO,
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "the same, after a dip",
            "0 level raid6; port 4 0000/14.0/usb-2.2:0; 300 lose 1 3; 600 tell usb 2.2 vanished; lose 4; 640 end",
            "supply possible, wrong-tray possible",
        ],
    ),
    Row::no(
        "wrong tray",
        WRONG,
        [
            "a USB bridge that was reset before",
            "0 port 4 0000/14.0/usb-2.2:0; 300 lose 1; 380 tell usb 2.2 reset; 400 tell usb 2.2 vanished; lose 4",
            "unknown possible, usb-bridge likely",
        ],
    ),
    // A second death, a supply, or nothing that points to a hand.
    Row::no("wrong tray", WRONG, ["it dies", "300 lose 1; 400 dies 4", "unknown possible, drive-hangs likely"]),
    Row::no(
        "wrong tray",
        WRONG,
        [
            "it timed out, and its link came up again before it broke",
            "300 lose 1; 380 tell drive 4 timed-out; 381 tell drive 4 link-up; 400 yank 4 idle",
            "unknown possible, unknown possible",
        ],
    ),
    Row::no(
        "wrong tray",
        WRONG,
        [
            "it timed out an hour before",
            "300 lose 1; 400 tell drive 4 timed-out; 401 tell drive 4 link-up; 4000 yank 4 idle",
            "unknown possible, unknown possible",
        ],
    ),
    Row::no(
        "wrong tray",
        WRONG,
        [
            "it could not read any more",
            "300 lose 1; 350 tell drive 4 unreadable; count 4 pending 2; 400 yank 4 busy",
            "unknown possible, drive-fails likely",
        ],
    ),
    Row::no("wrong tray", WRONG, ["all members were well", "300 yank 4 idle", "unknown possible"]),
    Row::no(
        "wrong tray",
        WRONG,
        [
            "two hang, which is no drive's doing",
            "200 stall 2 5; 400 yank 3 idle",
            "shared-path possible, unknown possible",
        ],
    ),
    Row::no("wrong tray", WRONG, ["the failing one itself", "200 failing 2; 600 yank 2 idle", "taken-out possible"]),
    // `supply`: power is lost in one moment, and the kernel finds out at different times.
    Row::yes(
        "supply",
        SUPPLY,
        [
            "one is detached after ten seconds, the other after forty",
            "300 yank 1 idle; 302 yank 3 unnoticed",
            "supply possible",
        ],
    ),
    Row::yes(
        "supply",
        SUPPLY,
        [
            "the same while another is missing",
            "200 lose 2; 300 yank 1 idle; 304 yank 3 noticed",
            "unknown possible, supply possible",
        ],
    ),
    Row::no(
        "wrong tray",
        WRONG,
        [
            "power is lost, and the second drive is only asked for something half a minute later",
            "300 yank 1 idle; 325 yank 3 unnoticed",
            "unknown possible, drive-hangs likely",
        ],
    ),
    // `data-cable`: what a link tells while it breaks is no damage.
    Row::no("data-cable", CABLE, ["a hand pulls it while it is busy", "300 yank 2 busy", "unknown possible"]),
    Row::yes(
        "data-cable",
        CABLE,
        ["damaged for an hour before it goes", "300 tell drive 2 damaged; 3900 yank 2 idle", "data-cable possible"],
    ),
    // `taken-out`: a hand is likely.
    Row::yes("taken-out", OWNER, ["put out an hour before", "300 out 2; 3900 yank 2 idle", "taken-out likely"]),
    Row::yes("taken-out", OWNER, ["muted, busy", "200 mute; 300 yank 2 busy", "taken-out likely"]),
    Row::yes(
        "taken-out",
        OWNER,
        ["muted, and no interrupt tells of it", "200 mute; 300 yank 2 unnoticed", "taken-out likely"],
    ),
    Row::yes(
        "taken-out",
        OWNER,
        [
            "it failed, timed out and was put out, and then it is pulled",
            "200 failing 2; 300 tell drive 2 timed-out; 302 out 2; 900 yank 2 idle",
            "taken-out likely",
        ],
    ),
    Row::no(
        "taken-out",
        OWNER,
        [
            "it drops while it is filled",
            "0 spare 6; 300 lose 1; 310 fill 6; pool rebuilds; 600 lose 6",
            "unknown possible, unknown possible",
        ],
    ),
    Row::no(
        "taken-out",
        OWNER,
        [
            "the same while muted, as the kernel tells it",
            "0 spare 6; 300 lose 1; 310 fill 6; pool rebuilds; 590 mute; 600 yank 6 busy",
            "unknown possible, unknown possible",
        ],
    ),
    Row::no(
        "taken-out",
        OWNER,
        [
            "put out for time-outs an hour before",
            "300 tell drive 2 timed-out; 302 out 2; 3900 lose 2",
            "unknown possible",
        ],
    ),
    Row::no(
        "taken-out",
        OWNER,
        [
            "the same, asleep by then",
            "300 tell drive 2 timed-out; 302 out 2; 900 asleep 2; 3900 yank 2 idle",
            "unknown possible",
        ],
    ),
    Row::no("taken-out", OWNER, ["its pool let it go seconds before", "300 out 2; 304 lose 2", "unknown possible"]),
    Row::no("taken-out", OWNER, ["its pool notices before its device ends", "300 yank 2 noticed", "unknown possible"]),
    Row::no("taken-out", OWNER, ["a spare that sleeps", "0 spare 6; asleep 6; 900 lose 6", "unknown possible"]),
    Row::no(
        "taken-out",
        OWNER,
        [
            "asleep, and its link saves power, but not for long",
            "0 asleep 6; controller saves med_power_with_dipm; 200 lose 6",
            "unknown possible",
        ],
    ),
    Row::yes(
        "link-power-saving",
        SAVING,
        [
            "asleep and in no pool",
            "0 quiet; asleep 6; controller saves med_power_with_dipm; 900 lose 6",
            "link-power-saving likely",
        ],
    ),
];
