//! The rights of this process beyond those of its user (capabilities(7)): given up for good, so that neither it nor a
//! program that it starts has any. Rights belong to threads, so this is done before there is a second one.

use rustix::io::Errno;
use rustix::thread::{CapabilitySet, CapabilitySets, clear_ambient_capability_set, set_capabilities};
use rustix::thread::{capability_is_in_bounding_set, remove_capability_from_bounding_set};
use std::io;

/// Gives up all rights of the calling thread, and of those that it starts from now on: of the whole process while no other
/// thread runs.
///
/// The limit to what programs may gain by their files is lowered as far as the process may; that takes a right of its
/// own (CAP_SETPCAP), and where a supervisor has not given it, its unit sets that limit.
pub fn give_up() -> io::Result<()> {
    // Numbers are tried until the kernel knows no more (capabilities(7), PR_CAPBSET_READ).
    for bit in 0..u64::BITS {
        let right = CapabilitySet::from_bits_retain(1 << bit);
        match capability_is_in_bounding_set(right) {
            Ok(false) => {}
            Ok(true) => match remove_capability_from_bounding_set(right) {
                Ok(()) => {}
                Err(Errno::PERM) => break,
                Err(error) => return Err(error.into()),
            },
            Err(Errno::INVAL) => break,
            Err(error) => return Err(error.into()),
        }
    }
    clear_ambient_capability_set()?;
    let none = CapabilitySet::empty();
    Ok(set_capabilities(None, CapabilitySets { effective: none, permitted: none, inheritable: none })?)
}
