//! Stories of temperatures that are heading somewhere: when the outlook is told, when it is silent, how often it is
//! right.

use super::*;
use crate::conditions::heat;
use proptest::prelude::*;

/// A sequence of pretended chance that is the same every time (the generator of Numerical Recipes, from memory).
struct Chance(u64);

impl Chance {
    /// From 0 up to 1.
    fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// About normally distributed, with a standard deviation of one: the sum of twelve.
    fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.next()).sum::<f64>() - 6.0
    }
}

/// How readings scatter before they are rounded to whole degrees.
#[derive(Debug, Clone, Copy)]
enum Noise {
    None,
    Normal(f64),
    /// Minus one, nothing or plus one.
    OneDegree,
}

/// Half an hour of rest at `rest`, then a change after which it settles at `end`; one reading a minute.
fn warming(rest: f64, end: f64, tau: f64, minutes: u32, noise: Noise, chance: &mut Chance) -> Vec<f64> {
    let offset = chance.next() - 0.5;
    let at = |minute: u32| {
        let since = f64::from(minute) - 30.0;
        let risen = if since < 0.0 { 0.0 } else { (end - rest) * (1.0 - (-since / tau).exp()) };
        let off = match noise {
            Noise::None => 0.0,
            Noise::Normal(scatter) => scatter * chance.normal(),
            Noise::OneDegree => (chance.next() * 3.0).floor() - 1.0,
        };
        (rest + risen + offset + off).round()
    };
    (0..minutes).map(at).collect()
}

fn minute(number: usize) -> Moment {
    Moment::after_boot(MINUTE * number as u32)
}

/// The minutes at which the outlook on a limit of 50 would warn ahead, two fits in a row.
fn warned_at(degrees: &[f64]) -> Vec<usize> {
    let mut curve = Course::default();
    let mut before = false;
    let mut warned = Vec::new();
    for (number, degrees) in degrees.iter().enumerate() {
        curve.take_in(minute(number), *degrees);
        let outlook = curve.outlook(minute(number), Celsius(50.0)).filter(|_| *degrees < 50.0);
        let reaches = outlook.and_then(|outlook| outlook.reaches);
        let ahead = reaches.is_some_and(|reaches| heat::is_ahead(&reaches));
        if ahead && before {
            warned.push(number);
        }
        before = ahead;
    }
    warned
}

/// How many of twelve stories that settle at `end` are warned of while they are below the limit, and the least number
/// of minutes that were left.
fn of_twelve(end: f64, tau: f64, noise: Noise) -> (usize, Option<usize>) {
    let mut chance = Chance(7);
    let stories = (0..12).map(|_| warming(38.0, end, tau, 90, noise, &mut chance));
    let early: Vec<Option<usize>> = stories
        .filter_map(|story| {
            let crossed = story.iter().position(|degrees| *degrees >= 50.0);
            let first = *warned_at(&story).first()?;
            crossed.is_none_or(|crossed| first < crossed).then(|| crossed.map(|crossed| crossed - first))
        })
        .collect();
    (early.len(), early.into_iter().flatten().min())
}

#[test]
fn noise_of_a_degree_around_a_steady_temperature_never_warns() {
    let mut chance = Chance(3);
    for steady in [30.0, 48.2, 48.8, 49.4] {
        for _ in 0..12 {
            let story = warming(steady, steady, 1.0, 150, Noise::OneDegree, &mut chance);
            assert_eq!(warned_at(&story), [0; 0], "{story:?}");
        }
    }
}

#[test]
fn what_will_pass_the_limit_is_told_before_it_does() {
    for (end, tau) in [(53.0, 12.0), (53.0, 20.0), (58.0, 20.0), (58.0, 40.0)] {
        let (told, least) = of_twelve(end, tau, Noise::None);
        assert!(told == 12 && least >= Some(1), "settles at {end}, {tau} min: told {told} of 12, {least:?} min before");
    }
}

#[test]
fn what_settles_below_the_limit_is_hardly_ever_told() {
    let quiet = [Noise::None, Noise::Normal(0.3)];
    let cases = quiet.into_iter().flat_map(|noise| [12.0, 20.0].map(|tau| of_twelve(47.0, tau, noise).0));
    let told: usize = cases.sum();
    assert!(told <= 2, "told {told} of 48");
}

/// The curve after this many minutes of a drive that goes from 38 to `end`.
fn after(minutes: usize, end: f64) -> Course {
    let mut curve = Course::default();
    let story = warming(38.0, end, 15.0, 30 + minutes as u32, Noise::None, &mut Chance(1));
    for (number, degrees) in story.into_iter().enumerate() {
        curve.take_in(minute(number), degrees);
    }
    curve
}

