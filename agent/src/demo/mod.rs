//! The pretend box.
/// Plays.
///
/// # Errors
/// Never.
pub fn play(_speed: u32) -> std::io::Result<()> {
    Ok(())
}
