//! box-storage-and-restart: the box restarted without being shut down, ran out of memory, wears out its memory card, or
//! its system disk fails. A system volume that stopped writing is a volume like any other: volume-readonly tells of it.

use super::rule::Rule;
use crate::kinds::Traits;
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::board::WRITES_COUNT_FOR;
use crate::memory::board::{failures, system_disk, written};
use crate::memory::event_counts::OUT_OF_MEMORY;
use crate::memory::event_counts::{COUNTED_FOR, UNCLEAN_RESTART};
use crate::play::Play;
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::reading::{Snapshot, SystemDiskKind};
use traylight_data::units::Bytes;
use traylight_data::verdict::{BoardAspect, BoxFault, Condition, Finding, Kind, Limit, Severity, Subject};

/// For how long a card must be written to too much.
const CARD_HOLD: Duration = Duration::from_secs(3600);
/// A card that is written to more within a day does not last for years (starting value, no source).
const CARD_BYTES: u64 = 2_000_000_000;

pub const RULE: Rule = Rule {
    kinds: &[Traits::of(Kind::BoxStorageAndRestart).played(
        Play::fast(&[], 10, |the_box, _| the_box.out_of_memory(1)).after(1, |the_box| the_box.out_of_memory(0)),
    )],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    let Finding::BoxStorageAndRestart { what } = &condition.finding else { return Vec::new() };
    vec![match what {
        BoxFault::UncleanRestart { .. } | BoxFault::OutOfMemory { .. } | BoxFault::DiskErrors { .. } => {
            limit!("limit.box.once", within = COUNTED_FOR)
        }
        BoxFault::CardWears { .. } => {
            limit!("limit.box.card-wears", written = Bytes(CARD_BYTES), within = WRITES_COUNT_FOR, hold = CARD_HOLD)
        }
    }]
}

/// What is seen of the box itself.
fn observations(_: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let ledger = &memory.ledger;
    let raised = |is_raised, severity| if is_raised { Zone::Raised(severity) } else { Zone::Clear };
    let observation = |aspect, zone, what, holds| Observation {
        subject: Subject::Board(aspect),
        zone,
        seen: snapshot.taken,
        finding: Finding::BoxStorageAndRestart { what },
        holds,
    };
    let (times, ended) = (ledger.count(UNCLEAN_RESTART), ledger.count(OUT_OF_MEMORY));
    let mut seen = vec![
        observation(
            BoardAspect::Restart,
            raised(times > 0, Severity::Warning),
            BoxFault::UncleanRestart { times },
            Holds::NONE,
        ),
        observation(
            BoardAspect::Memory,
            raised(ended > 0, Severity::Warning),
            BoxFault::OutOfMemory { ended },
            Holds::NONE,
        ),
    ];
    let Some(disk) = system_disk(snapshot) else { return seen };
    let device = || disk.device.clone();
    // A system that was moved to another disk has left what was wrong with the one before.
    let is_card = disk.kind == SystemDiskKind::SdCard;
    let bytes = if is_card { ledger.count(&written(disk)) } else { 0 };
    let zone = raised(bytes > CARD_BYTES, Severity::Warning);
    let what = BoxFault::CardWears { device: device(), written: Bytes(bytes), bearable: Bytes(CARD_BYTES) };
    seen.push(observation(BoardAspect::Card, zone, what, Holds::new(CARD_HOLD, Duration::ZERO)));
    let count = if disk.kind == SystemDiskKind::Disk { 0 } else { ledger.count(&failures(disk)) };
    let zone = raised(count > 0, Severity::Critical);
    seen.push(observation(BoardAspect::Disk, zone, BoxFault::DiskErrors { device: device(), count }, Holds::NONE));
    seen
}
