//! Rows about lost connections: the owner's hand, the supply, one tray's contacts, waking, saving power.

use super::Row;
use traylight_data::verdict::Cause;

const SUPPLY: &[Cause] = &[Cause::Supply];
const TRAY: &[Cause] = &[Cause::TrayPower, Cause::TrayConnection];
const OWNER: &[Cause] = &[Cause::TakenOut];
const WRONG: &[Cause] = &[Cause::WrongTray];
const WAKE: &[Cause] = &[Cause::SlowToWake];
const SAVING: &[Cause] = &[Cause::LinkPowerSaving];
const UNCLEAR: &[Cause] = &[Cause::Unknown];

pub const ROWS: &[Row] = &[
    // `supply`: lost or without power on two power cables or more within ten seconds, and nothing against the controller.
    Row::yes("supply", SUPPLY, ["two drives go four seconds apart", "300 lose 1; 304 lose 3", "supply possible"]),
    Row::yes("supply", SUPPLY, ["three go at once", "300 lose 1 2 6", "supply possible"]),
    Row::yes(
        "supply",
        SUPPLY,
        ["a check has just begun", "290 pool checks; 300 lose 1; 302 lose 3; 590 pool rests", "supply likely"],
    ),
    Row::yes(
        "supply",
        SUPPLY,
        ["the board's supply is low", "298 low on; 300 lose 1 2", "self-evident certain, supply likely"],
    ),
    Row::yes("supply", SUPPLY, ["another wakes", "0 asleep 6; 295 awake 6; 300 lose 1; 304 lose 2", "supply likely"]),
    Row::yes("supply", SUPPLY, ["a drive is plugged in", "200 lose 6; 295 back 6; 300 lose 1 2", "supply likely"]),
    Row::yes("supply", SUPPLY, ["just after the start", "0 up 10; 20 lose 1; 22 lose 3", "supply likely"]),
    Row::no("supply", SUPPLY, ["two go 40 s apart", "300 lose 1; 340 lose 6", "unknown possible, unknown possible"]),
    Row::no("supply", SUPPLY, ["one goes", "300 lose 2", "unknown possible"]),
    Row::no(
        "supply",
        SUPPLY,
        [
            "the controller's link has errors",
            "300 tell controller bus-error; 300 lose 1; 302 lose 3",
            "unknown possible, unknown possible",
        ],
    ),
    Row::no(
        "supply",
        SUPPLY,
        [
            "both are behind one bridge",
            "0 port 1 0000/14.0/usb-2.1:0; port 2 0000/14.0/usb-2.1:1; 300 lose 1 2",
            "usb-bridge likely",
        ],
    ),
    Row::no("supply", SUPPLY, ["nobody sees the drives", "300 blind; 340 seeing", ""]),
    // The same, and drives tell that they started anew.
    Row::yes(
        "supply, confirmed",
        SUPPLY,
        [
            "two confirm it when they are back",
            "0 count all starts 50; 300 lose 1 3; 420 back 1 3; 480 count 1 starts 51; count 3 starts 51",
            "supply likely",
        ],
    ),
    Row::yes(
        "supply, confirmed",
        SUPPLY,
        [
            "one of two confirms it",
            "0 count all starts 50; 300 lose 1 3; 420 back 1; 430 count 1 starts 51",
            "supply possible",
        ],
    ),
    Row::yes(
        "supply, confirmed",
        SUPPLY,
        ["nobody saw them go", "0 count all starts 50; 300 count 1 starts 51; 302 count 3 starts 51", "supply likely"],
    ),
    Row::yes(
        "supply, confirmed",
        SUPPLY,
        [
            "one was seen to go, the other tells an hour later",
            "0 count all starts 50; unasked 3; 300 lose 1; 360 back 1; 370 count 1 starts 51; count 3 starts 51; 3900 asked 3",
            "supply likely",
        ],
    ),
    Row::no(
        "supply, confirmed",
        SUPPLY,
        ["one alone", "0 count all starts 50; 300 count 3 starts 51", "tray-power likely"],
    ),
    Row::no(
        "supply, confirmed",
        SUPPLY,
        [
            "two, three days apart",
            "0 count all starts 50; 300 count 1 starts 51; 259500 count 3 starts 51",
            "tray-power likely, tray-power likely",
        ],
    ),
    Row::no(
        "supply, confirmed",
        SUPPLY,
        [
            "starts that began anew, as with another firmware",
            "0 count all starts 50; 300 count 1 starts 3; count 3 starts 4",
            "",
        ],
    ),
    // Wrong tray: a good drive P while its pool lacked another.
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "the good one is pulled after the bad one went",
            "300 lose 1; 400 pull 4",
            "unknown possible, wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "the kernel's word for it comes after the look",
            "300 lose 1; 400 pull 4; 402 tell drive 4 vanished; 406 end",
            "unknown possible, wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "the pool put one out, and its neighbour is pulled",
            "300 out 2; 600 pull 3",
            "unknown possible, wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "while the owner is at work, as told",
            "300 lose 1; 390 mute; 400 pull 4",
            "unknown possible, wrong-tray possible",
        ],
    ),
    Row::yes(
        "wrong tray",
        WRONG,
        [
            "while another is being filled",
            "300 lose 1; 400 back 1; fill 1; pool rebuilds; 500 pull 4; 520 end",
            "wrong-tray possible",
        ],
    ),
    Row::no(
        "wrong tray",
        WRONG,
        [
            "it timed out before it went",
            "300 lose 1; 390 tell drive 4 timed-out; 400 lose 4",
            "unknown possible, unknown possible",
        ],
    ),
    Row::no(
        "wrong tray",
        WRONG,
        ["the other is in no pool", "300 lose 6; 400 lose 1", "unknown possible, unknown possible"],
    ),
    Row::no("wrong tray", WRONG, ["both at once", "300 lose 1; 304 lose 4", "supply possible"]),
    Row::no("wrong tray", WRONG, ["the pool was whole", "300 pull 4", "unknown possible"]),
    // `tray-power`: without power, or lost again and again, on one tray.
    Row::yes(
        "tray-power",
        TRAY,
        ["it started anew", "0 count all starts 50; 300 count 2 starts 51", "tray-power likely"],
    ),
    Row::yes(
        "tray-power",
        TRAY,
        [
            "it went, and tells why when it is back",
            "0 count all starts 50; 300 lose 2; 400 back 2; 410 count 2 starts 51; 412 end",
            "tray-power likely",
        ],
    ),
    Row::yes("tray-power", TRAY, ["it went twice", "300 lose 2; 320 back 2; 380 lose 2", "tray-connection possible"]),
    Row::yes(
        "tray-power",
        TRAY,
        [
            "it comes and goes",
            "300 lose 6; 320 back 6; 900 lose 6; 920 back 6; 1500 lose 6; 1520 back 6",
            "tray-connection possible",
        ],
    ),
    Row::no("tray-power", TRAY, ["it went once", "300 lose 2", "unknown possible"]),
    Row::no(
        "tray-power",
        TRAY,
        [
            "it went once, and the kernel's word for it comes after the look",
            "300 lose 2; 302 tell drive 2 vanished; 306 end",
            "unknown possible",
        ],
    ),
    Row::no(
        "tray-power",
        TRAY,
        [
            "its transfers are damaged too",
            "0 count all starts 50; count 2 damaged 0; 300 count 2 starts 51; count 2 damaged 4",
            "unknown possible",
        ],
    ),
    Row::no(
        "tray-power",
        TRAY,
        ["two trays", "0 count all starts 50; 300 count 2 starts 51; count 3 starts 51", "supply likely"],
    ),
    Row::no(
        "tray-power",
        TRAY,
        [
            "it cannot read either",
            "0 count all starts 50; 300 count 2 starts 51; count 2 pending 3",
            "unknown possible",
        ],
    ),
    // `slow-to-wake`: errors within half a minute of waking.
    Row::yes(
        "slow-to-wake",
        WAKE,
        [
            "a read fails ten seconds after",
            "0 asleep 2; 300 awake 2; 310 tell drive 2 failed; errors 2 read 1",
            "slow-to-wake likely",
        ],
    ),
    Row::yes(
        "slow-to-wake",
        WAKE,
        [
            "a write times out",
            "0 asleep 2; 300 awake 2; 320 tell drive 2 timed-out; errors 2 write 1",
            "slow-to-wake likely",
        ],
    ),
    Row::yes(
        "slow-to-wake",
        WAKE,
        [
            "its link is reset",
            "0 asleep 4; 300 awake 4; 304 tell drive 4 slow; 312 tell drive 4 reset; errors 4 read 2",
            "slow-to-wake likely",
        ],
    ),
    Row::no(
        "slow-to-wake",
        WAKE,
        [
            "a minute after waking",
            "0 asleep 2; 300 awake 2; 360 tell drive 2 failed; errors 2 read 1",
            "unknown possible",
        ],
    ),
    Row::no("slow-to-wake", WAKE, ["it never slept", "310 tell drive 2 failed; errors 2 read 1", "unknown possible"]),
    Row::no(
        "slow-to-wake",
        WAKE,
        [
            "it cannot read",
            "0 asleep 2; 300 awake 2; 310 tell drive 2 unreadable; errors 2 read 1; count 2 pending 1",
            "drive-fails likely",
        ],
    ),
    Row::no(
        "slow-to-wake",
        WAKE,
        ["it went", "0 asleep 2; 300 awake 2; 310 tell drive 2 failed; errors 2 read 1; lose 2", "unknown possible"],
    ),
    // `link-power-saving`: lost or silent after ten idle minutes, where links may save power.
    Row::yes(
        "link-power-saving",
        SAVING,
        [
            "it goes after twelve idle minutes",
            "0 quiet; controller saves med_power_with_dipm; 720 lose 2",
            "link-power-saving likely",
        ],
    ),
    Row::yes(
        "link-power-saving",
        SAVING,
        ["the deepest saving", "0 quiet; controller saves min_power; 1200 lose 6", "link-power-saving likely"],
    ),
    Row::yes(
        "link-power-saving",
        SAVING,
        [
            "it times out instead",
            "0 quiet; controller saves med_power_with_dipm; 720 tell drive 2 timed-out; timeouts 2 1",
            "link-power-saving likely",
        ],
    ),
    Row::no(
        "link-power-saving",
        SAVING,
        ["its link saves no power", "0 quiet; controller saves max_performance; 720 lose 2", "unknown possible"],
    ),
    Row::no(
        "link-power-saving",
        SAVING,
        ["it was at work", "0 controller saves min_power; 720 lose 2", "unknown possible"],
    ),
    Row::no(
        "link-power-saving",
        SAVING,
        ["five idle minutes", "0 quiet; controller saves min_power; 300 lose 2", "unknown possible"],
    ),
    Row::no(
        "link-power-saving",
        SAVING,
        [
            "it lost its power",
            "0 count all starts 50; quiet; controller saves min_power; 720 count 2 starts 51",
            "tray-power likely",
        ],
    ),
    // `taken-out`: one lost, alone, the drive alive, and a reason to think of its owner.
    Row::yes("taken-out", OWNER, ["put out of its pool before", "300 out 2; 600 lose 2", "taken-out likely"]),
    Row::yes("taken-out", OWNER, ["messages are muted", "200 mute; 300 lose 2", "taken-out likely"]),
    Row::yes("taken-out", OWNER, ["asleep, and no pool uses it", "0 asleep 6; 300 lose 6", "taken-out possible"]),
    Row::yes("taken-out", OWNER, ["it was failing", "200 failing 2; 300 lose 2", "taken-out possible"]),
    Row::no("taken-out", OWNER, ["nothing but gone", "300 lose 2", "unknown possible"]),
    Row::no("taken-out", OWNER, ["muted only after it went", "300 lose 2; 360 mute", "unknown possible"]),
    Row::no(
        "taken-out",
        OWNER,
        [
            "it died, and its pool noticed first",
            "296 tell drive 2 timed-out; 300 out 2; 304 lose 2",
            "unknown possible",
        ],
    ),
    Row::no("taken-out", OWNER, ["two at once while muted", "200 mute; 300 lose 2 6", "supply possible"]),
    Row::no("taken-out", OWNER, ["asleep, but its pool uses it", "0 asleep 2; 300 lose 2", "unknown possible"]),
    // `unknown`: what no other rule explains.
    Row::yes("unknown", UNCLEAR, ["one is gone", "300 lose 5", "unknown possible"]),
    Row::yes("unknown", UNCLEAR, ["commands time out", "300 timeouts 5 2", "unknown possible"]),
    Row::yes(
        "unknown",
        UNCLEAR,
        [
            "damaged and unreadable at once",
            "0 count 3 damaged 0; 300 count 3 damaged 5; count 3 pending 2",
            "unknown possible",
        ],
    ),
    Row::no("unknown", UNCLEAR, ["all is well", "300 end", ""]),
    Row::no("unknown", UNCLEAR, ["a notice that says it all", "300 pool checks", "self-evident certain"]),
    Row::no("unknown", UNCLEAR, ["a cause is found at once", "300 lose 1 2", "supply possible"]),
];
