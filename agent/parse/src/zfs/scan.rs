//! The passes of a ZFS pool over its data, and how `zpool status` puts them into words (OpenZFS
//! cmd/zpool/zpool_main.c, `print_scan_status` and its neighbours).

use std::time::Duration;

/// One pass over a pool's data, under way or the last of its kind.
#[derive(Debug, Clone, PartialEq)]
pub struct Scan {
    /// What it is for.
    pub kind: ScanKind,
    /// Whether it runs.
    pub state: ScanState,
    /// Bytes that are done; rounded to three digits where the tool rounds them.
    pub done_bytes: Option<u64>,
    /// Bytes that there are to do.
    pub total_bytes: Option<u64>,
    /// How far it has come, 0 to 1.
    pub share: Option<f64>,
    /// Its speed since it began or went on.
    pub bytes_per_second: Option<u64>,
    /// How long it would take from here at that speed.
    pub left: Option<Duration>,
    /// Errors that it could not repair; said when it has ended.
    pub errors: Option<u64>,
    /// When it ended.
    pub ended: Option<When>,
}

/// What a pass is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScanKind {
    /// Everything is read and compared with its checksums.
    Scrub,
    /// Only what is known to be damaged is read again.
    ErrorScrub,
    /// A device is being filled; sequential ones, which OpenZFS calls rebuilds, are among them.
    Resilver,
    /// A raidz takes in one more device.
    Expansion,
    /// A device is emptied, to be taken out of the pool.
    Evacuation,
}

/// Whether a pass runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScanState {
    /// It runs.
    Running,
    /// It waits to be let on.
    Paused,
    /// It went over everything.
    Finished,
    /// It was ended before.
    Canceled,
}

/// A time as it was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum When {
    /// Seconds since 1970, UTC.
    Epoch(u64),
    /// The local calendar, as ctime(3) writes it.
    Calendar(String),
}

impl Scan {
    /// Of this kind and state, and nothing else is known.
    pub fn new(kind: ScanKind, state: ScanState) -> Self {
        Self {
            kind,
            state,
            done_bytes: None,
            total_bytes: None,
            share: None,
            bytes_per_second: None,
            left: None,
            errors: None,
            ended: None,
        }
    }

    /// True while it runs or waits.
    pub fn under_way(&self) -> bool {
        matches!(self.state, ScanState::Running | ScanState::Paused)
    }
}

/// A number as the tool prints it: whole, or rounded to three digits with a unit of 1024, as `59.1M` or `0B`.
/// `-` and whatever is no number are none.
pub fn amount(text: &str) -> Option<u64> {
    if let Ok(whole) = text.parse() {
        return Some(whole);
    }
    let (digits, unit) = text.split_at(text.len().checked_sub(1).filter(|&at| text.is_char_boundary(at))?);
    let power = "BKMGTPE".find(unit)?;
    if !digits.bytes().all(|byte| byte.is_ascii_digit() || byte == b'.') {
        return None;
    }
    let value = digits.parse::<f64>().ok()? * 1024_f64.powi(power as i32);
    (value < u64::MAX as f64).then_some(value.round() as u64)
}

/// What stands behind `scan:`, `expand:` or `remove:`, line by line. Words that no release is known to say are none.
pub fn in_words(lines: &[&str]) -> Option<Scan> {
    let (first, more) = lines.split_first()?;
    let first = first.trim();
    let (kind, state) = kind_and_state(first)?;
    let mut scan = Scan::new(kind, state);
    if scan.under_way() {
        for line in more {
            progress(&mut scan, line.trim());
        }
        return Some(scan);
    }
    // `scrub repaired 0B in 00:00:02 with 0 errors on Wed Nov 25 09:08:39 2026`
    scan.errors = between(first, " with ", " errors").and_then(|count| count.parse().ok());
    scan.ended = first.rsplit_once(" on ").map(|(_, when)| When::Calendar(when.trim().to_owned()));
    Some(scan)
}

