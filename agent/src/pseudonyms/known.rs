//! What is known beforehand to identify a box or its owner. Short and common values are left out: they identify nobody, and
//! to replace them would wreck the text.

use super::kind::IdentityKind;
use crate::reading::{Snapshot, UsedBy};
use crate::serve::document::Document;
use crate::tell::words::phrases::{Language, Phrases};
use regex::Regex;
use std::collections::HashSet;
use std::sync::LazyLock;
use traylight_config::{Destination, ExpectedDrive, Login, SecretSource, Settings};

/// Names of the kernel for devices, which say nothing of their owner.
static KERNEL_NAME: LazyLock<Option<Regex>> = LazyLock::new(|| {
    let names = "(?-u)^([shvx]v?d[a-z]+[0-9]*|nvme[0-9]+(n[0-9]+)?(p[0-9]+)?|(md_?d?|dm-|loop|zram|sr)[0-9]+|mmcblk[0-9]+(p[0-9]+)?|box)$";
    Regex::new(names).ok()
});

/// Names that many boxes have.
const COMMON: [&str; 56] = [
    "admin",
    "archive",
    "backup",
    "backups",
    "boot",
    "cache",
    "daemon",
    "data",
    "debian",
    "docker",
    "efi",
    "export",
    "exports",
    "firmware",
    "home",
    "ip6-allnodes",
    "ip6-allrouters",
    "ip6-localhost",
    "ip6-localnet",
    "ip6-loopback",
    "lib",
    "local",
    "localdomain",
    "localhost",
    "log",
    "logs",
    "mapper",
    "media",
    "mnt",
    "nas",
    "nobody",
    "none",
    "opt",
    "overlay",
    "parity",
    "pool",
    "proc",
    "public",
    "raid",
    "root",
    "run",
    "server",
    "shared",
    "shares",
    "snapshots",
    "srv",
    "storage",
    "sys",
    "system",
    "tank",
    "tmp",
    "tmpfs",
    "traylight",
    "ubuntu",
    "usr",
    "var",
];

/// Words that this program writes itself.
static OUR_WORDS: LazyLock<HashSet<String>> = LazyLock::new(|| {
    let texts = Language::ENGLISH.texts();
    let words = texts.flat_map(|text| text.split(|c: char| !c.is_alphanumeric()));
    words.map(str::to_lowercase).collect()
});

/// Values that identify.
#[derive(Debug, Clone, Default)]
pub struct Known(Vec<(IdentityKind, String)>);

impl Known {
    /// Adds a value, unless it is too short or too common to identify anybody.
    pub fn add(&mut self, kind: IdentityKind, value: &str) {
        let value = value.trim();
        if identifies(kind, value) {
            self.0.push((kind, value.to_owned()));
        }
    }

    /// Adds a host: its whole name, and the name without its domain or the domain above it.
    pub fn add_host(&mut self, name: &str) {
        let is_address = name.parse::<std::net::IpAddr>().is_ok();
        self.add(if is_address { IdentityKind::Address } else { IdentityKind::Host }, name);
        let Some((first, domain)) = name.split_once('.').filter(|_| !is_address) else { return };
        self.add(IdentityKind::Host, first);
        if domain.contains('.') {
            self.add(IdentityKind::Host, domain);
        }
    }

    fn add_mail_address(&mut self, address: &str) {
        self.add(IdentityKind::Mail, address);
        if let Some((user, domain)) = address.rsplit_once('@') {
            self.add(IdentityKind::User, user);
            self.add(IdentityKind::Host, domain);
        }
    }

    /// Adds each part of a path.
    pub fn add_path(&mut self, kind: IdentityKind, path: &str) {
        path.split(['/', ':']).filter(|part| !part.contains('=')).for_each(|part| self.add(kind, part));
    }

    /// Adds where a file system comes from: a device, a pool and its part, or another host's folder.
    fn add_source(&mut self, source: &str) {
        use IdentityKind::{Pool, Share, Uuid};
        if let Some((tag, value)) = source.split_once('=') {
            return self.add(if tag.ends_with("UUID") { Uuid } else { Share }, value);
        }
        let of_host = source.strip_prefix("//").and_then(|rest| rest.split_once('/')).or(source.split_once(":/"));
        match (of_host, source.strip_prefix("/dev/")) {
            (Some((host, path)), _) => {
                self.add_host(host);
                self.add_path(Share, path);
            }
            (None, Some(device)) => {
                // The two names of a logical volume are joined by a dash (lvm(8)).
                device.split('/').filter(|part| *part != "mapper").for_each(|part| {
                    self.add(Pool, part);
                    part.split('-').for_each(|half| self.add(Pool, half));
                });
            }
            (None, None) => self.add_path(Share, source),
        }
    }

