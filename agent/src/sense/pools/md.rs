//! md arrays as pools, from sysfs (Documentation/admin-guide/md.rst).

use crate::clock::Moment;
use crate::reading::{
    Activity, Blind, Listing, Member, MemberErrorKind, MemberErrors, MemberRole, MemberState, Missing, Pool, PoolKind,
    PoolRunning, Reading, Reason, Source,
};
use crate::sense::beneath;
use crate::sense::host::Host;
use crate::sense::parse::{md, plain};
use crate::units::Bytes;
use std::path::{Path, PathBuf};

/// All md arrays, in the order of their names, and those whose members or layout cannot be read as a whole.
pub fn pools(host: &Host, now: Moment) -> Result<(Vec<Pool>, Vec<Blind>), Missing> {
    let folder = host.path("/sys/block");
    let (mut pools, mut blind) = (Vec::new(), Vec::new());
    for name in arrays(host)? {
        let unread = match host.list(&folder.join(&name).join("md")) {
            Ok(files) => {
                let (pool, unread) = pool(host, &folder.join(&name), &files, name.clone(), now);
                pools.push(pool);
                unread
            }
            // One that is being taken apart loses its folder before its block device, which follows within one look.
            Err(why) => Some(why.of_what_must_be_there()),
        };
        blind.extend(unread.map(|why| Blind { what: Listing::Members { pool: name.clone() }, why }));
    }
    Ok((pools, blind))
}

/// The files on which a poll ends when an array changes: not every change shows on each, so all are of use. They tell
/// nothing of progress.
pub fn files_that_tell(host: &Host) -> Vec<PathBuf> {
    let folder = host.path("/sys/block");
    let of_array = |name: String| {
        let folder = folder.join(name).join("md");
        let members = host.list(&folder).unwrap_or_default().into_iter().filter(|file| file.starts_with("dev-"));
        let states = members.map(|member| format!("{member}/state"));
        let files: Vec<PathBuf> =
            states.chain(["degraded".into(), "sync_action".into()]).map(|file| folder.join(file)).collect();
        files.into_iter().filter(|file| host.exists(file))
    };
    let table = host.path("/proc/mdstat");
    let files = arrays(host).into_iter().flatten().flat_map(of_array);
    files.chain(host.exists(&table).then_some(table)).collect()
}

fn arrays(host: &Host) -> Result<impl Iterator<Item = String> + use<>, Missing> {
    Ok(host.list(&host.path("/sys/block"))?.into_iter().filter(|name| name.starts_with("md")))
}

/// An array, and why its members or its layout are not known as a whole, if they are not.
fn pool(host: &Host, block: &Path, files: &[String], name: String, now: Moment) -> (Pool, Option<Missing>) {
    let folder = block.join("md");
    let text = |file: &str| host.attribute(&folder.join(file)).ok().map(|text| text.trim().to_owned());
    let number = |file: &str| host.ask(&folder.join(file), md::array::member_count);
    let running = host.ask(&folder.join("array_state"), md::array::running);
    let size = host.ask(&block.join("size"), plain::whole).map(Bytes::from_sectors);
    let level = host.ask(&folder.join("level"), |text| Ok(plain::device_text(text).unwrap_or_default()));
    let wanted = number("raid_disks");
    let action = text("sync_action");
    let of_files = files.iter().filter_map(|file| member(host, &folder.join(file), file.strip_prefix("dev-")?));
    let (mut members, unread_members): (Vec<Member>, Vec<Option<Missing>>) = of_files.unzip();
    place_unread(&mut members, wanted.as_ref().copied().unwrap_or(0));
    let groups = match (&level, &wanted) {
        (Ok(level), Ok(wanted)) => md::layout::groups(level, *wanted, number("layout").unwrap_or(0)),
        _ => Vec::new(),
    };
    // An array that is not running shows neither its level nor how many members it wants.
    let is_shown = level.as_ref().is_ok_and(|level| !level.is_empty()) && wanted.as_ref().is_ok_and(|count| *count > 0);
    let no_layout = (running == Ok(PoolRunning::Running) && !is_shown).then(|| {
        let found = "md/level, md/raid_disks: expected a level and a number of members, found nothing";
        Missing::found(Reason::Unreadable, found)
    });
    let (no_level, no_count) = (level.as_ref().err().cloned(), wanted.as_ref().err().cloned());
    let unread = no_level.or(no_count).or(no_layout).or(unread_members.into_iter().flatten().next());
    let pool = Pool {
        key: text("uuid").and_then(|uuid| plain::device_text(&uuid)).unwrap_or_else(|| name.clone()),
        kind: PoolKind::Md,
        groups,
        level: level.unwrap_or_default(),
        running: Reading::new(running, now, Source::Sysfs),
        wanted: wanted.unwrap_or(0),
        missing: number("degraded").ok(),
        members,
        activity: activity(action.as_deref(), &text),
        mismatches: md::array::mismatches(
            action.as_deref(),
            text("last_sync_action").as_deref(),
            host.ask(&folder.join("mismatch_cnt"), plain::whole).ok(),
        ),
        last_check: None,
        lost_data: None,
        after_crash: text("consistency_policy").and_then(|policy| md::array::after_crash(&policy)),
        metadata: None,
        size: Reading::new(size, now, Source::Sysfs),
        name,
    };
    (pool, unread.map(Missing::of_what_must_be_there))
}

