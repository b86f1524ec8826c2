//! Stories of what lies ahead: volumes that will be full, and work that takes its time and has its risk.

use super::{DAY, HOUR, MINUTE, Story};
use crate::memory::Memory;
use std::time::Duration;
use traylight_data::reading::{Activity, ActivityKind, MemberState, Room, Snapshot};
use traylight_data::units::Bytes;
use traylight_data::verdict::{Estimate, Finding, Kind};

const TB: u64 = 1_000_000_000_000;

/// A box that was watched for ten days in which its songs took so much of 16 TB a day.
fn filling(per_day: u64) -> Story {
    let mut story = Story::new();
    let mut snapshot =
        super::heron::snapshot(traylight_data::clock::Moment::default(), &super::story::scene(Duration::ZERO));
    for minute in 0..10 * DAY / MINUTE {
        let at = traylight_data::clock::Moment::after_boot(Duration::from_secs(minute * MINUTE));
        (snapshot.taken, snapshot.volumes[1].room.taken) = (at, at);
        room(&mut snapshot, 16 * TB - 10 * per_day - 5 * TB + per_day * (10 * DAY - minute * MINUTE) / DAY);
        story.memory.learn(&story.settings, crate::conditions::kinds(), &snapshot);
    }
    Story { memory: Memory::with_ledger(story.memory.ledger().clone()), ..story }
}

/// Sets what is free of the songs' volume.
fn room(snapshot: &mut Snapshot, free: u64) {
    let used = Bytes((16 * TB).saturating_sub(free));
    let room = Room { size: Bytes(16 * TB), free: Bytes(free), used, reserved: Bytes(0), files: None };
    snapshot.volumes[1].room.value = Ok(room);
}

#[test]
fn a_volume_that_will_be_full_within_a_week_is_a_notice_and_over_when_room_is_made() {
    let story =
        filling(TB).play(0, HOUR, |second, snapshot| room(snapshot, if second < 1800 { 5 * TB } else { 15 * TB }));
    assert_eq!(story.of("space-low"), ["300 opened space-low notice", "2400 closed space-low"]);
}

#[test]
fn full_within_a_week_is_a_little_less_than_seven_days_and_not_a_little_more() {
    let told = |tenths_of_days: u64| {
        let story = filling(50 * TB / tenths_of_days).play(0, HOUR, |_, snapshot| room(snapshot, 5 * TB));
        !story.of("space-low").is_empty()
    };
    assert_eq!((told(69), told(71)), (true, false));
}

/// Near miss: the same room, filled a tenth as fast.
#[test]
fn a_volume_that_fills_slowly_is_no_news_but_it_is_known_when_it_will_be_full() {
    let story = filling(TB / 10).play(0, HOUR, |_, snapshot| room(snapshot, 5 * TB));
    assert_eq!(story.of("space-low"), [""; 0]);
    let verdict = story.verdict.expect("there was a look");
    let Estimate { middle, .. } = verdict.full_in["/srv/songs"];
    assert_eq!(middle.as_secs().div_ceil(DAY), 50, "5 TB at 100 GB a day");
}

/// Drive 2 is filled at this speed, from half on; four others are read for it.
fn rebuild(second: u64, snapshot: &mut Snapshot) {
    let done = 0.5 + second as f64 * 150e6 / 4_000_787_030_016.0;
    let pool = &mut snapshot.pools[0];
    pool.members[2].state = MemberState::Rebuilding;
    pool.missing = Some(1);
    pool.activity = Activity { kind: ActivityKind::Rebuild, done: Some(done), left: None, speed: None };
}

/// 2 TB at 150 MB/s are 3.7 h; 8 TB read at one error in 10^14 bits meet one with 1 - exp(-0.64), or 47 % (by hand).
#[test]
fn a_rebuild_says_how_long_it_will_take_and_what_it_risks() {
    let story = Story::new().play(0, HOUR, rebuild);
    let verdict = story.verdict.expect("there was a look");
    let busy = verdict.conditions.iter().find(|held| held.kind() == Kind::PoolBusy).expect("it works");
    let Finding::PoolBusy { left: Some(left), risk: Some(risk), .. } = &busy.finding else {
        panic!("found {:?}, wanted time and risk", busy.finding);
    };
    let hours = |time: Duration| time.as_secs_f64() / 3600.0;
    assert!((2.6..2.9).contains(&hours(left.middle)), "3.7 h less the one that went by: {left:?}");
    // What is left to read after that hour: 4 x 1.46 TB.
    assert!((risk.chance - (1.0 - (-4.0 * 1.46e12 * 8.0 / 1e14_f64).exp())).abs() < 0.01, "{risk:?}");
}

/// md tells its progress every five minutes or sixteenth of the whole (drivers/md/md.c, `UPDATE_FREQUENCY`).
#[test]
fn progress_that_is_told_every_five_minutes_is_no_standstill_in_between() {
    let story = Story::new().play(0, HOUR, |second, snapshot| rebuild(second - second % 300, snapshot));
    let verdict = story.verdict.expect("there was a look");
    let hours = verdict.work_left["5a6e0b1c-heron-songs"].middle.as_secs_f64() / 3600.0;
    assert!((2.6..2.9).contains(&hours), "{hours}");
}

/// Of mirrored pairs only the partner is read.
#[test]
fn a_mirror_reads_one_copy() {
    let story = Story::new().play(0, HOUR, |second, snapshot| {
        snapshot.pools[0].members.truncate(4);
        snapshot.pools[0].wanted = 4;
        super::lay_out(snapshot, "raid10");
        rebuild(second, snapshot);
    });
    let verdict = story.verdict.expect("there was a look");
    let risk = verdict.conditions.iter().find_map(|held| match &held.finding {
        Finding::PoolBusy { risk, .. } => *risk,
        _ => None,
    });
    assert_eq!(risk.expect("a risk").bytes.0 / 1_000_000_000, 1_469, "one member, from where it is");
}
