//! The program itself, built once for the tests that run it as its owner would.

#![allow(clippy::expect_used, clippy::panic, reason = "tests of the program are nothing without the program")]

use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

/// The `traylight` program, built from this workspace. Built at the first call; cargo itself says where it lies.
pub fn traylight() -> &'static Path {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(build)
}

fn build() -> PathBuf {
    let output = Command::new(env!("CARGO"))
        .args(["build", "--package", "traylight", "--bin", "traylight", "--message-format", "json"])
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .output()
        .expect("cargo can be run");
    assert!(output.status.success(), "the program does not build:\n{}", String::from_utf8_lossy(&output.stderr));
    executable(&String::from_utf8_lossy(&output.stdout)).unwrap_or_else(|| panic!("cargo names no executable"))
}

/// The executable among cargo's messages, one JSON object a line (The Cargo Book, External Tools).
fn executable(messages: &str) -> Option<PathBuf> {
    let messages = messages.lines().filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok());
    messages.filter_map(|message| Some(PathBuf::from(message["executable"].as_str()?))).next_back()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_executable_is_found_among_other_messages() {
        let messages = "{\"reason\":\"compiler-artifact\",\"executable\":null}\n\
                        {\"reason\":\"compiler-artifact\",\"executable\":\"/t/debug/traylight\"}\n\
                        {\"reason\":\"build-finished\",\"success\":true}\n";
        assert_eq!(executable(messages), Some(PathBuf::from("/t/debug/traylight")));
        assert_eq!(executable("Compiling\n"), None);
    }
}