#[test]
fn where_it_settles_is_told_with_what_it_may_be_instead() {
    let outlook = after(30, 54.0).outlook(minute(59), Celsius(58.0)).expect("an outlook");
    let Interval { low, middle, high } = outlook.heading.expect("a heading");
    assert!(low <= 54.5 && 53.5 <= high && high - low < 4.0, "{low} {middle} {high}");
    assert_eq!(outlook.reaches, None, "58 is beyond where it settles");
    let steady = after(0, 54.0).outlook(minute(29), Celsius(50.0)).expect("an outlook");
    let heading = steady.heading.expect("a heading");
    assert!(heading.low <= 38.5 && 37.5 <= heading.high && heading.middle.round() == 38.0, "{heading:?}");
    assert_eq!(steady.reaches, None);
}

#[test]
fn the_time_left_counts_down_between_readings() {
    let curve = after(12, 54.0);
    let left = |seconds| {
        let now = minute(41).plus(Duration::from_secs(seconds));
        curve.outlook(now, Celsius(50.0)).and_then(|outlook| outlook.reaches).expect("it is on its way").middle
    };
    assert_eq!(left(0) - left(40), Duration::from_secs(40));
    assert_eq!(left(86_400), Duration::ZERO);
}

#[test]
fn silence_for_a_quarter_of_an_hour_begins_anew() {
    let mut curve = after(20, 54.0);
    assert!(curve.outlook(minute(49), Celsius(58.0)).is_some());
    curve.take_in(minute(64), 52.0);
    assert!(curve.outlook(minute(64), Celsius(58.0)).is_some(), "fifteen minutes are borne");
    curve.take_in(minute(80), 53.0);
    assert_eq!(curve.readings.len(), 1);
    assert_eq!(curve.outlook(minute(80), Celsius(58.0)), None);
}

#[test]
fn one_odd_reading_is_passed_over_and_two_begin_anew() {
    let mut curve = after(25, 54.0);
    let readings = curve.readings.len();
    curve.take_in(minute(55), 40.0);
    assert_eq!(curve.outlook(minute(55), Celsius(58.0)), None, "nothing is said in doubt");
    let mut back = curve.clone();
    back.take_in(minute(56), 52.0);
    assert!(back.outlook(minute(56), Celsius(58.0)).is_some() && back.readings.len() > readings);
    curve.take_in(minute(56), 40.0);
    assert_eq!(curve.readings.len(), 3, "the last before the change, and the two after it");
}

#[test]
fn readings_within_the_same_minute_are_one() {
    let mut curve = Course::default();
    for second in (0..=600).step_by(2) {
        curve.take_in(Moment::after_boot(Duration::from_secs(second)), 38.0);
    }
    assert_eq!(curve.readings.len(), 13, "one each 50 s");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Whatever a drive says and whenever, nothing panics, and what is foretold is in order.
    #[test]
    fn any_readings_give_an_outlook_in_order(
        steps in prop::collection::vec((0..1_000_000_u64, -1e6..1e6_f64), 0..40),
        limit in -100.0..1e6_f64,
    ) {
        let mut curve = Course::default();
        let mut now = Moment::default();
        for (milliseconds, degrees) in steps {
            now = now.plus(Duration::from_millis(milliseconds));
            curve.take_in(now, degrees);
            let Some(outlook) = curve.outlook(now, Celsius(limit)) else { continue };
            if let Some(Interval { low, middle, high }) = outlook.heading {
                prop_assert!(low <= middle && middle <= high);
            }
            if let Some(Reaches { earliest, middle, latest }) = outlook.reaches {
                prop_assert!(earliest <= middle && latest.is_none_or(|latest| middle <= latest));
            }
        }
    }

    /// The same readings at another time foretell the same.
    #[test]
    fn only_time_between_readings_counts(shift in 0..10_000_000_u64, minutes in 8..40_usize, end in 40.0..60.0_f64) {
        let story = warming(38.0, end, 15.0, 30 + minutes as u32, Noise::None, &mut Chance(5));
        let at = |shift: u64| {
            let (mut curve, mut now) = (Course::default(), Moment::default());
            for (number, degrees) in story.iter().enumerate() {
                now = minute(number).plus(Duration::from_secs(shift));
                curve.take_in(now, *degrees);
            }
            curve.outlook(now, Celsius(50.0))
        };
        prop_assert_eq!(at(0), at(shift));
    }
}
