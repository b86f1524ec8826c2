//! Stories of controllers: `heron` has one SATA card, and all drives are behind it.

use super::{DAY, HOUR, MINUTE, Story};
use traylight_data::clock::Moment;
use traylight_data::reading::{
    Bus, BusErrors, Controller, ControllerKind, DriveKind, Event, EventKind, EventSource, Listing, Missing, Part,
    PcieLink, Reading, Reason, Snapshot, Source, WhyMissing,
};
use traylight_data::verdict::{ControllerFault, Finding};

const TROUBLE: &str = "controller-trouble";

fn card(snapshot: &mut Snapshot) -> &mut Controller {
    &mut snapshot.controllers[0]
}

fn set<T>(reading: &mut Reading<T>, value: T) {
    *reading = Reading::new(Ok(value), reading.taken, Source::Sysfs);
}

/// Takes the card away, and with it what is behind it.
fn take_away(snapshot: &mut Snapshot) {
    snapshot.controllers.clear();
    snapshot.drives.clear();
}

#[test]
fn a_card_that_is_gone_with_its_drives_is_one_trouble_and_over_after_five_good_minutes() {
    let story = Story::closely().play(0, 900, |second, snapshot| {
        if (100..300).contains(&second) {
            take_away(snapshot);
        }
    });
    assert_eq!(story.of(TROUBLE), ["110 opened controller-trouble critical", "600 closed controller-trouble"]);
    let behind = Story::closely().play(0, 100, |_, _| {}).play(100, 120, |_, snapshot| take_away(snapshot));
    let verdict = behind.verdict.expect("there was a look");
    let trouble = verdict.conditions.iter().find(|held| held.kind().id() == TROUBLE).expect("it holds");
    let Finding::ControllerTrouble { drives, what, .. } = &trouble.finding else { panic!("{trouble:?}") };
    assert_eq!((drives.len(), what), (6, &ControllerFault::Gone));
    assert_eq!(drives[0].tray.as_deref(), Some("4"), "in the order of their serials: {drives:?}");
}

/// The causes of the open incidents with the kinds of their conditions, when these controllers and drives go.
fn incidents_when(gone: fn(&mut Snapshot)) -> Vec<String> {
    let story = Story::closely().play(0, 150, |second, snapshot| {
        // The flash drive is its own controller; the others are behind the card.
        let mut nvme = Controller { key: NVME.into(), kind: ControllerKind::Nvme, ..card(snapshot).clone() };
        nvme.driver = Some("nvme".into());
        snapshot.controllers.push(nvme);
        let flash = snapshot.drives.iter_mut().find(|drive| drive.kind == DriveKind::Ssd).expect("heron has one");
        flash.port = Some(format!("{NVME}/nvme-1"));
        if second >= 100 {
            gone(snapshot);
        }
    });
    let verdict = story.verdict.expect("there was a look");
    let told = verdict.incidents.iter().map(|incident| {
        let mut kinds: Vec<&str> = incident.conditions.iter().map(|held| held.kind().id()).collect();
        kinds.dedup();
        format!("{}: {}", incident.cause.id(), kinds.join(" "))
    });
    told.collect()
}

const NVME: &str = "0000/07.0/00.0";

#[test]
fn an_nvme_drive_that_is_pulled_is_no_controller_that_stopped() {
    let told = incidents_when(|snapshot| {
        snapshot.controllers.retain(|controller| controller.key != NVME);
        snapshot.drives.retain(|drive| drive.kind != DriveKind::Ssd);
    });
    assert_eq!(told, ["unknown: drive-gone"]);
}

#[test]
fn a_card_that_stopped_is_one_incident_with_its_drives() {
    let told = incidents_when(|snapshot| {
        snapshot.controllers.retain(|controller| controller.key == NVME);
        snapshot.drives.retain(|drive| drive.kind == DriveKind::Ssd);
    });
    let stopped: Vec<&String> = told.iter().filter(|incident| incident.contains("controller")).collect();
    assert_eq!(stopped.len(), 1, "{told:?}");
    assert!(stopped[0].starts_with("controller-stopped: ") && stopped[0].contains(TROUBLE), "{told:?}");
}

#[test]
fn after_a_boot_a_card_that_is_gone_is_still_missed_but_not_while_the_box_starts() {
    let before = Story::closely().play(0, 60, |_, _| {});
    let after = Story { up: 20, ..before.rebooted(60) };
    let after = after.play(0, 120, |_, snapshot| take_away(snapshot));
    assert_eq!(after.of(TROUBLE), ["80 opened controller-trouble critical"], "up 90 s is 70, and ten more");
}

