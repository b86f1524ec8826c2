//! The members of an md array, from sysfs. One that cannot be read as a whole is taken neither for working nor for lost.

use crate::reading::{Member, MemberErrorKind, MemberErrors, MemberRole, MemberState, Missing, Reason, WhyMissing};
use crate::sense::beneath;
use crate::sense::host::Host;
use crate::sense::parse::{md, plain};
use std::path::Path;

/// The members of an array.
pub struct Members {
    /// Those that the kernel lists.
    pub members: Vec<Member>,
    /// The first reason why one of them is not known as a whole.
    pub unread: Option<Missing>,
    /// True when the place of one could not be read, and is one of those that are left.
    pub is_guessed: bool,
}

/// A member, and why it is not known as a whole, if it is not.
struct FoundMember {
    member: Member,
    unread: Option<Missing>,
    is_replacement: bool,
}

/// The members among the files of an array that has so many when it is whole, if that is known.
pub fn members(host: &Host, folder: &Path, files: &[String], wanted: Option<u32>) -> Members {
    let of_file = |file: &String| member(host, &folder.join(file), file.strip_prefix("dev-")?);
    let mut found: Vec<FoundMember> = files.iter().filter_map(of_file).collect();
    let odd: Vec<Option<Missing>> = found.iter().map(|one| odd_slot(one, &found, wanted)).collect();
    for (one, odd) in found.iter_mut().zip(odd) {
        let Some(why) = odd else { continue };
        one.member.slot = None;
        one.unread.get_or_insert(why);
        if one.member.state != MemberState::Faulty {
            one.member.state = MemberState::Unknown;
        }
    }
    let unread = found.iter().find_map(|one| one.unread.clone());
    let mut members: Vec<Member> = found.into_iter().map(|one| one.member).collect();
    let is_guessed = place_unread(&mut members, wanted.unwrap_or(0));
    Members { members, unread, is_guessed }
}

/// Why a slot cannot be true, if it cannot: the array has no such place, or another member is in it as well. Two are in one
/// slot while one replaces the other; and one that is thrown out leaves its slot to the next.
fn odd_slot(one: &FoundMember, all: &[FoundMember], wanted: Option<u32>) -> Option<Missing> {
    let slot = one.member.slot?;
    let holds = |other: &&FoundMember| {
        other.member.slot == Some(slot)
            && other.is_replacement == one.is_replacement
            && other.member.state != MemberState::Faulty
    };
    let found = if let Some(wanted) = wanted.filter(|wanted| slot >= *wanted) {
        format!("expected a place below {wanted}, found {slot}")
    } else if holds(&one) && all.iter().filter(holds).count() > 1 {
        format!("expected a place of its own, found {slot} more than once")
    } else {
        return None;
    };
    Some(Missing::found(Reason::Unreadable, format!("dev-{}/slot: {found}", one.member.device)))
}

/// Members that cannot be read take the places that are left: which of them are lost is for the kernel's own count. True
/// when there are such.
fn place_unread(members: &mut [Member], wanted: u32) -> bool {
    let taken: Vec<u32> = members.iter().filter_map(|member| member.slot).collect();
    let mut left = (0..wanted).filter(|slot| !taken.contains(slot));
    let mut is_guessed = false;
    for member in members.iter_mut().filter(|one| one.state == MemberState::Unknown && one.slot.is_none()) {
        (member.slot, is_guessed) = (left.next(), true);
    }
    is_guessed
}

fn member(host: &Host, folder: &Path, device: &str) -> Option<FoundMember> {
    let slot = host.ask(&folder.join("slot"), md::array::slot);
    let words = |text: &str| {
        let state = md::array::member_state(text, slot.clone().ok().flatten())?;
        Ok((state, md::array::is_replacement(text)))
    };
    let state = host.ask(&folder.join("state"), words);
    let link = folder.join("block");
    let unlinked = host.link_text(&link).is_none().then(|| {
        let found = format!("dev-{device}/block: expected a link to its block device, found none");
        Missing::found(Reason::Unreadable, found)
    });
    // md unlinks a member that is being removed, and its files answer no more before they are gone as well.
    let (of_slot, of_state) = (slot.as_ref().err(), state.as_ref().err());
    if of_slot.is_some_and(is_no_more) && of_state.is_some_and(is_no_more) && unlinked.is_some() {
        return None;
    }
    let is_linked = unlinked.is_none();
    let unread = of_state.or(of_slot).cloned().or(unlinked);
    let by_name = || beneath::drive_of(host, &host.path("/sys/class/block").join(device));
    let (state, is_replacement) = state.unwrap_or((MemberState::Unknown, false));
    let member = Member {
        device: device.to_owned(),
        drive_device: beneath::drive_of(host, &link).or_else(by_name).unwrap_or_else(|| device.to_owned()),
        slot: slot.ok().flatten(),
        state: if unread.is_none() || state == MemberState::Faulty { state } else { MemberState::Unknown },
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
    Some(FoundMember { member, unread, is_replacement })
}

/// True when nothing is there to be read, rather than that reading it failed.
fn is_no_more(why: &Missing) -> bool {
    matches!(why.why, Some(WhyMissing::NoFile | WhyMissing::Disconnected))
}
