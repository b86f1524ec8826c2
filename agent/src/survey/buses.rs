//! Which I2C buses lead to pins that a panel can be wired to, and which must be left alone. Pure.
//!
//! Every byte on a wrong bus can upset what listens there: a display's data channel, a memory module's settings, a supply's
//! regulator. So a bus is one of a header only when its name or the board's device tree says so.

use serde::Serialize;

/// What a bus is there for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum BusPurpose {
    /// It is wired to pins that are meant for modules such as a panel.
    Header,
    /// A display's data channel (VESA DDC).
    Display,
    /// The mainboard's own bus, with its memory modules (SMBus).
    Mainboard,
    /// What is on it is not known.
    Unknown,
}

/// Words in the names of adapters that belong to displays: drivers/gpu/drm names its channels so (from memory).
const DISPLAY: [&str; 12] =
    ["ddc", "hdmi", "dp-aux", "dpaux", "gmbus", "drm", "amdgpu", "nouveau", "nvidia", "radeon", "i915", "vga"];

/// Words in the names of adapters that are plugged into USB, so they are there for modules (drivers/i2c/busses and
/// drivers/hid, from memory).
const PLUGGED: [&str; 5] = ["i2c-tiny-usb", "ch341", "cp2112", "mcp2221", "diolan"];

/// The bus on the pins of a header: the maker in the device tree's `compatible`, and the name of the bus among the tree's
/// aliases. Pins 3 and 5 of a 40-pin header are `i2c1` (the maker's overlay documentation, from memory).
const HEADERS: [(&str, &str); 1] = [("raspberrypi,", "i2c1")];

/// What the bus of this adapter is there for. `compatible` is the board's in its device tree, `alias` the tree's name for
/// the bus; both are empty where there is no device tree.
pub fn bus_purpose(adapter: &str, compatible: &str, alias: &str) -> BusPurpose {
    let name = adapter.to_lowercase();
    let names = |words: &[&str]| words.iter().any(|word| name.contains(word));
    let is_header = |(maker, bus): &(&str, &str)| compatible.starts_with(maker) && alias == *bus;
    if names(&DISPLAY) {
        BusPurpose::Display
    } else if names(&PLUGGED) || HEADERS.iter().any(is_header) {
        BusPurpose::Header
    } else if names(&["smbus"]) {
        BusPurpose::Mainboard
    } else {
        BusPurpose::Unknown
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_a_bus_that_is_known_to_be_wired_to_pins_is_a_header() {
        let pi = "raspberrypi,5-model-b";
        for (adapter, compatible, alias, wanted) in [
            ("bcm2835 (i2c@7e804000)", "raspberrypi,4-model-b", "i2c1", BusPurpose::Header),
            ("Synopsys DesignWare I2C adapter", pi, "i2c1", BusPurpose::Header),
            ("Synopsys DesignWare I2C adapter", pi, "i2c0", BusPurpose::Unknown),
            ("107d508200.i2c HDMI DDC", pi, "i2c1", BusPurpose::Display),
            ("Synopsys DesignWare I2C adapter", "", "", BusPurpose::Unknown),
            ("rk3x-i2c", "somebody,board", "i2c1", BusPurpose::Unknown),
            ("SMBus I801 adapter at efa0", "", "", BusPurpose::Mainboard),
            ("CP2112 SMBus Bridge on hidraw0", "", "", BusPurpose::Header),
            ("i915 gmbus dpb", "", "", BusPurpose::Display),
            ("AMDGPU DM i2c hw bus 0", "", "", BusPurpose::Display),
        ] {
            assert_eq!(bus_purpose(adapter, compatible, alias), wanted, "{adapter} {compatible} {alias}");
        }
    }
}
