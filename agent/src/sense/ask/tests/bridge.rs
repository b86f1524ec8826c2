//! Stories of a SATA disk behind a USB bridge, which may pass on less than it should.

use super::*;
use crate::reading::Power;
use crate::sense::ask::ata::AtaDrive;
use crate::sense::parse::ata::identify::identify;
use crate::sense::parse::quirks::Quirks;
use crate::units::Celsius;

fn behind_bridge() -> Replay {
    Replay { answering: Answering::Bridge, ..disk() }
}

/// A drive whose identity was learned while it was in use.
fn known() -> AtaDrive {
    AtaDrive::new(identify(&identity("Songbird HB4000", &ABLE)).ok(), Quirks::default())
}

/// Replies of bridges to CHECK POWER MODE that tell no mode, although zeros in some of them would read as standby and
/// ones as active.
fn worthless() -> Vec<(&'static str, Answer)> {
    vec![
        ("GOOD without sense", data([])),
        ("zeros", sense_data("00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00 00")),
        ("ones", Ok(Reply { data: Vec::new(), sense: vec![0xFF; 64] })),
        // Linux cuts at 18 bytes and sets the length to 10 (drivers/usb/storage/transport.c): COUNT is still there,
        // STATUS is not.
        ("cut, standby", sense_data("72 01 00 1d 00 00 00 0a 09 0c 00 00 00 00 00 00 00 00")),
        ("cut, active", sense_data("72 01 00 1d 00 00 00 0a 09 0c 00 00 00 ff 00 00 00 00")),
        ("registers of zeros", sense_data("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 00 00 00 00 00 00 00 00 00")),
        ("busy", sense_data("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 ff 00 00 00 00 00 00 00 d0")),
        ("no registers", sense_data("72 01 00 1d 00 00 00 00")),
        // SPC-4 clause 4.5.3 (from memory): without VALID, the field that would hold the registers holds nothing.
        ("fixed, not valid", sense_data("70 00 01 00 50 00 ff 0a 00 00 00 00 00 1d 00 00 00 00")),
        ("fixed, no error", sense_data("f0 00 00 00 50 00 00 0a 00 00 00 00 00 00 00 00 00 00")),
    ]
}

#[test]
fn a_bridge_that_tells_no_mode_is_neither_asleep_nor_awake() {
    for (what, reply) in worthless() {
        for wanted in UNUSED {
            let mut disk = behind_bridge().with(Ata::CheckPowerMode, [reply.clone()]);
            let told = known().ask(&mut disk, wanted);
            assert_eq!(reason(&told.power), Some(Reason::Unreadable), "{what}");
            assert_eq!(told, DriveAnswers::only(told.power.clone()), "{what}");
            assert_eq!(disk.sent(), commands([Ata::CheckPowerMode; 2]), "{what}: asked once more, and no more");
        }
    }
}

#[test]
fn a_disk_in_use_is_awake_whatever_its_bridge_says() {
    for (what, reply) in worthless() {
        let mut disk = behind_bridge().with(Ata::CheckPowerMode, [reply]);
        let told = known().ask(&mut disk, ALL_IN_USE);
        assert_eq!((&told.power, &told.temperature), (&Ok(Power::Active), &Some(Ok(Celsius(36.0)))), "{what}");
        assert_eq!(count(health(&told), "power_on_hours"), Some(9_000), "{what}");
    }
}

#[test]
fn a_cut_reply_is_asked_for_once_more() {
    let cut = sense_data("72 01 00 1d 00 00 00 0a 09 0c 00 00 00 ff 00 00 00 00");
    let mut disk = behind_bridge().with(Ata::CheckPowerMode, [cut.clone(), power_mode(0x80)]);
    let told = known().ask(&mut disk, WARMTH);
    assert_eq!((told.power, told.temperature), (Ok(Power::Idle), Some(Ok(Celsius(36.0)))));
    assert_eq!(disk.sent(), commands([Ata::CheckPowerMode, Ata::CheckPowerMode, SCT_STATUS]));

    let mut asleep = behind_bridge().with(Ata::CheckPowerMode, [cut, power_mode(0x00)]);
    assert_eq!(known().ask(&mut asleep, ALL), DriveAnswers::only(Ok(Power::Asleep)));
    assert_eq!(asleep.sent(), commands([Ata::CheckPowerMode; 2]));
}

