//! Network ports made of hardware (Documentation/ABI/testing/sysfs-class-net, sysfs-class-net-statistics).

use super::host::Host;
use super::parse::plain;
use super::parse::rate::CountedAt;
use crate::clock::Moment;
use crate::reading::{Missing, Reading, Source, WhyMissing};
use crate::units::MegabitsPerSecond;
use std::path::Path;

/// What a port's files say now; the rates need a second look.
#[derive(Debug, Clone, PartialEq)]
pub struct Port {
    /// The kernel's name.
    pub name: String,
    /// Switched on, and the partner is seen.
    pub up: Reading<bool>,
    /// Negotiated speed.
    pub speed: Reading<MegabitsPerSecond>,
    /// How often the link came or went.
    pub changes: Option<u64>,
    /// Bytes received and sent so far.
    pub counts: Result<(CountedAt, CountedAt), Missing>,
}

/// All ports that are Ethernet hardware; bridges, tunnels and the like have no device behind them.
pub fn ports(host: &Host, now: Moment) -> Result<Vec<Port>, Missing> {
    let folder = host.path("/sys/class/net");
    let names = host.list(&folder)?;
    Ok(names.into_iter().filter_map(|name| port(host, &folder.join(&name), name, now)).collect())
}

fn port(host: &Host, folder: &Path, name: String, now: Moment) -> Option<Port> {
    /// `ARPHRD_ETHER` (include/uapi/linux/if_arp.h).
    const ETHERNET: u64 = 1;
    let number = |file: &str| host.ask(&folder.join(file), plain::whole);
    if !host.exists(&folder.join("device")) || number("type") != Ok(ETHERNET) {
        return None;
    }
    let instance = number("ifindex").unwrap_or(0);
    let count = |file: &str| number(file).map(|value| CountedAt { value, at: now, instance });
    let counts = count("statistics/rx_bytes").and_then(|inward| Ok((inward, count("statistics/tx_bytes")?)));
    // A port that is switched off answers EINVAL for its carrier: it is not up, and that is no fault of reading.
    let carrier = host.ask(&folder.join("carrier"), plain::switch);
    let switched_off = host.attribute(&folder.join("operstate")).is_ok_and(|text| text.trim() == "down");
    let up = if carrier.is_err() && switched_off { Ok(false) } else { carrier };
    Some(Port {
        name,
        up: Reading::new(up, now, Source::Sysfs),
        speed: Reading::new(host.ask(&folder.join("speed"), plain::signed).and_then(speed), now, Source::Sysfs),
        changes: number("carrier_changes").ok(),
        counts,
    })
}

/// The kernel says -1 when it does not know.
fn speed(megabits: i64) -> Result<MegabitsPerSecond, Missing> {
    match u32::try_from(megabits) {
        Ok(known) if known > 0 => Ok(MegabitsPerSecond(known)),
        _ => Err(Missing::from(WhyMissing::NotReported)),
    }
}
