//! In which order the parts of the memory learn is of no matter: the whole story of the pretend box, and more trouble than
//! it has, is judged the same when each stage learns backwards.

use super::{HOUR, MINUTE};
use crate::judge;
use crate::memory::{BACKWARDS, Memory};
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{Counter, Itself, Reading, Snapshot, Source, Undervoltage};
use traylight_heron::{self as demo, heron, story};

/// The pretend box at a second of its story; besides, its supply dips, a processor slows itself down, memory runs out, a
/// drive counts errors, falls back to an older count and starts again, and a pool is compared.
fn trouble(second: u64) -> Snapshot {
    let now = Moment::after_boot(Duration::from_secs(10 * 24 * HOUR + second));
    let mut snapshot = heron::snapshot(now, &story::scene(Duration::from_secs(second)));
    let low = Reading::new(Ok(second % (10 * MINUTE) < 20), now, Source::Hwmon);
    snapshot.undervoltages = vec![Undervoltage { key: "chip/in0".into(), low }];
    if let Some(Reading { value: Ok(ended), .. }) = &mut snapshot.board.out_of_memory {
        *ended = second / HOUR;
    }
    let drive = &mut snapshot.drives[1];
    drive.health.taken = now;
    let health = drive.health.value.as_mut().expect("it tells of its health");
    let counted = |name: &str, value| Counter { name: name.into(), value, origin: "test".into() };
    health.counters = vec![
        counted("interface_crc_errors", if second < HOUR { (second / 600) as i64 } else { 1 }),
        counted("power_cycles", 7 + i64::from(second > 20 * MINUTE)),
    ];
    snapshot
}

/// What was told, every verdict and what would be kept, with the remarks of each look in an order of their own.
fn judged(backwards: bool) -> (Vec<String>, String) {
    BACKWARDS.set(backwards);
    let (settings, mut memory) = (demo::settings().expect("the pretend box has settings"), Memory::default());
    let mut told = Vec::new();
    for second in (0..2 * HOUR).step_by(10) {
        let snapshot = trouble(second);
        let (mut verdict, changes) = judge(&settings, &mut memory, snapshot.taken, Some(&snapshot), &Itself::default());
        verdict.remarks.sort_by_key(|remark| format!("{remark:?}"));
        told.push(format!("{verdict:?} {changes:?}"));
    }
    BACKWARDS.set(false);
    (told, serde_json::to_string(memory.ledger()).expect("a ledger is JSON"))
}

#[test]
fn each_stage_may_learn_backwards() {
    let (forwards, backwards) = (judged(false), judged(true));
    for (second, (one, other)) in forwards.0.iter().zip(&backwards.0).enumerate() {
        assert_eq!(one, other, "look {second}");
    }
    assert_eq!(forwards.1, backwards.1);
    let told = forwards.0.concat();
    for needed in ["NewBaseline", "Undervoltage", "Rebuild", "FanStopped", "LostPower"] {
        assert!(told.contains(needed), "{needed} is not in the story");
    }
}
