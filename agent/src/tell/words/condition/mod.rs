//! Facts into words, the same for the log, the panel, a message and `look`: title, sentence, what to do, what not to
//! do, evidence. Pure: the words themselves are in the tables of [`super::phrases`], and what fills their places comes from here.

use super::drives::{leave_in_line, stay_and};
use super::heat::Warm;
use super::parts::{TITLE_COLUMNS, Words, short};
use super::phrases::{Language, Phrases};
use super::pool::Degraded;
use super::{board, facts, pool};
use crate::verdict::{Condition, Finding, Severity};

/// The words of a condition, in any box.
pub fn words(condition: &Condition, language: Language) -> Words {
    words_in_box(condition, false, language)
}

/// The words of a condition, in a box whose trays may be changed while it is on, or not.
pub(super) fn words_in_box(condition: &Condition, hot_swap: bool, language: Language) -> Words {
    let mut words = match &condition.finding {
        // Only where nobody can say yet whether it failed is it as mild as that.
        Finding::FanStopped { fan, speed: Some(speed), .. } if condition.severity == Severity::Notice => {
            language.words("fan-stopped.may-rest", &[("fan", fan), ("speed", speed)])
        }
        of => finding(of, language),
    };
    words.title = short(&words.title, TITLE_COLUMNS);
    words.name = short(&words.name, TITLE_COLUMNS);
    (words.brief, words.advice) = language.off_first(words.off, hot_swap, words.brief, words.advice);
    let (leave_in, must_be_said): (&[String], bool) = match &condition.finding {
        Finding::DriveGone { leave_in, .. } => (leave_in, !leave_in.is_empty()),
        Finding::PoolDegraded { leave_in, spare, .. } => (leave_in, *spare == 0 || !leave_in.is_empty()),
        _ => (&[], false),
    };
    words.leave_in = must_be_said.then(|| leave_in_line(leave_in, language));
    words.advice = stay_and(leave_in, words.advice, language);
    words
}

/// Most kinds are told by their facts alone; the others need arithmetic or a choice that no table can make.
fn finding(finding: &Finding, language: Language) -> Words {
    match finding {
        Finding::DriveHot { drive, now, limit, own_limit, others, is_alone, outlook } => {
            let (now, limit, own_limit) = (*now, *limit, *own_limit);
            let (others, is_alone, outlook) = (*others, *is_alone, *outlook);
            Warm { drive, now, limit, own_limit, others, is_alone, outlook }.words(language)
        }
        Finding::MemberFaulty { pool, drive, device, role, how } => {
            pool::faulty(pool, drive.as_ref(), device, *role, *how, language)
        }
        Finding::PoolDegraded { pool, level, missing, of, spare, lost, offline, rebuilding, .. } => {
            let (missing, of, spare, rebuilding) = (*missing, *of, *spare, *rebuilding);
            Degraded { pool, level, missing, of, spare, lost, offline, rebuilding }.words(language)
        }
        Finding::PoolDown { pool, why, present, of, lost } => pool::down(pool, *why, *present, *of, lost, language),
        Finding::PoolBusy { pool, activity, done, left, risk } => {
            pool::busy(pool, *activity, *done, *left, *risk, language)
        }
        Finding::SpaceLow { mount, free, size, share, limit, full_in, soon } => {
            pool::space(mount, (*free, *size, *share), limit.as_ref(), (*full_in, *soon), language)
        }
        Finding::CpuHotThrottled { now, limit, slowed } => board::processor(*now, *limit, *slowed, language),
        Finding::Undervoltage { is_low, dips, longest, within, in_a_day } => {
            board::undervoltage(*is_low, (*dips, *longest, *within), *in_a_day, language)
        }
        Finding::RailOutOfRange { nominal, now, low, high } => board::rail(*nominal, *now, *low, *high, language),
        of => facts::words(of, language),
    }
}

#[cfg(test)]
pub(super) mod tests;
