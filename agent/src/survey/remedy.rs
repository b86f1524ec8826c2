//! What turns on what is missing, and what to enter for it.

use serde::Serialize;
use std::path::PathBuf;
use strum::{IntoStaticStr, VariantNames};

/// What turns something on.
#[derive(Debug, Clone, PartialEq, Serialize, IntoStaticStr, VariantNames)]
#[serde(tag = "id", rename_all = "kebab-case")]
#[strum(serialize_all = "kebab-case")]
pub enum Remedy {
    /// Load a module of the kernel, now and at every start.
    LoadModule {
        /// The module's name.
        module: &'static str,
    },
    /// Let the service query drives.
    AskDrives,
    /// Call this as root.
    AsRoot,
    /// Move the drive from its USB adapter to a SATA port.
    SataPort,
    /// Install ZFS's tool by the system's package manager, apt.
    InstallZpool,
    /// Install ZFS's tool, by whatever installs packages here.
    ZpoolPackage,
    /// A fan with a tachometer.
    ThirdWire,
    /// The driver of the board's sensor chip, or else a fan with a tachometer.
    FanSensor,
    /// A sensor with a labelled input.
    Sensor,
    /// Install and start the service.
    Install,
    /// Start the service.
    Start,
    /// Enable I2C in the board's boot configuration.
    EnableI2c {
        /// The file.
        file: PathBuf,
    },
    /// An adapter from USB to I2C.
    UsbAdapter,
    /// Join the group that may use the bus.
    JoinGroup {
        /// The group's name.
        group: String,
        /// Who joins.
        user: String,
    },
    /// Give buses of pin headers to the group `i2c`, and join it.
    OpenBuses {
        /// What a udev rule matches each bus by.
        rules: Vec<String>,
        /// Who joins.
        user: String,
    },
    /// Look for a panel on this bus, too.
    TryBus {
        /// The bus's device, such as `i2c-1`.
        bus: String,
        /// Only root may use it.
        as_root: bool,
    },
    /// Unload or unbind the driver that has the address.
    FreeAddress,
    /// Check the wires.
    CheckWires,
    /// Set these keys of the first panel.
    ConfigurePanel {
        /// The configuration file.
        file: PathBuf,
        /// The keys with their values.
        lines: Vec<String>,
    },
    /// Add a table for another panel.
    AddPanel {
        /// The configuration file.
        file: PathBuf,
        /// The table.
        lines: Vec<String>,
    },
}

impl Remedy {
    /// What to enter, one command or line each; nothing where something has to be bought, moved or read.
    pub fn to_enter(&self) -> Vec<String> {
        match self {
            Self::LoadModule { module } => vec![
                format!("echo {module} | sudo tee /etc/modules-load.d/{module}.conf"),
                format!("sudo modprobe {module}"),
            ],
            Self::AskDrives => vec![
                "sudo install -D -m 644 systemd/ask-drives.conf /etc/systemd/system/traylight.service.d/ask-drives.conf"
                    .to_owned(),
                "sudo systemctl daemon-reload".to_owned(),
                "sudo systemctl restart traylight".to_owned(),
            ],
            Self::AsRoot => vec!["sudo traylight survey".to_owned()],
            Self::InstallZpool => vec!["sudo apt install zfsutils-linux".to_owned()],
            Self::Start => vec!["sudo systemctl enable --now traylight".to_owned()],
            // A file of several parts may end in one that is for another board: [all] ends it.
            Self::EnableI2c { file } => vec![
                format!("printf '[all]\\ndtparam=i2c_arm=on\\n' | sudo tee -a {}", file.display()),
                "sudo reboot".to_owned(),
            ],
            Self::JoinGroup { group, user } => vec![format!("sudo usermod -aG {group} {user}")],
            Self::OpenBuses { rules, user } => {
                let begin = "sudo groupadd --system --force i2c".to_owned();
                let rule = |bus: &String| {
                    let rule = format!(r#"SUBSYSTEM=="i2c-dev", {bus}, GROUP="i2c", MODE="0660""#);
                    format!("echo '{rule}' | sudo tee -a /etc/udev/rules.d/61-traylight-i2c.rules")
                };
                let end = [
                    "sudo udevadm control --reload && sudo udevadm trigger --subsystem-match=i2c-dev".to_owned(),
                    format!("sudo usermod -aG i2c {user}"),
                ];
                [begin].into_iter().chain(rules.iter().map(rule)).chain(end).collect()
            }
            Self::TryBus { bus, as_root } => {
                vec![format!("{}traylight survey --bus {bus}", if *as_root { "sudo " } else { "" })]
            }
            Self::ConfigurePanel { lines, .. } | Self::AddPanel { lines, .. } => lines.clone(),
            Self::SataPort | Self::ZpoolPackage | Self::ThirdWire | Self::FanSensor | Self::Sensor => Vec::new(),
            Self::Install | Self::UsbAdapter | Self::FreeAddress | Self::CheckWires => Vec::new(),
        }
    }
}
