//! Scenes for pictures: the pretend box `heron` at the moments of its story, and variations of it.

use crate::boxes::{self, Mood};
use std::time::Duration;
use traylight::clock::Moment;
use traylight::demo::{self, heron, story};
use traylight::judge::{Memory, judge};
use traylight::reading::{Blind, Itself, Listing, Missing, Power, Reading, Reason, Snapshot, Source};
use traylight::rehearse::{Played, RehearsedFault, play};
use traylight::show::care::with_sign_of_life;
use traylight::show::pages::{self, Page, View, test_mark};
use traylight::tell::words::phrases::Language;
use traylight::verdict::{Kind, Verdict};
use traylight_config::{PageName, Settings};
use traylight_display::{Frame, PanelSize};

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
    let (settings, verdict, snapshot) = after(2.0);
    for page in PageName::ALL {
        pictures
            .push((format!("calm {}", page.word()), draw(&Page::Named(page), &settings, &verdict, Some(&snapshot))));
    }
    let moments = [
        ("fan stalls", 6.0),
        ("tray is warming", 12.0),
        ("tray warms", 19.0),
        ("drive drops", 26.0),
        ("pool fills", 45.0),
    ];
    for (name, minutes) in moments {
        let (settings, verdict, snapshot) = after(minutes);
        for incident in &verdict.incidents {
            let lead = incident.lead().map_or("", |lead| lead.kind().id());
            for (how, page) in [("afar", Page::Alarm(incident.id)), ("near", Page::Incident(incident.id))] {
                let name = format!("{name}, {lead}, {how}");
                pictures.push((name, draw(&page, &settings, &verdict, Some(&snapshot))));
            }
        }
        pictures.push((
            format!("{name}, state"),
            draw(&Page::Named(PageName::State), &settings, &verdict, Some(&snapshot)),
        ));
        pictures.push((
            format!("{name}, pools"),
            draw(&Page::Named(PageName::Pools), &settings, &verdict, Some(&snapshot)),
        ));
        pictures.push((
            format!("{name}, cooling"),
            draw(&Page::Named(PageName::Cooling), &settings, &verdict, Some(&snapshot)),
        ));
    }
    pictures.extend(without_data());
    pictures.extend(muted());
    pictures.extend(rehearsed());
    pictures
}

/// Every page of a box with six trays, in each mood, for one size of panel.
pub fn pages_on(panel: PanelSize, language: Language) -> Vec<(String, Frame)> {
    let mut pictures = Vec::new();
    for mood in Mood::ALL {
        let mut scene = boxes::scene(6, mood).clone();
        scene.settings.language = language;
        for page in boxes::pages(&scene) {
            let name = format!("{mood:?} {}", boxes::name(&page)).to_lowercase();
            let mut cycles: Vec<Frame> = Vec::new();
            for cycle in 0..8 {
                let frame = boxes::page(&scene, &page, cycle, panel);
                if cycles.contains(&frame) {
                    break;
                }
                cycles.push(frame);
            }
            let several = cycles.len() > 1;
            pictures.extend(cycles.into_iter().enumerate().map(|(cycle, frame)| {
                let name = if several { format!("{name}, lap {}", cycle + 1) } else { name.clone() };
                (name, frame)
            }));
        }
    }
    pictures
}

/// The shelves of boxes with two to eight trays, in each mood, for one size of panel.
pub fn shelves_on(panel: PanelSize) -> Vec<(String, Frame)> {
    let each = |trays: usize| {
        Mood::ALL.map(|mood| {
            let scene = boxes::scene(trays, mood);
            let frame = boxes::page(scene, &Page::Named(PageName::Shelf), 0, panel);
            (format!("{mood:?} {trays} trays").to_lowercase(), frame)
        })
    };
    (2..=8).flat_map(each).collect()
}

/// Messages are held back: in calm, and while something is wrong.
fn muted() -> [(String, Frame); 2] {
    [("muted", 2.0), ("muted, drive dropped", 26.0)].map(|(name, minutes)| {
        let (settings, verdict, snapshot) = after(minutes);
        let muted_until = Some(verdict.at.plus(Duration::from_secs(42 * 60 + 30)));
        let state = Page::Named(PageName::State);
        (name.to_owned(), draw(&state, &settings, &Verdict { muted_until, ..verdict }, Some(&snapshot)))
    })
}

