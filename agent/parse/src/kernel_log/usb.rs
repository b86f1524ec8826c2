//! Lines of the USB core and of its host controllers (drivers/usb/core/hub.c, drivers/usb/host/xhci*.c).

use super::known_line::Then::{Is, NotStarted};
use super::known_line::{KnownLine, row};
use traylight_data::reading::EventKind::{CommandFailed, GivenUp, LinkDown, OverCurrent, Reset, Vanished};

const NOW: &str = "6.1, 6.12";

#[rustfmt::skip]
pub const ROWS: &[KnownLine] = &[
    row("usb <usb>: reset <*> USB device number <*>", Is(Reset), NOW, "usb 2-1: reset SuperSpeed USB device number 2 using xhci_hcd"),
    row("usb <usb>: USB disconnect, device number <*>", Is(Vanished), NOW, "usb 2-1: USB disconnect, device number 2"),
    row("usb <usb>: device descriptor read/<word>, error <*>", Is(CommandFailed), NOW, "usb 2-1: device descriptor read/64, error -71"),
    row("usb <usb>: device not accepting address <number>, error <errno>", NotStarted, NOW, "usb 2-1: device not accepting address 5, error -62"),
    row("usb <port>: Cannot enable. Maybe the USB cable is bad?", Is(LinkDown(None)), NOW, "usb usb2-port1: Cannot enable. Maybe the USB cable is bad?"),
    row("usb <port>: connect-debounce failed", Is(LinkDown(None)), NOW, "usb 2-1-port4: connect-debounce failed"),
    row("usb <port>: over-current condition", Is(OverCurrent), NOW, "usb usb2-port1: over-current condition"),
    row("usb <port>: disabled by hub (EMI?), re-enabling...", Is(Reset), NOW, "usb usb2-port1: disabled by hub (EMI?), re-enabling..."),
    row("<word> <pci>: xHCI host controller not responding, assume dead", Is(GivenUp), NOW, "xhci_hcd 0000:01:00.0: xHCI host controller not responding, assume dead"),
    row("<word> <pci>: HC died; cleaning up", Is(GivenUp), NOW, "xhci_hcd 0000:01:00.0: HC died; cleaning up"),
];
