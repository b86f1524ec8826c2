//! The names that conditions and causes keep for good: logs are searched for them, and the store has them. Once they are
//! written here they stay; new ones are added.

use super::{Cause, Kind};

/// Kinds, and the identifiers of their lines in the journal.
const KINDS: &[(&str, &str)] = &[
    ("drive-gone", "db333e3b9c8d4f45aba69ee0445f7c03"),
    ("drive-hot", "8f603cc2237f40b093dda96d74ff6a3d"),
    ("pool-degraded", "aee74212afa042dbb6232cb07f738f1d"),
    ("pool-down", "13f89b1c5c044dbca02e240293f780c5"),
    ("pool-busy", "c121e438e94845d1b45a74d294c39976"),
    ("space-low", "8fe823225b4c4ef8b9ec36a6308f551b"),
    ("fan-stopped", "5f486683cf2b413eaaf01757ff12937b"),
    ("link-trouble", "f4688e895e8c4ccfa757f475145925de"),
    ("drive-says-failing", "c16110e3c0f24d00b9d9ef74b2d1c756"),
    ("pending-or-uncorrectable", "88d1c6df9043429699b455da61dc75ea"),
    ("reallocated-growth", "17740951e6574a66a3de18d5c9622617"),
    ("sata-crc-growth", "54af0e8e0ced44cea1dd9d46b24c6f7c"),
    ("drive-lost-power", "1948675b5a584a2aac366f96dee480a5"),
    ("ssd-worn", "947323bffcb24961934e8e7bbbee545a"),
    ("drive-not-answering", "79d2011cf56449f6b0bdbd76c0bd4de3"),
    ("drive-flapping", "0266486e5179430b92f026a380ee4e04"),
    ("drive-hotter-than-peers", "932bd6ddcd064a72a9316c8ace89a683"),
    ("drives-heating-together", "6756f76e007a44148fe390cb44b5d5bd"),
    ("drive-cold", "5ec022391be54d6db83a573dfa0d29b5"),
    ("temperature-lost", "5ff1db42842e43608aa0da002a8477f3"),
    ("sata-slow", "5720af05711d4fc4a218920ceef54e7b"),
    ("drive-timeouts", "80fc777921624a73b65a356df67d2b3d"),
    ("recovery-time-mismatch", "2c63483f5b614ddfa059e2f4e26352f6"),
    ("drive-new-or-moved", "12b505e81cdb499bba477d6f841d84ab"),
    ("drive-back-not-used", "1cd3cfd8f7d244ca9ffcc35282da7c9e"),
    ("rebuild-stalled", "f989e04d451b402282217fa5c1269e28"),
    ("mismatches", "e4c8cd4214f84c1580417031dfe91d72"),
    ("check-overdue", "cc00e630516f423db00dc4bfa4e3780b"),
    ("member-errors", "e43de08f2837494f9d08304845f54285"),
    ("member-faulty", "4bd69f57ae664c9d825abc918dc20e9b"),
    ("usb-slow", "4692c26dd9e243759e342e3a7b8681bf"),
    ("drive-missing-at-start", "8e4c3f93264c429097944ae1f4f8f141"),
    ("volume-readonly", "ef5a2c01e08f4567bed53deda8a40330"),
    ("volume-absent", "1c800cb4d3114a4ebfd05501c7da3322"),
    ("volume-errors", "0db7f8112cf54e789d1b033db87339b7"),
    ("inodes-or-metadata-low", "eaebf9b7b69a46daafc4bd93be40f60c"),
    ("fan-weak", "7ad9a4ba769a46a4947c25429f0cf016"),
    ("cpu-hot-throttled", "c2095be2876b8c89964182670bac8917"),
    ("undervoltage", "da181780ad3b40aa951d4b560258cea3"),
    ("rail-out-of-range", "6f11b289111b653c7e9ae50823d51039"),
    ("controller-trouble", "cb342240b8912ed190d253709c552bd1"),
    ("agent-and-alerts", "0466998ec6d5bc72e3c4b6dda0624889"),
    ("box-storage-and-restart", "9225721a7669f578532a45a12a321ec4"),
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
    "lane",
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
    "restart-unclear",
    "link-power-saving",
    "taken-out",
    "wrong-tray",
    "unclear",
    "as-it-says",
];

#[test]
fn kinds_keep_their_names_and_their_order() {
    let now: Vec<(&str, &str)> = Kind::ALL.iter().map(|kind| (kind.id(), kind.message_id())).collect();
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