fn kind_and_state(line: &str) -> Option<(ScanKind, ScanState)> {
    use ScanKind::{ErrorScrub, Evacuation, Expansion, Resilver, Scrub};
    use ScanState::{Canceled, Finished, Paused, Running};
    let kind = match line.split([' ', ':']).next()? {
        "scrub" => Scrub,
        "error" => ErrorScrub,
        "scrubbed" => return Some((ErrorScrub, Finished)),
        "resilver" => Resilver,
        "resilvered" => return Some((Resilver, Finished)),
        "expansion" => Expansion,
        "expanded" => return Some((Expansion, Finished)),
        "Evacuation" | "Removal" => Evacuation,
        _ => return None,
    };
    let state = if line.contains(" in progress since ") {
        Running
    } else if line.contains(" paused since ") {
        Paused
    } else if line.contains(" canceled on ") {
        Canceled
    } else if line.starts_with("scrub repaired ") || line.contains(", completed on ") {
        Finished
    } else {
        return None;
    };
    Some((kind, state))
}

/// The lines below the first: amounts, and then the share. Releases differ in how they put the amounts:
///
/// - `1.21G scanned at 101M/s, 612M issued at 51M/s, 1.80G total` (0.8 to 2.1)
/// - `1.21G / 1.80G scanned at 101M/s, 612M / 1.80G issued at 51M/s` (since 2.2)
/// - `612M / 1.80G copied at 51M/s, 33.20% done, 00:00:24 to go` (an expansion)
/// - `612M copied out of 1.80G at 51M/s, 33.20% done, 0h24m to go` (an evacuation)
fn progress(scan: &mut Scan, line: &str) {
    for part in line.split(", ") {
        let words: Vec<&str> = part.split_whitespace().collect();
        match words[..] {
            [done, "issued", ..] => scan.done_bytes = amount(done),
            [done, "/", total, "issued" | "copied", ..] => {
                (scan.done_bytes, scan.total_bytes) = (amount(done), amount(total));
            }
            [done, "copied", "out", "of", total, ..] => {
                (scan.done_bytes, scan.total_bytes) = (amount(done), amount(total));
            }
            [total, "total"] => scan.total_bytes = amount(total),
            [percent, "done"] => {
                let percent = percent.strip_suffix('%').and_then(|digits| digits.parse::<f64>().ok());
                scan.share = percent.map(|percent| percent / 100.0).filter(|share| (0.0..=1.0).contains(share));
            }
            [ref time @ .., "to", "go"] => scan.left = span(time),
            [.., "paused", "for", "resilver", "or", "clear"] => scan.state = ScanState::Paused,
            _ => {}
        }
        if let [.., "issued" | "copied", "at", rate] | [.., "copied", "out", "of", _, "at", rate] = words[..] {
            scan.bytes_per_second = rate.strip_suffix("/s").and_then(amount);
        }
    }
}

/// `00:00:24`, `2 days 00:00:24`, `5h12m`.
fn span(words: &[&str]) -> Option<Duration> {
    let (days, clock): (u64, &str) = match words {
        [clock] => (0, clock),
        [days, "days", clock] => (days.parse().ok()?, clock),
        _ => return None,
    };
    let parts: Vec<u64> =
        clock.split([':', 'h', 'm']).filter(|part| !part.is_empty()).map_while(|part| part.parse().ok()).collect();
    let (hours, minutes, seconds) = match parts[..] {
        [hours, minutes, seconds] if clock.contains(':') => (hours, minutes, seconds),
        [hours, minutes] if clock.ends_with('m') => (hours, minutes, 0),
        _ => return None,
    };
    let hours = days.checked_mul(24)?.checked_add(hours)?;
    let seconds = hours.checked_mul(60)?.checked_add(minutes)?.checked_mul(60)?.checked_add(seconds)?;
    Some(Duration::from_secs(seconds))
}

