//! How each cause is played: the signs that together point to it, in their order.

use crate::judge::how_played;
use crate::judge::play::Need::{
    Attachment, Board, Bridge, Bridges, Controller, Fan, Health, Parity, Peers, Pool, Processor, Temperatures,
};
use crate::judge::play::Play;
use crate::judge::play::Who::{All, Neighbours, One, Other, Rest};
use crate::reading::{EventKind, Part, SelfAssessment};
use crate::units::Rpm;
use crate::verdict::{Cause, Kind};

/// How this cause is played.
pub fn play(cause: Cause) -> Play {
    match cause {
        // Two go within seconds, and when they are back they count one more start.
        Cause::Supply => Play::fast(&[Controller, Health], 60, |the_box, second| {
            match second {
                0..4 => the_box.lose(One),
                4..40 => {
                    the_box.lose(One);
                    the_box.lose(Other);
                }
                _ => {}
            }
            if second >= 40 {
                the_box.put_out(One);
                the_box.put_out(Other);
                the_box.grow(One, "power_cycles", 1);
                the_box.grow(Other, "power_cycles", 1);
            }
        }),
        Cause::TrayPower => how_played(Kind::DriveLostPower),
        Cause::TrayConnection => Play { needs: &[Controller], ..how_played(Kind::DriveFlapping) },
        Cause::DataCable => Play { needs: &[Controller, Health], ..how_played(Kind::SataCrcGrowth) },
        // Another drive had damaged transfers here, then the two changed places.
        Cause::PortOrCable => Play::fast(&[Controller, Health], 30, |the_box, second| {
            if second < 4 {
                return the_box.tell(Other, EventKind::TransferDamaged);
            }
            the_box.swap_places();
            the_box.grow(One, "interface_crc_errors", if second < 10 { 0 } else { 5 });
        }),
        // The drive had them elsewhere as well.
        Cause::DriveConnector => Play::fast(&[Controller, Health], 30, |the_box, second| {
            if second < 4 {
                return the_box.tell(One, EventKind::TransferDamaged);
            }
            the_box.swap_places();
            the_box.grow(One, "interface_crc_errors", if second < 10 { 0 } else { 5 });
        }),
        Cause::DriveFails => Play::fast(&[Health], 30, |the_box, _| {
            the_box.healthy(One, |health| health.assessment = Ok(SelfAssessment::Failing));
            the_box.grow(One, "pending_sectors", 12);
        }),
        Cause::ControllerStopped => Play::fast(&[Controller], 60, |the_box, second| {
            if second == 0 {
                the_box.tell_of(Part::Controller(the_box.controller()), EventKind::AllOnes);
            }
            the_box.stop_controller();
            the_box.lose(Neighbours);
        }),
        // Its drives were warm; one does not answer any more, the others go, and come back once it has cooled.
        Cause::ControllerHot => Play::fast(&[Controller, Temperatures, Attachment], 60, |the_box, second| {
            the_box.degrees(Neighbours, 48.0);
            if second == 0 {
                the_box.tell_of(Part::Controller(the_box.controller()), EventKind::AllOnes);
                the_box.tell(One, EventKind::TimedOut);
            }
            the_box.time_out(One, 1);
            match second {
                0..40 => the_box.lose(Rest),
                _ => the_box.put_out(Rest),
            }
        })
        .after(45, |the_box| the_box.degrees(Neighbours, 48.0)),
        Cause::UsbBridge => Play::fast(&[Bridge], 60, |the_box, second| {
            if second == 0 {
                the_box.tell_of(Part::Usb("1".to_owned()), EventKind::Reset);
            }
            the_box.lose(One);
        }),
        Cause::UsbPower => Play::fast(&[Bridges], 60, |the_box, second| {
            if second == 0 {
                the_box.tell_of(Part::Board, EventKind::UndervoltageBegan);
            }
            the_box.lose(One);
            the_box.lose(Other);
        }),
        // Transfers to two drives of one card are damaged.
        Cause::SharedPath => Play::fast(&[Controller, Health], 30, |the_box, second| {
            the_box.grow(One, "interface_crc_errors", if second < 4 { 0 } else { 5 });
            the_box.grow(Other, "interface_crc_errors", if second < 4 { 0 } else { 5 });
        }),
        // Two are too warm, and the fan turns.
        Cause::AirBlocked => Play::slow(&[Fan, Temperatures], 10, |the_box, second| {
            if second >= 120 {
                the_box.degrees_from_limit(One, 2.0);
                the_box.degrees_from_limit(Other, 2.0);
            }
        }),
        Cause::Airflow => Play::slow(&[Fan, Temperatures], 10, |the_box, second| {
            the_box.fan(|fan| fan.speed.value = Ok(Rpm(0)));
            if second >= 120 {
                the_box.degrees_from_limit(One, 2.0);
                the_box.degrees_from_limit(Other, 2.0);
            }
        }),
        Cause::TrayAir => Play::slow(&[Peers, Temperatures], 5, |the_box, _| the_box.degrees_from_limit(One, 2.0)),
        // All drives and the board, by the same and over hours.
        Cause::WarmRoom => Play::slow(&[Temperatures, Board], 190, |the_box, second| {
            let by = (second as f64 / 60.0 * 0.12).min(21.0);
            the_box.degrees_from_limit(All, by - 20.0);
            the_box.board_warmer(by);
        })
        .after(45, |the_box| the_box.degrees_from_limit(All, -20.0)),
        Cause::DriveHangs => how_played(Kind::DriveNotAnswering),
        Cause::PathHangs => Play::fast(&[Controller], 120, |the_box, second| the_box.stand_still(Neighbours, second)),
        Cause::DataPath => Play { needs: &[Parity], ..how_played(Kind::Mismatches) },
        Cause::SlowToWake => Play::fast(&[Attachment], 30, |the_box, second| {
            match second {
                0 => the_box.tell(One, EventKind::Woke),
                8 => the_box.tell(One, EventKind::TimedOut),
                _ => {}
            }
            the_box.time_out(One, if second < 8 { 0 } else { 1 });
        }),
        // After a rest, where links may save power.
        Cause::LinkPowerSaving => Play::fast(&[Controller], 60, |the_box, _| {
            the_box.save_link_power();
            the_box.idle(One);
            the_box.lose(One);
        })
        .after(15, |the_box| {
            the_box.save_link_power();
            the_box.idle(One);
        }),
        // Its pool had put it out before, as long as a hand takes to reach it.
        Cause::TakenOut => Play::fast(&[Controller, Pool], 60, |the_box, second| match second {
            0..40 => the_box.put_out(One),
            _ => the_box.lose(One),
        }),
        // A good drive goes while its pool lacks another.
        Cause::WrongTray => Play::fast(&[Controller, Pool], 60, |the_box, second| {
            the_box.put_out(Other);
            if second >= 20 {
                the_box.lose(One);
            }
        }),
        // No causes of their own.
        Cause::Unknown | Cause::SelfEvident => how_played(Kind::DriveGone),
        // Its link had no errors before.
        Cause::PcieLink => Play::fast(&[Controller], 30, |the_box, _| the_box.bus_errors(50)).after(3, |the_box| {
            the_box.bus_errors(0);
        }),
        // Another kernel, which does not start the controller.
        Cause::KernelUpdate => Play::fast(&[Controller, Pool], 60, |the_box, _| {
            the_box.kernel("test-2");
            the_box.without_driver();
            the_box.lose(Neighbours);
        })
        .restarted(|the_box| the_box.kernel("test-1")),
        Cause::RestartPower => Play::fast(&[], 10, |_, _| {}).restarted(|the_box| the_box.starve_board()),
        Cause::RestartHeat => Play::fast(&[Processor], 10, |_, _| {})
            .after(10, |the_box| the_box.processor(120.0))
            .restarted(|the_box| the_box.processor(120.0)),
        Cause::RestartUnexplained => Play::fast(&[], 10, |_, _| {}).restarted(|_| {}),
    }
}
