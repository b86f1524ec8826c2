//! Stories of the panel that is cared for: what moves, what is dimmed, and that an alarm never is.

use super::*;
use jiff::civil::date;
use proptest::prelude::*;
use traylight_config::Position;

fn page(area: [i32; 4]) -> Frame {
    let [left, top, right, bottom] = area;
    let mut frame = Frame::new(PanelSize::W128H64);
    for (x, y) in [(left, top), (right, bottom)] {
        frame.set(x, y, true);
    }
    frame
}

fn at(hour: i8, minute: i8) -> ZonedDateTime {
    date(2026, 5, 3)
        .at(hour, minute, 0, 0)
        .to_zoned_datetime(jiff::tz::TimeZone::fixed(jiff::tz::offset(2)))
        .expect("a time")
}

const HUT: Option<Position> = Some(Position { north: 53_520, east: 8_110 });

fn clock(from: u16, until: u16) -> Option<DaySpan> {
    Some(DaySpan { from: DayTime::Clock(from), until: DayTime::Clock(until) })
}

#[test]
fn night_may_go_past_midnight_and_dark_is_darker_than_dim() {
    let night = Night { dim: clock(22 * 60, 7 * 60), dark: clock(60, 4 * 60), position: None };
    let hours = [(21, 59), (22, 0), (0, 30), (1, 0), (3, 59), (4, 0), (6, 59), (7, 0)];
    let found = hours.map(|(hour_of_day, minute)| hour(&night, &at(hour_of_day, minute), true));
    let wanted = [Hour::Day, Hour::Dim, Hour::Dim, Hour::Dark, Hour::Dark, Hour::Dim, Hour::Dim, Hour::Day];
    assert_eq!(found, wanted);
    assert_eq!(hour(&night, &at(2, 0), false), Hour::Day, "nobody has set the clock");
    assert_eq!(hour(&Night::default(), &at(2, 0), true), Hour::Day);
}

/// On 3 May at the hut the sun rises at 5:50 and sets at 21:00, summer time (astral 3.2: 5:50 and 20:57).
#[test]
fn the_sun_can_say_when_it_is_night() {
    let night =
        Night { dim: Some(DaySpan { from: DayTime::Sunset, until: DayTime::Sunrise }), dark: None, position: HUT };
    let found = [(5, 40), (6, 0), (20, 50), (21, 10), (0, 0)].map(|(h, m)| hour(&night, &at(h, m), true));
    assert_eq!(found, [Hour::Dim, Hour::Day, Hour::Day, Hour::Dim, Hour::Dim]);

    let svalbard = Night { position: Some(Position { north: 78_220, east: 15_630 }), ..night };
    assert!((0..24).all(|h| hour(&svalbard, &at(h, 30), true) == Hour::Day), "the sun does not set in May");
    let mixed = Night { dim: Some(DaySpan { from: DayTime::Sunset, until: DayTime::Clock(6 * 60) }), ..night };
    assert_eq!(hour(&mixed, &at(5, 55), true), Hour::Dim);
    assert_eq!(hour(&mixed, &at(20, 0), true), Hour::Day);
}

#[test]
fn what_is_wrong_is_never_dimmed_and_in_the_dark_only_quiet_is_a_dot() {
    let page = page([0, 0, 60, 40]);
    let alive = with_sign_of_life(page.clone(), 0);
    let brightness = |hour, call| cared_for(&page, PanelBrightness::Normal, hour, call, 0, 0).brightness;
    for hour in [Hour::Day, Hour::Dim, Hour::Dark] {
        assert_eq!(brightness(hour, Call::Critical), Brightness::Full);
        assert_eq!(brightness(hour, Call::Warning), Brightness::Bright);
        for call in [Call::Critical, Call::Warning] {
            assert_eq!(cared_for(&page, PanelBrightness::Dim, hour, call, 0, 0).frame, alive);
        }
    }
    assert_eq!(brightness(Hour::Day, Call::Quiet), Brightness::Bright);
    assert_eq!(brightness(Hour::Dim, Call::Quiet), Brightness::Night);
    assert_eq!(cared_for(&page, PanelBrightness::Dim, Hour::Dim, Call::Quiet, 0, 0).frame, alive);
    let dark = cared_for(&page, PanelBrightness::Bright, Hour::Dark, Call::Quiet, 0, 3);
    assert_eq!((dark.brightness, dark.frame), (Brightness::Night, dot(PanelSize::W128H64, 3)));
}

#[test]
fn a_dot_is_everywhere_once_before_it_is_anywhere_twice() {
    for size in PanelSize::ALL {
        let places = u64::from(size.width() * size.height() / 4);
        let mut times = vec![0; (size.width() * size.height()) as usize];
        for tick in 0..places {
            let frame = dot(size, tick);
            assert_eq!(frame.lit_count(), 4);
            for (index, count) in times.iter_mut().enumerate() {
                let (x, y) = (index as i32 % size.width() as i32, index as i32 / size.width() as i32);
                *count += i32::from(frame.is_lit(x, y));
            }
        }
        assert!(times.iter().all(|count| *count == 1), "{size:?}");
    }
}

#[test]
fn a_page_with_room_on_two_sides_is_in_nine_places_in_nine_minutes() {
    let page = page([0, 0, 125, 60]);
    let places: std::collections::BTreeSet<(i32, i32)> = (0..9)
        .filter_map(|minute| moved(&page, minute).lit_area())
        .map(|area| (area.top_left.x, area.top_left.y))
        .collect();
    assert_eq!(places.len(), 9);
    assert!(places.iter().all(|(x, y)| (0..=2).contains(x) && (0..=2).contains(y)));
    assert_eq!(moved(&page, 9), moved(&page, 0));
}

#[test]
fn the_sign_of_life_steps_below_the_page_and_leaves_the_tails_of_letters() {
    let call = |page: &Frame, tick| cared_for(page, PanelBrightness::Dim, Hour::Day, Call::Quiet, 0, tick).frame;
    let dash = |frame: &Frame| (0..128).filter(|x| frame.is_lit(*x, 63)).collect::<Vec<_>>();
    let high = page([3, 3, 100, 60]);
    assert_eq!([call(&high, 0), call(&high, 1)].map(|frame| dash(&frame)), [[0, 1, 2, 3], [4, 5, 6, 7]]);
    assert!((0..9).any(|minute| moved(&high, minute).is_lit(102, 62)), "it keeps no page from moving");
    let mut with_tail = page([3, 0, 100, 60]);
    with_tail.set(90, 63, true);
    assert_eq!(dash(&call(&with_tail, 0)), [0, 1, 2, 3, 90]);
    assert!((0..9).all(|minute| moved(&with_tail, minute).lit_count() == with_tail.lit_count()));
}

proptest! {
    #[test]
    fn a_moved_page_has_lost_no_pixel_and_is_no_more_than_two_away(
        lit in proptest::collection::vec((0..128i32, 0..64i32), 1..40), minutes in 0..10_000u64
    ) {
        let mut page = Frame::new(PanelSize::W128H64);
        lit.iter().for_each(|(x, y)| page.set(*x, *y, true));
        let moved = moved(&page, minutes);
        let found = (-2..=2).flat_map(|dx| (-2..=2).map(move |dy| (dx, dy)));
        let found = found.filter(|(dx, dy)| page.shifted(*dx, *dy) == moved).count();
        prop_assert!(found >= 1);
        prop_assert_eq!(moved.lit_count(), page.lit_count());
    }
}
