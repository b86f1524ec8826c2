//! What pages must say whatever the panel, whatever the box: that it is a test, that nothing is heard, which trays stay in.

use proptest::prelude::*;
use std::time::Duration;
use traylight::clock::Moment;
use traylight::show::pages::{Page, draw, sentences, test_mark};
use traylight::show::turn::worth_showing;
use traylight::tell::words::incident::incident_words;
use traylight::tell::words::phrases::Language;
use traylight::units::{Bytes, Rpm};
use traylight::verdict::{Freshness, Handling, IncidentId, Severity};
use traylight_config::{PageName, Settings};
use traylight_display::PanelSize;
use traylight_display::text::wrap;
use traylight_tests::boxes::{Mood, Scene, page, pages, scene, with_view};
use traylight_tests::lab::panel::{shows, shows_in_a_face};
use traylight_tests::scenes::after;

fn picture(scene: &Scene, of: &Page, cycle: u64, panel: PanelSize) -> String {
    page(scene, of, cycle, panel).to_text()
}

fn state(scene: &Scene) -> String {
    picture(scene, &Page::Named(PageName::State), 0, PanelSize::W128H64)
}

#[test]
fn a_rehearsal_is_a_test_on_every_page_of_every_panel_in_every_language() {
    let mut gone = scene(6, Mood::Critical).clone();
    for language in [Language::ENGLISH, Language::GERMAN] {
        gone.settings.language = language;
        let mark = test_mark(language);
        for (panel, page) in
            PanelSize::ALL.iter().flat_map(|panel| pages(&gone).into_iter().map(move |page| (*panel, page)))
        {
            for cycle in 0..3 {
                let drawn = with_view(&gone, mark, cycle, |view| draw(&page, view, panel)).to_text();
                assert!(shows_in_a_face(&drawn, mark), "{page:?} on {panel:?}, lap {cycle}:\n{drawn}");
            }
        }
    }
}

#[test]
fn silence_takes_the_place_of_ok_at_once_and_old_readings_leave_the_turn() {
    let healthy = scene(6, Mood::Healthy);
    let heard = healthy.verdict.at;
    let mut silent = healthy.clone();
    (silent.verdict.at, silent.verdict.freshness) =
        (heard.plus(Duration::from_secs(125)), Freshness::SilentSince(heard));
    assert_eq!(with_view(&silent, "14:34", 0, worth_showing), [Page::Named(PageName::State)]);
    for panel in PanelSize::ALL {
        let (before, after) =
            [healthy, &silent].map(|scene| picture(scene, &Page::Named(PageName::State), 0, panel)).into();
        assert!(shows(&before, "OK"), "{panel:?}:\n{before}");
        assert!(shows(&after, "NO DATA") || shows(&after, "STALE"), "{panel:?}:\n{after}");
        assert!(!shows(&after, "OK"), "{panel:?}:\n{after}");
    }
    assert!(shows(&state(&silent), "for 2 min"));
}

/// A list that were cut would leave out a tray that must stay in.
#[test]
fn the_trays_that_must_stay_in_are_named_all_or_all_trays_are_meant() {
    let mut seen = 0;
    for trays in 2..=8 {
        let gone = scene(trays, Mood::Critical);
        let incident = &gone.verdict.incidents[0];
        let line = incident_words(incident, &|_| String::new(), Language::ENGLISH)
            .words
            .leave_in
            .expect("its pool can lose no other");
        let whole = |drawn: &str| {
            (4..=21).any(|columns| wrap(&line, columns).iter().all(|part| shows_in_a_face(drawn, part)))
                || shows_in_a_face(drawn, "ALL IN")
        };
        for panel in PanelSize::ALL {
            let alarm = picture(gone, &Page::Alarm(incident.id), 0, panel);
            assert!(whole(&alarm), "{line} from afar on {panel:?}:\n{alarm}");
            let state = picture(gone, &Page::Named(PageName::State), 0, panel);
            assert!(whole(&state), "{line} on the state page of {panel:?}:\n{state}");
            let cycles: Vec<String> =
                (0..3).map(|cycle| picture(gone, &Page::Incident(incident.id), cycle, panel)).collect();
            assert!(cycles.iter().any(|near| whole(near)), "{line} from near on {panel:?}:\n{}", cycles.concat());
            seen += 1;
        }
    }
    assert_eq!(seen, 7 * 8);
}

/// A fan that stopped was first, and has made the box critical as well: which trays must stay in comes before it all the same.
#[test]
fn the_first_page_of_several_critical_ones_says_which_trays_stay_in() {
    let (settings, verdict, snapshot) = after(26.0);
    let both = Scene { settings, verdict, snapshot };
    assert_eq!(both.verdict.incidents.iter().filter(|open| open.severity == Severity::Critical).count(), 2);
    let order = with_view(&both, "14:32", 0, worth_showing);
    for first in [&order[0], &Page::Named(PageName::State)] {
        for panel in PanelSize::ALL {
            let drawn = picture(&both, first, 0, panel);
            let named = ["LEAVE IN 1 2 4 5", "LEAVE IN", "ALL IN"].iter().any(|words| shows_in_a_face(&drawn, words))
                || ["LEAVE", "IN 1"].iter().all(|words| shows_in_a_face(&drawn, words));
            assert!(named, "{first:?} on {panel:?}:\n{drawn}");
        }
    }
}

