//! The names that conditions and causes keep for good: logs are searched for them, and the store has them. Once they are
//! written here they stay; new ones are added.

use super::{Cause, Kind};

/// The kinds, in their order.
const KINDS: &[&str] = &[
    "drive-gone",
    "drive-hot",
    "pool-degraded",
    "pool-down",
    "pool-busy",
    "space-low",
    "fan-stopped",
    "link-trouble",
    "drive-health-failed",
    "pending-or-uncorrectable",
    "reallocated-growth",
    "sata-crc-growth",
    "drive-lost-power",
    "ssd-worn",
    "drive-not-answering",
    "drive-flapping",
    "drive-hotter-than-peers",
    "drives-heating-together",
    "drive-cold",
    "temperature-lost",
    "sata-slow",
    "drive-timeouts",
    "recovery-time-mismatch",
    "drive-new-or-moved",
    "drive-back-not-used",
    "rebuild-stalled",
    "mismatches",
    "check-overdue",
    "member-errors",
    "member-faulty",
    "usb-slow",
    "drive-missing-at-start",
    "volume-readonly",
    "volume-absent",
    "volume-errors",
    "inodes-or-metadata-low",
    "fan-weak",
    "cpu-hot-throttled",
    "undervoltage",
    "rail-out-of-range",
    "controller-trouble",
    "agent-and-alerts",
    "box-storage-and-restart",
];

const CAUSES: &[&str] = &[
    "supply",
    "tray-power",
    "tray-connection",
    "data-cable",
    "port-or-cable",
    "drive-connector",
    "drive-fails",
    "controller-stopped",
    "controller-hot",
    "pcie-link",
    "usb-bridge",
    "usb-power",
    "shared-path",
    "airflow",
    "air-blocked",
    "tray-air",
    "warm-room",
    "drive-hangs",
    "path-hangs",
    "kernel-update",
    "data-path",
    "slow-to-wake",
    "restart-power",
    "restart-heat",
    "restart-unexplained",
    "link-power-saving",
    "taken-out",
    "wrong-tray",
    "unknown",
    "self-evident",
];

#[test]
fn kinds_keep_their_names_and_their_order() {
    let now: Vec<&str> = Kind::ALL.iter().map(|kind| kind.id()).collect();
    assert_eq!(now, KINDS);
    for kind in Kind::ALL {
        assert_eq!(serde_json::to_value(kind).expect("a kind is a word"), kind.id());
    }
}

#[test]
fn causes_keep_their_names() {
    let now: Vec<&str> = Cause::ALL.iter().map(|cause| cause.id()).collect();
    assert_eq!(now, CAUSES);
}
