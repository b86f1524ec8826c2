//! Lines about controllers on PCI: errors of the bus (drivers/pci/pcie/aer.c), a slot that loses its card
//! (drivers/pci/hotplug/pciehp_ctrl.c), and drivers that cannot start (drivers/base/dd.c, drivers/ata/ahci.c).

use super::known_line::Then::{Is, NotStarted};
use super::known_line::{KnownLine, row};
use traylight_data::reading::EventKind::{AllOnes, BusError, BusErrorCorrected, LinkDown, StaggeredStart, Vanished};

const NOW: &str = "6.1, 6.12";

#[rustfmt::skip]
pub const ROWS: &[KnownLine] = &[
    row("<word> <pci>: PCIe Bus Error: severity=Correct<*>", Is(BusErrorCorrected), NOW, "ahci 0000:02:00.0: PCIe Bus Error: severity=Correctable, type=Physical Layer, (Receiver ID)"),
    row("<word> <pci>: PCIe Bus Error: severity=Uncorrect<*>", Is(BusError), NOW, "pcieport 0000:00:1c.0: PCIe Bus Error: severity=Uncorrectable (Non-Fatal), type=Transaction Layer, (Requester ID)"),
    row("<word> <pci>: AER: PCIe Bus Error: severity=Correct<*>", Is(BusErrorCorrected), "5.x, from memory", "pcieport 0000:00:1c.0: AER: PCIe Bus Error: severity=Corrected, type=Data Link Layer, (Transmitter ID)"),
    row("pcieport <path> AER: <*>Corrected error received: <pci><*>", Is(BusErrorCorrected), "6.1", "pcieport 0000:00:1c.0: AER: Corrected error received: 0000:02:00.0"),
    row("pcieport <path> AER: <*>Correct<*> error message received from <pci><*>", Is(BusErrorCorrected), "6.12", "pcieport 0000:00:1c.0: AER: Multiple Correctable error message received from 0000:02:00.0"),
    row("pcieport <path> AER: <*>Uncorrected <*> error received: <pci><*>", Is(BusError), "6.1", "pcieport 0000:00:1c.0: AER: Uncorrected (Non-Fatal) error received: 0000:02:00.0"),
    row("pcieport <path> AER: <*>Uncorrect<*> error message received from <pci><*>", Is(BusError), "6.12", "pcieport 0000:00:1c.0: AER: Uncorrectable (Fatal) error message received from 0000:02:00.0"),
    row("<word> <pci>: AER: can't recover <*>", Is(BusError), NOW, "ahci 0000:02:00.0: AER: can't recover (no error_detected callback)"),
    row("pcieport <pci>: pciehp: Slot(<*>): Link Down", Is(LinkDown(None)), NOW, "pcieport 0000:00:1c.0: pciehp: Slot(2): Link Down"),
    row("pcieport <pci>: pciehp: Slot(<*>): Card not present", Is(Vanished), NOW, "pcieport 0000:00:1c.0: pciehp: Slot(2): Card not present"),
    row("<word> <pci>: AHCI controller unavailable!", Is(AllOnes), NOW, "ahci 0000:01:00.0: AHCI controller unavailable!"),
    row("<word> <pci>: probe with driver <word> failed with error <errno>", NotStarted, "6.12", "ahci 0001:01:00.0: probe with driver ahci failed with error -12"),
    row("<word>: probe of <pci> failed with error <errno>", NotStarted, "6.1", "ahci: probe of 0001:01:00.0 failed with error -12"),
    row("<word> <pci>: failed to start port <number> (errno=<errno>)", NotStarted, NOW, "ahci 0001:01:00.0: failed to start port 0 (errno=-12)"),
    row("<word> <pci>: SSS flag set, parallel bus scan disabled", Is(StaggeredStart), NOW, "ahci 0000:00:1f.2: SSS flag set, parallel bus scan disabled"),
];