/// Members that cannot be read take the places that are left: which of them are lost is for the kernel's own count.
fn place_unread(members: &mut [Member], wanted: u32) {
    let taken: Vec<u32> = members.iter().filter_map(|member| member.slot).collect();
    let left = (0..wanted).filter(|slot| !taken.contains(slot));
    let unread = members.iter_mut().filter(|member| member.state == MemberState::Unknown && member.slot.is_none());
    unread.zip(left).for_each(|(member, slot)| member.slot = Some(slot));
}

/// Progress and speed are files of their own, and only worth opening while something runs.
fn activity(action: Option<&str>, text: &impl Fn(&str) -> Option<String>) -> Activity {
    match action {
        None | Some("idle") => Activity::IDLE,
        busy => md::array::activity(busy, text("sync_completed").as_deref(), text("sync_speed").as_deref()),
    }
}

/// A member, and why it is not known as a whole, if it is not: it is then taken neither for working nor for lost.
fn member(host: &Host, folder: &Path, device: &str) -> Option<(Member, Option<Missing>)> {
    let slot = host.ask(&folder.join("slot"), md::array::slot);
    let state = host.ask(&folder.join("state"), |text| md::array::member_state(text, slot.clone().ok().flatten()));
    let link = folder.join("block");
    let unlinked = host.link_text(&link).is_none().then(|| {
        let found = format!("dev-{device}/block: expected a link to its block device, found none");
        Missing::found(Reason::Unreadable, found)
    });
    // md unlinks a member that is being removed, and its files answer no more before they are gone as well.
    if slot.is_err() && state.is_err() && unlinked.is_some() {
        return None;
    }
    let is_linked = unlinked.is_none();
    let unread = state.as_ref().err().or(slot.as_ref().err()).cloned().or(unlinked);
    let member = Member {
        device: device.to_owned(),
        drive_device: beneath::drive_of(host, &link).unwrap_or_else(|| device.to_owned()),
        slot: slot.ok().flatten(),
        state: match state {
            Ok(state) if unread.is_none() || state == MemberState::Faulty => state,
            _ => MemberState::Unknown,
        },
        role: MemberRole::Data,
        doubted: false,
        // md keeps a member `in_sync` until the next access fails; the link to its block device tells at once.
        device_gone: is_linked && beneath::is_gone(host, &link),
        // Read errors that md has mended by writing the place again; the count lies in the member's superblock.
        errors: match host.ask(&folder.join("errors"), plain::whole) {
            Ok(count) => vec![MemberErrors { kind: MemberErrorKind::Read, count }],
            Err(_) => Vec::new(),
        },
    };
    Some((member, unread))
}
