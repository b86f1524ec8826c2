//! Where the trend of a volume began: what came before a step, such as a large delete or an archive copied once, says
//! nothing of how it goes on.

use super::days::Median;
use crate::order::median;
use traylight_data::units::Bytes;

/// A step is larger than this share of the volume,
const OF_THE_SIZE: f64 = 0.01;
/// and than this many robust deviations of what usually comes from day to day. Starting value, no source.
const DEVIATIONS: f64 = 6.0;
/// The median absolute deviation of the normal distribution times this is its standard deviation.
const OF_A_NORMAL: f64 = 1.4826;
/// What is half to twice as large as another is alike.
const ALIKE: f64 = 2.0;

/// One step, which may take several days.
#[derive(Debug, Clone, Copy, PartialEq)]
struct SpaceStep {
    /// The first day after it.
    until: usize,
    /// By how much the free room changed beyond the usual.
    by: f64,
}

/// The days since the last step. A change that stays for two days is one; what was back the next day is none, and the
/// newest day counts until the next one decides. What happened before in like size, as in a volume that is filled once
/// a week or pruned once a month, is how that volume lives, and no step.
pub(super) fn since_last_step(medians: &[Median], size: Bytes) -> &[Median] {
    let steps = steps(medians, size);
    let is_habit = |step: &SpaceStep| {
        steps.iter().any(|other| {
            let ratio = other.by / step.by;
            other != step && (1.0 / ALIKE..=ALIKE).contains(&ratio)
        })
    };
    let begin = steps.iter().rfind(|step| !is_habit(step)).map_or(0, |step| step.until);
    &medians[begin..]
}

fn steps(medians: &[Median], size: Bytes) -> Vec<SpaceStep> {
    let free = |index: usize| medians[index].free as f64;
    let wide = |from: usize, to: usize| f64::from(medians[to].day.saturating_sub(medians[from].day));
    let each = || 1..medians.len();
    let usual = median(each().map(|to| (free(to) - free(to - 1)) / wide(to - 1, to).max(1.0))).unwrap_or(0.0);
    let beyond_usual = |from: usize, to: usize| free(to) - free(from) - usual * wide(from, to);
    let spread = median(each().map(|to| beyond_usual(to - 1, to).abs())).unwrap_or(0.0);
    let least = (OF_THE_SIZE * size.0 as f64).max(DEVIATIONS * OF_A_NORMAL * spread);

    // It stays when two days before and two days after agree on it.
    let stays = |to: &usize| {
        let (before, after) = (to.saturating_sub(2)..*to, *to..(to + 2).min(medians.len()));
        let all = |is_beyond: &dyn Fn(f64) -> bool| {
            before.clone().all(|from| after.clone().all(|to| is_beyond(beyond_usual(from, to))))
        };
        all(&|change| change > least) || all(&|change| change < -least)
    };
    let mut found: Vec<SpaceStep> = Vec::new();
    for to in each().filter(stays) {
        let by = beyond_usual(to - 1, to);
        match found.last_mut() {
            // The same copying or deleting, still under way.
            Some(step) if step.until + 2 >= to && (step.by > 0.0) == (by > 0.0) => {
                *step = SpaceStep { until: to, by: step.by + by };
            }
            _ => found.push(SpaceStep { until: to, by }),
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: Bytes = Bytes(10_000);

    /// How many of the days are left, of a volume with so much free each day.
    fn left(free: impl IntoIterator<Item = u64>) -> usize {
        let medians: Vec<Median> = free.into_iter().zip(0..).map(|(free, day)| Median { day, free }).collect();
        since_last_step(&medians, SIZE).len()
    }

    /// Fills by 20 a day, give or take.
    fn fills(days: u64) -> impl Iterator<Item = u64> {
        (0..days).map(|day| 8000 - 20 * day + 7 * (day % 3))
    }

    #[test]
    fn a_volume_that_fills_day_by_day_takes_no_step() {
        assert_eq!(left(fills(40)), 40);
        assert_eq!(left([]), 0);
        assert_eq!(left([1]), 1);
    }

    #[test]
    fn a_large_delete_and_a_large_copy_begin_anew() {
        assert_eq!(left(fills(40).zip(0..).map(|(free, day)| if day < 30 { free - 3000 } else { free })), 10);
        assert_eq!(left(fills(40).zip(0..).map(|(free, day)| if day < 30 { free + 1500 } else { free })), 10);
    }

    #[test]
    fn a_small_delete_does_not() {
        assert_eq!(left(fills(40).zip(0..).map(|(free, day)| if day < 30 { free - 90 } else { free })), 40);
    }

    #[test]
    fn a_large_day_among_uneven_ones_does_not() {
        let added = |day: u64| [0, 400, 100, 300, 200][day as usize % 5] + if day == 20 { 600 } else { 0 };
        let added_until = |day: u64| -> u64 { (0..=day).map(added).sum() };
        assert_eq!(left((0..35).map(|day| 9900 - added_until(day))), 35);
    }

    #[test]
    fn one_odd_day_does_not_once_it_is_over() {
        let odd = |days| left(fills(days).zip(0..).map(|(free, day)| if day == 30 { free - 3000 } else { free }));
        assert_eq!(odd(31), 1, "nobody can tell yet");
        assert_eq!(odd(32), 32);
        assert_eq!(odd(40), 40);
    }

    #[test]
    fn a_copy_that_takes_three_days_is_one_step() {
        let copied = |day: u64| 900 * day.saturating_sub(20).min(3);
        assert_eq!(left(fills(40).zip(0..).map(|(free, day)| free - copied(day))), 17);
    }

    #[test]
    fn what_happens_again_and_again_is_a_habit() {
        assert_eq!(left((0..35_u64).map(|day| 8000 - 300 * (day / 7))), 35, "filled once a week");
        assert_eq!(left((0..80_u64).map(|day| 8000 - 150 * (day % 28))), 80, "pruned once a month");
    }
}