fn between<'a>(text: &'a str, before: &str, after: &str) -> Option<&'a str> {
    text.split_once(before)?.1.split_once(after).map(|(found, _)| found)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::collection::vec;
    use proptest::prelude::*;

    #[test]
    fn amounts_exact_and_rounded() {
        let cases = [
            ("18446744073709551615", Some(u64::MAX)),
            ("0B", Some(0)),
            ("512B", Some(512)),
            ("1.21K", Some(1239)),
            ("59.1M", Some(61_970_842)),
            ("15.9E", Some(18_331_451_923_248_866_918)),
        ];
        for (text, wanted) in
            cases.into_iter().chain(["16E", "-", "", "M", "1.2.3M", "-1M", "nan", "1é", "5X"].map(|odd| (odd, None)))
        {
            match (amount(text), wanted) {
                (Some(found), Some(wanted)) => assert!(found.abs_diff(wanted) <= wanted >> 50, "{text}: {found}"),
                (found, wanted) => assert_eq!(found, wanted, "{text}"),
            }
        }
    }

    #[test]
    fn first_lines_of_every_release() {
        use ScanKind::{ErrorScrub, Evacuation, Expansion, Resilver, Scrub};
        use ScanState::{Canceled, Finished, Paused, Running};
        let cases = [
            ("scrub repaired 59.1M in 00:00:02 with 7 errors on Wed Nov 25 09:08:39 2026", Scrub, Finished, Some(7)),
            ("scrub canceled on Wed Nov 25 09:08:39 2026", Scrub, Canceled, None),
            ("scrub paused since Wed Nov 25 09:08:39 2026", Scrub, Paused, None),
            (
                "resilvered 10K in 2 days 00:00:01 with 0 errors on Wed Nov 25 09:08:41 2026",
                Resilver,
                Finished,
                Some(0),
            ),
            ("resilver canceled on Wed Nov 25 09:08:39 2026", Resilver, Canceled, None),
            ("resilver (mirror-0) canceled on Wed Nov 25 09:08:39 2026", Resilver, Canceled, None),
            ("error scrub in progress since Wed Nov 25 09:08:39 2026", ErrorScrub, Running, None),
            ("scrubbed 12 error blocks in 0 days 00:00:01 on Wed Nov 25 09:08:39 2026", ErrorScrub, Finished, None),
            ("expanded raidz1-0 copied 1.80T in 03:00:11, on Wed Nov 25 09:08:39 2026", Expansion, Finished, None),
            ("Evacuation of mirror-1 in progress since Wed Nov 25 09:08:39 2026", Evacuation, Running, None),
            (
                "Removal of vdev 1 copied 1.80T in 3h0m, completed on Wed Nov 25 09:08:39 2026",
                Evacuation,
                Finished,
                None,
            ),
        ];
        for (line, kind, state, errors) in cases {
            let scan = in_words(&[line]).expect(line);
            assert_eq!((scan.kind, scan.state, scan.errors), (kind, state, errors), "{line}");
            let day = |when: When| {
                if let When::Calendar(text) = when { text.starts_with("Wed Nov 25 09:08:") } else { false }
            };
            assert_eq!(!scan.under_way(), scan.ended.is_some_and(day), "{line}");
        }
        for none in ["none requested", "", "scrub", "resilver of everything", "brushed 5 teeth on Wed Nov 25"] {
            assert_eq!(in_words(&[none]), None, "{none}");
        }
    }

    #[test]
    fn a_device_is_emptied() {
        let lines = [
            "Evacuation of /dev/sdd1 in progress since Wed Nov 25 09:08:39 2026",
            "\t612M copied out of 1.80G at 51M/s, 33.20% done, 1h24m to go",
        ];
        let scan = in_words(&lines).expect("an evacuation");
        assert_eq!((scan.done_bytes, scan.bytes_per_second), (Some(612 << 20), Some(51 << 20)));
        assert_eq!((scan.share, scan.left), (Some(0.332), Some(Duration::from_secs(84 * 60))));
    }

    #[test]
    fn progress_that_cannot_be_true_is_none() {
        for odd in ["-nan% done", "100.01% done", "inf% done", "x% done"] {
            assert_eq!(in_words(&["scrub in progress since now", odd]).expect("a scrub").share, None, "{odd}");
        }
        for odd in [
            "99999999999999999 days 00:00:01 to go",
            "1 days to go",
            "::: to go",
            "5h to go",
            "no estimated completion time",
        ] {
            assert_eq!(in_words(&["scrub in progress since now", odd]).expect("a scrub").left, None, "{odd}");
        }
    }

    proptest! {
        #[test]
        fn any_words_are_a_pass_or_none(
            first in "(scrub|resilver|expansion|Evacuation|scan) (in progress|paused) since now\\PC{0,9}",
            more in vec("([0-9]{0,9}[.]?[0-9]{0,9}[BKM]?( / | issued at |/s|% done| days | to go|\\PC|, )){0,3}", 0..4),
        ) {
            let lines: Vec<&str> = std::iter::once(&first).chain(&more).map(String::as_str).collect();
            let scan = in_words(&lines);
            prop_assert_eq!(scan.is_none(), first.starts_with("scan"));
            prop_assert!(scan.and_then(|scan| scan.share).is_none_or(|share| (0.0..=1.0).contains(&share)));
        }
    }
}
