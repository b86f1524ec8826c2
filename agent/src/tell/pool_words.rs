//! The words for pools and volumes beyond whether they are whole and how much room there is. Pure; the rest of the words,
//! and the rules they keep, are in [`super::wording`].

use super::wording::{TITLE_COLUMNS, Words, doing, listed, named, pointed_at, sentence, short};
use crate::reading::{ActivityKind, MemberErrorKind, Writing};
use crate::units::{Bytes, Percent, span};
use crate::verdict::{Down, Estimate, Place, ReadRisk, SpaceLimit};
use std::time::Duration;

/// Columns that a pool's or volume's name may take in a title.
const NAME: usize = 9;

fn words(
    title: String,
    sentence: String,
    brief: &'static str,
    advice: impl Into<String>,
    warning: &str,
    evidence: String,
) -> Words {
    let (name, warning) = (title.clone(), warning.to_owned());
    Words { title, name, sentence, brief, leave_in: None, advice: advice.into(), warning, evidence: vec![evidence] }
}

pub(super) fn down(pool: &str, why: Down, present: u32, of: u32, lost: &[Place]) -> Words {
    let found = if of > 0 { format!("{present} of {of} members found") } else { format!("{present} members found") };
    let missing = listed(lost).map(|lost| format!("not there: {lost}"));
    let what = match why {
        Down::Inactive => "was not started",
        Down::TooManyLost => "has lost more members than it survives",
        Down::Absent => "was there before and is not any more",
        Down::Suspended => "waits for members that it cannot do without, and so does whoever uses it",
    };
    let is_left_out = why == Down::Absent && of > 0 && present >= of;
    let advice = match is_left_out {
        true => "All its drives are there: start it as usual. If it was taken apart on purpose, reload this program.",
        false => "Power off, wait for the drives to stop, reseat the trays that are missing, start again.",
    };
    let second = missing.as_ref().map_or_else(|| found.clone(), |missing| format!("{found}; {missing}"));
    let mut words = words(
        format!("{pool} DOWN"),
        sentence(&[pool, what], Some(&second)),
        "PULL NOTHING",
        advice,
        "Do not create a pool, do not format, do not force anything together.",
        found,
    );
    words.evidence.extend(missing);
    words
}

pub(super) fn busy(
    pool: &str,
    activity: ActivityKind,
    done: Option<Percent>,
    left: Option<Estimate>,
    risk: Option<ReadRisk>,
) -> Words {
    let doing = doing(activity);
    let how_far = done.map(|done| format!(" {done}")).unwrap_or_default();
    let left = left.map(|left| format!("about {left} left"));
    let warning = match activity {
        ActivityKind::Check => "Do not stop it without need.",
        _ => "Leave all drives in until it is done.",
    };
    let mut words = words(
        format!("{pool} {doing}"),
        sentence(&[pool, &format!("runs a {doing}{how_far}")], left.as_deref()),
        "nothing to do",
        "Nothing to do; it is slower while this runs.",
        warning,
        format!("activity {doing}{how_far}"),
    );
    words.title = format!("{pool} {doing}{how_far}");
    words.evidence.extend(risk.map(|risk| chance(&risk)));
    words
}

/// The chance with its arithmetic and with what it takes for granted.
fn chance(risk: &ReadRisk) -> String {
    let percent = risk.chance * 100.0;
    let shown = if percent < 0.1 { "under 0.1".to_owned() } else { format!("{percent:.1}") };
    let guess = if risk.is_guess { ", class guessed from the kind of drive" } else { "" };
    format!(
        "chance of an unreadable sector on the way {shown} %: {} to read at 1 error in 10^{:.0} bits{guess}; errors \
         cluster, so most rebuilds meet none",
        risk.bytes,
        risk.bits_per_error.log10()
    )
}

pub(super) fn space(
    mount: &str,
    (free, size, share): (Bytes, Bytes, Percent),
    limit: Option<&SpaceLimit>,
    full_in: Option<Estimate>,
) -> Words {
    let soon = full_in.map(|full_in| format!("full in {full_in} as it goes"));
    let mut words = words(
        format!("{} LOW ON ROOM", short(mount, TITLE_COLUMNS - 12)),
        sentence(&[mount, &format!("has {free} of {size} free ({share})")], soon.as_deref()),
        "make room",
        "Move or delete what is not needed; deleted files may still be held by snapshots.",
        "Do not let it run full: programs then lose what they write.",
        format!("free {free} ({share})"),
    );
    words.title = match (limit, full_in) {
        (None, Some(full_in)) => format!("{} FULL IN {}", short(mount, TITLE_COLUMNS - 13), span(full_in.middle)),
        _ => format!("{} {share} FREE", short(mount, TITLE_COLUMNS - 10)),
    };
    words.evidence.extend(limit.map(|limit| format!("limit {}", space_limit(limit))));
    words.evidence.extend(full_in.map(|full_in| format!("full in {full_in} by the trend of its days; limit 7 days")));
    words
}

fn space_limit(limit: &SpaceLimit) -> String {
    match limit.amount {
        Some(amount) => format!("{} and {amount}", limit.share),
        None => limit.share.to_string(),
    }
}

pub(super) fn back_not_used(drive: &Place, pool: &str) -> Words {
    words(
        format!("{} NOT USED", named(drive)),
        sentence(&[&pointed_at(drive), &format!("is there again, but {pool} goes on without it")], None),
        "see the log",
        format!("Find out why it left (cable, power, drive), then add it to {pool} again with the pool's own tool."),
        "Do not add a drive of which you do not know why it left: it may leave in the middle of the rebuild.",
        format!("present, and not a member of {pool}"),
    )
}