/// SAT-3 clause 12.2.5 (from memory): in fixed format COUNT is byte 6 and STATUS byte 4.
#[test]
fn a_bridge_may_answer_in_fixed_format() {
    let fixed = |count: u8| sense_data(&format!("f0 00 01 00 50 00 {count:02x} 0a 00 00 00 00 00 1d 00 00 00 00"));
    let power = |count| known().ask(&mut behind_bridge().with(Ata::CheckPowerMode, [fixed(count)]), NOTHING).power;
    assert_eq!((power(0x00), power(0x80), power(0xFF)), (Ok(Power::Asleep), Ok(Power::Idle), Ok(Power::Active)));
}

#[test]
fn an_unknown_bridge_is_left_alone_until_somebody_uses_the_disk() {
    let mut disk = behind_bridge();
    let mut drive = AtaDrive::new(None, Quirks::default());
    for wanted in UNUSED {
        let told = drive.ask(&mut disk, wanted);
        assert_eq!(told, DriveAnswers::only(told.power.clone()));
        assert_eq!(reason(&told.power), Some(Reason::NotRead));
    }
    assert_eq!(disk.sent(), []);

    // The kernel learns from IDENTIFY that this bridge has more than 18 bytes of sense to give.
    drive.ask(&mut disk, DriveQuestions { in_use: true, ..NOTHING });
    assert_eq!(disk.sent(), commands([Ata::Identify, Ata::CheckPowerMode]));
    drive.ask(&mut disk, WARMTH);
    assert_eq!(disk.sent(), commands([Ata::CheckPowerMode, SCT_STATUS]));
}

#[test]
fn a_bridge_that_refuses_is_not_pestered() {
    let mut disk = Replay::new(Answering::Bridge);
    let mut drive = AtaDrive::new(None, Quirks::default());
    for _ in 0..3 {
        assert_eq!(reason(&drive.ask(&mut disk, ALL_IN_USE).power), Some(Reason::NotAvailable));
    }
    assert_eq!(disk.sent(), commands([Ata::Identify]));

    let (mut mute, mut drive) = (behind_bridge().without(Ata::CheckPowerMode), known());
    for _ in 0..4 {
        assert_eq!(reason(&drive.ask(&mut mute, ALL).power), Some(Reason::NotAvailable));
    }
    assert_eq!(mute.sent(), commands([Ata::CheckPowerMode; 2]), "two refusals in a row settle it");
    drive.ask(&mut mute, DriveQuestions { afresh: true, ..ALL });
    assert_eq!(mute.sent(), commands([Ata::CheckPowerMode]), "until it is asked afresh");
}

/// One refusal may have come of a reset; it must not silence the drive for long.
#[test]
fn a_bridge_that_refused_once_is_asked_again_in_the_next_session() {
    let mut disk =
        behind_bridge().with(Ata::CheckPowerMode, [refused(), power_mode(0x80), refused(), power_mode(0x80)]);
    let mut drive = known();
    let mut power = || drive.ask(&mut disk, NOTHING).power.ok();
    assert_eq!([power(), power(), power(), power()], [None, Some(Power::Idle), None, Some(Power::Idle)]);
}

#[test]
fn a_bridge_that_timed_out_is_not_asked_once_more() {
    for wanted in [ALL, ALL_IN_USE] {
        let mut disk = behind_bridge().with(Ata::CheckPowerMode, [timed_out()]);
        known().ask(&mut disk, wanted);
        assert_eq!(disk.sent(), commands([Ata::CheckPowerMode]));
    }
}
