//! Scenes for pictures: the pretend box `heron` at the moments of its story, and variations of it.

use std::time::Duration;
use traylight::clock::Moment;
use traylight::demo::{self, heron, story};
use traylight::judge::{Memory, judge};
use traylight::reading::{Blind, Itself, Missing, Power, Reading, Reason, Snapshot, Source};
use traylight::rehearse::{Fault, Played, play};
use traylight::show::pages::{self, Page, TEST, View};
use traylight::verdict::{Kind, Verdict};
use traylight_config::{PageName, Settings};
use traylight_display::{Frame, GlassSize};

/// The glass that pictures are drawn for.
const GLASS: GlassSize = GlassSize::W128H64;
/// The box was up for so long when the story began.
const UP: Duration = Duration::from_secs(41 * 86_400);

/// The box after the first `minutes` of the story, judged all the way, as the loop would have.
pub fn after(minutes: f64) -> (Settings, Verdict, Snapshot) {
    let settings = demo::settings().unwrap_or_default();
    let mut memory = Memory::default();
    let mut last = None;
    for second in (0..=(minutes * 60.0) as u64).step_by(2) {
        let elapsed = Duration::from_secs(second);
        let now = Moment::after_boot(UP + elapsed);
        let snapshot = heron::snapshot(now, &story::scene(elapsed));
        let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &Itself::default());
        last = Some((verdict, snapshot));
    }
    let (verdict, snapshot) = last.unwrap_or_else(|| unreachable!("the story has a first second"));
    (settings, verdict, snapshot)
}

/// Every picture by name: all pages in calm, then what the story brings, then the states without data.
pub fn pictures() -> Vec<(String, Frame)> {
    let mut pictures = Vec::new();
    let (_, verdict, snapshot) = after(2.0);
    for page in PageName::ALL {
        pictures.push((format!("calm {page:?}").to_lowercase(), draw(&Page::Named(page), &verdict, Some(&snapshot))));
    }
    let moments = [
        ("fan stalls", 6.0),
        ("tray is warming", 12.0),
        ("tray warms", 19.0),
        ("drive drops", 26.0),
        ("pool fills", 45.0),
    ];
    for (name, minutes) in moments {
        let (_, verdict, snapshot) = after(minutes);
        for incident in &verdict.incidents {
            let page = Page::Incident(incident.id);
            let name = format!("{name}, {}", incident.lead().map_or("", |lead| lead.kind().id()));
            pictures.push((name, draw(&page, &verdict, Some(&snapshot))));
        }
        pictures.push((format!("{name}, state"), draw(&Page::Named(PageName::State), &verdict, Some(&snapshot))));
        pictures.push((format!("{name}, pools"), draw(&Page::Named(PageName::Pools), &verdict, Some(&snapshot))));
        pictures.push((format!("{name}, cooling"), draw(&Page::Named(PageName::Cooling), &verdict, Some(&snapshot))));
    }
    pictures.extend(without_data());
    pictures.extend(muted());
    pictures.extend(rehearsed());
    pictures
}

/// Messages are held back: in calm, and while something is wrong.
fn muted() -> [(String, Frame); 2] {
    [("muted", 2.0), ("muted, drive dropped", 26.0)].map(|(name, minutes)| {
        let (_, verdict, snapshot) = after(minutes);
        let muted_until = Some(verdict.at.plus(Duration::from_secs(42 * 60 + 30)));
        let state = Page::Named(PageName::State);
        (name.to_owned(), draw(&state, &Verdict { muted_until, ..verdict }, Some(&snapshot)))
    })
}

/// A drive that goes in a rehearsal, as it would lead on the panel, and the state beside it.
fn rehearsed() -> Vec<(String, Frame)> {
    let (settings, _, snapshot) = after(2.0);
    let fault = Fault::Kind(Kind::DriveGone);
    let Ok(Played { verdict, snapshot, .. }) = play(&settings, &Memory::default(), &snapshot, fault, Some("3")) else {
        return Vec::new();
    };
    let time_of_day = |_: Duration| "14:32".to_owned();
    let view = View { verdict: &verdict, snapshot: Some(&snapshot), clock: TEST, beat: 7, time_of_day: &time_of_day };
    let leads = verdict.incidents.first().map(|incident| Page::Incident(incident.id));
    let pages = [("rehearsal, drive gone", leads), ("rehearsal, state", Some(Page::Named(PageName::State)))];
    pages.into_iter().filter_map(|(name, page)| Some((name.to_owned(), pages::draw(&page?, &view, GLASS)))).collect()
}

/// Starting, silent, blind in part, and stopped.
fn without_data() -> Vec<(String, Frame)> {
    let (settings, _, mut snapshot) = after(2.0);
    let state = Page::Named(PageName::State);
    let (starting, _) = judge(&settings, &mut Memory::default(), snapshot.taken, None, &Itself::default());
    let later = snapshot.taken.plus(Duration::from_secs(125));
    let (silent, _) = judge(&settings, &mut Memory::default(), later, Some(&snapshot), &Itself::default());
    let mut found = vec![
        ("starting".to_owned(), draw(&state, &starting, None)),
        ("no data".to_owned(), draw(&state, &silent, Some(&snapshot))),
        ("stopped".to_owned(), pages::stopped("14:32", GLASS)),
    ];
    let refused = || Missing::new(Reason::Refused, "block: permission denied");
    snapshot.blind.push(Blind { what: "chips".to_owned(), why: refused() });
    for drive in &mut snapshot.drives[..2] {
        drive.power = Reading::new(Ok(Power::Asleep), snapshot.taken, Source::Drive);
    }
    snapshot.drives[2].temperature = Reading::new(Err(refused()), snapshot.taken, Source::Hwmon);
    snapshot.volumes[1].room = Reading::new(Err(Missing::new(Reason::TimedOut, "")), snapshot.taken, Source::Statvfs);
    let (in_part, _) = judge(&settings, &mut Memory::default(), snapshot.taken, Some(&snapshot), &Itself::default());
    found.push(("seen in part".to_owned(), draw(&state, &in_part, Some(&snapshot))));
    found.push(("seen in part, room".to_owned(), draw(&Page::Named(PageName::Room), &in_part, Some(&snapshot))));
    found
}

/// The calm state page at some minute and beat: what changes from one look to the next.
pub fn calm_state(clock: &str, beat: u64) -> Frame {
    let (_, verdict, snapshot) = after(2.0);
    let time_of_day = |_: Duration| String::new();
    let view = View { verdict: &verdict, snapshot: Some(&snapshot), clock, beat, time_of_day: &time_of_day };
    pages::draw(&Page::Named(PageName::State), &view, GLASS)
}

fn draw(page: &Page, verdict: &Verdict, snapshot: Option<&Snapshot>) -> Frame {
    let time_of_day = |ago: Duration| {
        let minute = 14 * 60 + 32 - ago.as_secs() / 60;
        format!("{:02}:{:02}", minute / 60, minute % 60)
    };
    pages::draw(page, &View { verdict, snapshot, clock: "14:32", beat: 7, time_of_day: &time_of_day }, GLASS)
}
