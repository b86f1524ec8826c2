//! What general utilities hear from a drive, as values of the state document: nvme-cli, sg3-utils and hdparm send the
//! same commands in their own manner and read the replies with their own code, so they are outside judges of the program's.
//!
//! Not its job: what to think of a difference; that is `drives_speak.rs`.
#![allow(clippy::disallowed_methods, reason = "replies of drives come as files")]

use crate::lab::error::LabError;
use crate::lab::machine::Machine;
use serde_json::{Value, json};
use std::fs;

/// One value.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// Where it stands in the document's drive, as in RFC 6901.
    pub field: &'static str,
    /// The utility.
    pub by: &'static str,
    /// What it said.
    pub value: Value,
}

/// A SATA drive: hdparm, and what every SCSI disk says through the kernel's translation.
pub fn sata(machine: &mut Machine, device: &str) -> Result<Vec<Heard>, LabError> {
    let by_kernel = Words::of(machine, "hdparm -I", device)?;
    // The same drive by another way: this utility sends the command, and hdparm only reads what came.
    let text = machine.must_run(&format!("sg_sat_identify -HHH {device} | hdparm --Istdin 2>&1"), 60)?;
    let passed_through = Words { by: "sg_sat_identify", device: device.into(), text };
    let mut heard = identity(&by_kernel)?;
    heard.extend(identity(&passed_through)?);
    let mode = Words::of(machine, "hdparm -C", device)?;
    heard.push(mode.says("/power", power(mode.after("drive state is:")? == "active/idle")));
    heard.extend(inquiry(machine, device)?);

    // SMART READ DATA: 30 attributes of 12 bytes from byte 2, raw values in their bytes 5 to 10 (SFF-8035i, from memory).
    let page = machine.shared().join("page");
    machine.must_run(&format!("sg_raw -o /lab/page -r 512 {device} 85 8 e 0 d0 0 1 0 0 0 4f 0 c2 0 b0 0"), 60)?;
    let page = fs::read(&page).map_err(LabError::file("read", &page))?;
    let raw = |id: u8| attribute(&page, id).map(|raw| raw.iter().rev().fold(0_u64, |sum, &b| sum << 8 | u64::from(b)));
    for (field, id) in [
        ("/counters/start_stop_cycles", 4),
        ("/counters/reallocated_sectors", 5),
        ("/counters/power_on_hours", 9),
        ("/counters/power_cycles", 12),
    ] {
        heard.push(Heard { field, by: "sg_raw", value: json!(raw(id)) });
    }
    // The degrees are in the first byte of attribute 190; lowest and highest follow.
    let degrees = attribute(&page, 190).and_then(|raw| raw.first().copied());
    for field in ["/temperature_c", "/counters/airflow_temperature_c"] {
        heard.push(Heard { field, by: "sg_raw", value: json!(degrees) });
    }
    // SMART RETURN STATUS: all is well when C24Fh comes home in the LBA (ATA-8 ACS, 7.48.8.2). The utility's exit code is 21,
    // for the recovered error that carries the registers.
    let status = machine.run(&format!("sg_raw {device} 85 6 20 0 da 0 0 0 0 0 4f 0 c2 0 b0 0"), 60)?;
    heard.push(Heard { field: "/assessment", by: "sg_raw", value: assessment(status.text.contains("lba=0xc24f00")) });
    Ok(heard)
}

/// IDENTIFY DEVICE of a SATA drive, in hdparm's words.
fn identity(words: &Words) -> Result<Vec<Heard>, LabError> {
    let sectors = words.number("LBA48  user addressable sectors:")?;
    Ok(vec![
        words.says("/model", json!(words.after("Model Number:")?)),
        words.says("/serial", json!(words.after("Serial Number:")?)),
        words.says("/size_bytes", json!(sectors * 512)),
        words.says("/kind", kind(words.number("Nominal Media Rotation Rate:")?)),
    ])
}

