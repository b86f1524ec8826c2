//! The words for pools and volumes. Pure; the rest of the words, and the rules they keep, are in [`super::condition`].

use super::drives::{listed, named, pointed_at};
use super::parts::Words;
use super::phrases::{Language, Phrases, Places};
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
    pub fn words(&self, language: Language) -> Words {
        let which = listed(self.lost, language).map(|lost| language.say("pool-degraded.which", &[("lost", &lost)]));
        let survives = match self.spare {
            0 => language.plain("pool-degraded.nothing-more").to_owned(),
            spare => language.say("pool-degraded.some-more", &[("spare", &spare)]),
        };
        let filling = if self.rebuilding { language.plain("pool-degraded.filling") } else { "" };
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
        let mut words = language.words(if is_own_doing { "pool-degraded.offline" } else { "pool-degraded" }, places);
        if self.spare == 0 {
            words.title = language.say("pool-degraded.bare.title", places);
        }
        let offline = listed(self.offline, language);
        words
            .evidence
            .extend(offline.map(|offline| language.say("pool-degraded.on-purpose", &[("offline", &offline)])));
        words
    }
}

pub(super) fn down(pool: &str, why: Down, present: u32, of: u32, lost: &[Place], language: Language) -> Words {
    let found = if of > 0 { "pool-down.members-of" } else { "pool-down.members" };
    let found = language.say(found, &[("present", &present), ("of", &of)]);
    let missing = listed(lost, language).map(|lost| language.say("pool-down.missing", &[("lost", &lost)]));
    let section = match why {
        Down::Inactive => "pool-down.inactive",
        Down::TooManyLost => "pool-down.too-many-lost",
        Down::Absent if of > 0 && present >= of => "pool-down.absent.complete",
        Down::Absent => "pool-down.absent",
        Down::Suspended => "pool-down.suspended",
    };
    let details = missing.as_ref().map_or_else(|| found.clone(), |missing| format!("{found}; {missing}"));
    let mut words = language.words(section, &[("pool", &pool), ("details", &details), ("found", &found)]);
    words.evidence.extend(missing);
    words
}

pub(super) fn busy(
    pool: &str,
    activity: ActivityKind,
    done: Option<Percent>,
    left: Option<Estimate>,
    risk: Option<ReadRisk>,
    language: Language,
) -> Words {
    let far = done.map(|done| format!(" {done}")).unwrap_or_default();
    let left = left.map(|left| language.say("pool-busy.left", &[("estimate", &language.estimate(&left))]));
    let section = if activity == ActivityKind::Check { "pool-busy.check" } else { "pool-busy" };
    let doing = language.activity(activity);
    let places: Places = &[("pool", &pool), ("doing", &doing), ("far", &far), ("left", &left.unwrap_or_default())];
    let mut words = language.words(section, places);
    words.evidence.extend(risk.map(|risk| chance(&risk, language)));
    words
}

/// The chance with its arithmetic and with what it takes for granted.
fn chance(risk: &ReadRisk, language: Language) -> String {
    let percent = risk.chance * 100.0;
    let shown = match percent < 0.1 {
        true => language.say("pool-busy.under", &[("percent", &language.figure("0.1"))]),
        false => language.figure(format!("{percent:.1}")),
    };
    let guess = if risk.is_guess { language.plain("pool-busy.guess") } else { "" };
    let exponent = format!("{:.0}", risk.bits_per_error.log10());
    let bytes = language.figure(risk.bytes);
    let places: Places = &[("percent", &shown), ("bytes", &bytes), ("exponent", &exponent), ("guess", &guess)];
    language.say("pool-busy.chance", places)
}

pub(super) fn space(
    mount: &str,
    (free, size, share): (Bytes, Bytes, Percent),
    limit: Option<&SpaceLimit>,
    (full_in, near): (Option<Estimate>, Duration),
    language: Language,
) -> Words {
    let soon = full_in.map(|full_in| language.say("space-low.soon", &[("estimate", &language.estimate(&full_in))]));
    let (free, size, soon) = (language.figure(free), language.figure(size), soon.unwrap_or_default());
    let places: Places = &[("mount", &mount), ("free", &free), ("size", &size), ("share", &share), ("soon", &soon)];
    let mut words = match (limit, full_in) {
        (None, Some(full_in)) => {
            let ahead: Places = &[("span", &span(full_in.middle))];
            language.words("space-low.ahead", &[places, ahead].concat())
        }
        _ => language.words("space-low", places),
    };
    words.evidence.extend(limit.and_then(|limit| {
        let amount = limit.amount.map(|amount| language.figure(amount));
        Some(match (limit.share, amount) {
            (Some(share), Some(amount)) => {
                language.say("space-low.limit-and-amount", &[("share", &share), ("amount", &amount)])
            }
            (Some(share), None) => language.say("space-low.limit", &[("share", &share)]),
            (None, amount) => language.say("space-low.limit-amount", &[("amount", &amount?)]),
        })
    }));
    words.evidence.extend(full_in.map(|full_in| {
        let places: Places = &[("estimate", &language.estimate(&full_in)), ("limit", &language.span(near))];
        language.say("space-low.trend", places)
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
    language: Language,
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
    let role = language.plain(match role {
        MemberRole::Data => "member-faulty.data",
        MemberRole::Log => "member-faulty.log",
        MemberRole::Cache => "member-faulty.cache",
        MemberRole::Spare => "member-faulty.spare",
    });
    let name = drive.map_or_else(|| pool.to_owned(), |drive| named(drive, language));
    let drive = drive.map_or_else(|| device.to_owned(), |drive| pointed_at(drive, language));
    language
        .words(section, &[("pool", &pool), ("name", &name), ("drive", &drive), ("device", &device), ("role", &role)])
}
