//! What the pretend box has besides drives and pools: fan chips, thermal zones, network ports.

use crate::pretend_box::PretendBox;

/// The I2C bus of the fan chips.
pub(crate) const I2C: &str = "/sys/devices/pci0000:00/0000:00:1f.4/i2c-1";

impl PretendBox {
    /// A chip on the I2C bus with fans of these speeds in rpm, and one temperature.
    pub fn fan_chip(&self, name: &str, address: &str, rpm: &[u32]) -> &Self {
        let device = format!("{I2C}/{address}");
        let chip = self.chip(&format!("{device}/hwmon"), name, &device);
        for (index, rpm) in rpm.iter().enumerate() {
            let number = index + 1;
            self.write(&format!("{chip}/fan{number}_input"), &format!("{rpm}\n"))
                .write(&format!("{chip}/pwm{number}"), "160\n");
        }
        self.write(&format!("{chip}/temp1_input"), "41250\n").write(&format!("{chip}/temp1_label"), "board\n")
    }

    /// A chip of the board with these files.
    pub fn monitor(&self, name: &str, files: &[(&str, &str)]) -> &Self {
        let device = format!("/sys/devices/platform/{name}");
        let chip = self.chip(&format!("{device}/hwmon"), name, &device);
        for (file, text) in files {
            self.write(&format!("{chip}/{file}"), text);
        }
        self
    }

    /// A thermal zone.
    pub fn zone(&self, kind: &str, celsius: f64) -> &Self {
        let zone = format!("thermal_zone{}", self.next());
        let folder = format!("/sys/devices/virtual/thermal/{zone}");
        self.write(&format!("{folder}/type"), &format!("{kind}\n"))
            .write(&format!("{folder}/temp"), &format!("{}\n", celsius * 1000.0))
            .link(&format!("/sys/class/thermal/{zone}"), &folder)
    }

    /// An Ethernet port that sees its partner at this speed.
    pub fn port(&self, name: &str, megabits: u32) -> &Self {
        let number = self.next();
        let device = format!("/sys/devices/pci0000:00/0000:00:19.{}", number % 8);
        let folder = format!("{device}/net/{name}");
        let file = |name: &str, text: String| {
            self.write(&format!("{folder}/{name}"), &text);
        };
        file("type", "1\n".into());
        file("ifindex", format!("{}\n", number + 1));
        file("carrier", "1\n".into());
        file("operstate", "up\n".into());
        file("speed", format!("{megabits}\n"));
        file("carrier_changes", "2\n".into());
        file("statistics/rx_bytes", "1000000\n".into());
        file("statistics/tx_bytes", "2000000\n".into());
        self.link(&format!("{folder}/device"), &device).link(&format!("/sys/class/net/{name}"), &folder)
    }

    /// A port without hardware behind it, such as `lo` or a bridge.
    pub fn virtual_port(&self, name: &str) -> &Self {
        let folder = format!("/sys/devices/virtual/net/{name}");
        self.write(&format!("{folder}/type"), "1\n")
            .write(&format!("{folder}/carrier"), "1\n")
            .link(&format!("/sys/class/net/{name}"), &folder)
    }
}
