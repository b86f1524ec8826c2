//! Lines about the machine as a whole: its supply (drivers/hwmon/raspberrypi-hwmon.c), tasks that wait (kernel/hung_task.c)
//! and memory that is used up (mm/oom_kill.c).

use super::known_line::Then::Is;
use super::known_line::{KnownLine, row};
use traylight_data::reading::EventKind::{OutOfMemory, TaskHung, UndervoltageBegan, UndervoltageEnded};

const NOW: &str = "6.1, 6.12";
const OLD: &str = "board makers' kernels up to 5.x, from memory";

#[rustfmt::skip]
pub const ROWS: &[KnownLine] = &[
    row("hwmon <word>: Undervoltage detected!", Is(UndervoltageBegan), NOW, "hwmon hwmon1: Undervoltage detected!"),
    row("hwmon <word>: Voltage normalised", Is(UndervoltageEnded), NOW, "hwmon hwmon1: Voltage normalised"),
    row("Under-voltage detected! (<*>)", Is(UndervoltageBegan), OLD, "Under-voltage detected! (0x00050005)"),
    row("Voltage normalised (<*>)", Is(UndervoltageEnded), OLD, "Voltage normalised (0x00000000)"),
    row("INFO: task <*> blocked for more than <number> seconds.", Is(TaskHung), NOW, "INFO: task kworker/u8:2:123 blocked for more than 120 seconds."),
    row("Out of memory: Killed process <*>", Is(OutOfMemory), NOW, "Out of memory: Killed process 1234 (recorder) total-vm:2048kB, anon-rss:1024kB, file-rss:0kB, shmem-rss:0kB, UID:1000 pgtables:8kB oom_score_adj:0"),
];
