//! Network: how fast each port is linked, what it moves, and the address that the box is reached at.

use super::sheet::{Row, Sheet};
use super::view::View;
use crate::reading::{Link, Snapshot};
use crate::tell::words::phrases::Phrases;

/// The fastest port that is up leads; the others are rows.
pub fn sheet(view: &View<'_>, snapshot: &Snapshot) -> Sheet {
    let words = |key| view.language.plain(key);
    let mut links: Vec<&Link> = snapshot.links.iter().collect();
    let speed = |link: &Link| link.speed.get().filter(|_| is_up(link)).map_or(0, |speed| speed.0);
    links.sort_by_key(|link| std::cmp::Reverse((is_up(link), speed(link))));
    let Some((first, others)) = links.split_first() else { return Sheet::default() };
    let (figure, unit) = match first.speed.get().filter(|_| is_up(first)).map(ToString::to_string) {
        Some(speed) => {
            speed.split_once(' ').map_or((speed.clone(), String::new()), |(a, b)| (a.to_owned(), b.to_owned()))
        }
        None if is_up(first) => (words("page.network.up").to_owned(), String::new()),
        None => (words("page.network.down").to_owned(), String::new()),
    };
    let address = snapshot.board.address.clone().unwrap_or_else(|| words("page.box.no-address").to_owned());
    let mut rows = vec![Row::of(words("page.network.address"), address)];
    if let Some(traffic) = first.traffic.get() {
        rows.push(Row::of(words("page.traffic.in"), traffic.inward.to_string()));
        rows.push(Row::of(words("page.traffic.out"), traffic.outward.to_string()));
    }
    rows.extend(others.iter().map(|link| {
        let speed = link.speed.get().filter(|_| is_up(link)).map(ToString::to_string);
        Row::of(
            &link.name,
            speed
                .unwrap_or_else(|| words(if is_up(link) { "page.network.up" } else { "page.network.down" }).to_owned()),
        )
    }));
    let beside = [Some(unit).filter(|unit| !unit.is_empty()), Some(first.name.clone())];
    Sheet {
        name: words("page.network.title").to_owned(),
        figure,
        beside: beside.into_iter().flatten().collect(),
        rows,
        ..Sheet::default()
    }
}

fn is_up(link: &Link) -> bool {
    link.up.get() == Some(&true)
}
