//! No pixel of the panel is worn out before its time.

use traylight_tests::wear::week;

/// The longest that any pixel may be lit, as a share of the time, over a week in which nothing changes. A starting value
/// without a source: organic light loses half of its brightness within some ten thousand hours at full current (common
/// practice, no source), and what is seen is the difference between a pixel and its neighbours.
const DUTY: f64 = 0.80;
/// The same while something critical is open that nobody has acknowledged, which is not for long.
const ALARM_DUTY: f64 = 0.92;

#[test]
fn in_a_week_no_pixel_is_lit_for_longer_than_its_duty() {
    for (name, minutes, duty) in
        [("calm", 2.0, DUTY), ("a fan stalls", 6.0, DUTY), ("a drive dropped", 26.0, ALARM_DUTY)]
    {
        let (still, moved) = (week(minutes, false), week(minutes, true));
        println!("{name}: still {still:?}, moved {moved:?}");
        assert!(moved.worst <= duty && moved.never_dark == 0, "{name}: {moved:?}");
        assert!(moved.worst < still.worst, "{name}: moving helps: {still:?}, {moved:?}");
    }
}
