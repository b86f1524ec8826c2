//! The words for a drive that is too warm, or will be if nothing changes. Pure; the rules that all words keep are in
//! [`super::condition`].

use super::drives::{named, pointed_at};
use super::parts::Words;
use super::phrases::{Language, Phrases, Places};
use super::temperature::Temperatures;
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
    pub fn words(&self, language: Language) -> Words {
        let whose = language.plain(if self.own_limit { "drive-hot.own" } else { "drive-hot.configured" });
        let more = self.more(language);
        let places: Places = &[
            ("now", &language.temperature(self.now)),
            ("now-short", &language.short_temperature(self.now)),
            ("limit", &language.temperature(self.limit)),
            ("whose", &whose),
            ("more", &more),
        ];
        let mut words = match self.ahead() {
            Some((outlook, reaches)) if self.now < self.limit => {
                let heads = |end: f64| language.say("drive-hot.heads", &[("end", &language.temperature(Celsius(end)))]);
                let heads = outlook.heading.map(|end| heads(end.middle)).unwrap_or_default();
                let (limit, minutes) = (language.short_temperature(outlook.limit), about_minutes(reaches.middle));
                let ahead: Places = &[("ahead-short", &limit), ("minutes", &minutes), ("heads", &heads)];
                about("drive-hot.ahead", self.drive, language, &[places, ahead].concat())
            }
            _ => about("drive-hot", self.drive, language, places),
        };
        if self.is_alone {
            words.brief = language.plain("drive-hot.alone.brief").to_owned();
            words.advice = language.plain("drive-hot.alone.advice").to_owned();
        }
        words.evidence.extend(self.ahead().map(|(outlook, reaches)| {
            let never = || language.plain("drive-hot.never").to_owned();
            let latest = reaches.latest.map_or_else(never, |latest| language.span(latest));
            let earliest = language.span(reaches.earliest);
            let ahead = language.temperature(outlook.limit);
            let places: Places = &[("ahead", &ahead), ("earliest", &earliest), ("latest", &latest)];
            language.say("drive-hot.foretold", places)
        }));
        words
    }

    /// The next limit, if it is on its way there.
    fn ahead(&self) -> Option<(Outlook, Reaches)> {
        self.outlook.and_then(|outlook| Some((outlook, outlook.reaches?)))
    }

    /// What the sentence says besides: when the next limit is reached, and how warm the others are.
    fn more(&self, language: Language) -> String {
        let in_about = self.ahead().map(|(outlook, reaches)| {
            let minutes = about_minutes(reaches.middle);
            let ahead = language.temperature(outlook.limit);
            language.say("drive-hot.in-about", &[("ahead", &ahead), ("minutes", &minutes)])
        });
        let among = self.others.map(|(coolest, warmest)| {
            let (coolest, warmest) = (language.degrees(coolest), language.temperature(warmest));
            language.say("drive-hot.others", &[("coolest", &coolest), ("warmest", &warmest)])
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
fn about(section: &str, drive: &Place, language: Language, places: Places) -> Words {
    let (tray, drive) = (named(drive, language), pointed_at(drive, language));
    let names: Places = &[("tray", &tray), ("drive", &drive)];
    language.words(section, &[names, places].concat())
}
