//! What the sender must know of the machine: its clocks, whether there is a road to other machines, and chance.

#![allow(clippy::disallowed_methods, reason = "the kernel's tables of routes are read here")]

use crate::clock::Clock;
use crate::tell::message::Stamp;
use crate::tell::outbox::Now;
use rustix::rand::{GetRandomFlags, getrandom};

/// The machine, as the sender sees it. Tests have one of their own.
pub trait World: Send {
    /// The time.
    fn now(&self) -> Now;

    /// The routes to other machines: equal as long as nothing changes, empty when there are none.
    fn roads(&self) -> String;

    /// Any number from 0 to 1.
    fn chance(&self) -> f64;
}

/// The running machine.
pub struct Machine {
    clock: Clock,
}

impl Machine {
    /// This machine.
    pub fn new(clock: Clock) -> Self {
        Self { clock }
    }
}

impl World for Machine {
    fn now(&self) -> Now {
        let wall = self.clock.wall();
        let minute = u16::from(wall.time.hour().unsigned_abs()) * 60 + u16::from(wall.time.minute().unsigned_abs());
        Now { stamp: Stamp::by(&self.clock), minute_of_day: wall.synchronised.then_some(minute) }
    }

    fn roads(&self) -> String {
        let read = |file| std::fs::read_to_string(file).unwrap_or_default();
        roads(&read("/proc/net/route"), &read("/proc/net/ipv6_route"))
    }

    fn chance(&self) -> f64 {
        f64::from(random()) / f64::from(u32::MAX)
    }
}

/// A number from the kernel's source of chance; 0 in the moments before that is ready.
pub fn random() -> u32 {
    let mut bytes = [0; 4];
    let _ = getrandom(&mut bytes, GetRandomFlags::NONBLOCK);
    u32::from_ne_bytes(bytes)
}

/// The routes over other ports than the machine's own, from the kernel's tables (proc_net(5); the columns of the second
/// by net/ipv6/route.c, `rt6_info_route`): destination, gateway and port, without counters.
fn roads(four: &str, six: &str) -> String {
    let pick = |line: &str, columns: [usize; 3], port: usize| {
        let words: Vec<&str> = line.split_ascii_whitespace().collect();
        let is_own = words.get(port).is_none_or(|port| *port == "lo");
        (!is_own).then(|| columns.map(|column| words.get(column).copied().unwrap_or_default()).join(" "))
    };
    let four = four.lines().skip(1).filter_map(|line| pick(line, [0, 1, 2], 0));
    // A port without a cable still has its own networks: link-local and multicast lead nowhere.
    let leads_on = |line: &&str| !line.starts_with("fe8") && !line.starts_with("ff");
    let six = six.lines().filter(leads_on).filter_map(|line| pick(line, [0, 4, 9], 9));
    let mut roads: Vec<String> = four.chain(six).collect();
    roads.sort();
    roads.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    const FOUR: &str = "Iface\tDestination\tGateway \tFlags\tRefCnt\tUse\tMetric\tMask\t\tMTU\tWindow\tIRTT\n\
                        eth0\t00000000\t0100000A\t0003\t0\t0\t0\t00000000\t0\t0\t0\n\
                        lo\t0000007F\t00000000\t0001\t0\t0\t0\t000000FF\t0\t0\t0\n";
    const SIX: &str = "fe800000000000000000000000000000 40 00000000000000000000000000000000 00 00000000000000000000000000000000 00000100 00000001 00000000 00000001     eth0\n\
                       00000000000000000000000000000000 00 00000000000000000000000000000000 00 fe800000000000000000000000000001 00000400 00000005 00000000 00450003     eth0\n\
                       00000000000000000000000000000000 00 00000000000000000000000000000000 00 00000000000000000000000000000000 ffffffff 00000001 00000000 00200200       lo\n";

    #[test]
    fn roads_lead_to_other_machines() {
        let default = "eth0 00000000 0100000A";
        assert_eq!(roads(FOUR, ""), default);
        let six = "00000000000000000000000000000000 fe800000000000000000000000000001 eth0";
        assert_eq!(roads(FOUR, SIX), format!("{six}\n{default}"));
        let alone = SIX.lines().filter(|line| !line.contains("00450003")).collect::<Vec<_>>().join("\n");
        assert_eq!(roads(FOUR.lines().next().unwrap_or_default(), &alone), "");
        assert_eq!(roads("", ""), "");
    }

    #[test]
    fn counters_are_no_change_of_the_roads() {
        assert_eq!(roads(&FOUR.replace("0003\t0\t0", "0003\t7\t99"), SIX), roads(FOUR, SIX));
        assert_ne!(roads(&FOUR.replace("0100000A", "FE00000A"), SIX), roads(FOUR, SIX));
    }

    #[test]
    fn this_machine_has_a_time_and_chance() {
        let machine = Machine::new(Clock::of_this_machine());
        assert!(machine.now().stamp.moment.since_boot().as_secs() > 0);
        assert!((0.0..=1.0).contains(&machine.chance()));
    }
}
