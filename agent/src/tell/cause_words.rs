//! The words of a cause: a title, what it is, what to do, what not to do, and the test that would decide. Pure.

use super::wording::{named, pointed_at};
use crate::verdict::{Cause, Place};

/// The words of a cause.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CauseWords {
    /// A line of the panel.
    pub title: String,
    /// What it is, to stand after "likely" or "possibly".
    pub what: String,
    /// What to do, in a line of the panel.
    pub brief: &'static str,
    /// What to do.
    pub advice: String,
    /// What not to do.
    pub warning: &'static str,
    /// What would show whether it is so.
    pub next_test: String,
}

/// The words; `None` for a condition that says it all, and for what is unclear: the condition's own words lead there.
pub fn words(cause: Cause, drives: &[Place], part: Option<&str>) -> Option<CauseWords> {
    let tray = drives.first().map_or_else(|| "TRAY ?".to_owned(), named);
    let one = drives.first().map_or_else(|| "the drive".to_owned(), pointed_at);
    let all = trays(drives);
    let part = part.unwrap_or("the controller");
    let told = match cause {
        Cause::AsItSays | Cause::Unclear => return None,
        Cause::Supply => CauseWords {
            title: format!("{} TRAYS CUT OFF", drives.len()),
            what: "the 12 V supply or its wiring, not the drives".to_owned(),
            brief: "check 12 V supply",
            advice: "Power off. Check the supply's rating against the start-up current of all drives, every plug, and the \
                     thickness of the leads."
                .to_owned(),
            warning: "Do not replace drives for this, and do not start them all at once to see.",
            next_test: "Measure 12 V at the last drive's plug while all drives start: it must stay above 11.4 V. Or run the \
                        same load with half of the drives on a supply of their own."
                .to_owned(),
        },
        Cause::TrayPower => CauseWords {
            title: format!("{tray} LOST POWER"),
            what: format!("the power contact of {one}"),
            brief: "check its power plug",
            advice: format!("With the box off, reseat {one} and its power plug; look for a loose or burnt contact."),
            warning: "Do not replace the drive for this: it came back when its power did.",
            next_test: "Give this tray the power lead of another, with the box off: the loss moves along or it does not."
                .to_owned(),
        },
        Cause::TrayConnection => CauseWords {
            title: format!("{tray} LOOSE?"),
            what: format!("the connection of {one}, or the drive"),
            brief: "reseat it, box off",
            advice: format!("With the box off, reseat {one}, its data cable and its power plug."),
            warning: "Do not blame the drive yet: nothing has measured which of the two it is.",
            next_test: "Let the drive change places with another, with the box off: the loss stays with the tray or goes \
                        along with the drive."
                .to_owned(),
        },
        Cause::DataCable => CauseWords {
            title: format!("{tray} DATA CABLE"),
            what: format!("the SATA data cable or connector of {one}; the drive itself looks well"),
            brief: "reseat data cable",
            advice: format!("With the box off, reseat or replace the data cable of {one}."),
            warning: "Do not replace the drive for this, and do not take the lifetime total for today's count.",
            next_test: "Let the data cables of this tray and its neighbour change places, with the box off: traylight will \
                        tell whether the errors moved."
                .to_owned(),
        },
        Cause::PortOrCable => CauseWords {
            title: format!("{tray} PORT/CABLE"),
            what: format!("the port or the cable where {one} is plugged: another drive had the same there"),
            brief: "replace the cable",
            advice: "With the box off, replace the data cable; if errors still come, leave this port unused.".to_owned(),
            warning: "Do not replace the drive: the errors did not come with it.",
            next_test: "Use another port of the controller with a new cable: then the errors should end.".to_owned(),
        },
        Cause::DriveConnector => CauseWords {
            title: format!("{tray} DRIVE PLUG"),
            what: format!("the connector of {one} itself: the errors came along when it changed places"),
            brief: "look at its contacts",
            advice: "With the box off, look at the drive's own contacts and clean them; plan to replace it if errors go on."
                .to_owned(),
            warning: "Do not go on changing cables: two ports have shown the same.",
            next_test: "Try it on a third cable alone: then only the drive is left.".to_owned(),
        },
        Cause::DriveFails => CauseWords {
            title: format!("{tray} FAILING"),
            what: format!("{one} is failing"),
            brief: "back up, order one",
            advice: "Back up what matters now and order a replacement.".to_owned(),
            warning: "Do not wait for it to go, and do not change another tray by mistake: compare the serial.",
            next_test: "A long self-test of this drive shows whether more places are bad.".to_owned(),
        },
        Cause::ControllerStopped => CauseWords {
            title: "CONTROLLER STOPPED".to_owned(),
            what: format!("the controller {part} stopped; its drives are most likely fine"),
            brief: "drives likely fine",
            advice: "Shut down, let it cool, reseat the card and its ribbon, start again.".to_owned(),
            warning: "Do not create or format anything, and do not judge the drives by this.",
            next_test: "Start with the card reseated and one drive only: if that holds, add the others one by one.".to_owned(),
        },
        Cause::ControllerHot => CauseWords {
            title: "CONTROLLER TOO HOT?".to_owned(),
            what: format!("the controller {part} stopped while it was warm, and worked again once it had cooled"),
            brief: "give it air",
            advice: "Give the controller's chip a heatsink and moving air.".to_owned(),
            warning: "Do not judge the drives by this; they only lost their way to the board.",
            next_test: "Repeat the load with a fan held to the card: if it holds, heat was the reason.".to_owned(),
        },
        Cause::Lane => CauseWords {
            title: "PCIE LINK ERRORS".to_owned(),
            what: format!("the ribbon or the slot of the controller {part}"),
            brief: "reseat the ribbon",
            advice: "With the box off, reseat the ribbon or card; if a faster link was forced in the boot settings, go back \
                     to the slower one."
                .to_owned(),
            warning: "Do not replace drives for this: several feel what happens before them.",
            next_test: "Run the same load at the next lower PCIe speed: the errors should end.".to_owned(),
        },
        Cause::UsbBridge => CauseWords {
            title: "USB ADAPTER LOST".to_owned(),
            what: format!("the USB adapter of {all}"),
            brief: "replug its USB lead",
            advice: "Stop what writes to it, then unplug and replug the adapter's USB lead, or use another port.".to_owned(),
            warning: "Do not judge the drives by this: all behind one adapter went together.",
            next_test: "Put one of its drives on another adapter: if only the old one drops out, it is the adapter.".to_owned(),
        },
        Cause::UsbPower => CauseWords {
            title: "USB 5 V TOO WEAK?".to_owned(),
            what: "the 5 V of the USB ports or of a hub: several adapters went together".to_owned(),
            brief: "power them apart",
            advice: "Use a powered hub, or a supply that the board knows to be strong enough for its USB ports.".to_owned(),
            warning: "Do not replace adapters or drives before their 5 V is known to hold.",
            next_test: "Run the same load with one adapter on a powered hub: it should stay.".to_owned(),
        },
        Cause::Airflow => CauseWords {
            title: "FAN OR AIRFLOW".to_owned(),
            what: "the fan or the way of the air".to_owned(),
            brief: "look at fan, filter",
            advice: "Look whether the fan turns and whether air can get in and out: filter, cloth, cables in the way."
                .to_owned(),
            warning: "Do not reach into the fan while the box is on, and do not let drives go on getting hotter.",
            next_test: "Open the way of the air for ten minutes: if all get cooler, it was that.".to_owned(),
        },
        Cause::TrayAir => CauseWords {
            title: format!("{tray} NO AIR?"),
            what: format!("the air to {one}: the other drives are cooler"),
            brief: "free its airway",
            advice: format!("Look whether something blocks the air to {one}, or whether it sits beside something hot."),
            warning: "Do not take warmth for a fault of the drive before its place was looked at.",
            next_test: "Let it change places with a cooler neighbour, with the box off: the warmth stays or moves along."
                .to_owned(),
        },
        Cause::WarmRoom => CauseWords {
            title: "ROOM IS WARMER".to_owned(),
            what: "the room: drives and board got warmer by the same".to_owned(),
            brief: "cool the room",
            advice: "Air the room or move the box; let heavy work wait for the night.".to_owned(),
            warning: "Do not put the box into a cupboard.",
            next_test: "A thermometer before the air inlet shows it.".to_owned(),
        },
        Cause::DriveHangs => CauseWords {
            title: format!("{tray} HANGS"),
            what: format!("{one} has work and finishes none, and the others go on"),
            brief: "wait, then reseat",
            advice: "Wait some minutes: the kernel resets it or gives it up. Back up what matters meanwhile.".to_owned(),
            warning: "Do not pull it while it hangs, and do not reset it by hand: what waits for it waits longer.",
            next_test: "If it comes back, a long self-test; if it hangs again, its cable and power first.".to_owned(),
        },
        Cause::PathHangs => CauseWords {
            title: "CONTROLLER HANGS".to_owned(),
            what: format!("the controller {part} or the way to it: all of its drives hang at once"),
            brief: "drives likely fine",
            advice: "Wait some minutes; then shut down in order if it can be done, reseat the card and its ribbon.".to_owned(),
            warning: "Do not judge the drives by this, and do not create or format anything.",
            next_test: "The same load with one drive only shows whether the way or the load is too much.".to_owned(),
        },
        Cause::KernelUpdate => CauseWords {
            title: "NO DISKS: NEW KERNEL".to_owned(),
            what: format!("the new kernel: it does not start the controller {part}; the drives are most likely fine"),
            brief: "boot the old kernel",
            advice: "Boot the kernel that was used before, and look for notes on this controller and the new one.".to_owned(),
            warning: "Do not create a pool and do not format: nothing has happened to the data.",
            next_test: "With the old kernel all drives are there again.".to_owned(),
        },
        Cause::DataPath => CauseWords {
            title: "DATA CHANGED ON WAY".to_owned(),
            what: "memory, card or supply: data disagrees although no drive counts an error".to_owned(),
            brief: "test the memory",
            advice: "Test the memory for a night, then look at supply and card; only then at a drive.".to_owned(),
            warning: "Do not repair and do not clear counters before it is known what changes the data.",
            next_test: "A memory test over night; then the same comparison again with the card reseated.".to_owned(),
        },
        Cause::SlowToWake => CauseWords {
            title: format!("{tray} WAKES SLOW"),
            what: format!("{one} took its time to wake up; nothing else speaks against it"),
            brief: "nothing to do",
            advice: "Nothing. If it comes often, let it sleep later.".to_owned(),
            warning: "Do not take this for a failing drive.",
            next_test: "The next times that it wakes: errors at other times would say something else.".to_owned(),
        },
        Cause::RestartPower => restarted(
            "RESTARTED: POWER?",
            "the 12 V supply: drives were starting, or the supply was low, in the minute before",
            "Measure 12 V while all drives start: it must stay above 11.4 V.",
        ),
        Cause::RestartHeat => restarted(
            "RESTARTED: HEAT?",
            "heat: the processor was very warm before",
            "The same load with better cooling: it should hold.",
        ),
        Cause::RestartUnclear => restarted(
            "RESTARTED BY ITSELF",
            "nothing that was measured: the log simply begins again",
            "Three things would decide: 12 V while drives start, the processor's temperature under load, and whether the \
             mains failed.",
        ),
        Cause::LinkPowerSaving => CauseWords {
            title: format!("{tray} LINK ASLEEP"),
            what: format!("power saving on the SATA link of {one}: it was lost after it had been idle"),
            brief: "no link power saving",
            advice: "Set the link power policy of its SATA host to max_performance, at every start.".to_owned(),
            warning: "Do not replace drive or cable before that was tried.",
            next_test: "A day with max_performance: the losses should end.".to_owned(),
        },
        Cause::TakenOut => CauseWords {
            title: format!("{tray} TAKEN OUT"),
            what: format!("somebody took {one} out"),
            brief: "nothing, if you did",
            advice: "Nothing, if it was you. When its successor is in, traylight will say what the pool does.".to_owned(),
            warning: "Do not change a second tray before the pool is whole again.",
            next_test: "None is needed.".to_owned(),
        },
        Cause::WrongTray => CauseWords {
            title: format!("PUT {tray} BACK"),
            what: format!("the wrong tray: {one} was good, and its pool lacks another one already"),
            brief: "do nothing else",
            advice: format!("Put {one} back where it was, now. Then wait and read what is said here."),
            warning: "Do nothing else: do not restart, do not create, force or format anything.",
            next_test: "Once it is back, this page says whether the pool took it again.".to_owned(),
        },
    };
    Some(told)
}

fn restarted(title: &str, what: &str, next_test: &str) -> CauseWords {
    CauseWords {
        title: title.to_owned(),
        what: what.to_owned(),
        brief: "see when and why",
        advice: "Look whether it happens when drives start or under load, and at what hour.".to_owned(),
        warning: "Do not take the pool for damaged because of this; after such a start it may compare itself.",
        next_test: next_test.to_owned(),
    }
}

/// Trays in a sentence, such as "trays 1, 3 and 5".
pub fn trays(drives: &[Place]) -> String {
    let labels: Vec<String> = drives.iter().map(Place::label).collect();
    match &labels[..] {
        [] => "all drives".to_owned(),
        [_] => pointed_at(&drives[0]),
        [first @ .., last] => format!("trays {} and {last}", first.join(", ")),
    }
}
