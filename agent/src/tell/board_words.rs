//! The words for fans, the processor, the supply and what drives are plugged into. Pure; the rules that all words keep are
//! in [`super::wording`].

use super::wording::{Parts, Words, listed, words_of};
use crate::reading::{ControllerKind, Lane, Nominal};
use crate::units::{Celsius, Rpm, Volts, span};
use crate::verdict::{ControllerFault, ControllerName, Place};
use std::time::Duration;

pub(super) fn fan_weak(fan: &str, speed: Rpm, usual: Rpm, duty: f64) -> Words {
    words_of(Parts {
        name: "FAN WEAK",
        figures: &speed.to_string(),
        sentence: format!("{fan} turns at {speed}; at this level it used to turn at {usual}."),
        brief: "dust? bearing?",
        advice: "Clean the fan and its filter with the box off; replace the fan if it stays slow.",
        warning: "Do not oil it and do not slow it down further: it may not start again.",
        evidence: format!("tachometer {speed}, {usual} held at {:.0}% before", 100.0 * duty),
    })
}

pub(super) fn airflow_suspected(drives: &[Place], above: f64) -> Words {
    let which = listed(drives).unwrap_or_else(|| "several drives".to_owned());
    words_of(Parts {
        name: "FAN STOPPED?",
        figures: "",
        sentence: format!("The fan may have stopped: drives are {above:.0} °C warmer than they ever held, {which}."),
        brief: "does it turn?",
        advice: "Look whether the fan turns and air gets in; the room may also be hotter than it ever was.",
        warning: "Do not take this as measured: the fan has no speed signal, only temperatures tell of it.",
        evidence: format!("inferred: the middle drive is {above:.1} °C above its warmest hour under such load"),
    })
}

pub(super) fn processor(now: Option<Celsius>, limit: Celsius, slowed: bool) -> Words {
    let warm = now.map(|now| format!("is at {now}, its limit is {limit}"));
    let slow = slowed.then_some("slows itself down, and so transfers are slow");
    let what: Vec<&str> = warm.as_deref().into_iter().chain(slow).collect();
    let sensed = now.map_or("no sensor".to_owned(), |now| format!("sensor {now}, limit {limit}"));
    let held = if slowed { ", the kernel counts slowing down" } else { "" };
    words_of(Parts {
        name: if slowed { "CPU SLOWS DOWN" } else { "CPU HOT" },
        figures: &now.map(|now| format!("{:.0}C", now.0)).unwrap_or_default(),
        sentence: format!("The processor {}.", what.join("; it ")),
        brief: "heat sink? air?",
        advice: "Give the board air or a larger heat sink, and look whether its own fan turns.",
        warning: "Do not judge the drives by transfers that are slow now.",
        evidence: format!("{sensed}{held}"),
    })
}

pub(super) fn undervoltage(is_low: bool, dips: u32, longest: Duration, in_a_day: u64) -> Words {
    let now = if is_low { "is too low" } else { "was too low" };
    let often = match dips {
        0 => String::new(),
        1 => format!(", once in 10 min ({})", lasting(longest)),
        _ => format!(", {dips} times in 10 min (longest {})", lasting(longest)),
    };
    words_of(Parts {
        name: "5V TOO LOW",
        figures: "",
        sentence: format!("The 5 V supply of the board {now}{often}."),
        brief: "supply? thin lead?",
        advice: "Use a stronger supply for the board and a short, thick lead; take USB drives off its ports.",
        warning: "Do not blame the drives for drop-outs meanwhile. The 12 V of the drives is not measured by this.",
        evidence: format!("alarm of the board, {in_a_day} dips within a day of watching"),
    })
}

/// Dips are seen two seconds apart.
fn lasting(dip: Duration) -> String {
    if dip < Duration::from_secs(2) { "under 2 s".to_owned() } else { span(dip) }
}

