//! The words for a drive that is too warm, or will be if nothing changes. Pure; the rules that all words keep are in
//! [`super::wording`].

use super::tongue::{Places, Tongue};
use super::wording::{Words, named, pointed_at, whole};
use crate::units::Celsius;
use crate::verdict::{Outlook, Place, Reaches};
use std::time::Duration;

/// What is known of a warm drive.
pub(super) struct Warm<'a> {
    pub drive: &'a Place,
    pub now: Celsius,
    pub limit: Celsius,
    pub own_limit: bool,
    pub others: Option<(Celsius, Celsius)>,
    pub is_alone: bool,
    pub outlook: Option<Outlook>,
}

impl Warm<'_> {
    /// The words: of what is ahead while the limit is not passed, else of what is.
    pub fn words(&self, tongue: Tongue) -> Words {
        let whose = tongue.plain(if self.own_limit { "drive-hot.own" } else { "drive-hot.configured" });
        let more = self.more(tongue);
        let places: Places = &[
            ("now", &self.now),
            ("degrees", &whole(self.now.0)),
            ("limit", &self.limit),
            ("whose", &whose),
            ("more", &more),
        ];
        let mut words = match self.ahead() {
            Some((outlook, reaches)) if self.now < self.limit => {
                let heads = |end: f64| tongue.say("drive-hot.heads", &[("end", &Celsius(end))]);
                let heads = outlook.heading.map(|end| heads(end.middle)).unwrap_or_default();
                let (degrees, minutes) = (whole(outlook.limit.0), about_minutes(reaches.middle));
                let ahead: Places = &[("ahead-degrees", &degrees), ("minutes", &minutes), ("heads", &heads)];
                about("drive-hot.ahead", self.drive, tongue, &[places, ahead].concat())
            }
            _ => about("drive-hot", self.drive, tongue, places),
        };
        if self.is_alone {
            words.brief = tongue.plain("drive-hot.alone.brief").to_owned();
            words.advice = tongue.plain("drive-hot.alone.advice").to_owned();
        }
        words.evidence.extend(self.ahead().map(|(outlook, reaches)| {
            let never = || tongue.plain("drive-hot.never").to_owned();
            let latest = reaches.latest.map_or_else(never, |latest| tongue.span(latest));
            let earliest = tongue.span(reaches.earliest);
            let places: Places = &[("ahead", &outlook.limit), ("earliest", &earliest), ("latest", &latest)];
            tongue.say("drive-hot.foretold", places)
        }));
        words
    }

    /// The next limit, if it is on its way there.
    fn ahead(&self) -> Option<(Outlook, Reaches)> {
        self.outlook.and_then(|outlook| Some((outlook, outlook.reaches?)))
    }

    /// What the sentence says besides: when the next limit is reached, and how warm the others are.
    fn more(&self, tongue: Tongue) -> String {
        let in_about = self.ahead().map(|(outlook, reaches)| {
            let minutes = about_minutes(reaches.middle);
            tongue.say("drive-hot.in-about", &[("ahead", &outlook.limit), ("minutes", &minutes)])
        });
        let among = self.others.map(|(coolest, warmest)| {
            tongue.say("drive-hot.others", &[("coolest", &whole(coolest.0)), ("warmest", &warmest)])
        });
        in_about.into_iter().chain(among).map(|more| format!("; {more}")).collect()
    }
}

/// Minutes as finely as they can be meant: whole ones up to ten, beyond that in steps of five.
fn about_minutes(duration: Duration) -> u64 {
    let minutes = duration.as_secs_f64() / 60.0;
    if minutes > 10.0 { 5 * (minutes / 5.0).round() as u64 } else { (minutes.round() as u64).max(1) }
}

/// The words of a section about one drive: with its name in a title, `tray`, and in a sentence, `drive`.
fn about(section: &str, drive: &Place, tongue: Tongue, places: Places) -> Words {
    let (tray, drive) = (named(drive, tongue), pointed_at(drive, tongue));
    let names: Places = &[("tray", &tray), ("drive", &drive)];
    tongue.words(section, &[names, places].concat())
}
