//! Throughput: what the drives together and each network port move, in MB/s, and what the port could.

use super::View;
use super::pieces::{WIDTH, heading, line, pair};
use crate::reading::{Snapshot, Traffic};
use crate::units::BytesPerSecond;
use traylight_display::shapes::bar;
use traylight_display::text::text_right;
use traylight_display::{Face, Frame, area};

/// Draws the page: a line for the drives, then a line and a bar a port, two ports at most.
pub fn draw(frame: &mut Frame, view: &View<'_>, snapshot: &Snapshot) {
    heading(frame, view, view.tongue.plain("page.throughput.title"));
    text_right(frame, 74, line(1), view.tongue.plain("page.throughput.in"), Face::Small);
    text_right(frame, WIDTH, line(1), view.tongue.plain("page.throughput.out"), Face::Small);
    let drives =
        snapshot.drives.iter().filter_map(|drive| drive.traffic.get()).fold(None, |sum: Option<Traffic>, one| {
            let sum = sum.unwrap_or(Traffic { inward: BytesPerSecond(0.0), outward: BytesPerSecond(0.0) });
            Some(Traffic {
                inward: BytesPerSecond(sum.inward.0 + one.inward.0),
                outward: BytesPerSecond(sum.outward.0 + one.outward.0),
            })
        });
    columns(frame, 2, view.tongue.plain("page.throughput.drives"), drives.as_ref());
    let ports = snapshot.links.iter().filter(|link| link.up.get() == Some(&true)).take(2);
    for (index, link) in ports.enumerate() {
        let first = 3 + 2 * index as i32;
        columns(frame, first, &link.name, link.traffic.get());
        let busiest = link.traffic.get().map(|traffic| traffic.inward.0.max(traffic.outward.0) * 8.0);
        let share = busiest.zip(link.speed.get()).map(|(bits, speed)| (bits / (f64::from(speed.0) * 1e6)) as f32);
        bar(frame, area(0, line(first + 1), 72, 7), share, &[]);
        let speed = link
            .speed
            .get()
            .map_or_else(|| view.tongue.plain("page.throughput.speed-unknown").to_owned(), ToString::to_string);
        text_right(frame, WIDTH, line(first + 1), &speed, Face::Small);
    }
    if snapshot.links.iter().all(|link| link.up.get() != Some(&true)) {
        pair(frame, 4, view.tongue.plain("page.throughput.no-port"), "");
    }
}

fn columns(frame: &mut Frame, number: i32, name: &str, traffic: Option<&Traffic>) {
    let figure = |rate: Option<BytesPerSecond>| rate.map_or_else(|| "--".to_owned(), BytesPerSecond::in_megabytes);
    traylight_display::text::text(frame, 0, line(number), &traylight_display::text::fit(name, 7), Face::Small);
    text_right(frame, 74, line(number), &figure(traffic.map(|traffic| traffic.inward)), Face::Small);
    text_right(frame, WIDTH, line(number), &figure(traffic.map(|traffic| traffic.outward)), Face::Small);
}
