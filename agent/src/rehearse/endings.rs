//! Every kind of condition ends: it is played, the program or the machine starts anew, the fault is mended, and it is over.

use super::needs;
use super::*;
use crate::demo::{self, heron, story};
use crate::reading::{LastCheck, Nominal, Reading};

const DAY: Duration = Duration::from_secs(86_400);
/// Few looks are enough for what takes long.
const SLOWER: Duration = Duration::from_secs(300);

/// What is done about a fault.
#[derive(Clone, Copy, PartialEq)]
enum Mended {
    /// The box is as it was before.
    AsBefore,
    /// What was counted stays, and no more comes for a month.
    NoMore,
    /// The drive is replaced by another one.
    Replaced,
    /// The configuration is reloaded: its owner agrees.
    Agreed,
    /// Its owner agrees with the incident by its number.
    Accepted,
    /// The pool is compared.
    Checked,
    /// What was too low is as it should be.
    Supplied,
}

fn mended(kind: Kind) -> Mended {
    match kind {
        Kind::DriveHealthFailed | Kind::SsdWorn => Mended::Replaced,
        Kind::ReallocatedGrowth
        | Kind::SataCrcGrowth
        | Kind::DriveLostPower
        | Kind::DriveTimeouts
        | Kind::MemberErrors
        | Kind::BoxStorageAndRestart => Mended::NoMore,
        Kind::DriveNewOrMoved => Mended::Agreed,
        Kind::DriveMissingAtStart => Mended::Accepted,
        Kind::CheckOverdue | Kind::Mismatches => Mended::Checked,
        Kind::Undervoltage | Kind::RailOutOfRange => Mended::Supplied,
        _ => Mended::AsBefore,
    }
}

/// What is between the fault and its end.
#[derive(Debug, Clone, Copy)]
enum Between {
    Restart,
    Reboot,
}

/// A box that is looked at, and what holds on it.
struct Life {
    settings: Settings,
    memory: Memory,
    now: Moment,
    held: BTreeSet<Kind>,
}

impl Life {
    /// So many looks, each so long after the one before.
    fn look(&mut self, looks: u64, pace: Duration, seen: impl Fn(Moment, u64) -> Snapshot) {
        for look in 0..looks {
            let snapshot = seen(self.now, look * pace.as_secs());
            let (verdict, _) = judge(&self.settings, &mut self.memory, self.now, Some(&snapshot), &Itself::default());
            self.held = verdict.conditions.iter().map(|held| held.kind()).collect();
            self.now = self.now.plus(pace);
        }
    }
}

/// A box on which the fault of a kind was played to its end, and what it was made of.
fn played(kind: Kind) -> (Life, crate::judge::play::Calm, Play) {
    let settings = demo::settings().expect("the pretend box has settings");
    let begin = Moment::after_boot(30 * DAY);
    let play = judge::how_played(kind);
    let snapshot = heron::snapshot(begin, &story::scene(Duration::ZERO));
    let (calm, _) = needs::prepare(&settings, &snapshot, play.needs, None).expect("the box has all it needs");
    let mut life = Life { settings, memory: Memory::default(), now: begin, held: BTreeSet::new() };
    life.look((play.before.as_secs() / 60 + 3).max(12), SLOW, |now, _| calm.at(now, play.calm));
    life.memory.know_drives();
    life.memory.let_time_pass(play.watched);
    life.memory.miss_starts(&calm.one, play.missed_starts);
    let looks = play.length.as_secs() / play.pace.as_secs() + 1;
    life.look(looks, play.pace, |now, second| calm.at(now, |pretence| (play.change)(pretence, second)));
    (life, calm, play)
}