/// A drive that is plugged into a running box without hot swap may take others with it.
#[test]
fn no_panel_is_too_small_to_say_that_power_goes_off_before_a_tray_goes_back() {
    let mut wrong = scene(6, Mood::Critical).clone();
    let incident = &mut wrong.verdict.incidents[0];
    (incident.handling, incident.hot_swap) = (Handling::PutBack { tray: "4".into() }, false);
    let id = incident.id;
    for (language, off, back) in [(Language::ENGLISH, "OFF,", "BACK"), (Language::GERMAN, "AUS,", "ZURÜCK")] {
        wrong.settings.language = language;
        for panel in PanelSize::ALL {
            for of in [Page::Alarm(id), Page::Incident(id), Page::Named(PageName::State)] {
                let drawn = picture(&wrong, &of, 0, panel);
                let says = |word| shows_in_a_face(&drawn, word);
                assert!(!says(back) || says(off), "{of:?} on {panel:?}:\n{drawn}");
                assert!(says(back) || panel.width() < 128, "{of:?} on {panel:?}:\n{drawn}");
            }
        }
    }
}

/// A rehearsal adds its pages to those of real trouble and replaces none of them.
#[test]
fn real_trouble_stays_on_the_panel_while_a_rehearsal_runs() {
    let mut both = scene(6, Mood::Critical).clone();
    let rehearsed = both.verdict.incidents[0].id;
    let mut real = scene(6, Mood::Warning).verdict.incidents[0].clone();
    real.id = IncidentId(rehearsed.0 + 1);
    both.verdict.incidents.push(real.clone());
    let order = with_view(&both, "14:32", 0, worth_showing);
    assert_eq!(order[0], Page::Alarm(rehearsed), "{order:?}");
    assert!(order.contains(&Page::Incident(real.id)), "{order:?}");
}

/// What a line of words says is what the picture shows.
#[test]
fn pages_in_words_say_what_matters_first() {
    let said = |trays, mood, page: &dyn Fn(&Scene) -> Page| {
        let scene = scene(trays, mood);
        with_view(scene, "14:32", 0, |view| sentences(&page(scene), view))
    };
    let named = |name| move |_: &Scene| Page::Named(name);
    let first = said(6, Mood::Critical, &|scene| pages(scene)[0].clone());
    assert_eq!(first, ["CRITICAL", "TRAY 2 GONE", "LEAVE IN 1 3 4 5"]);
    let near = said(6, Mood::Critical, &|scene| pages(scene)[1].clone());
    assert_eq!(near[..4], ["TRAY 2 GONE", "LEAVE IN 1 3 4 5", "OFF: check its plugs", "since 14:31 (60 s)"]);
    assert_eq!(said(6, Mood::Critical, &named(PageName::State)), first);
    assert_eq!(said(6, Mood::Healthy, &named(PageName::State)), ["OK", "6 drives", "hottest 38°C"]);
    let shelf = said(3, Mood::Critical, &named(PageName::Shelf));
    assert_eq!(shelf, ["TRAY 1 36 °C", "TRAY 2 GONE, CRITICAL", "TRAY 3 37 °C"]);
    let space = said(6, Mood::Healthy, &named(PageName::Space));
    assert_eq!(space, ["SPACE: 71% used, /srv/songs", "free 4.61 TB", "/ 21%"]);
    let drives = said(6, Mood::Healthy, &named(PageName::Drives));
    let of_each = (1..=6).filter(|tray| drives.iter().any(|line| line.starts_with(&format!("TRAY {tray}: 3"))));
    assert_eq!(of_each.count(), 6, "{drives:?}");
}

#[test]
fn what_is_wrong_leads_and_what_its_owner_knows_of_steps_back() {
    let order = |scene: &Scene| with_view(scene, "14:32", 0, worth_showing);
    let calm = order(scene(6, Mood::Healthy));
    assert_eq!(calm[..3], [PageName::State, PageName::Shelf, PageName::Pools].map(Page::Named));
    assert_eq!(calm.len(), PageName::ALL.len());

    let warned = scene(6, Mood::Warning);
    let id = warned.verdict.incidents[0].id;
    let led: Vec<Page> = [Page::Alarm(id), Page::Incident(id)].into_iter().chain(calm.clone()).collect();
    assert_eq!(order(warned), led);

    let gone = scene(6, Mood::Critical);
    let id = gone.verdict.incidents[0].id;
    let alone = [Page::Alarm(id), Page::Incident(id), Page::Named(PageName::State), Page::Named(PageName::Shelf)];
    assert_eq!(order(gone), alone, "while that is critical, nothing else matters");

    let mut known = gone.clone();
    known.verdict.incidents[0].acknowledged = true;
    let back: Vec<Page> = calm.into_iter().chain([Page::Incident(id)]).collect();
    assert_eq!(order(&known), back, "it stays in the turn");
    assert!(shows(&picture(&known, &Page::Incident(id), 0, PanelSize::W128H64), "CRITICAL ACK"));
}

