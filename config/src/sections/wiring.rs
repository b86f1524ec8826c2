//! A panel as such, in `[panel]` and `[[panel.more]]`: what it is, and where it is wired.

use crate::key::key;
use crate::reader::{Given, Section};
use crate::values::{Refusal, ValueKind, integer, one_of, refuse, text, whole};

/// The most panels besides the first: two addresses on a bus, and few boxes have more than two buses to spare.
const MOST_MORE: usize = 3;

const CONTROLLERS: [(&str, PanelController); 3] =
    [("ssd1306", PanelController::Ssd1306), ("ssd1309", PanelController::Ssd1309), ("sh1106", PanelController::Sh1106)];

const SIZES: [(&str, (u32, u32)); 4] =
    [("128x64", (128, 64)), ("128x32", (128, 32)), ("72x40", (72, 40)), ("64x48", (64, 48))];

/// One panel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PanelWiring {
    /// Where the panel is wired.
    pub bus: Bus,
    /// The 7-bit I2C address: 0x3C or 0x3D (SSD1306 datasheet, section 8.1.5).
    pub address: u8,
    /// The speed of the bus in kHz: 10 to 1000.
    pub bus_speed_khz: u32,
    /// The chip behind the panel.
    pub controller: PanelController,
    /// Columns and rows of pixels, as the module lies.
    pub size: (u32, u32),
    /// How the module is mounted, in degrees clockwise: 0, 90, 180 or 270.
    pub rotation_degrees: u32,
    /// How bright the panel is when all is well.
    pub brightness: PanelBrightness,
}

/// Where the panel is wired.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Bus {
    /// A device file, such as `/dev/i2c-1`.
    Path(String),
    /// The name of the bus adapter: it stays the same when bus numbers move.
    AdapterName(String),
}

/// The chip behind the panel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PanelController {
    /// The usual one.
    Ssd1306,
    /// On larger panels, with a voltage of its own.
    Ssd1309,
    /// On 1.3 inch panels.
    Sh1106,
}

impl PanelController {
    /// The sizes of panel that there are with this controller, the usual one first.
    pub fn sizes(self) -> &'static [(u32, u32)] {
        match self {
            PanelController::Ssd1306 => &[(128, 64), (128, 32), (72, 40), (64, 48)],
            PanelController::Ssd1309 | PanelController::Sh1106 => &[(128, 64)],
        }
    }
}

/// How bright the panel is when all is well.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PanelBrightness {
    /// For a dark room; also wears the panel least.
    Dim,
    /// For a lit room.
    Normal,
    /// For a window sill.
    Bright,
}

/// The panel of `[panel]`, if there is one, and those of `[[panel.more]]`.
pub(super) fn read(section: &mut Section) -> Vec<PanelWiring> {
    let mut places = Vec::new();
    let first = section.given(key!(
        /// "none", a device file such as "/dev/i2c-1", or the name of an I2C adapter, which stays the same when
        /// the numbers of the device files move. Switch the power off before you plug or unplug a panel.
        bus = "none", bus_or_none()
    ));
    let first = panel(section, first, &mut places);
    let more = section.sections("more", "More panels, which show the same pages.", 0..=MOST_MORE, |section| {
        let about_bus = key!(
            bus = "/dev/i2c-1",
            bus().map(Some),
            "A device file such as \"/dev/i2c-1\", or the name of an I2C adapter."
        );
        let bus = section.required(about_bus);
        panel(section, bus, &mut places)
    });
    first.into_iter().chain(more.into_iter().flatten()).collect()
}