#[test]
fn a_card_without_its_drives_is_not_missed_when_they_are_elsewhere_or_its_owner_agrees() {
    let moved = Story::closely().play(0, 300, |second, snapshot| {
        if second >= 100 {
            card(snapshot).key = "0000/1d.0/00.0".into();
            for drive in &mut snapshot.drives {
                drive.port = drive.port.as_ref().map(|port| port.replace("1c.0", "1d.0"));
            }
        }
    });
    assert_eq!(moved.of(TROUBLE), [""; 0], "the card is in another slot, and all drives with it");
    let mut gone = Story::closely().play(0, 100, |_, _| {}).play(100, 200, |_, snapshot| take_away(snapshot));
    assert_eq!(gone.of(TROUBLE).len(), 1);
    gone.accept(TROUBLE).expect("it is gone");
    let gone = gone.play(200, 800, |_, snapshot| take_away(snapshot));
    let told = gone.verdict.expect("there was a look").conditions;
    assert!(told.iter().all(|held| held.kind().id() != TROUBLE), "{told:?}");
}

#[test]
fn a_card_that_is_there_and_reads_as_all_ones_is_no_card() {
    let told = Story::closely().play(0, 700, |second, snapshot| {
        let is_well = !(100..200).contains(&second);
        set(&mut card(snapshot).answers, is_well);
    });
    assert_eq!(told.of(TROUBLE), ["110 opened controller-trouble critical", "500 closed controller-trouble"]);
    let asleep = Story::closely().play(0, 200, |_, snapshot| {
        let why = Missing::from(WhyMissing::ControllerAsleep);
        card(snapshot).answers = Reading::new(Err(why), snapshot.taken, Source::Sysfs);
    });
    assert_eq!(asleep.of(TROUBLE), [""; 0], "one that is not asked has said nothing");
}

#[test]
fn without_a_driver_it_is_critical_where_drives_were_and_a_warning_where_none_ever_was() {
    let had = Story::closely().play(0, 200, |second, snapshot| {
        if second >= 100 {
            snapshot.drives.clear();
            card(snapshot).driver = None;
        }
    });
    assert_eq!(had.of(TROUBLE), ["110 opened controller-trouble critical"]);
    let never = Story::closely().play(0, 200, |_, snapshot| {
        snapshot.drives.clear();
        card(snapshot).driver = None;
    });
    assert_eq!(never.of(TROUBLE), ["10 opened controller-trouble warning"]);
    let host = Story::closely().play(0, 200, |_, snapshot| {
        snapshot.drives.clear();
        card(snapshot).driver = None;
        card(snapshot).kind = ControllerKind::UsbHost;
    });
    assert_eq!(host.of(TROUBLE), [""; 0], "a USB host that never had a drive may be switched off");
}

#[test]
fn ten_errors_within_an_hour_are_noise_and_a_day_of_quiet_ends_it() {
    let errors = |of: fn(u64) -> u64| {
        move |second: u64, snapshot: &mut Snapshot| {
            set(&mut card(snapshot).bus_errors, BusErrors { corrected: of(second), uncorrected: 0 });
        }
    };
    // One every five minutes is twelve an hour; 500 were there before.
    let noisy = Story::new().play(0, 2 * DAY, errors(|second| 500 + second.min(2 * HOUR) / 300));
    let told = noisy.of(TROUBLE);
    assert_eq!(told[0], "3000 opened controller-trouble warning", "at the tenth");
    let closed: u64 = told[1].split(' ').next().and_then(|word| word.parse().ok()).expect("a second");
    assert!((DAY + 2 * HOUR..DAY + 3 * HOUR).contains(&closed), "{told:?}");
    let few = Story::new().play(0, 6 * HOUR, errors(|second| 500 + second / 420));
    assert_eq!(few.of(TROUBLE), [""; 0], "eight an hour");
    let anew = Story::new().play(0, HOUR, errors(|second| if second < 600 { 500 } else { 3 }));
    assert_eq!(anew.of(TROUBLE), [""; 0], "a count that began anew");
}

