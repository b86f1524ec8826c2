//! md arrays as pools, from sysfs (Documentation/admin-guide/md.rst).

use crate::clock::Moment;
use crate::reading::{
    Activity, Member, MemberErrorKind, MemberErrors, MemberRole, Missing, Pool, PoolKind, Reading, Source,
};
use crate::sense::beneath;
use crate::sense::host::Host;
use crate::sense::parse::{md, plain};
use crate::units::Bytes;
use std::path::{Path, PathBuf};

/// All md arrays, in the order of their names.
pub fn pools(host: &Host, now: Moment) -> Result<Vec<Pool>, Missing> {
    let folder = host.path("/sys/block");
    Ok(arrays(host)?.filter_map(|name| pool(host, &folder.join(&name), name, now)).collect())
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

fn pool(host: &Host, block: &Path, name: String, now: Moment) -> Option<Pool> {
    let folder = block.join("md");
    // Partitions and arrays that are being taken apart have no folder.
    let files = host.list(&folder).ok()?;
    let text = |file: &str| host.attribute(&folder.join(file)).ok().map(|text| text.trim().to_owned());
    let running = host.ask(&folder.join("array_state"), md::array::running);
    let members = files.iter().filter_map(|file| member(host, &folder.join(file), file.strip_prefix("dev-")?));
    let size = host.ask(&block.join("size"), plain::whole).map(Bytes::from_sectors);
    let level = text("level").and_then(|level| plain::device_text(&level)).unwrap_or_default();
    let number = |file: &str| host.ask(&folder.join(file), md::array::member_count).unwrap_or(0);
    let wanted = number("raid_disks");
    let action = text("sync_action");
    Some(Pool {
        key: text("uuid").and_then(|uuid| plain::device_text(&uuid)).unwrap_or_else(|| name.clone()),
        kind: PoolKind::Md,
        groups: md::layout::groups(&level, wanted, number("layout")),
        level,
        running: Reading::new(running, now, Source::Sysfs),
        wanted,
        missing: host.ask(&folder.join("degraded"), md::array::member_count).ok(),
        members: members.collect(),
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
    })
}

/// Progress and speed are files of their own, and only worth opening while something runs.
fn activity(action: Option<&str>, text: &impl Fn(&str) -> Option<String>) -> Activity {
    match action {
        None | Some("idle") => Activity::IDLE,
        busy => md::array::activity(busy, text("sync_completed").as_deref(), text("sync_speed").as_deref()),
    }
}

fn member(host: &Host, folder: &Path, device: &str) -> Option<Member> {
    // A member that is being removed loses its files one after another.
    let slot = md::array::slot(host.attribute(&folder.join("slot")).ok()?.trim());
    let state = md::array::member_state(host.attribute(&folder.join("state")).ok()?.trim(), slot);
    let link = folder.join("block");
    Some(Member {
        device: device.to_owned(),
        drive_device: beneath::drive_of(host, &link).unwrap_or_else(|| device.to_owned()),
        slot,
        state,
        // md keeps a member `in_sync` until the next access fails; the link to its block device tells at once.
        role: MemberRole::Data,
        doubted: false,
        device_gone: !host.exists(&link.join("size")),
        // Read errors that md has mended by writing the place again; the count lies in the member's superblock.
        errors: match host.ask(&folder.join("errors"), plain::whole) {
            Ok(count) => vec![MemberErrors { kind: MemberErrorKind::Read, count }],
            Err(_) => Vec::new(),
        },
    })
}
