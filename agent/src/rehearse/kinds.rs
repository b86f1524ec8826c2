//! How a condition of each kind is played: what the box needs for it, and what changes when.

use super::Play;
use super::needs::Need::{
    Attachment, Controller, Disk, Fan, Health, Link, Parity, Peers, Pool, Processor, Temperatures, Volume,
};
use super::pretence::Who::{All, One};
use crate::reading::{
    ActivityKind, Bus, Member, MemberErrorKind, MemberRole, MemberState, Missing, PoolRunning, Reason, RecoveryLimit,
    SelfAssessment, Writing,
};
use crate::units::{MegabitsPerSecond, Rpm};
use crate::verdict::Kind;
use std::time::Duration;

const DAY: Duration = Duration::from_secs(86_400);

/// How a condition of this kind is played.
pub fn play(kind: Kind) -> Play {
    match kind {
        Kind::DriveGone => Play::fast(&[], 60, |the_box, _| {
            the_box.lose(One);
        }),
        Kind::DriveHot => Play::slow(&[Temperatures], 3, |the_box, _| {
            the_box.degrees_from_limit(One, 2.0);
        }),
        Kind::PoolDegraded => Play::fast(&[Pool], 10, |the_box, _| {
            the_box.put_out(One);
        }),
        Kind::PoolDown => Play::fast(&[Pool], 60, |the_box, _| {
            the_box.pool(|pool| pool.running.value = Ok(PoolRunning::Inactive));
        }),
        Kind::PoolBusy => Play::fast(&[Pool], 10, |the_box, second| {
            the_box.work(ActivityKind::Check, 0.3 + 0.001 * second as f64);
        }),
        Kind::SpaceLow => Play::slow(&[Volume], 10, |the_box, _| {
            the_box.fill(0.0);
        }),
        Kind::FanStopped => Play::fast(&[Fan], 60, |the_box, _| {
            the_box.fan(|fan| {
                fan.duty = fan.duty.or(Some(0.5));
                fan.speed.value = Ok(Rpm(0));
            });
        })
        // Until its tachometer is believed at this level, also after it has turned at a higher one.
        .after(3, |the_box| the_box.fan(|fan| fan.duty = fan.duty.or(Some(0.5)))),
        Kind::LinkTrouble => Play::fast(&[Link], 120, |the_box, _| {
            the_box.link(|link| {
                link.up.value = Ok(false);
                link.speed.value = Err(Missing::new(Reason::NotFitted, "the port is down"));
            });
        }),
        Kind::DriveSaysFailing => Play::fast(&[Health], 10, |the_box, _| {
            the_box.healthy(One, |health| health.assessment = Ok(SelfAssessment::Failing));
        }),
        Kind::PendingOrUncorrectable => Play::fast(&[Health], 10, |the_box, _| {
            the_box.grow(One, "pending_sectors", 8);
        }),
        Kind::ReallocatedGrowth => Play::fast(&[Health], 10, |the_box, _| {
            the_box.grow(One, "reallocated_sectors", 12);
        }),
        Kind::SataCrcGrowth => Play::fast(&[Health], 10, |the_box, _| {
            the_box.grow(One, "interface_crc_errors", 5);
        }),
        Kind::DriveLostPower => Play::fast(&[Health], 10, |the_box, _| {
            the_box.grow(One, "power_cycles", 1);
        }),
        Kind::SsdWorn => Play::fast(&[Health], 10, |the_box, _| {
            the_box.grow(One, "wear_used_percent", 97);
        }),
        Kind::DriveNotAnswering => Play::fast(&[], 120, |the_box, second| {
            the_box.stand_still(One, second);
        }),
        Kind::DriveFlapping => Play::fast(&[], 60, |the_box, second| {
            if second % 20 < 4 {
                the_box.pull(One);
            }
        }),
        Kind::DriveHotterThanPeers => Play::slow(&[Peers, Temperatures], 35, |the_box, _| {
            the_box.above_peers(9.0);
        }),
        Kind::DrivesHeatingTogether => Play::slow(&[Temperatures], 12, |the_box, second| {
            the_box.degrees_from_limit(All, -12.0 + 0.8 * (second / 60) as f64);
        })
        .after(15, |_| {}),
        Kind::DriveCold => Play::slow(&[Temperatures], 15, |the_box, _| {
            the_box.degrees(One, 2.0);
        }),
        Kind::TemperatureLost => Play::slow(&[Temperatures], 65, |the_box, _| {
            the_box.silent_thermometer(One);
        }),
        Kind::SataSlow => Play::slow(&[Attachment], 12, |the_box, _| {
            the_box.each(One, |drive| drive.attachment.speed.value = Ok(MegabitsPerSecond(1500)));
        }),
        Kind::DriveTimeouts => Play::fast(&[Attachment], 10, |the_box, _| {
            the_box.time_out(One, 2);
        }),
        Kind::RecoveryTimeMismatch => Play::fast(&[Pool, Disk], 10, |the_box, _| {
            the_box.healthy(One, |health| health.recovery_limit = Ok(RecoveryLimit::Off));
        }),
        Kind::DriveNewOrMoved => Play::fast(&[], 60, |the_box, _| {
            the_box.each(One, |drive| drive.port = Some("0000/test/ata-9".to_owned()));
        }),
        Kind::DriveBackNotUsed => Play::fast(&[Pool], 180, |the_box, second| match second {
            0..20 => the_box.lose(One),
            20.. => the_box.put_out(One),
        }),
        Kind::RebuildStalled => Play::slow(&[Pool], 35, |the_box, _| {
            the_box.work(ActivityKind::Rebuild, 0.4);
        }),
        Kind::Mismatches => Play::fast(&[Parity], 10, |the_box, _| {
            the_box.pool(|pool| pool.mismatches = Some(128));
        }),
        Kind::CheckOverdue => Play { watched: 50 * DAY, ..Play::fast(&[Pool], 10, |_, _| {}) },
        Kind::MemberErrors => Play::fast(&[Pool], 10, |the_box, _| {
            the_box.member_errors(One, MemberErrorKind::Read, 5);
        }),
        Kind::MemberFaulty => Play::fast(&[Pool], 20, |the_box, _| {
            the_box.pool(|pool| {
                let member = pool.members.first().cloned();
                pool.members.extend(member.map(|member| Member {
                    device: "test-spare".to_owned(),
                    drive_device: "test-spare".to_owned(),
                    slot: None,
                    role: MemberRole::Spare,
                    state: MemberState::Faulty,
                    ..member
                }));
            });
        }),
        Kind::UsbSlow => Play::slow(&[Attachment], 12, |the_box, _| {
            the_box.each(One, |drive| {
                (drive.bus, drive.attachment.speed.value) = (Bus::Usb, Ok(MegabitsPerSecond(480)));
            });
        }),
        Kind::DriveMissingAtStart => Play { missed_starts: 2, ..Play::fast(&[], 10, |_, _| {}) },
        Kind::VolumeReadonly => Play::fast(&[Volume], 30, |the_box, _| {
            the_box.volume(|volume| volume.writing = Writing::StoppedByError);
        }),
        Kind::VolumeAbsent => Play::fast(&[Volume], 60, |the_box, _| {
            the_box.unmount();
        }),
        Kind::VolumeErrors => Play::fast(&[Volume], 10, |the_box, _| {
            the_box.volume(|volume| volume.errors = volume.errors.map(|errors| errors + 2));
        }),
        Kind::InodesOrMetadataLow => Play::slow(&[Volume], 10, |the_box, _| {
            the_box.leave_files(0.01);
        }),
        Kind::FanWeak => Play::slow(&[Fan], 10, |the_box, _| {
            the_box.fan(|fan| {
                fan.duty = fan.duty.or(Some(0.5));
                fan.speed.value = fan.speed.value.clone().map(|speed| Rpm(speed.0 * 2 / 5));
            });
        })
        .after(30, |the_box| the_box.fan(|fan| fan.duty = fan.duty.or(Some(0.5)))),
        Kind::CpuHotThrottled => Play::slow(&[Processor], 5, |the_box, _| {
            the_box.processor(97.0);
        }),
        Kind::Undervoltage => Play::fast(&[], 20, |the_box, _| {
            the_box.starve_board();
        }),
        Kind::RailOutOfRange => Play::fast(&[], 20, |the_box, _| {
            the_box.rail(10.6);
        }),
        Kind::ControllerTrouble => Play::fast(&[Controller], 30, |the_box, _| {
            the_box.stop_controller();
        }),
        Kind::AgentAndAlerts => Play::fast(&[], 60, |the_box, _| {
            the_box.unseen();
        }),
        Kind::BoxStorageAndRestart => Play::fast(&[], 10, |the_box, _| {
            the_box.out_of_memory(1);
        })
        .after(1, |the_box| the_box.out_of_memory(0)),
    }
}