/// True for a kind that began; and whether it holds after all was done about it.
fn life(kind: Kind, between: Between) -> (bool, bool) {
    let (mut life, calm, play) = played(kind);
    let began = life.held.contains(&kind);

    match between {
        Between::Restart => life.memory = Memory::with_ledger(life.memory.ledger().as_kept().expect("it is JSON")),
        Between::Reboot => {
            let (mut ledger, ended) = (life.memory.ledger().as_kept().expect("it is JSON"), life.now);
            ledger.move_back(ended, |at| at.minus(ended.since_boot() + Duration::from_secs(60)));
            (life.memory, life.now) = (Memory::with_ledger(ledger), Moment::after_boot(Duration::from_secs(20)));
        }
    }
    let last = play.length.as_secs();
    let how = mended(kind);
    if how == Mended::Agreed {
        life.look(2, SLOW, |now, _| calm.at(now, |pretence| (play.change)(pretence, last)));
        life.memory.reloaded(&life.settings.clone(), &life.settings);
    }
    if how == Mended::Accepted {
        let incidents = life.memory.incidents();
        let meant = incidents.iter().find(|incident| incident.conditions.iter().any(|held| held.kind() == kind));
        let id = meant.expect("it is open").id;
        life.memory.accept(&life.settings.clone(), id).expect("it can be agreed with");
    }
    let seen = |now: Moment, _: u64| {
        let stays = matches!(how, Mended::NoMore | Mended::Agreed | Mended::Supplied);
        let mut snapshot =
            calm.at(now, |pretence| if stays { (play.change)(pretence, last) } else { (play.calm)(pretence) });
        snapshot.events.clear();
        match how {
            Mended::Replaced => {
                for drive in snapshot.drives.iter_mut().filter(|drive| drive.key == calm.one) {
                    drive.key.0 = "HN26-JAYS".to_owned();
                    drive.serial = Some("HN26-JAYS".to_owned());
                }
            }
            Mended::Checked => {
                let check = LastCheck { ended: 1_700_000_000, ago: Some(Duration::ZERO) };
                for pool in &mut snapshot.pools {
                    (pool.last_check, pool.mismatches) = (Some(check), Some(0));
                }
            }
            Mended::Supplied => {
                for rail in &mut snapshot.rails {
                    rail.value.value = Ok(rail.nominal.map(Nominal::volts).expect("it is one that is judged"));
                }
                snapshot.undervoltages.iter_mut().for_each(|alarm| alarm.low.value = Ok(false));
            }
            _ => {}
        }
        snapshot
    };
    life.look(6, Duration::from_secs(20), seen);
    life.look(8, SLOWER, seen);
    // Nothing happens for a month, which is watched; then it is looked at again.
    life.memory.let_time_pass(32 * DAY);
    life.now = life.now.plus(32 * DAY);
    life.look(12, SLOWER, seen);
    (began, life.held.contains(&kind))
}

#[test]
fn every_kind_of_condition_ends_when_its_fault_is_mended_over_restarts_as_well() {
    let mut wrong = Vec::new();
    for &kind in Kind::ALL {
        for between in [Between::Restart, Between::Reboot] {
            match life(kind, between) {
                (true, false) => {}
                (false, _) => wrong.push(format!("{} never began", kind.id())),
                (true, true) => wrong.push(format!("{} continues, {between:?} in between", kind.id())),
            }
        }
    }
    assert_eq!(wrong, [""; 0]);
}

/// What nobody can read any more is over when its owner says so, and not before.
#[test]
fn what_is_read_no_more_ends_at_its_owners_word() {
    for kind in [Kind::FanStopped, Kind::RailOutOfRange, Kind::Undervoltage, Kind::CpuHotThrottled] {
        let (mut life, calm, _) = played(kind);
        let gone = |now: Moment, _: u64| {
            let mut snapshot = calm.at(now, |_| {});
            snapshot.fans.clear();
            snapshot.rails.clear();
            snapshot.undervoltages.clear();
            snapshot.temperatures.clear();
            snapshot.board.throttling = None::<Reading<_>>;
            snapshot
        };
        life.look(36, SLOWER, gone);
        assert!(life.held.contains(&kind), "{} is not over because it is not read", kind.id());
        let held = |incident: &&crate::verdict::Incident| incident.conditions.iter().any(|held| held.kind() == kind);
        let id = life.memory.incidents().iter().find(held).map(|incident| incident.id).expect("it is open");
        life.settings.watch.always_on_fans.clear();
        life.memory.accept(&life.settings.clone(), id).expect("nothing is read of it");
        life.look(2, SLOW, gone);
        assert!(!life.held.contains(&kind), "{}", kind.id());
    }
}
