//! What a reading costs the drives: the commands that they were sent, as strace saw them go into the kernel, and for
//! NVMe as the kernel saw them go to the drive.
//!
//! Times are those of an emulated machine under a tracer, so they compare drives with each other and nothing else.

use std::collections::BTreeMap;
use std::fmt;

/// Traces the shell text that follows. Lines of strace go to files in the guest's folder `/lab/trace`, one a thread; the
/// kernel's (Documentation/trace/events.rst) into its own memory.
pub const TRACED: &str = "
mountpoint -q /sys/kernel/tracing || mount -t tracefs tracefs /sys/kernel/tracing
echo >/sys/kernel/tracing/trace
for event in nvme_setup_cmd nvme_complete_rq; do echo 1 >/sys/kernel/tracing/events/nvme/$event/enable; done
rm -rf /lab/trace; mkdir /lab/trace
strace -ff -y -T -s 0 -e trace=ioctl -o /lab/trace/of";
/// Prints all that was traced.
pub const TRACE: &str = "cat /lab/trace/of.* /sys/kernel/tracing/trace";

/// What one drive was asked.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cost {
    /// Commands.
    pub commands: u32,
    /// Seconds that the kernel and the drive took, all together.
    pub seconds: f64,
    /// Bytes that came back.
    pub bytes: u64,
}

/// Costs by the device's file, from the lines of a trace; those of NVMe by the controller's, such as `/dev/nvme0`.
pub fn costs(trace: &str) -> BTreeMap<String, Cost> {
    let mut costs = BTreeMap::<String, Cost>::new();
    let mut begun = BTreeMap::new();
    for line in trace.lines() {
        if let Some((command, at, bytes)) = nvme_begin(line) {
            begun.insert(command, (at, bytes));
        }
        let ended = nvme_end(line).and_then(|(command, at)| {
            let (start, bytes) = begun.remove(&command)?;
            Some((format!("/dev/{}", command.0), Cost { commands: 1, seconds: at - start, bytes }))
        });
        if let Some((device, one)) = ended.or_else(|| scsi(line)) {
            let sum = costs.entry(device).or_default();
            sum.commands += one.commands;
            sum.seconds += one.seconds;
            sum.bytes += one.bytes;
        }
    }
    costs
}

/// A line of strace, when it is about a command to a drive.
fn scsi(line: &str) -> Option<(String, Cost)> {
    let (device, rest) = line.strip_prefix("ioctl(")?.split_once('<')?.1.split_once(">, SG_IO, ")?;
    let seconds = line.strip_suffix('>')?.rsplit_once('<')?.1.parse().ok()?;
    // A command that was refused moved nothing, and not every driver says so in `resid`.
    let moved = if number(rest, "status") == Some(0) { number(rest, "dxfer_len")? } else { 0 };
    let bytes = moved.saturating_sub(number(rest, "resid").unwrap_or(0));
    Some((device.to_string(), Cost { commands: 1, seconds, bytes }))
}

/// The number of a field, which may be written in hexadecimal.
fn number(fields: &str, name: &str) -> Option<u64> {
    let value = fields.split(", ").find_map(|field| field.strip_prefix(name)?.strip_prefix('='))?;
    match value.strip_prefix("0x") {
        Some(digits) => u64::from_str_radix(digits, 16).ok(),
        None => value.parse().ok(),
    }
}

/// A command of one controller, by its number.
type NvmeCommand = (String, u64);

/// An administrative command begins: which, when (in seconds), and how many bytes it asks for. Identify is 4096 bytes
/// (NVMe 1.4, clause 5.15); of a log, bits 31 to 16 of dword 10 say how many double words, less one (clause 5.14).
fn nvme_begin(line: &str) -> Option<(NvmeCommand, f64, u64)> {
    let (command, at, rest) = nvme(line, "nvme_setup_cmd")?;
    let bytes = match rest.split_once("nvme_admin_get_log_page cdw10=") {
        Some((_, dword_10)) => {
            let bytes: Vec<u64> = dword_10.split(' ').take(4).flat_map(|byte| u64::from_str_radix(byte, 16)).collect();
            (bytes.get(2)? + bytes.get(3)? * 256 + 1) * 4
        }
        None if rest.contains("nvme_admin_identify ") => 4096,
        None => 0,
    };
    Some((command, at, bytes))
}

/// It ends: which, and when.
fn nvme_end(line: &str) -> Option<(NvmeCommand, f64)> {
    let (command, at, _) = nvme(line, "nvme_complete_rq")?;
    Some((command, at))
}

