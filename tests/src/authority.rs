//! A certificate authority for the tests, and certificates by it, made by openssl.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a story without its authority may stop at once")]
#![allow(clippy::disallowed_methods, reason = "making files is this module's job")]

use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// Files of certificates and keys.
pub struct Authority {
    folder: TempDir,
}

impl Authority {
    /// An authority that has given a certificate to this machine, one to another, one that is past its end, and a
    /// second authority that nobody trusts.
    #[allow(clippy::new_without_default, reason = "it makes files")]
    pub fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        let authority = Self { folder };
        for name in ["ca", "stranger"] {
            authority.openssl(&format!(
                "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 30 -subj /CN={name} \
                 -addext basicConstraints=critical,CA:TRUE -keyout {name}.key -out {name}.pem"
            ));
        }
        authority.certificate("here", "ca", "IP:127.0.0.1,DNS:localhost", 30);
        authority.certificate("elsewhere", "ca", "DNS:elsewhere.example", 30);
        authority.certificate("over", "ca", "IP:127.0.0.1,DNS:localhost", -1);
        authority.certificate("untrusted", "stranger", "IP:127.0.0.1,DNS:localhost", 30);
        authority
    }

    fn certificate(&self, name: &str, by: &str, names: &str, days: i32) {
        std::fs::write(self.folder.path().join(format!("{name}.ext")), format!("subjectAltName={names}\n")).unwrap();
        self.openssl(&format!(
            "req -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -subj /CN={name} -keyout {name}.key -out {name}.csr"
        ));
        self.openssl(&format!(
            "x509 -req -in {name}.csr -CA {by}.pem -CAkey {by}.key -CAcreateserial -days {days} -extfile {name}.ext \
             -out {name}.pem"
        ));
    }

    fn openssl(&self, line: &str) {
        let done = Command::new("openssl").args(line.split_whitespace()).current_dir(&self.folder).output();
        let done = done.expect("openssl can be run");
        assert!(done.status.success(), "openssl {line}: {}", String::from_utf8_lossy(&done.stderr));
    }

    /// The certificate that makes the others trusted.
    pub fn ca(&self) -> PathBuf {
        self.file("ca.pem")
    }

    /// A certificate and its key.
    pub fn pair(&self, name: &str) -> (PathBuf, PathBuf) {
        (self.file(&format!("{name}.pem")), self.file(&format!("{name}.key")))
    }

    /// A file that only its owner may read, with this in it.
    pub fn secret(&self, name: &str, text: &str) -> PathBuf {
        use std::os::unix::fs::PermissionsExt;
        let file = self.file(name);
        std::fs::write(&file, text).unwrap();
        std::fs::set_permissions(&file, std::fs::Permissions::from_mode(0o600)).unwrap();
        file
    }

    /// The folder of all these.
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }
}