pub(super) fn stalled(pool: &str, activity: ActivityKind, done: Option<Percent>, stood: Duration) -> Words {
    let doing = doing(activity);
    let at = done.map(|done| format!(" at {done}")).unwrap_or_default();
    words(
        format!("{} {doing} STANDS", short(pool, 5)),
        sentence(&[pool, &format!("has a {doing}{at} that has not got on for {}", span(stood))], None),
        "look at its drives",
        "Look which drive of it is slow or does not answer, and whether somebody has lowered the speed limits.",
        "Do not restart the box to hurry it, and leave all its drives in.",
        format!("less than 1 MB/s for {}", span(stood)),
    )
}

pub(super) fn mismatches(pool: &str, level: &str, bytes: Bytes) -> Words {
    words(
        format!("{} DISAGREES", short(pool, NAME)),
        sentence(&[pool, &format!("({level}) has {bytes} that do not agree with their redundancy")], None),
        "check power, memory",
        "Look for transfer errors, power losses and memory errors since the last clean check; compare files with a copy.",
        "Do not start a repair first: it may write bad data over good.",
        format!("mismatch count {bytes} at the end of the last check"),
    )
}

pub(super) fn overdue(pool: &str, since: Duration, never: bool) -> Words {
    let last = if never { "no check was ever seen, in" } else { "the last check ended before" };
    let why = "without it a rebuild would be the first to find bad places";
    words(
        format!("{} CHECK DUE", short(pool, NAME)),
        sentence(&[pool, &format!("was not compared for {}", span(since))], Some(why)),
        "start a check",
        "Start a check (or scrub) with the pool's own tool in a cool and quiet hour; a schedule for it is better still.",
        "Do not start one while the pool is degraded or drives are hot.",
        format!("{last} {} of watching; limit 45 d", span(since)),
    )
}

pub(super) fn member_errors(pool: &str, drive: &Place, kind: MemberErrorKind, grown: i64, within: Duration) -> Words {
    let what = match kind {
        MemberErrorKind::Read => "read errors",
        MemberErrorKind::Write => "write errors",
        MemberErrorKind::Flush => "flush errors",
        MemberErrorKind::Checksum => "checksum errors",
        MemberErrorKind::Generation => "places that are out of date",
    };
    words(
        format!("{} POOL ERRORS", named(drive)),
        sentence(
            &[&pointed_at(drive), &format!("gave {pool} {grown} more {what} within {}", span(within))],
            Some("as long as the pool is whole it mends them"),
        ),
        "see its counters",
        "See whether its own counters of bad places or of damaged transfers grow as well: that tells drive from cable.",
        "Do not clear the counts before they are written down.",
        format!("{grown} more {what} counted by {pool} within {}", span(within)),
    )
}

pub(super) fn data_lost(pool: &str, pieces: u64) -> Words {
    words(
        format!("{} LOST DATA", short(pool, NAME)),
        sentence(&[pool, &format!("has {pieces} pieces of data that it cannot mend")], None),
        "restore from backup",
        "Ask the pool's own tool which files are damaged, and restore them from a copy.",
        "Do not clear the counts before they are written down, nor delete the copy.",
        format!("{pieces} permanent errors by the pool's count"),
    )
}

pub(super) fn readonly(mount: &str, writing: Writing) -> Words {
    let (how, found) = match writing {
        Writing::Allowed | Writing::ReadOnly => ("is read-only and should not be", "ro"),
        Writing::StoppedByError => ("stopped writing after an error", "emergency_ro, or its count of errors grew"),
        Writing::ShutDown => ("was shut down after an error", "shutdown"),
    };
    words(
        format!("{} READ-ONLY", short(mount, NAME)),
        sentence(&[mount, how], Some("nothing new is saved")),
        "stop what writes",
        "Stop the programs that write there, look at its pool and drives first, and check the file system after that.",
        "Do not mount it for writing again before its pool is whole and it was checked.",
        format!("found {found}"),
    )
}

pub(super) fn absent(mount: &str, source: &str) -> Words {
    words(
        format!("{} NOT MOUNTED", short(mount, NAME)),
        sentence(&[mount, &format!("should be mounted from {source} and is not")], None),
        "look at its pool",
        "Look whether its pool or drive is there; if it is, mount it and read what the system says.",
        "Do not let programs write into the empty folder, and do not format anything.",
        format!("named in /etc/fstab, not in the mount table: {source}"),
    )
}

pub(super) fn errors(mount: &str, count: u64) -> Words {
    words(
        format!("{} FS ERRORS", short(mount, NAME)),
        sentence(&[mount, &format!("has written down errors in itself: {count}")], None),
        "check it, unmounted",
        "Back up what matters, then check it with its own tool while it is not mounted and its pool is whole.",
        "Do not check or repair it while it is mounted or its pool is degraded.",
        format!("errors_count {count}; a finished check sets it to 0"),
    )
}

pub(super) fn files(mount: &str, free: u64, used: Percent) -> Words {
    words(
        format!("{} FILES FULL", short(mount, NAME)),
        sentence(&[mount, &format!("can hold only {free} more files")], Some("however much room is left")),
        "delete small files",
        "Find the folder with very many small files, and delete or pack what is not needed.",
        "Do not go by the free bytes: without a free inode no file can be made.",
        format!("inodes used {used}, {free} free"),
    )
}

pub(super) fn metadata(pool: &str, unallocated: Bytes, used: Percent) -> Words {
    words(
        format!("{} METADATA LOW", short(pool, NAME - 1)),
        sentence(&[pool, &format!("runs out of metadata room: {used} used, {unallocated} unallocated")], None),
        "filtered balance",
        "Run a filtered balance of nearly empty data chunks before it is full; delete snapshots that nobody needs.",
        "Do not wait until it is full: it can turn read-only although data room is left.",
        format!("metadata used {used}, unallocated {unallocated}"),
    )
}