/// A drive that goes in a rehearsal, as it would lead on the panel, and the state beside it.
fn rehearsed() -> Vec<(String, Frame)> {
    let (settings, _, snapshot) = after(2.0);
    let fault = RehearsedFault::Kind(Kind::DriveGone);
    let Ok(Played { verdict, snapshot, .. }) = play(&settings, &Memory::default(), &snapshot, fault, Some("3")) else {
        return Vec::new();
    };
    let time_of_day = |_: Duration| "14:32".to_owned();
    let view = View { clock: test_mark(Language::ENGLISH), ..view(&settings, &verdict, Some(&snapshot), &time_of_day) };
    let leads = verdict.incidents.first().map(|incident| Page::Alarm(incident.id));
    let pages = [("rehearsal, drive gone", leads), ("rehearsal, state", Some(Page::Named(PageName::State)))];
    pages
        .into_iter()
        .filter_map(|(name, page)| Some((name.to_owned(), pages::draw(&page?, &view, PanelSize::W128H64))))
        .collect()
}

/// Starting, silent, blind in part, and stopped.
fn without_data() -> Vec<(String, Frame)> {
    let (settings, _, mut snapshot) = after(2.0);
    let state = Page::Named(PageName::State);
    let (starting, _) = judge(&settings, &mut Memory::default(), snapshot.taken, None, &Itself::default());
    let later = snapshot.taken.plus(Duration::from_secs(125));
    let (silent, _) = judge(&settings, &mut Memory::default(), later, Some(&snapshot), &Itself::default());
    let mut found = vec![
        ("starting".to_owned(), draw(&state, &settings, &starting, None)),
        ("no data".to_owned(), draw(&state, &settings, &silent, Some(&snapshot))),
        ("stopped".to_owned(), pages::stopped("14:32", PanelSize::W128H64, Language::ENGLISH)),
    ];
    let refused = || Missing::found(Reason::Refused, "block");
    snapshot.blind.push(Blind { what: Listing::Chips, why: refused() });
    for drive in &mut snapshot.drives[..2] {
        drive.power = Reading::new(Ok(Power::Asleep), snapshot.taken, Source::Drive);
    }
    snapshot.drives[2].temperature = Reading::new(Err(refused()), snapshot.taken, Source::Hwmon);
    snapshot.volumes[1].room = Reading::new(Err(Missing::of(Reason::TimedOut)), snapshot.taken, Source::Statvfs);
    let (in_part, _) = judge(&settings, &mut Memory::default(), snapshot.taken, Some(&snapshot), &Itself::default());
    found.push(("seen in part".to_owned(), draw(&state, &settings, &in_part, Some(&snapshot))));
    found.push((
        "seen in part, space".to_owned(),
        draw(&Page::Named(PageName::Space), &settings, &in_part, Some(&snapshot)),
    ));
    found
}

/// A calm page at some minute and tick: what changes from one look to the next.
pub fn calm(page: PageName, clock: &str, tick: u64) -> Frame {
    let (settings, verdict, snapshot) = after(2.0);
    let time_of_day = |_: Duration| String::new();
    let view = View { clock, ..view(&settings, &verdict, Some(&snapshot), &time_of_day) };
    with_sign_of_life(pages::draw(&Page::Named(page), &view, PanelSize::W128H64), tick)
}

fn draw(page: &Page, settings: &Settings, verdict: &Verdict, snapshot: Option<&Snapshot>) -> Frame {
    let time_of_day = |ago: Duration| {
        let minute = 14 * 60 + 32 - ago.as_secs() / 60;
        format!("{:02}:{:02}", minute / 60, minute % 60)
    };
    pages::draw(page, &view(settings, verdict, snapshot, &time_of_day), PanelSize::W128H64)
}

fn view<'a>(
    settings: &'a Settings,
    verdict: &'a Verdict,
    snapshot: Option<&'a Snapshot>,
    time_of_day: &'a dyn Fn(Duration) -> String,
) -> View<'a> {
    View {
        verdict,
        snapshot,
        settings,
        channels: &[],
        clock: "14:32",
        cycle: 0,
        time_of_day,
        language: settings.language,
    }
}
