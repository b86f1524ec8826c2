//! Two edges, hold and memory for one condition of one subject: the only place where a condition begins, gets worse,
//! eases or ends. Silence does nothing here: without an observation nothing moves.

use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::verdict::{Change, Condition, Finding, Severity, Subject};

/// What a rule saw of one subject.
#[derive(Debug, Clone, PartialEq)]
pub struct Observation {
    /// Of what.
    pub subject: Subject,
    /// In which zone it is.
    pub zone: Zone,
    /// When the readings behind it were taken: holds are counted from reading to reading.
    pub seen: Moment,
    /// The facts, should the condition hold.
    pub finding: Finding,
    /// How long each zone must be seen.
    pub holds: Holds,
}

impl Observation {
    /// What is told of something that nothing can be read of any more is over at once, with the facts it had.
    pub fn over(held: &Condition, seen: Moment) -> Self {
        let (subject, finding) = (held.subject.clone(), held.finding.clone());
        Self { subject, zone: Zone::Clear, seen, finding, holds: Holds::NONE }
    }
}

/// The zones that two edges make: in which of them a subject is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Zone {
    /// Beyond the edge at which a condition of this severity begins.
    Raised(Severity),
    /// Between the edges: nothing begins and nothing ends.
    Between,
    /// Beyond the edge at which the condition ends.
    Clear,
}

/// How long a zone must be seen before it counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Holds {
    /// Before a notice.
    pub notice: Duration,
    /// Before a warning.
    pub warning: Duration,
    /// Before a critical condition.
    pub critical: Duration,
    /// Before it ends, and before it eases.
    pub clear: Duration,
}

impl Holds {
    /// What is seen counts immediately.
    pub const NONE: Self = Self::new(Duration::ZERO, Duration::ZERO);

    /// The same hold before every severity.
    pub const fn new(raise: Duration, clear: Duration) -> Self {
        Self { notice: raise, warning: raise, critical: raise, clear }
    }

    fn before(self, severity: Severity) -> Duration {
        match severity {
            Severity::Notice => self.notice,
            Severity::Warning => self.warning,
            Severity::Critical => self.critical,
        }
    }
}

/// The memory of one condition of one subject.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Track {
    open: Option<Condition>,
    /// Since when each severity has been seen without a break.
    raised: [Option<Moment>; 3],
    /// Since when the open condition has been seen to be less bad, or over.
    better: Option<Moment>,
}

impl Track {
    /// A condition that held when the program ended, and that holds until something speaks against it.
    pub fn of(condition: Condition) -> Self {
        Self { open: Some(condition), ..Self::default() }
    }

    /// The condition, if it holds.
    pub fn open(&self) -> Option<&Condition> {
        self.open.as_ref()
    }

    /// True when nothing is remembered, so that the track can be dropped.
    pub fn is_idle(&self) -> bool {
        *self == Self::default()
    }

    /// Takes in one observation; answers what is new. `lasted` says how long what began then has lasted.
    pub fn see(&mut self, observation: Observation, lasted: impl Fn(Moment) -> Option<Duration>) -> Option<Change> {
        let raised = match observation.zone {
            Zone::Raised(severity) => Some(severity),
            Zone::Between | Zone::Clear => None,
        };
        for severity in [Severity::Notice, Severity::Warning, Severity::Critical] {
            let since = &mut self.raised[severity as usize];
            *since = if Some(severity) <= raised { since.or(Some(observation.seen)) } else { None };
        }
        let reached = [Severity::Critical, Severity::Warning, Severity::Notice].into_iter().find(|&severity| {
            let since = self.raised[severity as usize];
            // A rule that knows only critical and warning holds no notice on the way.
            Some(severity) <= raised
                && since.is_some_and(|since| observation.seen.since(since) >= observation.holds.before(severity))
        });
        match self.open.take() {
            None => self.begin(reached.min(raised), observation),
            Some(open) => self.go_on(open, reached, observation, lasted),
        }
    }

    fn begin(&mut self, reached: Option<Severity>, observation: Observation) -> Option<Change> {
        let severity = reached?;
        let since = self.raised[severity as usize].unwrap_or(observation.seen);
        let condition = Condition { subject: observation.subject, severity, since, finding: observation.finding };
        self.better = None;
        self.open = Some(condition.clone());
        Some(Change::Opened(condition))
    }