#[test]
fn a_page_without_anything_to_say_is_passed_over() {
    let mut bare = scene(2, Mood::Healthy).clone();
    bare.snapshot.pools.clear();
    bare.snapshot.volumes.clear();
    bare.snapshot.rails.clear();
    bare.snapshot.links.clear();
    let order = with_view(&bare, "14:32", 0, worth_showing);
    for page in [PageName::Pools, PageName::Space, PageName::Power, PageName::Network] {
        assert!(!order.contains(&Page::Named(page)), "{page:?}");
    }
    assert!(order.contains(&Page::Named(PageName::Cooling)));
}

#[test]
fn a_start_counts_the_drives_that_have_come() {
    let mut young = scene(5, Mood::Healthy).clone();
    (young.verdict.at, young.verdict.is_starting) = (Moment::after_boot(Duration::from_secs(40)), true);
    young.snapshot.drives.truncate(3);
    let drawn = state(&young);
    for words in ["STARTING", "3 of 5 drives", "40 s"] {
        assert!(shows(&drawn, words), "{words}:\n{drawn}");
    }
    young.snapshot = scene(5, Mood::Healthy).snapshot.clone();
    let all_there = state(&young);
    assert!(shows(&all_there, "STARTING") && !shows(&all_there, "OK"), "pools may still be on their way:\n{all_there}");
    young.verdict.is_starting = false;
    assert!(!shows(&state(&young), "STARTING"), "after its time it is no start any more");
}

#[test]
fn a_box_without_named_trays_says_so() {
    let mut new = scene(5, Mood::Healthy).clone();
    new.settings = Settings::default();
    let drawn = state(&new);
    assert!(shows(&drawn, "5 drives") && shows(&drawn, "named"), "{drawn}");
    assert!(!shows(&state(scene(5, Mood::Healthy)), "named"));
}

#[test]
fn a_clock_that_nobody_set_is_not_shown_as_one() {
    let drawn = with_view(scene(5, Mood::Healthy), "up 3 min", 0, |view| {
        draw(&Page::Named(PageName::Space), view, PanelSize::W128H64)
    });
    assert!(shows(&drawn.to_text(), "up 3 min"));
}

/// For half a minute the word is dark on light, for the next light on dark: a picture that stands for days burns in.
#[test]
fn the_alarm_swaps_light_and_dark_every_half_minute() {
    let mut gone = scene(6, Mood::Critical).clone();
    let alarm = Page::Alarm(gone.verdict.incidents[0].id);
    let mut lit = Vec::new();
    for second in [0, 29, 30, 59, 60] {
        gone.verdict.at = Moment::after_boot(Duration::from_secs(86_400 + second));
        let frame = page(&gone, &alarm, 0, PanelSize::W128H64);
        assert!(shows(&frame.to_text(), "CRITICAL"), "at {second} s");
        lit.push(frame.lit_count());
    }
    assert_eq!((lit[0], lit[2]), (lit[1], lit[3]));
    assert_eq!(lit[0], lit[4]);
    assert!(lit[0] > lit[2] + 200, "{lit:?}");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(16))]

    /// Names are anybody's, and figures as large as they come.
    #[test]
    fn whatever_a_box_says_every_page_can_be_drawn_and_trouble_stays_in_sight(
        names in proptest::collection::vec(".{0,40}", 9), number in any::<u64>(), cycle in 0..50u64, panel in 0..8usize,
    ) {
        let mut odd = scene(6, Mood::Critical).clone();
        let [mount, fan, rail, board, model, kernel, pool, link, name] = names.try_into().expect("nine names");
        odd.snapshot.volumes[0].mount = mount;
        if let Ok(room) = &mut odd.snapshot.volumes[0].room.value {
            (room.free, room.used) = (Bytes(number / 2), Bytes(number / 2));
        }
        odd.snapshot.fans[0].label = fan;
        odd.snapshot.fans[0].speed.value = Ok(Rpm(u32::MAX));
        odd.snapshot.rails[0].label = rail;
        odd.snapshot.board.model = board;
        odd.snapshot.board.kernel = kernel;
        odd.snapshot.board.address = Some("2001:db8:ffff:ffff:ffff:ffff:ffff:ffff".into());
        odd.snapshot.drives[0].model = Some(model);
        odd.snapshot.pools[0].name = pool;
        odd.snapshot.links[0].name = link;
        odd.settings.box_name = Some(name);
        let panel = PanelSize::ALL[panel];
        for of in pages(&odd) {
            let drawn = picture(&odd, &of, cycle, panel);
            let is_bare = of == Page::Named(PageName::Shelf) && panel.height() < 64;
            let in_sight = ["CRITICAL", "CRIT", "!!"].iter().any(|word| shows_in_a_face(&drawn, word))
                || of == Page::Named(PageName::State);
            let named = matches!(of, Page::Incident(_)) && cycle > 0;
            prop_assert!(in_sight || is_bare || named, "{of:?} on {panel:?}:\n{drawn}");
        }
    }
}
