//! Whether a drive can do what its owner asks of its self-tests: which drive is meant, what speaks against it, and what
//! its owner should know first.

use crate::memory::drives::{place_of, pools_of};
use crate::redundancy::standing;
use traylight_config::Settings;
use traylight_data::reading::{ActivityKind, Drive, Missing, Pool, Power, SelfTestStep, Snapshot, WhyMissing};
use traylight_data::verdict::{NotOne, Refusal};

/// So much of a serial is enough to mean one drive.
const TAIL: usize = 4;

/// The drive in the tray with this label, else the one whose serial ends like this. Upper and lower case are the same.
pub fn chosen<'a>(settings: &Settings, snapshot: &'a Snapshot, name: &str) -> Result<&'a Drive, NotOne> {
    let wanted = name.to_lowercase();
    let place = |drive: &Drive| place_of(settings, drive);
    let is_in_tray = |drive: &&Drive| place(drive).tray.is_some_and(|tray| tray.to_lowercase() == wanted);
    let has_tail = |drive: &&Drive| {
        let serial = drive.serial.as_ref().map(|serial| serial.to_lowercase());
        wanted.chars().count() >= TAIL && serial.is_some_and(|serial| serial.ends_with(&wanted))
    };
    let mut fitting: Vec<&Drive> = snapshot.drives.iter().filter(is_in_tray).collect();
    if fitting.is_empty() {
        fitting = snapshot.drives.iter().filter(has_tail).collect();
    }
    match fitting[..] {
        [drive] => Ok(drive),
        _ => Err(NotOne {
            fitting: fitting.into_iter().map(place).collect(),
            there: snapshot.drives.iter().map(place).collect(),
        }),
    }
}

/// What speaks against a request to this drive, by what it has just told.
pub fn refusal(drive: &Drive, step: SelfTestStep) -> Option<Refusal> {
    if drive.stalled_since.is_some() {
        let why = Missing::from(WhyMissing::NoneCompletes);
        return Some(Refusal::NotAnswering(why));
    }
    match &drive.power.value {
        Ok(Power::Asleep) => return Some(Refusal::Sleeps),
        Ok(Power::Active | Power::Idle) => {}
        Err(why) => return Some(Refusal::NotAnswering(why.clone())),
    }
    let runs = match &drive.self_tests.value {
        Ok(tests) => tests.is_running(),
        Err(why) => return Some(Refusal::NotOffered(why.clone())),
    };
    match step {
        SelfTestStep::Short | SelfTestStep::Extended => runs.then_some(Refusal::Runs),
        SelfTestStep::Abort => (!runs).then_some(Refusal::RunsNot),
    }
}

/// The pool that needs this drive and is not whole, or works on its redundancy: no time for more load.
pub fn strained_pool<'a>(snapshot: &'a Snapshot, drive: &'a Drive) -> Option<&'a Pool> {
    let is_strained = |pool: &&Pool| standing(pool).lost > 0 || pool.activity.kind != ActivityKind::Idle;
    pools_of(snapshot, &drive.device).find(is_strained)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;
    use traylight_data::clock::Moment;
    use traylight_data::reading::{Reading, Reason, SelfTest, Source};
    use traylight_heron::{self as demo, heron, story};

    fn heron() -> (Settings, Snapshot) {
        let now = Moment::after_boot(Duration::from_secs(86_400));
        let settings = demo::settings().expect("the pretend box has settings");
        (settings, heron::snapshot(now, &story::scene(Duration::ZERO)))
    }

    #[test]
    fn a_tray_is_meant_by_its_label_and_a_drive_by_the_end_of_its_serial() {
        let (settings, snapshot) = heron();
        let drive = &snapshot.drives[2];
        let label = place_of(&settings, drive).tray.expect("its tray has a name");
        let serial = drive.serial.clone().expect("it has a serial");
        for name in [&label, &serial, &serial[serial.len() - 4..], &serial[serial.len() - 4..].to_lowercase()] {
            assert_eq!(chosen(&settings, &snapshot, name).map(|drive| &drive.key), Ok(&drive.key), "{name}");
        }
    }

    #[test]
    fn what_means_none_or_several_is_told_with_what_there_is() {
        let (settings, mut snapshot) = heron();
        let none = chosen(&settings, &snapshot, "Z9").expect_err("no such tray");
        assert_eq!((none.fitting.len(), none.there.len()), (0, 6));
        let three = chosen(&settings, &snapshot, "ARK").expect_err("three letters are no serial");
        assert_eq!(three.fitting.len(), 0);
        snapshot.drives[0].serial = Some("A-TWIN".into());
        snapshot.drives[1].serial = Some("B-TWIN".into());
        let two = chosen(&settings, &snapshot, "twin").expect_err("two end like this");
        assert_eq!(two.fitting.len(), 2);
    }

    fn refused(change: impl FnOnce(&mut Drive), step: SelfTestStep) -> Option<Refusal> {
        let (_, mut snapshot) = heron();
        change(&mut snapshot.drives[0]);
        refusal(&snapshot.drives[0], step)
    }

    #[test]
    fn what_speaks_against_a_test() {
        use SelfTestStep::{Abort, Extended, Short};
        let power =
            |power| move |drive: &mut Drive| drive.power = Reading::new(power, Moment::default(), Source::Drive);
        let asleep = power(Ok::<_, Missing>(Power::Asleep));
        let silent = Missing::of(Reason::TimedOut);
        let unable = Missing::from(WhyMissing::NotSupported);
        let runs = |drive: &mut Drive| {
            let tests = drive.self_tests.value.as_mut().expect("heron's drives have tests");
            tests.now = SelfTest::Running { remaining_percent: Some(40) };
        };
        assert_eq!(refused(|_| {}, Short), None);
        assert_eq!(refused(asleep.clone(), Short), Some(Refusal::Sleeps));
        assert_eq!(refused(asleep, Abort), Some(Refusal::Sleeps));
        let of_power = Some(Refusal::NotAnswering(silent.clone()));
        assert_eq!(refused(power(Err(silent)), Extended), of_power);
        let stalled = refused(|drive| drive.stalled_since = Some(Moment::default()), Short);
        assert!(matches!(stalled, Some(Refusal::NotAnswering(_))));
        let no_tests = refused(|drive| drive.self_tests.value = Err(unable.clone()), Short);
        assert_eq!(no_tests, Some(Refusal::NotOffered(unable.clone())));
        assert_eq!((refused(runs, Short), refused(runs, Abort)), (Some(Refusal::Runs), None));
        assert_eq!(refused(|_| {}, Abort), Some(Refusal::RunsNot));
    }

    #[test]
    fn a_pool_that_checks_or_lacks_a_member_has_no_time() {
        let (_, mut snapshot) = heron();
        let strained = |snapshot: &Snapshot, drive: usize| strained_pool(snapshot, &snapshot.drives[drive]).is_some();
        assert!(!strained(&snapshot, 0));
        snapshot.pools[0].activity.kind = ActivityKind::Check;
        assert!(strained(&snapshot, 0));
        assert!(!strained(&snapshot, 5), "no pool needs this one");
        snapshot.pools[0].activity.kind = ActivityKind::Idle;
        snapshot.pools[0].missing = Some(1);
        assert!(strained(&snapshot, 0));
    }
}
