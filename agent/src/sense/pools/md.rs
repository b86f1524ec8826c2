//! md arrays as pools, from sysfs (Documentation/admin-guide/md.rst). A figure of the kernel that decides over members is
//! never guessed: where it cannot be read, the pool is known in part only, with the reason.

use super::md_members;
use crate::clock::Moment;
use crate::reading::{
    Activity, ActivityKind, Blind, Group, Listing, Missing, Pool, PoolKind, PoolRunning, Reading, Reason, Source,
    WhyMissing,
};
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
            Err(why) => Some(why.required()),
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

/// The first reason why an array is not known as a whole.
#[derive(Default)]
struct Unread(Option<Missing>);

impl Unread {
    /// What was found; else its reason is kept.
    fn keep<T>(&mut self, found: Result<T, Missing>) -> Option<T> {
        found.map_err(|why| self.0.get_or_insert(why).clone()).ok()
    }

    /// The same of a file that only arrays with redundancy have, while they run.
    fn keep_of_redundancy<T>(&mut self, found: Result<T, Missing>, is_redundant: bool) -> Option<T> {
        match found {
            Err(why) if why.why == Some(WhyMissing::NoFile) && !is_redundant => None,
            found => self.keep(found),
        }
    }
}

/// An array, and why its members or its layout are not known as a whole, if they are not.
fn pool(host: &Host, block: &Path, files: &[String], name: String, now: Moment) -> (Pool, Option<Missing>) {
    let folder = block.join("md");
    let text = |file: &str| host.attribute(&folder.join(file)).ok().map(|text| text.trim().to_owned());
    let mut unread = Unread::default();
    let running = host.ask(&folder.join("array_state"), md::array::running);
    let is_running = running == Ok(PoolRunning::Running);
    let size = host.ask(&block.join("size"), plain::whole).map(Bytes::from_sectors);
    let level = host.ask(&folder.join("level"), |text| Ok(plain::device_text(text).unwrap_or_default()));
    let level = unread.keep(level);
    let wanted = unread.keep(host.ask(&folder.join("raid_disks"), md::array::member_count));
    // An array that is not running shows neither its level nor how many members it wants.
    if is_running && (level.as_deref() == Some("") || wanted == Some(0)) {
        let found = "md/level, md/raid_disks: expected a level and a number of members, found nothing";
        let _: Option<()> = unread.keep(Err(Missing::found(Reason::Unreadable, found)));
    }
    let level = level.unwrap_or_default();
    let groups = unread.keep(groups(host, &folder, &level, wanted.unwrap_or(0))).unwrap_or_default();
    let found = md_members::members(host, &folder, files, wanted.filter(|count| *count > 0));
    found.unread.map(|why| unread.keep::<()>(Err(why)));
    let is_redundant = is_running && md::layout::is_redundant(&level);
    let most = wanted.unwrap_or(md::array::MOST_MEMBERS);
    let missing = host.ask(&folder.join("degraded"), |text| md::array::missing(text, most));
    let missing = unread.keep_of_redundancy(missing, is_redundant);
    let action = host.ask(&folder.join("sync_action"), md::array::action);
    let action = unread.keep_of_redundancy(action, is_redundant);
    let pool = Pool {
        key: text("uuid").and_then(|uuid| plain::device_text(&uuid)).unwrap_or_else(|| name.clone()),
        kind: PoolKind::Md,
        // With which others a member shares its data is not known where its place is guessed.
        groups: if found.is_guessed && groups.len() > 1 { Vec::new() } else { groups },
        level,
        running: Reading::new(running, now, Source::Sysfs),
        wanted: wanted.unwrap_or(0),
        missing,
        members: found.members,
        activity: activity(action, &text),
        mismatches: md::array::mismatches(
            action,
            text("last_sync_action").as_deref(),
            host.ask(&folder.join("mismatch_cnt"), plain::whole).ok(),
        ),
        last_check: None,
        lost_data: None,
        after_crash: text("consistency_policy").and_then(|policy| md::array::after_crash(&policy)),
        metadata: None,
        size: Reading::new(size, now, Source::Sysfs),
        is_partial: unread.0.is_some(),
        name,
    };
    (pool, unread.0.map(Missing::required))
}

/// What may be lost of an array; nothing is known of one that does not run.
fn groups(host: &Host, folder: &Path, level: &str, wanted: u32) -> Result<Vec<Group>, Missing> {
    let layout = match level {
        "raid10" if wanted > 0 => host.ask(&folder.join("layout"), |text| md::layout::raid10(text, wanted))?,
        _ => 0,
    };
    Ok(md::layout::groups(level, wanted, layout))
}

/// Progress and speed are files of their own, and only worth opening while something runs.
fn activity(action: Option<ActivityKind>, text: &impl Fn(&str) -> Option<String>) -> Activity {
    match action {
        None | Some(ActivityKind::Idle) => Activity::IDLE,
        Some(busy) => md::array::activity(busy, text("sync_completed").as_deref(), text("sync_speed").as_deref()),
    }
}
