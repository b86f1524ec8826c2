//! The words for pools and volumes. Pure; the rest of the words, and the rules they keep, are in [`super::wording`].

use super::tongue::{Places, Tongue};
use super::wording::{Words, listed, named, pointed_at};
use crate::reading::{ActivityKind, MemberRole};
use crate::units::{Bytes, Percent, span};
use crate::verdict::{Down, Estimate, MemberFault, Place, ReadRisk, SpaceLimit};
use std::time::Duration;

/// A pool that misses members.
pub(super) struct Degraded<'a> {
    pub pool: &'a str,
    pub level: &'a str,
    pub missing: u32,
    pub of: u32,
    pub spare: u32,
    pub lost: &'a [Place],
    pub offline: &'a [Place],
    pub rebuilding: bool,
}

impl Degraded<'_> {
    pub fn words(&self, tongue: Tongue) -> Words {
        let which = listed(self.lost, tongue).map(|lost| tongue.say("pool-degraded.which", &[("lost", &lost)]));
        let survives = match self.spare {
            0 => tongue.plain("pool-degraded.nothing-more").to_owned(),
            spare => tongue.say("pool-degraded.some-more", &[("spare", &spare)]),
        };
        let filling = if self.rebuilding { tongue.plain("pool-degraded.filling") } else { "" };
        let places: Places = &[
            ("pool", &self.pool),
            ("level", &self.level),
            ("missing", &self.missing),
            ("of", &self.of),
            ("spare", &self.spare),
            ("which", &which.unwrap_or_default()),
            ("survives", &survives),
            ("filling", &filling),
        ];
        // The owner's own doing first, if it is all of it.
        let is_own_doing = self.offline.len() as u32 == self.missing;
        let mut words = tongue.words(if is_own_doing { "pool-degraded.offline" } else { "pool-degraded" }, places);
        if self.spare == 0 {
            words.title = tongue.say("pool-degraded.bare.title", places);
        }
        let offline = listed(self.offline, tongue);
        words.evidence.extend(offline.map(|offline| tongue.say("pool-degraded.on-purpose", &[("offline", &offline)])));
        words
    }
}

pub(super) fn down(pool: &str, why: Down, present: u32, of: u32, lost: &[Place], tongue: Tongue) -> Words {
    let found = if of > 0 { "pool-down.members-of" } else { "pool-down.members" };
    let found = tongue.say(found, &[("present", &present), ("of", &of)]);
    let missing = listed(lost, tongue).map(|lost| tongue.say("pool-down.missing", &[("lost", &lost)]));
    let section = match why {
        Down::Inactive => "pool-down.inactive",
        Down::TooManyLost => "pool-down.too-many-lost",
        Down::Absent if of > 0 && present >= of => "pool-down.absent.complete",
        Down::Absent => "pool-down.absent",
        Down::Suspended => "pool-down.suspended",
    };
    let details = missing.as_ref().map_or_else(|| found.clone(), |missing| format!("{found}; {missing}"));
    let mut words = tongue.words(section, &[("pool", &pool), ("details", &details), ("found", &found)]);
    words.evidence.extend(missing);
    words
}

pub(super) fn busy(
    pool: &str,
    activity: ActivityKind,
    done: Option<Percent>,
    left: Option<Estimate>,
    risk: Option<ReadRisk>,
    tongue: Tongue,
) -> Words {
    let far = done.map(|done| format!(" {done}")).unwrap_or_default();
    let left = left.map(|left| tongue.say("pool-busy.left", &[("estimate", &tongue.estimate(&left))]));
    let section = if activity == ActivityKind::Check { "pool-busy.check" } else { "pool-busy" };
    let doing = tongue.activity(activity);
    let places: Places = &[("pool", &pool), ("doing", &doing), ("far", &far), ("left", &left.unwrap_or_default())];
    let mut words = tongue.words(section, places);
    words.evidence.extend(risk.map(|risk| chance(&risk, tongue)));
    words
}

/// The chance with its arithmetic and with what it takes for granted.
fn chance(risk: &ReadRisk, tongue: Tongue) -> String {
    let percent = risk.chance * 100.0;
    let shown = match percent < 0.1 {
        true => tongue.say("pool-busy.under", &[("percent", &tongue.figure("0.1"))]),
        false => tongue.figure(format!("{percent:.1}")),
    };
    let guess = if risk.is_guess { tongue.plain("pool-busy.guess") } else { "" };
    let exponent = format!("{:.0}", risk.bits_per_error.log10());
    let bytes = tongue.figure(risk.bytes);
    let places: Places = &[("percent", &shown), ("bytes", &bytes), ("exponent", &exponent), ("guess", &guess)];
    tongue.say("pool-busy.chance", places)
}

pub(super) fn space(
    mount: &str,
    (free, size, share): (Bytes, Bytes, Percent),
    limit: Option<&SpaceLimit>,
    (full_in, near): (Option<Estimate>, Duration),
    tongue: Tongue,
) -> Words {
    let soon = full_in.map(|full_in| tongue.say("space-low.soon", &[("estimate", &tongue.estimate(&full_in))]));
    let (free, size, soon) = (tongue.figure(free), tongue.figure(size), soon.unwrap_or_default());
    let places: Places = &[("mount", &mount), ("free", &free), ("size", &size), ("share", &share), ("soon", &soon)];
    let mut words = match (limit, full_in) {
        (None, Some(full_in)) => {
            let ahead: Places = &[("span", &span(full_in.middle))];
            tongue.words("space-low.ahead", &[places, ahead].concat())
        }
        _ => tongue.words("space-low", places),
    };
    words.evidence.extend(limit.and_then(|limit| {
        let amount = limit.amount.map(|amount| tongue.figure(amount));
        Some(match (limit.share, amount) {
            (Some(share), Some(amount)) => {
                tongue.say("space-low.limit-and-amount", &[("share", &share), ("amount", &amount)])
            }
            (Some(share), None) => tongue.say("space-low.limit", &[("share", &share)]),
            (None, amount) => tongue.say("space-low.limit-amount", &[("amount", &amount?)]),
        })
    }));
    words.evidence.extend(full_in.map(|full_in| {
        let places: Places = &[("estimate", &tongue.estimate(&full_in)), ("limit", &tongue.span(near))];
        tongue.say("space-low.trend", places)
    }));
    words
}

/// A device that a pool has and does without.
pub(super) fn faulty(
    pool: &str,
    drive: Option<&Place>,
    device: &str,
    role: MemberRole,
    how: MemberFault,
    tongue: Tongue,
) -> Words {
    let section = match (how, role) {
        // Only a spare stands in for others.
        (MemberFault::PutOut, MemberRole::Spare) => "member-faulty.put-out.spare",
        (MemberFault::Gone, MemberRole::Spare) => "member-faulty.gone.spare",
        (MemberFault::PutOut, _) => "member-faulty.put-out",
        (MemberFault::Gone, _) => "member-faulty.gone",
        (MemberFault::Offline, _) => "member-faulty.offline",
        (MemberFault::Doubted, _) => "member-faulty.doubted",
    };
    let role = tongue.plain(match role {
        MemberRole::Data => "member-faulty.data",
        MemberRole::Log => "member-faulty.log",
        MemberRole::Cache => "member-faulty.cache",
        MemberRole::Spare => "member-faulty.spare",
    });
    let name = drive.map_or_else(|| pool.to_owned(), |drive| named(drive, tongue));
    let drive = drive.map_or_else(|| device.to_owned(), |drive| pointed_at(drive, tongue));
    tongue.words(section, &[("pool", &pool), ("name", &name), ("drive", &drive), ("device", &device), ("role", &role)])
}