pub(super) fn rail(nominal: Nominal, now: Volts, low: Volts, high: Volts) -> Words {
    let name = match nominal {
        Nominal::Twelve => "12V",
        Nominal::Five => "5V",
        Nominal::ThreePointThree => "3.3V",
    };
    let what = if now.0 < low.0 { "LOW" } else { "HIGH" };
    words_of(Parts {
        name: &format!("{name} TOO {what}"),
        figures: &format!("{:.1}V", now.0),
        sentence: format!("The {name} rail measures {now}, it should have {low} to {high}."),
        brief: "supply? plugs? leads?",
        advice: "Check the supply, its plugs and leads, and whether it is strong enough while drives start. Measure at \
                 the last drive's plug.",
        warning: "Do not open the supply, and do not change drives for this.",
        evidence: format!("sensor labelled for this rail: {now}"),
    })
}

pub(super) fn controller(name: &ControllerName, drives: &[Place], what: &ControllerFault) -> Words {
    let it = named(name);
    let behind = listed(drives).map(|drives| format!("; behind it: {drives}")).unwrap_or_default();
    let fine = "Power off and check how it is plugged in; if the kernel was updated, start the one before. The drives \
                are probably fine.";
    let nothing = "Do not create, force or format anything: the data is still on the drives.";
    let lane = |lane: &Lane| format!("{} GT/s x{}", lane.gigatransfers, lane.width);
    let ribbon =
        "With the box off, reseat the card or its ribbon cable; a slower PCIe generation in the set-up may help.";
    let (title, sentence, brief, advice, warning, evidence) = match what {
        ControllerFault::Gone => (
            "CONTROLLER GONE",
            format!("{it} is no longer there{behind}."),
            "PULL NOTHING",
            fine,
            nothing,
            "it is not on the kernel's list of devices".to_owned(),
        ),
        ControllerFault::AllOnes => (
            "CONTROLLER SILENT",
            format!("{it} is there and does not answer{behind}."),
            "PULL NOTHING",
            fine,
            nothing,
            "its configuration space reads as all ones".to_owned(),
        ),
        ControllerFault::NoDriver => (
            "CONTROLLER NO DRIVER",
            format!("{it} was not started by any driver{behind}."),
            "PULL NOTHING",
            fine,
            nothing,
            "no driver is bound to it".to_owned(),
        ),
        ControllerFault::BusErrors { corrected } => (
            "PCIE ERRORS",
            format!("{it} had {corrected} errors on its PCIe link within an hour, all corrected."),
            "reseat card, ribbon",
            ribbon,
            "Do not change drives for this.",
            format!("{corrected} corrected errors within an hour, of the card and the port above it"),
        ),
        ControllerFault::SlowLane { now, best } => (
            "PCIE LINK SLOW",
            format!("{it} has a PCIe link of {}, before of {}.", lane(now), lane(best)),
            "reseat card, ribbon",
            ribbon,
            "Do not judge the drives by transfers over this link.",
            format!("link {}, best seen {}", lane(now), lane(best)),
        ),
        ControllerFault::Resets { count } => (
            "USB BRIDGE RESETS",
            format!("{it} was reset {count} times within an hour{behind}."),
            "lead? power? UAS?",
            "Try another USB lead and port, and a supply of its own. Some bridges are steadier with the kernel option \
             usb-storage.quirks=VENDOR:PRODUCT:u, at some cost of speed.",
            "Do not blame the drive behind it for this alone.",
            format!("{count} resets told by the kernel within an hour"),
        ),
    };
    words_of(Parts { name: title, figures: "", sentence, brief, advice, warning, evidence })
}

fn named(name: &ControllerName) -> String {
    let kind = match name.kind {
        Some(ControllerKind::Storage) => "The disk controller",
        Some(ControllerKind::Nvme) => "The NVMe controller",
        Some(ControllerKind::UsbHost) => "The USB host",
        None => "The USB bridge",
    };
    let id = if name.id.is_empty() { String::new() } else { format!(" ({})", name.id) };
    format!("{kind} at {}{id}", name.key)
}