/// A line of the kernel's trace about an event of queue 0, which takes the administrative commands.
fn nvme<'a>(line: &'a str, event: &str) -> Option<(NvmeCommand, f64, &'a str)> {
    let (before, after) = line.split_once(event)?;
    let at = before.trim_end_matches(": ").rsplit(' ').next()?.parse().ok()?;
    let (controller, rest) = after.strip_prefix(": ")?.split_once(": ")?;
    let is_admin = number(rest, "qid") == Some(0);
    is_admin.then_some(((controller.to_string(), number(rest, "cmdid")?), at, rest))
}

impl fmt::Display for Cost {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} commands, {:.1} ms, {} bytes", self.commands, self.seconds * 1000.0, self.bytes)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As strace 6.1 prints it.
    const STRACE: &str = r#"ioctl(1<socket:[4]>, TCGETS, 0x7ffe) = -1 ENOTTY <0.000010>
ioctl(6</dev/sda>, SG_IO, {interface_id='S', dxfer_direction=SG_DXFER_NONE, cmd_len=16, cmdp=""..., mx_sb_len=64, iovec_count=0, dxfer_len=0, timeout=60000, flags=0, status=0x2, masked_status=0x1, msg_status=0, sb_len_wr=22, sbp=""..., host_status=0, driver_status=0x8, resid=0, duration=4, info=0x1}) = 0 <0.004000>
ioctl(6</dev/sda>, SG_IO, {interface_id='S', dxfer_direction=SG_DXFER_FROM_DEV, cmd_len=10, cmdp=""..., mx_sb_len=64, iovec_count=0, dxfer_len=4096, timeout=60000, flags=0, dxferp=""..., status=0, masked_status=0, msg_status=0, sb_len_wr=0, sbp="", host_status=0, driver_status=0, resid=4080, duration=12, info=0}) = 0 <0.012000>
ioctl(6</dev/sda>, SG_IO, {interface_id='S', dxfer_direction=SG_DXFER_FROM_DEV, cmd_len=10, cmdp=""..., mx_sb_len=64, iovec_count=0, dxfer_len=4096, timeout=60000, flags=0, dxferp=""..., status=0x2, masked_status=0x1, msg_status=0, sb_len_wr=18, sbp=""..., host_status=0, driver_status=0x8, resid=0, duration=0, info=0x1}) = 0 <0.001000>
ioctl(4</dev/nvme0n1>, NVME_IOCTL_ADMIN_CMD, 0x7fe81a9eafc8) = 0 <0.082000>
"#;

    #[test]
    fn commands_are_summed_by_drive_and_refused_ones_move_nothing() {
        let costs = costs(STRACE);
        assert_eq!(costs.len(), 1);
        assert_eq!(costs["/dev/sda"].to_string(), "3 commands, 17.0 ms, 16 bytes");
    }

    /// As Linux 6.1 prints it: another queue, the end of a command from before, then two whole ones.
    const KERNEL: &str = "
 dd-44 [000] ..... 64.000000: nvme_setup_cmd: nvme0: disk=nvme0n1, qid=1, cmdid=7, nsid=1, flags=0x0, meta=0x0, cmd=(nvme_cmd_read slba=0, len=7, ctrl=0x0, dsmgmt=0, reftag=0)
 <idle>-0 [000] ..s1. 64.000100: nvme_complete_rq: nvme0: disk=nvme0n1, qid=1, cmdid=7, res=0x0, retries=0, flags=0x0, status=0x0
 <idle>-0 [000] ..s1. 65.444362: nvme_complete_rq: nvme0: qid=0, cmdid=24585, res=0x157, retries=0, flags=0x0, status=0x0
 exe-449 [001] ..... 65.899000: nvme_setup_cmd: nvme0: qid=0, cmdid=24586, nsid=0, flags=0x0, meta=0x0, cmd=(nvme_admin_identify cns=1, ctrlid=0)
 <idle>-0 [000] ..s1. 65.901000: nvme_complete_rq: nvme0: qid=0, cmdid=24586, res=0x0, retries=0, flags=0x2, status=0x0
 exe-449 [001] ..... 65.916000: nvme_setup_cmd: nvme0: qid=0, cmdid=24587, nsid=4294967295, flags=0x0, meta=0x0, cmd=(nvme_admin_get_log_page cdw10=02 80 7f 00 00 00 00 00 00 00 00 00)
 ksoftirqd/0-14 [000] ..s.. 65.920000: nvme_complete_rq: nvme0: qid=0, cmdid=24587, res=0x0, retries=0, flags=0x2, status=0x0
";

    #[test]
    fn nvme_commands_are_timed_from_their_begin_to_their_end_and_a_log_states_its_length() {
        let costs = costs(KERNEL);
        assert_eq!(costs.len(), 1);
        assert_eq!(costs["/dev/nvme0"].to_string(), "2 commands, 6.0 ms, 4608 bytes");
    }
}