#[test]
fn a_link_is_slow_only_against_its_own_best_and_after_an_hour() {
    let (full, half) = (PcieLink { gigatransfers: 8.0, width: 2 }, PcieLink { gigatransfers: 8.0, width: 1 });
    let slow = Story::new().play(0, 4 * HOUR, |second, snapshot| {
        let is_slow = (HOUR..3 * HOUR).contains(&second);
        set(&mut card(snapshot).pcie_link, if is_slow { half } else { full });
    });
    assert_eq!(slow.of(TROUBLE), ["7200 opened controller-trouble warning", "11100 closed controller-trouble"]);
    let always = Story::new().play(0, 4 * HOUR, |_, snapshot| set(&mut card(snapshot).pcie_link, half));
    assert_eq!(always.of(TROUBLE), [""; 0], "a card of two lanes in a slot of one");
    let half_from = |from: u64, second: u64, snapshot: &mut Snapshot| {
        set(&mut card(snapshot).pcie_link, if second < from { full } else { half });
    };
    let mut accepted = Story::new().play(0, 4 * HOUR, |second, snapshot| half_from(HOUR, second, snapshot));
    accepted.accept(TROUBLE).expect("it is slower");
    let accepted = accepted.play(4 * HOUR, 8 * HOUR, |second, snapshot| half_from(HOUR, second, snapshot));
    assert_eq!(accepted.of(TROUBLE)[1..], ["14700 closed controller-trouble"], "its owner agrees");
    let other_card = Story::new().play(0, 6 * HOUR, |second, snapshot| {
        if second >= 2 * HOUR {
            card(snapshot).id = "fffe:0002".into();
            set(&mut card(snapshot).pcie_link, half);
        }
    });
    assert_eq!(other_card.of(TROUBLE), [""; 0], "another card has another best");
}

/// The flash drive sits behind a USB bridge.
fn on_usb(snapshot: &mut Snapshot) {
    let drive = snapshot.drives.iter_mut().find(|drive| drive.kind == DriveKind::Ssd).expect("heron has one");
    (drive.bus, drive.port) = (Bus::Usb, Some("0000/14.0/usb-2.1:0".into()));
}

fn reset(at: Moment, chain: &str) -> Event {
    let part = Part::Usb(chain.into());
    Event { at, part, what: EventKind::Reset, teller: EventSource::Log, line: "reset SuperSpeed USB device".into() }
}

#[test]
fn three_resets_of_a_bridge_within_an_hour_are_trouble_and_those_of_a_mouse_are_none() {
    let resets = |minutes: [u64; 3], chain: &'static str| {
        Story::new().play(0, 2 * DAY, move |second, snapshot| {
            on_usb(snapshot);
            if minutes.contains(&(second / MINUTE)) {
                snapshot.events.push(reset(snapshot.taken, chain));
            }
        })
    };
    let often = resets([10, 30, 50], "2.1");
    let told = often.of(TROUBLE);
    assert_eq!(told[0], "3000 opened controller-trouble warning");
    let closed: u64 = told[1].split(' ').next().and_then(|word| word.parse().ok()).expect("a second");
    assert!((DAY + HOUR..DAY + 2 * HOUR).contains(&closed), "{told:?}");
    assert_eq!(resets([10, 50, 100], "2.1").of(TROUBLE), [""; 0], "never three within an hour");
    assert_eq!(resets([10, 30, 50], "2.4").of(TROUBLE), [""; 0], "no drive is behind that");
}

#[test]
fn what_could_not_be_listed_is_not_gone() {
    let told = Story::closely().play(0, 300, |second, snapshot| {
        if second >= 100 {
            snapshot.controllers.clear();
            let why = Missing::of(Reason::Refused);
            snapshot.blind.push(traylight_data::reading::Blind { what: Listing::Controllers, why });
        }
    });
    assert_eq!(told.of(TROUBLE), [""; 0]);
}

/// An NVMe drive is its own controller: its link is measured like that of a card, by lanes and speed.
#[test]
fn an_nvme_drive_whose_link_falls_back_is_told() {
    let story = Story::new().play(0, 4 * HOUR, |second, snapshot| {
        let pcie_link = if second < HOUR { (16.0, 4) } else { (16.0, 1) };
        let mut nvme = Controller { key: NVME.into(), kind: ControllerKind::Nvme, ..card(snapshot).clone() };
        nvme.driver = Some("nvme".into());
        set(&mut nvme.pcie_link, PcieLink { gigatransfers: pcie_link.0, width: pcie_link.1 });
        snapshot.controllers.push(nvme);
    });
    assert_eq!(story.of(TROUBLE), ["7200 opened controller-trouble warning"]);
}