/// An NVMe drive.
pub fn nvme(machine: &mut Machine, device: &str) -> Result<Vec<Heard>, LabError> {
    let health = Words::of(machine, "nvme smart-log -o json", device)?.document()?;
    let identity = Words::of(machine, "nvme id-ctrl -o json", device)?.document()?;
    let space = Words::of(machine, "nvme id-ns -o json", device)?.document()?;
    let trimmed = |text: &Value| json!(text.as_str().map(str::trim));
    let format = &space["lbafs"][(number(&space["flbas"]).unwrap_or(0) & 0xF) as usize];
    let size = number(&space["nsze"]).zip(number(&format["ds"])).map(|(blocks, shift)| blocks << shift);
    let kelvin = number(&health["temperature"]);
    let mut heard = vec![
        ("/serial", trimmed(&identity["sn"])),
        ("/model", trimmed(&identity["mn"])),
        ("/size_bytes", json!(size)),
        ("/temperature_c", json!(kelvin.map(|kelvin| kelvin as f64 - 273.0))),
        ("/assessment", assessment(number(&health["critical_warning"]) == Some(0))),
    ];
    for (field, key) in [
        ("/counters/power_cycles", "power_cycles"),
        ("/counters/power_on_hours", "power_on_hours"),
        ("/counters/unsafe_shutdowns", "unsafe_shutdowns"),
        ("/counters/media_errors", "media_errors"),
        ("/counters/error_log_entries", "num_err_log_entries"),
        ("/counters/wear_used_percent", "percent_used"),
        ("/counters/warning_temperature_minutes", "warning_temp_time"),
        ("/counters/critical_temperature_minutes", "critical_comp_time"),
    ] {
        heard.push((field, json!(number(&health[key]))));
    }
    // Thousands of 512 bytes (NVMe 1.4, figure 194); none at all is no count.
    for (field, key) in [("/counters/read_bytes", "data_units_read"), ("/counters/written_bytes", "data_units_written")]
    {
        let units = number(&health[key]).filter(|&units| units > 0);
        heard.push((field, json!(units.map(|units| units * 512_000))));
    }
    // Without the ability (OACS bit 4) there is no self-test to tell of, and one that measures no spare states 0 and 0.
    if number(&identity["oacs"]).is_some_and(|able| able & 1 << 4 == 0) {
        heard.push(("/self_test", Value::Null));
    }
    if (number(&health["avail_spare"]), number(&health["spare_thresh"])) == (Some(0), Some(0)) {
        heard.push(("/counters/spare_percent", Value::Null));
    }
    Ok(heard.into_iter().map(|(field, value)| Heard { field, by: "nvme", value }).collect())
}

/// A SCSI drive.
pub fn scsi(machine: &mut Machine, device: &str) -> Result<Vec<Heard>, LabError> {
    let mut heard = inquiry(machine, device)?;
    let asked = Words::of(machine, "sg_requests", device)?;
    heard.push(asked.says("/power", power(asked.text.contains("Sense key: No Sense"))));
    heard.extend(logs(machine, device)?);
    Ok(heard)
}

/// A SCSI drive behind a USB adapter. Whether it sleeps is not compared: the program asks that as ATA does.
pub fn usb(machine: &mut Machine, device: &str) -> Result<Vec<Heard>, LabError> {
    let mut heard = inquiry(machine, device)?;
    heard.extend(logs(machine, device)?);
    Ok(heard)
}

/// The log pages of a SCSI drive; one that has none has nothing to tell.
fn logs(machine: &mut Machine, device: &str) -> Result<Vec<Heard>, LabError> {
    let nothing = |field| Heard { field, by: "sg_logs", value: Value::Null };
    let pages = machine.run(&format!("sg_logs -p 0 {device}"), 60)?;
    if pages.code != 0 {
        return Ok(["/temperature_c", "/assessment", "/self_test"].map(nothing).into());
    }
    let warmth = Words::of(machine, "sg_logs -p 0x0d", device)?;
    let degrees = warmth.after("Current temperature =")?.trim_end_matches(" C").parse::<f64>().ok();
    let verdict = Words::of(machine, "sg_logs -p 0x2f", device)?;
    let is_well = verdict.after("IE asc =")?.starts_with("0x0,");
    let mut heard =
        vec![warmth.says("/temperature_c", json!(degrees)), verdict.says("/assessment", assessment(is_well))];
    heard.extend((!pages.text.contains("0x10 ")).then(|| nothing("/self_test")));
    Ok(heard)
}

