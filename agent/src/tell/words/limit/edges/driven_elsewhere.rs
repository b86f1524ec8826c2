//! Figures that are printed and that no edge here drives: where they are driven, or why that takes a story of its own.

const TEMPERATURES: &str = "words::limit/tests.rs: temperatures_open_at_the_limit_that_is_printed";
const COUNTS: &str = "words::limit/tests.rs: counts_open_at_the_limit_that_is_printed";
const SHARES: &str = "words::limit/tests.rs: shares_open_at_the_limit_that_is_printed";
const TIMES: &str = "words::limit/tests.rs: times_are_those_that_are_printed";
const ENDS: &str = "edges/mod.rs: one_end_that_nobody_asked_for_is_one_too_many";
const COOLING: &str = "judge/stories/cooling.rs: days of a fan, or of a season";
const FORECAST: &str = "judge/forecast: what lies ahead is estimated, and has no sharp edge";
const A_WEEK: &str = "judge/stories/starts.rs, drives.rs: a week of looks, or several starts";

/// The limit's key, the figure in it, and the reason.
pub(super) const FIGURES: &[(&str, &str, &str)] = &[
    ("limit.agent.ended-unasked", "within", ENDS),
    ("limit.box.card-wears", "within", "judge/stories/board.rs: an hour of writing that is then forgotten"),
    ("limit.box.once", "within", ENDS),
    ("limit.drive-cold", "below", TEMPERATURES),
    ("limit.drive-hot.ahead", "within", FORECAST),
    ("limit.drive-hot.critical", "from", TEMPERATURES),
    ("limit.drive-hot.last-seen", "limit", "it was compared while the drive was there"),
    ("limit.drive-hot.warning", "from", TEMPERATURES),
    ("limit.drive-hotter-than-peers", "above", TEMPERATURES),
    ("limit.drive-lost-power", "over", A_WEEK),
    ("limit.drive-lost-power", "together", A_WEEK),
    ("limit.drive-missing-at-start", "of", A_WEEK),
    ("limit.drive-not-answering", "critical", TIMES),
    ("limit.drive-not-answering", "warning", TIMES),
    ("limit.drive-timeouts", "within", "judge/stories/attachments.rs: a day of looks"),
    ("limit.drives-heating-together", "rise", TEMPERATURES),
    ("limit.fan-stopped.still", "hold", TIMES),
    ("limit.fan-stopped.unknown-level", "notice", COOLING),
    ("limit.fan-stopped.unknown-level", "warning", COOLING),
    ("limit.fan-weak.suspected", "drives", COOLING),
    ("limit.fan-weak.suspected", "hours", COOLING),
    ("limit.fan-weak.suspected", "over", COOLING),
    ("limit.fan-weak.suspected", "rise", COOLING),
    ("limit.fan-weak.suspected", "season", COOLING),
    ("limit.fan-weak.suspected", "within", COOLING),
    ("limit.fan-weak.weak", "share", SHARES),
    ("limit.files-low", "critical", SHARES),
    ("limit.files-low", "warning", SHARES),
    ("limit.link-trouble.down", "hold", TIMES),
    ("limit.link-trouble.slow", "usual", "the port's own: what it had before it was slow"),
    ("limit.member-errors", "critical", COUNTS),
    ("limit.pending-or-uncorrectable", "critical", COUNTS),
    ("limit.pool-down.down", "hold", TIMES),
    ("limit.reallocated-growth", "critical", COUNTS),
    ("limit.reallocated-growth", "within", "judge/stories/drives.rs: what has grown is told, and goes on for a month"),
    ("limit.sata-crc-growth", "few", COUNTS),
    ("limit.space-low.ahead", "soon", FORECAST),
    ("limit.space-low.floor", "floor", SHARES),
    ("limit.space-low.warning", "share", SHARES),
    ("limit.ssd-worn", "critical", COUNTS),
    ("limit.ssd-worn", "warning", COUNTS),
    ("limit.undervoltage", "dips", COUNTS),
    ("limit.volume-absent", "hold", TIMES),
    ("limit.volume-readonly", "hold", TIMES),
];
