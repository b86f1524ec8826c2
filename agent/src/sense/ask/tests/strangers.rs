//! Stories of answers that come from another drive than the one that was asked: a bridge mistakes its two drives for
//! one another, or a drive was changed between two looks.

use super::*;
use crate::reading::Power;
use crate::sense::ask::ata::AtaDrive;
use crate::sense::ask::nvme::NvmeDrive;
use crate::sense::parse::ata::identify::identify;
use crate::sense::parse::quirks::Quirks;

const STRANGER: &str = "expected an answer of the drive HERON-0002, found one of HERON-0001";

fn known_as(serial: &str) -> AtaDrive {
    AtaDrive::new(None, Quirks::default()).known_as(Some(serial.to_owned()))
}

#[test]
fn nothing_that_a_stranger_says_is_booked() {
    for answering in [Answering::Kernel, Answering::Bridge] {
        let mut disk = Replay { answering, ..disk() };
        let told = known_as("HERON-0002").ask(&mut disk, ALL_IN_USE);
        assert_eq!(told, DriveAnswers::only(told.power.clone()));
        assert_eq!(told.power, Err(unreadable(STRANGER)));
        assert!(!disk.sent().contains(&Ata::SmartReadData.into()));
    }
    assert!(known_as("HERON-0001").ask(&mut disk(), ALL).health.is_some());
}

/// udev writes `_` for blanks, and a bridge may pad with them.
#[test]
fn only_letters_and_digits_are_compared_and_only_of_serials_that_tell_drives_apart() {
    for same in ["HERON_0001", "  HERON-0001 ", "0000000000", "1234"] {
        assert!(known_as(same).ask(&mut disk(), ALL).health.is_some(), "{same}");
    }
}

#[test]
fn what_the_kernel_keeps_of_a_stranger_is_not_used() {
    let kept = identify(&identity("Songbird HB4000", &ABLE)).ok();
    let mut disk = disk();
    let mut drive = AtaDrive::new(kept, Quirks::default()).known_as(Some("HERON-0002".to_owned()));
    assert_eq!(drive.ask(&mut disk, WARMTH).power, Err(unreadable(STRANGER)));
    assert_eq!(disk.sent(), commands([Ata::CheckPowerMode, Ata::Identify]));
}

/// Nobody knows a serial for it, so the first that answers is the one.
#[test]
fn before_each_health_the_drive_says_again_who_it_is() {
    let other = [identity("Songbird HB4000", &ABLE)].map(|mut bytes| {
        // The last digit of HERON-0001 is the first of its word; the sum stays right.
        (bytes[28], bytes[511]) = (bytes[28].wrapping_add(2), bytes[511].wrapping_sub(2));
        data(bytes)
    });
    let good = disk().answers[&Ata::Identify.into()].clone();
    let mut disk = disk().with(Ata::Identify, [&good[..], &other, &good].concat());
    let mut drive = AtaDrive::new(None, Quirks::default());
    assert!(drive.ask(&mut disk, ALL).health.is_some());
    let told = drive.ask(&mut disk, ALL);
    assert_eq!(told, DriveAnswers::only(told.power.clone()));
    let why = told.power.unwrap_err().found.unwrap();
    assert_eq!(why, "expected an answer of the drive HERON-0001, found one of HERON-0003");
    assert!(drive.ask(&mut disk, ALL).health.is_some(), "the right one again");
}

#[test]
fn a_drive_that_does_not_say_again_who_it_is_tells_no_health() {
    let good = disk().answers[&Ata::Identify.into()].clone();
    let mut drive = AtaDrive::new(None, Quirks::default());
    let mut disk = disk().with(Ata::Identify, [good, vec![data([0; 512])]].concat());
    drive.ask(&mut disk, ALL);
    let told = drive.ask(&mut disk, ALL);
    assert_eq!((told.power, told.health), (Ok(Power::Active), None));
    assert_eq!(reason(&told.temperature.unwrap()), Some(Reason::Unreadable));
}

#[test]
fn nothing_that_a_strange_nvme_drive_says_is_booked() {
    let known_as = |serial: &str| NvmeDrive::default().known_as(Some(serial.to_owned()));
    let mut drive = super::nvme::flash();
    let told = known_as("HERON-N2").ask(&mut drive, ALL);
    assert_eq!(drive.sent(), commands([Nvme::IdentifyController]));
    let why = told.power.clone().unwrap_err().found.unwrap();
    assert_eq!(why, "expected an answer of the drive HERON-N2, found one of HERON-N1");
    assert_eq!(told, DriveAnswers::only(told.power.clone()));
    assert!(known_as("HERON-N1").ask(&mut drive, ALL).health.is_some());
}

/// Serials are untrusted text: they go into log lines and onto the panel.
#[test]
fn a_serial_with_control_characters_is_made_fit_to_show() {
    let mut bytes = identity("Songbird HB4000", &ABLE);
    // ESC and BEL in place of `HE` (the two bytes of a word are swapped); the sum stays right.
    let (was, is) = (bytes[20].wrapping_add(bytes[21]), 0x1B + 0x07);
    (bytes[20], bytes[21]) = (0x07, 0x1B);
    bytes[511] = bytes[511].wrapping_add(was).wrapping_sub(is);
    assert_eq!(identify(&bytes).unwrap().serial.as_deref(), Some("RON-0001"));
    let told = known_as("HERON-0002").ask(&mut disk().with(Ata::Identify, [data(bytes)]), ALL);
    assert!(told.power.unwrap_err().found.unwrap().chars().all(|letter| !letter.is_control()));
}
