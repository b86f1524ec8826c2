//! Alerts: the channels that they take, whether anybody reads there, and what waits.

use super::sheet::{Row, Sheet};
use super::view::{ChannelStatus, View};
use crate::tell::words::phrases::{Language, Phrases};

/// How many messages wait leads; then each channel.
pub fn sheet(view: &View<'_>) -> Sheet {
    let waiting: usize = view.channels.iter().map(|channel| channel.waiting).sum();
    let unconfirmed = view.channels.iter().filter(|channel| !channel.is_confirmed).count();
    let words = |key| view.language.plain(key).to_owned();
    let (which, how) = match unconfirmed {
        0 => (words("page.alerts.all-channels"), "page.alerts.confirmed"),
        count => (view.language.count("page.alerts.channels", count as u64), "page.alerts.unconfirmed"),
    };
    let rows = view.channels.iter().map(|channel| Row::of(&channel.name, state(channel, view.language))).collect();
    let (name, beside) = (words("page.alerts.title"), vec![words("page.alerts.queued"), which, words(how)]);
    Sheet { name, figure: waiting.to_string(), beside, rows, ..Sheet::default() }
}

fn state(channel: &ChannelStatus, language: Language) -> String {
    let counted = |key| language.say(key, &[("n", &channel.waiting)]);
    match (channel.fails, channel.is_confirmed, channel.waiting) {
        (true, _, 0) => language.plain("page.alerts.fails").to_owned(),
        (true, ..) => counted("page.alerts.fails-with"),
        (false, false, _) => language.plain("page.alerts.unconfirmed").to_owned(),
        (false, true, 0) => language.plain("page.alerts.sent").to_owned(),
        (false, true, _) => counted("page.alerts.waiting"),
    }
}