    /// Adds what was read.
    pub fn add_snapshot(&mut self, snapshot: &Snapshot) {
        use IdentityKind::{Pool, Serial, Share, Uuid, Wwn};
        for drive in &snapshot.drives {
            drive.serial.iter().for_each(|serial| self.add(Serial, serial));
            drive.wwn.iter().for_each(|wwn| self.add(Wwn, wwn));
            let mounts = drive.uses.get().into_iter().flatten().filter_map(|one| match &one.by {
                UsedBy::Mount(mount) => Some(mount),
                UsedBy::Holder(_) | UsedBy::Swap => None,
            });
            mounts.for_each(|mount| self.add_path(Share, mount));
        }
        self.add_host(&snapshot.board.name);
        snapshot.board.address.iter().for_each(|address| self.add_host(address));
        for pool in &snapshot.pools {
            self.add_path(Pool, &pool.name);
            if pool.key != pool.name {
                self.add(Uuid, &pool.key);
            }
        }
        for volume in &snapshot.volumes {
            self.add_path(Share, &volume.mount);
            self.add_source(&volume.source);
        }
        for union in &snapshot.unions {
            union.branches.iter().chain([&union.mount]).for_each(|folder| self.add_path(Share, folder));
        }
        for unmounted in &snapshot.unmounted {
            self.add_path(Share, &unmounted.mount);
            self.add_source(&unmounted.source);
        }
    }

    /// Adds what the configuration names.
    pub fn add_settings(&mut self, settings: &Settings) {
        use IdentityKind::{Serial, Share};
        settings.box_name.iter().for_each(|name| self.add_host(name));
        for tray in settings.shelves.iter().flat_map(|shelf| &shelf.trays) {
            if let Some(ExpectedDrive::Serial(serial)) = &tray.holds {
                self.add(Serial, serial);
            }
        }
        settings.watch.ignore_volumes.iter().for_each(|mount| self.add_path(Share, mount));
        settings.alerts.heartbeat.iter().for_each(|heartbeat| self.add_host(&heartbeat.url.host));
        settings.alerts.channels.iter().for_each(|channel| self.add_destination(&channel.leads_to));
    }

    fn add_destination(&mut self, destination: &Destination) {
        match destination {
            Destination::Mail(mail) => {
                self.add_host(&mail.server);
                mail.to.iter().chain([&mail.from]).for_each(|address| self.add_mail_address(address));
                self.add_login(mail.login.as_ref());
            }
            Destination::Webhook(webhook) => {
                self.add_host(&webhook.url.host);
                webhook.token.iter().chain(&webhook.signing_key).for_each(|secret| self.add_secret(secret));
            }
            Destination::Mqtt(mqtt) => {
                self.add_host(&mqtt.server);
                mqtt.topic.iter().for_each(|topic| self.add_path(IdentityKind::Share, topic));
                self.add_login(mqtt.login.as_ref());
            }
            Destination::Command(_) => {}
        }
    }

    fn add_login(&mut self, login: Option<&Login>) {
        if let Some(login) = login {
            self.add(IdentityKind::User, &login.user);
            self.add_secret(&login.password);
        }
    }

    fn add_secret(&mut self, secret: &SecretSource) {
        let (SecretSource::File(name) | SecretSource::Credential(name)) = secret;
        self.add(IdentityKind::Secret, name);
        self.add(IdentityKind::Secret, name.rsplit('/').next().unwrap_or_default());
    }

    /// Adds the drives that the agent remembers, also those that are gone.
    pub fn add_document(&mut self, document: &Document) {
        use IdentityKind::{Pool, Serial, Share, Wwn};
        self.add_host(&document.box_name);
        for drive in &document.drives {
            drive.serial.iter().for_each(|serial| self.add(Serial, serial));
            drive.wwn.iter().for_each(|wwn| self.add(Wwn, wwn));
        }
        document.pools.iter().for_each(|pool| self.add_path(Pool, &pool.name));
        document.volumes.iter().for_each(|volume| self.add_path(Share, &volume.mount));
        let held = document.conditions.iter().filter_map(|condition| condition.serial.as_ref());
        let about = document.incidents.iter().flat_map(|incident| &incident.drives);
        held.chain(about.filter_map(|drive| drive.serial.as_ref())).for_each(|serial| self.add(Serial, serial));
    }

    /// All values, in the order in which they came.
    pub(super) fn values(&self) -> &[(IdentityKind, String)] {
        &self.0
    }
}

/// False for what is too short to be told from other text, and for names that many boxes have.
pub(super) fn identifies(kind: IdentityKind, value: &str) -> bool {
    use IdentityKind::{Host, Pool, Share, User};
    let is_number = value.bytes().all(|byte| byte.is_ascii_digit());
    let is_blank = value.chars().all(|c| !c.is_alphanumeric() || c == '0');
    let long_enough = match value.chars().count() {
        0..=2 => false,
        3 => matches!(kind, Pool | Share | Host | User) && !is_number,
        4 => !is_number,
        _ => true,
    };
    let is_a_name = matches!(kind, Pool | Share | Host | User);
    long_enough && !is_blank && !(is_a_name && is_common(&value.to_lowercase()))
}

fn is_common(name: &str) -> bool {
    COMMON.contains(&name)
        || OUR_WORDS.contains(name)
        || KERNEL_NAME.as_ref().is_some_and(|kernels| kernels.is_match(name))
}
