//! Lines about network ports (drivers/net/phy, drivers/net/usb/r8152.c, net/sched/sch_generic.c).

use super::known_line::Then::{Is, Up};
use super::known_line::{KnownLine, row};
use traylight_data::reading::EventKind::{Downshifted, LinkDown, TransmitStuck};

const NOW: &str = "6.1, 6.12";

#[rustfmt::skip]
pub const ROWS: &[KnownLine] = &[
    row("<word> <path> <net>: Link is Down", Is(LinkDown(None)), NOW, "r8169 0000:03:00.0 eth0: Link is Down"),
    row("<word> <path> <net>: Link is Up - <speed>/<word> (downshifted)<*>", Is(Downshifted), NOW, "r8169 0000:03:00.0 eth0: Link is Up - 100Mbps/Full (downshifted) - flow control rx/tx"),
    row("<word> <path> <net>: Link is Up - <speed>/<*>", Up, NOW, "bcmgenet fd580000.ethernet end0: Link is Up - 1Gbps/Full - flow control rx/tx"),
    row("<word> <path> <net>: <*>NIC Link is Down", Is(LinkDown(None)), NOW, "igb 0000:01:00.0 eno1: igb: eno1 NIC Link is Down"),
    row("<word> <path> <net>: <*>NIC Link is Up <speed> Mbps <*>", Up, NOW, "igc 0000:01:00.0 eth0: NIC Link is Up 2500 Mbps Full Duplex, Flow Control: RX/TX"),
    row("<self><*>: Downshift occurred from negotiated speed <*>", Is(Downshifted), NOW,
        "Generic FE-GE Realtek PHY r8169-0-300:00: Downshift occurred from negotiated speed 1Gbps to actual speed 100Mbps, check cabling!"),
    row("<word> <path> <net>: Tx status <*>", Is(TransmitStuck), NOW, "r8152 2-1:1.0 eth1: Tx status -71"),
    row("<word> <path> <net>: Tx timeout", Is(TransmitStuck), NOW, "r8152 2-1:1.0 eth1: Tx timeout"),
    row("NETDEV WATCHDOG: <net> (<word>): transmit queue <number> timed out<*>", Is(TransmitStuck), "6.1", "NETDEV WATCHDOG: eth0 (r8169): transmit queue 0 timed out"),
    row("<word> <path> <net>: NETDEV WATCHDOG: <*>transmit queue <number> timed out<*>", Is(TransmitStuck), "6.12",
        "r8169 0000:03:00.0 eth0: NETDEV WATCHDOG: CPU: 1: transmit queue 0 timed out 5012 ms"),
];
