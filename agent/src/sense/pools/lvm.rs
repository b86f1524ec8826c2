//! LVM RAID volumes as pools: what sysfs says of them, and what the device mapper answered.

use super::{at_work, unknown};
use crate::clock::Moment;
use crate::reading::{
    Activity, ActivityKind, Group, Member, MemberRole, MemberState, Missing, Pool, PoolKind, PoolRunning, Reading,
    Reason, Source,
};
use crate::sense::parse::dm;
use crate::sense::parse::dm::members::{LogicalVolume, RaidReport};
use crate::sense::parse::dm::raid::{Action, RaidMemberHealth};
use crate::sense::parse::md;

/// The pool that a RAID volume is. Sysfs says only what it is on; how it stands is known once the device mapper has
/// `told`, and until then there is the reason why it has not.
pub fn pool(of: &LogicalVolume, told: Result<&RaidReport, Missing>, now: Moment) -> Pool {
    let running = told.as_ref().map(|_| PoolRunning::Running).map_err(Clone::clone);
    let known = unknown(PoolKind::Lvm, of.uuid.clone(), of.name.clone(), running, now);
    let told = told.ok();
    let members = dm::members::members(of, told).into_iter().map(member).collect();
    let size = of.size.ok_or_else(|| Missing::found(Reason::Unreadable, format!("found no size of {}", of.device)));
    let size = Reading::new(size, now, Source::Sysfs);
    let Some(told) = told else { return Pool { members, size, ..known } };
    let status = &told.status;
    let activity = activity(status.action, status.done);
    let lacking = status.health.iter().filter(|&&health| health != RaidMemberHealth::Active).count();
    Pool {
        level: dm::raid::level(&status.layout).to_owned(),
        wanted: status.health.len() as u32,
        missing: Some(lacking as u32),
        members,
        groups: groups(told),
        activity,
        size,
        // The kernel shows this count after a check and 0 after anything else; while one runs it is not yet whole.
        mismatches: status.mismatches.filter(|_| activity.kind == ActivityKind::Idle),
        ..known
    }
}

/// LVM lays copies out beside each other; where another layout was made by hand, any two places may hold the same.
fn groups(told: &RaidReport) -> Vec<Group> {
    let (layout, places) = (told.status.layout.as_str(), told.status.health.len() as u32);
    match layout {
        "raid10" | "raid10_near" => md::layout::groups("raid10", places, told.table.copies & 0xFF | 1 << 8),
        _ => told.tolerates().map(|tolerates| Group { slots: (0..places).collect(), tolerates }).into_iter().collect(),
    }
}

fn member(member: dm::members::RaidMember) -> Member {
    let empty = format!("place {}", member.place);
    let device = member.image.as_ref().map_or_else(|| empty.clone(), |image| image.name.clone());
    let drive = member.image.as_ref().and_then(|image| image.drives.first().cloned());
    Member {
        drive_device: drive.unwrap_or_else(|| device.clone()),
        device,
        slot: u32::try_from(member.place).ok(),
        state: match member.health {
            Some(RaidMemberHealth::Active) => MemberState::Active,
            Some(RaidMemberHealth::Rebuilding) => MemberState::Rebuilding,
            Some(RaidMemberHealth::Faulty | RaidMemberHealth::Gone) => MemberState::Faulty,
            None => MemberState::Unknown,
        },
        role: MemberRole::Data,
        doubted: false,
        device_gone: member.image.is_none_or(|image| image.gone),
        errors: Vec::new(),
    }
}

fn activity(action: Option<Action>, done: Option<f64>) -> Activity {
    let kind = match action {
        None | Some(Action::Idle) => ActivityKind::Idle,
        Some(Action::Frozen) => ActivityKind::Frozen,
        Some(Action::Resync) => ActivityKind::Resync,
        Some(Action::Recover) => ActivityKind::Rebuild,
        Some(Action::Check) => ActivityKind::Check,
        Some(Action::Repair) => ActivityKind::Repair,
        Some(Action::Reshape) => ActivityKind::Reshape,
    };
    at_work(kind, done)
}