    fn go_on(
        &mut self,
        mut open: Condition,
        reached: Option<Severity>,
        observation: Observation,
        lasted: impl Fn(Moment) -> Option<Duration>,
    ) -> Option<Change> {
        let before = open.severity;
        let improved = match observation.zone {
            Zone::Clear => true,
            Zone::Between => false,
            Zone::Raised(severity) => severity < before,
        };
        self.better = if improved { self.better.or(Some(observation.seen)) } else { None };
        let held_better = self.better.is_some_and(|since| observation.seen.since(since) >= observation.holds.clear);

        if observation.zone == Zone::Clear {
            if held_better {
                *self = Self::default();
                return Some(Change::Closed { lasted: lasted(open.since), condition: open });
            }
            // On its way to the end the condition keeps the facts it was raised with.
            self.open = Some(open);
            return None;
        }
        open.finding = observation.finding;
        let change = if reached > Some(before) {
            open.severity = reached.unwrap_or(before);
            Some(Change::Worsened(open.clone()))
        } else if let (true, Zone::Raised(severity)) = (held_better, observation.zone) {
            open.severity = severity;
            self.better = None;
            Some(Change::Eased(open.clone()))
        } else {
            None
        };
        self.open = Some(open);
        change
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use traylight_data::units::Rpm;

    const HOLDS: Holds = Holds {
        notice: Duration::from_secs(10),
        warning: Duration::from_secs(10),
        critical: Duration::from_secs(2),
        clear: Duration::from_secs(20),
    };

    fn observation(second: u64, zone: Zone) -> Observation {
        Observation {
            subject: Subject::Fan("chip/fan1".into()),
            zone,
            seen: Moment::after_boot(Duration::from_secs(second)),
            finding: Finding::FanStopped {
                fan: "fan1".into(),
                speed: Some(Rpm(0)),
                by_fault_line: false,
                with_heat: false,
            },
            holds: HOLDS,
        }
    }

    fn see(track: &mut Track, observation: Observation) -> Option<Change> {
        let now = observation.seen;
        track.see(observation, |since| Some(now.since(since)))
    }

    /// Lines of `second side` in (`-` clear, `=` between, `w` warning, `c` critical), changes out.
    fn story(lines: &str) -> Vec<String> {
        let mut track = Track::default();
        let mut told = Vec::new();
        for line in lines.lines() {
            let (second, zone) = line.trim().split_once(' ').expect("a line is `second side`");
            let zone = match zone {
                "-" => Zone::Clear,
                "=" => Zone::Between,
                "w" => Zone::Raised(Severity::Warning),
                "c" => Zone::Raised(Severity::Critical),
                other => panic!("no such side: {other}"),
            };
            if let Some(change) = see(&mut track, observation(second.parse().expect("a second"), zone)) {
                told.push(match change {
                    Change::Opened(condition) => format!("{second} opened {}", condition.severity),
                    Change::Worsened(condition) => format!("{second} worsened {}", condition.severity),
                    Change::Eased(condition) => format!("{second} eased {}", condition.severity),
                    Change::Closed { lasted, .. } => {
                        format!("{second} closed after {}", lasted.unwrap_or_default().as_secs())
                    }
                });
            }
        }
        told
    }

    #[test]
    fn it_begins_after_its_hold_and_ends_after_its_hold() {
        let told = story("0 w\n 5 w\n 10 w\n 15 =\n 20 -\n 30 -\n 40 -\n 50 -");
        assert_eq!(told, ["10 opened warning", "40 closed after 40"]);
    }

    #[test]
    fn a_break_in_the_hold_starts_it_again() {
        assert_eq!(story("0 w\n 8 w\n 9 =\n 11 w\n 20 w\n 21 w"), ["21 opened warning"]);
    }

    #[test]
    fn it_worsens_at_once_and_eases_only_after_the_clear_hold() {
        let told = story("0 w\n 10 w\n 11 c\n 13 c\n 14 w\n 33 w\n 34 w\n 35 w");
        assert_eq!(told, ["10 opened warning", "13 worsened critical", "34 eased warning"]);
    }

    #[test]
    fn a_return_during_the_clear_hold_is_no_news() {
        assert_eq!(story("0 c\n 2 c\n 10 -\n 25 -\n 26 c\n 27 -\n 40 -\n 46 -"), ["2 opened critical"]);
    }

    #[test]
    fn between_the_edges_nothing_ends() {
        assert_eq!(story("0 c\n 2 c\n 10 =\n 1000 =\n 100000 ="), ["2 opened critical"]);
    }

    proptest! {
        /// However a value trembles across an edge, news is at least a hold apart.
        #[test]
        fn noise_at_an_edge_does_not_flap(zones in prop::collection::vec(0..3_u8, 1..400)) {
            let mut track = Track::default();
            let mut ends: Option<u64> = None;
            for (second, zone) in zones.into_iter().enumerate() {
                let second = second as u64;
                let zone = [Zone::Clear, Zone::Between, Zone::Raised(Severity::Warning)][usize::from(zone)];
                match see(&mut track, observation(second, zone)) {
                    Some(Change::Opened(_)) => prop_assert!(ends.is_none_or(|end| second - end >= 10)),
                    Some(Change::Closed { lasted, .. }) => {
                        prop_assert!(lasted >= Some(HOLDS.clear));
                        ends = Some(second);
                    }
                    Some(other) => prop_assert!(false, "one severity cannot be {other:?}"),
                    None => {}
                }
            }
        }
    }
}
