//! Power: the rails that are measured, whether the board's input was too low, and that 12 V is not measured when it is not.

use super::sheet::{Row, Sheet};
use crate::reading::{Nominal, Rail, Snapshot};

/// The measured rail that is furthest from what it should be leads.
pub fn sheet(snapshot: &Snapshot) -> Sheet {
    let mut rails: Vec<&Rail> = snapshot.rails.iter().collect();
    let off = |rail: &Rail| {
        let should = rail.nominal?.volts().0;
        Some((rail.value.get()?.0 - should).abs() / should)
    };
    rails.sort_by(|a, b| off(b).unwrap_or(-1.0).total_cmp(&off(a).unwrap_or(-1.0)));
    let volts = |rail: &Rail| rail.value.get().map_or_else(|| "--".to_owned(), ToString::to_string);
    let mut rows: Vec<Row> = Vec::new();
    if !rails.iter().any(|rail| rail.nominal == Some(Nominal::Twelve)) {
        rows.push(Row::of("12 V", "not measured"));
    }
    rows.extend(snapshot.undervoltages.iter().map(|input| {
        let word = match &input.low.value {
            Ok(true) => "TOO LOW",
            Ok(false) => "steady",
            Err(why) => why.reason.words(),
        };
        Row::of("board's input", word)
    }));
    rows.extend(rails.iter().skip(1).map(|rail| Row::of(&rail.label, volts(rail))));
    let name = "POWER".to_owned();
    match rails.first() {
        Some(rail) => {
            let figure = rail.value.get().map_or_else(|| "--".to_owned(), |volts| format!("{:.2}", volts.0));
            let should = rail.nominal.map(|nominal| format!("of {:.1}", nominal.volts().0));
            let beside = [Some(format!("V on {}", rail.label)), should].into_iter().flatten().collect();
            Sheet { name, figure, beside, rows, ..Sheet::default() }
        }
        None => {
            let low = snapshot.undervoltages.iter().any(|input| input.low.get() == Some(&true));
            let figure = if low { "LOW" } else { "steady" }.to_owned();
            Sheet { name, figure, beside: vec!["board's".to_owned(), "input".to_owned()], rows, ..Sheet::default() }
        }
    }
}
