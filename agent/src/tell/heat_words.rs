//! The words for a drive that is too warm, or will be if nothing changes. Pure; the rules that all words keep are in
//! [`super::wording`].

use super::wording::{Words, named, pointed_at, sentence};
use crate::units::{Celsius, span};
use crate::verdict::{Outlook, Place, Reaches};
use std::time::Duration;

/// What is known of a warm drive.
pub(super) struct Warm<'a> {
    pub drive: &'a Place,
    pub now: Celsius,
    pub limit: Celsius,
    pub own_limit: bool,
    pub others: Option<(Celsius, Celsius)>,
    pub outlook: Option<Outlook>,
}

impl Warm<'_> {
    /// The words: of what is ahead while the limit is not passed, else of what is.
    pub fn words(&self) -> Words {
        let (name, figures, what) = match self.ahead() {
            Some((outlook, reaches)) if self.now < self.limit => {
                // The arrow keeps the limit apart from the label; with the longest label this just fits the line.
                let figures = format!("->{:.0}C {}m", outlook.limit.0, about_minutes(reaches.middle));
                let heads = outlook.heading.map(|end| format!(" and heads for {}", Celsius(end.middle)));
                ("WARMING", figures, format!("is at {}{}", self.now, heads.unwrap_or_default()))
            }
            _ => ("HOT", format!("HOT {:.0}C", self.now.0), format!("is at {}, its limit is {}", self.now, self.limit)),
        };
        let among = self.others.map(|(coolest, warmest)| format!("others {:.0} to {warmest}", coolest.0));
        let in_about = |(outlook, reaches): (Outlook, Reaches)| {
            format!("{} in about {} min", outlook.limit, about_minutes(reaches.middle))
        };
        let more: Vec<String> = self.ahead().map(in_about).into_iter().chain(among).collect();
        let alone = self.others.is_some_and(|(_, warmest)| self.now.0 - warmest.0 >= 8.0);
        Words {
            title: format!("{} {figures}", named(self.drive)),
            name: format!("{} {name}", named(self.drive)),
            sentence: sentence(
                &[&pointed_at(self.drive), &what],
                (!more.is_empty()).then(|| more.join("; ")).as_deref(),
            ),
            brief: if alone { "air blocked there?" } else { "fan? dust? room?" },
            leave_in: None,
            advice: match alone {
                true => "Look for what blocks the air to this drive, or warms it from beside.".to_owned(),
                false => "Look at the fan, the dust filter and the room.".to_owned(),
            },
            warning: "Do not move a drive while it turns, and do not reach into a turning fan.".to_owned(),
            evidence: self.evidence(),
        }
    }

    /// The next limit, if it is on its way there.
    fn ahead(&self) -> Option<(Outlook, Reaches)> {
        self.outlook.and_then(|outlook| Some((outlook, outlook.reaches?)))
    }

    fn evidence(&self) -> Vec<String> {
        let whose = if self.own_limit { "from the drive's own" } else { "configured" };
        let mut evidence = vec![format!("temperature {}", self.now), format!("limit {} ({whose})", self.limit)];
        evidence.extend(self.ahead().map(|(outlook, reaches)| {
            let latest = reaches.latest.map_or_else(|| "never".to_owned(), span);
            format!("{} foretold in {} to {latest} if nothing changes", outlook.limit, span(reaches.earliest))
        }));
        evidence
    }
}

/// Minutes as finely as they can be meant: whole ones up to ten, beyond that in steps of five.
fn about_minutes(duration: Duration) -> u64 {
    let minutes = duration.as_secs_f64() / 60.0;
    if minutes > 10.0 { 5 * (minutes / 5.0).round() as u64 } else { (minutes.round() as u64).max(1) }
}