fn panel(section: &mut Section, bus: Given<Option<Bus>>, places: &mut Vec<(Bus, u8)>) -> Option<PanelWiring> {
    let address = section.value(key!(
        /// 0x3C or 0x3D. Many panels are labelled 0x78 or 0x7A instead; these are accepted as well.
        address = 0x3C, address()
    ));
    let bus_speed_khz = section.value(key!(
        /// The speed of its bus in kHz, 10 to 1000; 100 is usual. The panel uses at most half of the bus time.
        bus_speed_khz = 100, whole(10..=1000)
    ));
    let controller = section.value(key!(
        /// The controller chip of the panel. Most panels have "ssd1306"; most 1.3 inch panels have "sh1106", most 1.5
        /// and 2.4 inch ones "ssd1309". If the picture is two pixels off, with noise along one edge, the chip is an
        /// SH1106, whatever the panel was sold as.
        controller = "ssd1306", one_of(CONTROLLERS)
    ));
    let size = section.given(key!(
        /// Its size in pixels: "128x64", with "ssd1306" also "128x32", "72x40" or "64x48".
        size = "128x64", one_of(SIZES)
    ));
    for controller in CONTROLLERS {
        section.rule_of_schema(sizes_with(controller));
    }
    if !controller.sizes().contains(&size.value) {
        section.wrong(&size, no_such_panel(controller, size.value));
    }
    let rotation_degrees = section.value(key!(
        /// How the panel is mounted, in degrees clockwise: 0 (pins at the top), 90, 180 or 270.
        rotation = 0, rotation()
    ));
    let brightnesses = one_of([
        ("dim", PanelBrightness::Dim),
        ("normal", PanelBrightness::Normal),
        ("bright", PanelBrightness::Bright),
    ]);
    let brightness = section.value(key!(
        /// "dim", "normal" or "bright". Dim wears the panel least.
        brightness = "normal", brightnesses
    ));
    let place = bus.value.clone()?;
    if places.contains(&(place.clone(), address)) {
        section.wrong(
            &bus,
            format!("expected each panel at an address of its own, found two at {address:#04X} of this bus"),
        );
    }
    places.push((place.clone(), address));
    Some(PanelWiring { bus: place, address, bus_speed_khz, controller, size: size.value, rotation_degrees, brightness })
}

/// That a panel with this controller has one of its sizes, for the schema.
fn sizes_with((word, controller): (&str, PanelController)) -> String {
    let sizes: Vec<&str> =
        SIZES.iter().filter(|(_, size)| controller.sizes().contains(size)).map(|(word, _)| *word).collect();
    let is_this =
        format!(r#"{{ "properties": {{ "controller": {{ "const": "{word}" }} }}, "required": ["controller"] }}"#);
    format!(r#"{{ "if": {is_this}, "then": {{ "properties": {{ "size": {{ "enum": {sizes:?} }} }} }} }}"#)
}

/// Which panels there are instead.
fn no_such_panel(controller: PanelController, (width, height): (u32, u32)) -> String {
    let word =
        |this: PanelController| CONTROLLERS.iter().find(|(_, known)| *known == this).map_or("", |(word, _)| word);
    let of_each = CONTROLLERS.iter().map(|(word, controller)| {
        let sizes: Vec<String> = controller.sizes().iter().map(|(width, height)| format!("{width}x{height}")).collect();
        format!("{word} with {}", sizes.join(", "))
    });
    let there_are = of_each.collect::<Vec<_>>().join("; ");
    format!("expected {there_are}; found {} with {width}x{height}", word(controller))
}

fn bus_or_none() -> ValueKind<Option<Bus>> {
    let ValueKind { read, rules, .. } = bus();
    ValueKind::new(rules, None, move |value| match value.as_str() {
        Some(text) if text.eq_ignore_ascii_case("none") => Ok(None),
        _ => read(value)
            .map(Some)
            .map_err(|Refusal { expected, hint }| Refusal { expected: format!("\"none\", {expected}"), hint }),
    })
}

fn bus() -> ValueKind<Bus> {
    let ValueKind { read, rules, .. } = text(64);
    ValueKind::new(rules, Bus::AdapterName(String::new()), move |value| match read(value) {
        Ok(path) if path.starts_with('/') => Ok(Bus::Path(path)),
        Ok(name) => Ok(Bus::AdapterName(name)),
        Err(_) => refuse("a device file such as \"/dev/i2c-1\", or the name of an I2C adapter"),
    })
}

/// The controller answers at one of two 7-bit addresses (SSD1306 datasheet, section 8.1.5). Many modules print
/// the same address in its 8-bit form, with the bit for reading and writing at the end.
fn address() -> ValueKind<u8> {
    ValueKind::new(r#""type": "integer", "enum": [60, 61, 120, 122]"#, 0x3C, |value| match integer(value) {
        Some(0x3C | 0x78) => Ok(0x3C),
        Some(0x3D | 0x7A) => Ok(0x3D),
        _ => refuse(
            "0x3C or 0x3D without quotes, the two addresses such a panel can have (printed as 0x78 or 0x7A on many)",
        ),
    })
}

fn rotation() -> ValueKind<u32> {
    ValueKind::new(r#""enum": [0, 90, 180, 270]"#, 0, |value| {
        match integer(value).and_then(|degrees| u32::try_from(degrees).ok()) {
            Some(degrees @ (0 | 90 | 180 | 270)) => Ok(degrees),
            _ => refuse("0, 90, 180 or 270, without quotes: how far the panel is turned clockwise, in degrees"),
        }
    })
}
