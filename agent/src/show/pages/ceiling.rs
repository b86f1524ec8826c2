//! What a line could carry at most, and how much of that it does: network ports, and the PCIe links of controllers.

use crate::reading::port::controller_of;
use crate::reading::{Drive, PcieLink, Snapshot};
use crate::units::{BytesPerSecond, MegabitsPerSecond};

/// Of a full Ethernet frame of 1,538 bytes with gap and preamble (IEEE 802.3 clauses 3.1.1 and 3.2, table 4A-2), 1,448 are
/// payload of TCP over IPv4 with time stamps (RFC 7323 appendix A).
const FRAME: (f64, f64) = (1448.0, 1538.0);
/// Of 152 bytes on a PCIe link, 128 are payload: the smallest of the usual packets, with 24 bytes of framing and header (PCI
/// Express base specification, from memory).
const PACKET: (f64, f64) = (128.0, 152.0);

/// A line with a ceiling.
#[derive(Debug, Clone, PartialEq)]
pub struct TrafficLine {
    /// What it is called: the port's name, or that of a PCIe link.
    pub name: String,
    /// True for a network port, false for the PCIe link of a controller.
    pub is_port: bool,
    /// The busier direction now.
    pub moved: BytesPerSecond,
    /// True when that is towards the box's memory: received, or read from drives.
    pub is_inward: bool,
    /// The most that it can carry in one direction.
    pub most: BytesPerSecond,
}

impl TrafficLine {
    /// How much of what it could carry it does, 0 to 1 and a little more where the ceiling is not quite one.
    pub fn share(&self) -> f64 {
        self.moved.0 / self.most.0
    }
}

/// All lines whose traffic and ceiling are known, the busiest first.
pub fn lines(snapshot: &Snapshot) -> Vec<TrafficLine> {
    let mut lines: Vec<TrafficLine> =
        ports(snapshot).chain(pcie_links(snapshot)).filter(|line| line.most.0 > 0.0).collect();
    lines.sort_by(|a, b| b.share().total_cmp(&a.share()));
    lines
}

fn ports(snapshot: &Snapshot) -> impl Iterator<Item = TrafficLine> + '_ {
    snapshot.links.iter().filter(|link| link.up.get() == Some(&true)).filter_map(|link| {
        let traffic = link.traffic.get()?;
        Some(line(link.name.clone(), true, traffic.inward.0, traffic.outward.0, of_port(*link.speed.get()?)))
    })
}

fn pcie_links(snapshot: &Snapshot) -> impl Iterator<Item = TrafficLine> + '_ {
    let many = snapshot.controllers.len() > 1;
    snapshot.controllers.iter().enumerate().filter_map(move |(index, controller)| {
        let behind = |drive: &&Drive| drive.port.as_deref().and_then(controller_of) == Some(&controller.key);
        let traffic: Vec<_> = snapshot.drives.iter().filter(behind).filter_map(|drive| drive.traffic.get()).collect();
        if traffic.is_empty() {
            return None;
        }
        let inward = traffic.iter().map(|traffic| traffic.inward.0).sum();
        let outward = traffic.iter().map(|traffic| traffic.outward.0).sum();
        let name = if many { format!("PCIe {}", index + 1) } else { "PCIe".to_owned() };
        Some(line(name, false, inward, outward, of_pcie_link(*controller.pcie_link.get()?)))
    })
}

fn line(name: String, is_port: bool, inward: f64, outward: f64, most: BytesPerSecond) -> TrafficLine {
    TrafficLine { name, is_port, moved: BytesPerSecond(inward.max(outward)), is_inward: inward >= outward, most }
}

/// The payload that a port carries in one direction.
fn of_port(speed: MegabitsPerSecond) -> BytesPerSecond {
    BytesPerSecond(f64::from(speed.0) * 1e6 / 8.0 * FRAME.0 / FRAME.1)
}

/// The payload that a PCIe link carries in one direction: up to 5 GT/s eight of ten bits are data, above 128 of 130.
fn of_pcie_link(pcie_link: PcieLink) -> BytesPerSecond {
    let data = if pcie_link.gigatransfers > 5.0 { 128.0 / 130.0 } else { 8.0 / 10.0 };
    BytesPerSecond(pcie_link.gigatransfers * 1e9 * f64::from(pcie_link.width) * data / 8.0 * PACKET.0 / PACKET.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published by arithmetic of the standards above: 117.69 MB/s for 1 Gb/s, 294.21 MB/s for 2.5 Gb/s; a PCIe link of one
    /// lane with packets of 128 bytes 421 to 432 MB/s at 5 GT/s and 829 to 852 MB/s at 8 GT/s.
    #[test]
    fn ceilings_are_those_of_the_standards() {
        let of = |speed| (of_port(MegabitsPerSecond(speed)).0 / 1e4).round() / 100.0;
        assert_eq!([1000, 2500].map(of), [117.69, 294.21]);
        let of = |gigatransfers, width| of_pcie_link(PcieLink { gigatransfers, width }).0 / 1e6;
        assert!((421.0..=432.0).contains(&of(5.0, 1)), "{}", of(5.0, 1));
        assert!((829.0..=852.0).contains(&of(8.0, 1)), "{}", of(8.0, 1));
        assert_eq!(of(5.0, 4), 4.0 * of(5.0, 1));
    }
}
