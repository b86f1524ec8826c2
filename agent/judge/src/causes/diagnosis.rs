//! What a rule about causes finds, and what the rules before it have left to explain.

use super::view::{CauseView, Suspect};
use crate::kinds::Trouble;
use crate::memory::sign::Sign;
use std::collections::BTreeSet;
use traylight_data::clock::Moment;
use traylight_data::reading::DriveKey;
use traylight_data::verdict::{Cause, Condition, ConditionKey, Confidence, Kind, Unmeasured};

/// What a rule found.
#[derive(Debug, Clone)]
pub struct Diagnosis {
    /// What it points to.
    pub cause: Cause,
    /// How surely.
    pub confidence: Confidence,
    /// The drives that it is about.
    pub drives: Vec<DriveKey>,
    /// The part besides drives and pools that it is about.
    pub part: Option<String>,
    /// What speaks for it.
    pub evidence: Vec<Sign>,
    /// What would help to decide and is not measured.
    pub unmeasured: Vec<Unmeasured>,
    /// The conditions that it explains.
    pub claims: BTreeSet<ConditionKey>,
    /// Since when.
    pub since: Moment,
    explains: Vec<(DriveKey, Trouble)>,
}

impl Diagnosis {
    pub fn new(cause: Cause, confidence: Confidence) -> Self {
        Self {
            cause,
            confidence,
            drives: Vec::new(),
            part: None,
            evidence: Vec::new(),
            unmeasured: Vec::new(),
            claims: BTreeSet::new(),
            since: Moment::default(),
            explains: Vec::new(),
        }
    }

    /// A condition that says it all.
    pub fn as_it_says(condition: &Condition) -> Self {
        let mut diagnosis = Self::new(Cause::SelfEvident, Confidence::Certain).claiming([condition]);
        diagnosis.drives.extend(condition.subject.drive().cloned());
        diagnosis
    }

    /// It explains these troubles of these drives.
    pub fn of<'s, 'a: 's>(
        mut self,
        suspects: impl IntoIterator<Item = &'s Suspect<'a>>,
        explains: &'static [Trouble],
    ) -> Self {
        for suspect in suspects {
            self = self.of_one(suspect, explains, |_| true);
        }
        self
    }

    /// It explains these troubles of a drive, as far as their conditions are `meant`: of a trouble of which some are
    /// not, it explains no more than the others.
    pub fn of_one(mut self, suspect: &Suspect, explains: &[Trouble], meant: impl Fn(&Condition) -> bool) -> Self {
        self.since = if self.drives.is_empty() { suspect.since } else { self.since.min(suspect.since) };
        if !self.drives.contains(suspect.key) {
            self.drives.push(suspect.key.clone());
        }
        for trouble in explains {
            let open = || suspect.open.iter().filter(|open| suspect.kinds.is_sign(open.kind(), *trouble));
            self.claims.extend(open().filter(|open| meant(open)).map(|open| open.key()));
            if open().all(|open| meant(open)) {
                self.explains.push((suspect.key.clone(), *trouble));
            }
        }
        self
    }

    pub fn with<'a>(mut self, signs: impl IntoIterator<Item = &'a Sign>) -> Self {
        for sign in signs {
            if !self.evidence.contains(sign) {
                self.evidence.push(sign.clone());
            }
        }
        self
    }

    pub fn without(mut self, unmeasured: impl IntoIterator<Item = Unmeasured>) -> Self {
        self.unmeasured.extend(unmeasured);
        self
    }

    pub fn part(mut self, part: impl Into<String>) -> Self {
        self.part = Some(part.into());
        self
    }

    pub fn claiming<'a>(mut self, conditions: impl IntoIterator<Item = &'a Condition>) -> Self {
        for condition in conditions {
            if self.claims.is_empty() && self.drives.is_empty() {
                self.since = condition.since;
            }
            self.claims.insert(condition.key());
        }
        self
    }
}

/// What no rule has explained yet.
pub struct Left<'v, 'a> {
    pub view: &'v CauseView<'a>,
    pub explained: BTreeSet<(DriveKey, Trouble)>,
    pub claimed: BTreeSet<ConditionKey>,
}

impl<'v, 'a> Left<'v, 'a> {
    /// True for a drive with a trouble of this sort that is not explained.
    pub fn is_open(&self, suspect: &Suspect, trouble: Trouble) -> bool {
        suspect.has_trouble(trouble) && !self.explained.contains(&(suspect.key.clone(), trouble))
    }

    /// The drives with a trouble of this sort that is not explained.
    pub fn with(&self, trouble: Trouble) -> Vec<&'v Suspect<'a>> {
        self.view.suspects.iter().filter(|suspect| self.is_open(suspect, trouble)).collect()
    }

    /// The drives that lost power or connection, as far as that is not explained.
    pub fn cut_off(&self) -> Vec<&'v Suspect<'a>> {
        let any =
            |suspect: &&Suspect| self.is_open(suspect, Trouble::Power) || self.is_open(suspect, Trouble::Connection);
        self.view.suspects.iter().filter(any).collect()
    }

    /// The open conditions of these kinds that are not explained.
    pub fn open(&self, kinds: &'static [Kind]) -> Vec<&'a Condition> {
        self.view.open(kinds).filter(|condition| !self.claimed.contains(&condition.key())).collect()
    }

    pub fn take(&mut self, diagnosis: &mut Diagnosis) {
        diagnosis.claims.retain(|claim| !self.claimed.contains(claim));
        self.claimed.extend(diagnosis.claims.iter().cloned());
        self.explained.extend(diagnosis.explains.iter().cloned());
    }
}