/// What every SCSI disk says of itself.
fn inquiry(machine: &mut Machine, device: &str) -> Result<Vec<Heard>, LabError> {
    let who = Words::of(machine, "sg_inq", device)?;
    let size = Words::of(machine, "sg_readcap", device)?;
    let bytes = size.after("Device size:")?.split(' ').next().and_then(|bytes| bytes.parse::<u64>().ok());
    let mut heard = vec![
        who.says("/model", json!(who.after("Product identification:")?)),
        who.says("/serial", json!(who.after("Unit serial number:")?)),
        size.says("/size_bytes", json!(bytes)),
    ];
    // Not every disk has this page, and one may leave the rate out.
    let turns = machine.run(&format!("sg_vpd -p bdc {device}"), 60)?.text;
    let rate = turns.split("Nominal rotation rate:").nth(1).map(|_| 2).or(turns.contains("Non-rotating").then_some(1));
    heard.extend(rate.map(|rate| Heard { field: "/kind", by: "sg_vpd", value: kind(rate) }));
    Ok(heard)
}

/// As in the rotation rate of drives: 1 says that nothing turns (ACS-3, word 217).
fn kind(rate: u64) -> Value {
    json!(if rate > 1 { "hdd" } else { "ssd" })
}

fn power(is_awake: bool) -> Value {
    json!(if is_awake { "active" } else { "asleep" })
}

fn assessment(is_well: bool) -> Value {
    json!(if is_well { "passed" } else { "failing" })
}

/// The raw bytes of an attribute.
fn attribute(page: &[u8], id: u8) -> Option<&[u8]> {
    page.get(2..362)?.chunks(12).find(|attribute| attribute.first() == Some(&id))?.get(5..11)
}

/// A number in a document; large ones stand between quotes.
fn number(value: &Value) -> Option<u64> {
    value.as_u64().or_else(|| value.as_str()?.parse().ok())
}

/// What one utility printed of one drive.
struct Words {
    by: &'static str,
    device: String,
    text: String,
}

impl Words {
    fn of(machine: &mut Machine, command: &'static str, device: &str) -> Result<Self, LabError> {
        let text = machine.must_run(&format!("{command} {device} 2>&1"), 60)?;
        Ok(Self { by: command, device: device.into(), text })
    }

    fn says(&self, field: &'static str, value: Value) -> Heard {
        Heard { field, by: self.by, value }
    }

    /// The rest of the line that begins with this label, without the white space around it.
    fn after(&self, label: &str) -> Result<&str, LabError> {
        let line = self.text.lines().find_map(|line| line.trim_start().strip_prefix(label));
        line.map(str::trim).ok_or_else(|| self.lacks(format!("a line that begins with {label:?}")))
    }

    fn number(&self, label: &str) -> Result<u64, LabError> {
        let text = self.after(label)?;
        text.parse().map_err(|_| self.lacks(format!("a number after {label:?}")))
    }

    fn document(&self) -> Result<Value, LabError> {
        serde_json::from_str(&self.text).map_err(|error| self.lacks(format!("a JSON document ({error})")))
    }

    fn lacks(&self, wanted: String) -> LabError {
        LabError::unexpected(format!("{} {}", self.by, self.device), wanted, format!("{:?}", self.text))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// As hdparm 9.65 prints it.
    fn words() -> Words {
        let text =
            "\n\tModel Number:       LAB-DISK                                \n\tNominal Media Rotation Rate: 5400\n";
        Words { by: "hdparm -I", device: "/dev/sda".into(), text: text.into() }
    }

    #[test]
    fn what_stands_after_a_label_is_found_without_its_padding() {
        assert_eq!(words().after("Model Number:").unwrap(), "LAB-DISK");
        assert_eq!(words().number("Nominal Media Rotation Rate:").unwrap(), 5400);
        let error = words().after("Serial Number:").unwrap_err().to_string();
        assert!(
            error.starts_with("hdparm -I /dev/sda: wanted a line that begins with \"Serial Number:\", found"),
            "{error}"
        );
    }

    #[test]
    fn an_attribute_is_found_by_its_number_and_not_in_the_raw_bytes_of_another() {
        let mut page = [0; 512];
        page[2..14].copy_from_slice(&[1, 3, 0, 100, 100, 9, 9, 9, 9, 9, 9, 0]);
        page[14..26].copy_from_slice(&[9, 3, 0, 100, 100, 1, 2, 0, 0, 0, 0, 0]);
        assert_eq!(attribute(&page, 9), Some(&[1, 2, 0, 0, 0, 0][..]));
        assert_eq!(attribute(&page, 194), None);
    }
}
