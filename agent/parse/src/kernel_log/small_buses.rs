//! Lines about I2C buses and memory cards (drivers/i2c/busses, drivers/mmc/core).

use super::known_line::Then::{Is, NotStarted};
use super::known_line::{KnownLine, row};
use traylight_data::reading::EventKind::{BusStuck, SlowToRespond, TimedOut, Vanished};

const NOW: &str = "6.1, 6.12";

#[rustfmt::skip]
pub const ROWS: &[KnownLine] = &[
    row("i2c_designware <bus>: controller timed out", Is(BusStuck), NOW, "i2c_designware 1f00074000.i2c: controller timed out"),
    row("i2c_designware <bus>: <*>lost arbitration", Is(BusStuck), NOW, "i2c_designware 1f00074000.i2c: lost arbitration"),
    row("i2c-bcm2835 <bus>: i2c transfer timed out", Is(BusStuck), NOW, "i2c-bcm2835 fe804000.i2c: i2c transfer timed out"),
    row("<card>: error <errno> whilst initialising <*>", NotStarted, NOW, "mmc0: error -110 whilst initialising SD card"),
    row("<card>: Timeout waiting for hardware <*>", Is(TimedOut), NOW, "mmc0: Timeout waiting for hardware interrupt."),
    row("<card>: Card stuck being busy! <*>", Is(SlowToRespond), NOW, "mmc0: Card stuck being busy! __mmc_poll_for_busy"),
    row("<card>: card <word> removed", Is(Vanished), NOW, "mmc0: card aaaa removed"),
];
