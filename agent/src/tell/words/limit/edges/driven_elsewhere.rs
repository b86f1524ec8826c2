//! Figures that are printed and that no edge here drives: where they are driven (`stories` are those of the judge), or why that
//! takes a story of its own.

const TEMPERATURES: &str = "words::limit/tests.rs: temperatures_open_at_the_limit_that_is_printed";
const COUNTS: &str = "words::limit/tests.rs: counts_open_at_the_limit_that_is_printed";
const SHARES: &str = "words::limit/tests.rs: shares_open_at_the_limit_that_is_printed";
const TIMES: &str = "words::limit/tests.rs: times_are_those_that_are_printed";
const ENDS: &str = "edges/mod.rs: one_end_that_nobody_asked_for_is_one_too_many";
const UNKNOWN_LEVEL: &str = "stories/cooling.rs: a_fan_of_unknown_level_is_believed_mildly_after_an_hour_\
                             and_fully_after_a_day";
const RISING: &str = "stories/cooling.rs: two_drives_must_rise_by_two_degrees_within_twenty_minutes";

/// The limit's key, the figure in it, and the reason.
pub(super) const FIGURES: &[(&str, &str, &str)] = &[
    ("limit.agent.ended-unasked", "within", ENDS),
    ("limit.box.card-wears", "within", "stories/board.rs: a_card_that_is_written_to_too_much_for_a_day_is_told_of"),
    ("limit.box.once", "within", ENDS),
    ("limit.drive-cold", "below", TEMPERATURES),
    ("limit.drive-hot.ahead", "within", "stories/drives.rs: half_an_hour_is_ahead_and_a_second_more_is_not"),
    ("limit.drive-hot.critical", "from", TEMPERATURES),
    ("limit.drive-hot.last-seen", "limit", "it was compared while the drive was there"),
    ("limit.drive-hot.warning", "from", TEMPERATURES),
    ("limit.drive-hotter-than-peers", "above", TEMPERATURES),
    ("limit.drive-lost-power", "over", "stories/drives.rs: a_week_after_a_drive_lost_its_power_that_is_over"),
    (
        "limit.drive-lost-power",
        "together",
        "stories/drives.rs: two_drives_that_start_again_minutes_apart_are_no_supply_when_both_were_asked_between",
    ),
    (
        "limit.drive-missing-at-start",
        "of",
        "stories/starts.rs: a_drive_that_misses_two_of_five_cold_starts_is_told_and_over_when_three_more_were_good",
    ),
    ("limit.drive-not-answering", "critical", TIMES),
    ("limit.drive-not-answering", "warning", TIMES),
    (
        "limit.drive-timeouts",
        "within",
        "stories/attachments.rs: time_outs_are_told_at_once_and_over_after_a_day_without",
    ),
    ("limit.drives-heating-together", "rise", TEMPERATURES),
    ("limit.fan-stopped.still", "hold", TIMES),
    ("limit.fan-stopped.unknown-level", "notice", UNKNOWN_LEVEL),
    ("limit.fan-stopped.unknown-level", "warning", UNKNOWN_LEVEL),
    ("limit.fan-weak.suspected", "drives", RISING),
    ("limit.fan-weak.suspected", "hours", "stories/cooling.rs: a_day_must_be_known_before_a_fan_is_suspected"),
    (
        "limit.fan-weak.suspected",
        "over",
        "stories/cooling.rs: a_fan_is_suspected_until_the_drives_are_less_than_three_degrees_above_what_they_held",
    ),
    ("limit.fan-weak.suspected", "rise", RISING),
    (
        "limit.fan-weak.suspected",
        "season",
        "stories/cooling.rs: a_level_that_was_reached_in_a_hot_summer_does_not_excuse_for_ever",
    ),
    ("limit.fan-weak.suspected", "within", RISING),
    ("limit.fan-weak.weak", "share", SHARES),
    ("limit.files-low", "critical", SHARES),
    ("limit.files-low", "warning", SHARES),
    ("limit.link-trouble.down", "hold", TIMES),
    ("limit.link-trouble.slow", "usual", "the port's own: what it had before it was slow"),
    ("limit.member-errors", "critical", COUNTS),
    ("limit.pending-or-uncorrectable", "critical", COUNTS),
    ("limit.pool-down.down", "hold", TIMES),
    ("limit.reallocated-growth", "critical", COUNTS),
    ("limit.reallocated-growth", "within", "stories/drives.rs: places_that_were_moved_within_a_week_are_told"),
    ("limit.sata-crc-growth", "few", COUNTS),
    (
        "limit.space-low.ahead",
        "soon",
        "stories/ahead.rs: full_within_a_week_is_a_little_less_than_seven_days_and_not_a_little_more",
    ),
    ("limit.space-low.floor", "floor", SHARES),
    ("limit.space-low.warning", "share", SHARES),
    ("limit.ssd-worn", "critical", COUNTS),
    ("limit.ssd-worn", "warning", COUNTS),
    ("limit.undervoltage", "dips", COUNTS),
    ("limit.volume-absent", "hold", TIMES),
    ("limit.volume-readonly", "hold", TIMES),
];
