//! The names of places where drives are plugged, and the parts in them that several drives share.

/// The controller's key in the name of a place, such as `0000/1f.2` in `0000/1f.2/ata-1`.
pub fn controller_of(port: &str) -> Option<&str> {
    port.rsplit_once('/').map(|(controller, _)| controller)
}

/// The host and the chain of ports of the USB device in the name of a place, such as `0000/14.0` and `2.1` in
/// `0000/14.0/usb-2.1:0`.
pub fn bridge_of(port: &str) -> Option<(&str, &str)> {
    let (host, device) = port.rsplit_once('/')?;
    let (chain, _) = device.strip_prefix("usb-")?.rsplit_once(':')?;
    Some((host, chain))
}

/// The part before the drive that others may be plugged into, too, in the name of a place: the port multiplier at
/// `0000/1c.0/00.0/ata-3` of `0000/1c.0/00.0/ata-3.1`, the expander `0000/01.0/00.0/exp-1` of
/// `0000/01.0/00.0/exp-1.0:3:0`, the bridge `0000/14.0/usb-2.1` of `0000/14.0/usb-2.1:0`, else the controller.
pub fn path_of(port: &str) -> Option<&str> {
    let controller = controller_of(port)?;
    let last = &port[controller.len() + 1..];
    let length = if last.starts_with("ata-") || last.starts_with("exp-") {
        last.find('.')
    } else if last.starts_with("usb-") {
        last.rfind(':')
    } else {
        None
    };
    Some(length.map_or(controller, |length| &port[..controller.len() + 1 + length]))
}
