//! Facts about the box itself, in all their forms, for the rules that all words keep.

use crate::reading::{ControllerKind, Listing, Missing, Nominal, PcieLink, Reason};
use crate::units::{Bytes, Celsius, CelsiusDifference, Percent, Rpm, Volts};
use crate::verdict::{
    AgentFault, BoxFault, ControllerFault, ControllerName, Finding, PartName, Place, UnseenPart, WeakFan,
};
use std::time::Duration;

const HOUR: Duration = Duration::from_secs(3_600);

/// About this drive, and whatever has a name has this one.
pub fn all(drive: &Place, name: &str) -> Vec<Finding> {
    let hot = |now, slowed| Finding::CpuHotThrottled { now, limit: Celsius(80.0), slowed };
    let dips = |is_low, dips, seconds| Finding::Undervoltage {
        is_low,
        dips,
        longest: Duration::from_secs(seconds),
        within: Duration::from_secs(600),
        in_a_day: 17,
    };
    let rail = |nominal: Nominal, now| {
        let (low, high) = (Volts(nominal.volts().0 * 0.95), Volts(nominal.volts().0 * 1.05));
        Finding::RailOutOfRange { nominal, now: Volts(now), low, high }
    };
    let (now, best) = (PcieLink { gigatransfers: 2.5, width: 1 }, PcieLink { gigatransfers: 8.0, width: 2 });
    let faults = [
        ControllerFault::Gone,
        ControllerFault::AllOnes,
        ControllerFault::NoDriver,
        ControllerFault::BusErrors { corrected: 480, within: HOUR },
        ControllerFault::SlowLink { now, best },
        ControllerFault::Resets { count: 6, within: HOUR },
    ];
    let kinds = [Some(ControllerKind::Storage), Some(ControllerKind::Nvme), Some(ControllerKind::UsbHost), None];
    let controllers = kinds.into_iter().flat_map(|kind| {
        faults.clone().map(|what| {
            let id = if kind.is_some() { "197b:0585".to_owned() } else { String::new() };
            let controller = ControllerName { key: name.to_owned(), kind, id };
            Finding::ControllerTrouble { controller, drives: vec![drive.clone(), drive.clone()], what }
        })
    });
    let agent = [
        AgentFault::PanelLost,
        AgentFault::Unseen {
            what: vec![unseen(Listing::Pools, Reason::Refused, name), unseen(Listing::Links, Reason::TimedOut, "")],
        },
        AgentFault::ClockNotSet,
        AgentFault::NotConfirmed { channels: vec![name.to_owned(), "bell".to_owned()] },
        AgentFault::NotDelivered { waited: Duration::from_secs(5_400) },
        AgentFault::NotKept { why: name.to_owned() },
        AgentFault::NotKept { why: String::new() },
        AgentFault::EndedUnasked { times: 1 },
        AgentFault::Unseen { what: Vec::new() },
        AgentFault::NotConfirmed { channels: Vec::new() },
    ];
    let of_box = [
        BoxFault::UncleanRestart { times: 3 },
        BoxFault::OutOfMemory { ended: 1 },
        BoxFault::CardWears { device: name.to_owned(), written: Bytes(3_400_000_000), bearable: Bytes(2_000_000_000) },
        BoxFault::DiskErrors { device: name.to_owned(), count: 2 },
    ];
    let weak = WeakFan::Slow { fan: name.to_owned(), speed: Rpm(12_520), usual: Rpm(21_180), duty: Percent(45.0) };
    let mut all = vec![
        Finding::FanWeak { what: weak },
        Finding::FanWeak { what: WeakFan::Airflow { drives: vec![drive.clone()], above: CelsiusDifference(7.4) } },
        Finding::FanWeak { what: WeakFan::Airflow { drives: Vec::new(), above: CelsiusDifference(6.0) } },
        hot(Some(Celsius(104.0)), true),
        hot(Some(Celsius(86.0)), false),
        hot(None, true),
        dips(true, 4, 12),
        dips(false, 1, 0),
        dips(false, 0, 0),
        rail(Nominal::Twelve, 11.24),
        rail(Nominal::Twelve, 13.4),
        rail(Nominal::Five, 4.6),
        rail(Nominal::ThreePointThree, 3.0),
    ];
    all.extend(controllers);
    all.extend(agent.map(|what| Finding::AgentAndAlerts { what }));
    all.extend(of_box.map(|what| Finding::BoxStorageAndRestart { what }));
    all
}

fn unseen(list: Listing, reason: Reason, detail: &str) -> UnseenPart {
    let part = PartName::List(list);
    UnseenPart { part, why: Missing::found(reason, detail), lasted: None }
}
