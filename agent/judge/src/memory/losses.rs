//! When a drive was really lost. Where a SATA link breaks, libata looks for the drive some times more before it detaches it
//! (ata_eh_recover in drivers/ata/libata-eh.c), so the end of its device comes ten seconds and more after the loss, and what
//! is told between the two, of commands that fail and of a link that is made slower, tells nothing of the drive.

use super::sign::Sign;
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{EventKind, EventSource, Part};

/// From the word that a link is down with nothing there to the end of the device: three tries five seconds apart, and more
/// where there is work to be given up (from memory).
const TRIES: Duration = Duration::from_secs(60);
/// What led to that word: the report that libata began with, and its first reset of the link.
const LED: Duration = Duration::from_secs(10);

/// Gives each loss the time at which the connection broke, where that was told, and how the drive was then. The end of its
/// device stays as the time at which it was last told.
pub fn date(signs: &mut [Sign], now: Moment) {
    for index in 0..signs.len() {
        let loss = &signs[index];
        let is_recent = loss.event.what == EventKind::Vanished && now.since(loss.last) <= TRIES;
        if !is_recent || loss.is_dated() || !matches!(loss.event.part, Part::Drive(_)) {
            continue;
        }
        if let Some((at, before)) = broke(signs, &loss.event.part, loss.last) {
            let before = signs[before].before;
            let loss = &mut signs[index];
            loss.event.at = at;
            loss.before = before.or(loss.before);
        }
    }
}

/// When the connection of a drive broke that was lost, and which sign tells of it: its link went down with nothing there,
/// and did not come up again before its device ended.
fn broke(signs: &[Sign], part: &Part, lost: Moment) -> Option<(Moment, usize)> {
    let of_it = || signs.iter().enumerate().filter(|(_, sign)| sign.event.part == *part && sign.event.at <= lost);
    let told = || of_it().filter(|(_, sign)| sign.event.teller == EventSource::Log);
    let is_there = |what| matches!(what, EventKind::LinkUp(_) | EventKind::LinkDown(Some(1)) | EventKind::Appeared);
    let was_there = of_it().filter(|(_, sign)| is_there(sign.event.what)).map(|(_, sign)| sign.last.min(lost)).max();
    // A sign that was seen again has its first and its last time.
    let since =
        |sign: &Sign| [sign.event.at, sign.last].into_iter().find(|at| was_there.is_none_or(|there| *at > there));
    let downs = told().filter(|(_, sign)| sign.is_empty_link());
    let down = downs.filter_map(|(index, sign)| Some((since(sign)?, index))).min()?;
    if lost.since(down.0) > TRIES {
        return None;
    }
    const LEADS: [EventKind; 6] = [
        EventKind::ConnectionChanged,
        EventKind::TimedOut,
        EventKind::CommandFailed,
        EventKind::TransferDamaged,
        EventKind::Reset,
        EventKind::GivenUp,
    ];
    let led = told().filter(|(_, sign)| LEADS.contains(&sign.event.what));
    let led = led.filter_map(|(index, sign)| Some((since(sign)?, index)));
    let led = led.filter(|(at, _)| *at <= down.0 && down.0.since(*at) <= LED).min();
    let mut first = led.unwrap_or(down);
    // A command that times out was waited for: since then nothing was answered.
    if signs[first.1].event.what == EventKind::TimedOut {
        let stood = of_it().filter(|(_, sign)| sign.event.what == EventKind::StandsStill);
        let stood = stood.filter_map(|(_, sign)| since(sign)).filter(|at| first.0.since(*at) <= TRIES).min();
        first.0 = stood.map_or(first.0, |stood| stood.min(first.0));
    }
    // Not every sign of that moment says how the drive was.
    let within = |sign: &Sign| since(sign).is_some_and(|at| at >= first.0 && at <= down.0);
    let knows = told().find(|(_, sign)| sign.before.is_some() && within(sign));
    Some((first.0, knows.map_or(first.1, |(index, _)| index)))
}
