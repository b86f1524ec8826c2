//! How the panel of each module is wired to its controller (from memory: the data sheets of modules with 0.96, 0.91, 0.42,
//! 0.66, 2.42 and 1.3 inch panels).

use traylight_display::{Module, PanelChip};

/// The wires of one module.
pub(super) struct Wiring {
    pub(super) width: usize,
    pub(super) height: usize,
    /// The segment at the panel's right edge: the usual module has segment 0 at the viewer's right.
    first_segment: usize,
    /// Neighbouring lines of the panel go to the controller's two sides in turn.
    alternate: bool,
    /// The light's voltage is there without the controller's doing.
    pub(super) voltage_from_outside: bool,
    /// There is no resistor that sets the light's current.
    pub(super) no_current_resistor: bool,
}

impl Wiring {
    pub(super) fn of(module: Module) -> Wiring {
        let (width, height) = (module.size().width() as usize, module.size().height() as usize);
        let (first_segment, alternate) = match (module.controller(), width, height) {
            (PanelChip::Sh1106, 128, 64) => (2, true),
            (PanelChip::Ssd1306, 128, 32) => (0, false),
            (PanelChip::Ssd1306, 72, 40) => (28, true),
            (PanelChip::Ssd1306, 64, 48) => (32, true),
            _ => (0, true),
        };
        let voltage_from_outside = module.controller() == PanelChip::Ssd1309;
        let no_current_resistor = width == 72;
        Wiring { width, height, first_segment, alternate, voltage_from_outside, no_current_resistor }
    }

    /// The segment that lights the column `x`, counted from the left.
    pub(super) fn segment_at(&self, x: usize) -> usize {
        self.first_segment + self.width - 1 - x
    }

    /// The controller's row pad that the line `y` is wired to, counted from the top; the lowest line is at pad 0.
    pub(super) fn pad_at(&self, y: usize) -> usize {
        let line = self.height - 1 - y;
        if self.alternate { line / 2 + line % 2 * 32 } else { line }
    }
}
