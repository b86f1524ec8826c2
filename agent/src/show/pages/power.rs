//! Power: the rails that are measured, whether the board's input was too low, and that 12 V is not measured when it is not.

use super::pieces::or_dashes;
use super::sheet::{Row, Sheet};
use super::view::View;
use crate::reading::{Nominal, Rail, Snapshot};
use crate::tell::words::phrases::Phrases;

/// The measured rail that is furthest from what it should be leads.
pub fn sheet(view: &View<'_>, snapshot: &Snapshot) -> Sheet {
    let words = |key| view.language.plain(key);
    let mut rails: Vec<&Rail> = snapshot.rails.iter().collect();
    let off = |rail: &Rail| {
        let should = rail.nominal?.volts().0;
        Some((rail.value.get()?.0 - should).abs() / should)
    };
    rails.sort_by(|a, b| off(b).unwrap_or(-1.0).total_cmp(&off(a).unwrap_or(-1.0)));
    let volts = |rail: &Rail| or_dashes(rail.value.get());
    let mut rows: Vec<Row> = Vec::new();
    if !rails.iter().any(|rail| rail.nominal == Some(Nominal::Twelve)) {
        rows.push(Row::of("12 V", words("page.cooling.not-measured")));
    }
    rows.extend(snapshot.undervoltages.iter().map(|input| {
        let word = match &input.low.value {
            Ok(true) => words("page.power.low"),
            Ok(false) => words("page.power.steady"),
            Err(why) => view.language.reason(why.reason),
        };
        Row::of(words("page.power.input"), word)
    }));
    rows.extend(rails.iter().skip(1).map(|rail| Row::of(&rail.label, volts(rail))));
    let name = words("page.power.title").to_owned();
    match rails.first() {
        Some(rail) => {
            let figure = or_dashes(rail.value.get().map(|volts| format!("{:.2}", volts.0)));
            let named = view.language.say("page.power.rail", &[("rail", &rail.label)]);
            let nominal = rail.nominal.map(|nominal| format!("{:.1}", nominal.volts().0));
            let nominal = nominal.map(|volts| view.language.say("page.power.nominal", &[("volts", &volts)]));
            let beside = std::iter::once(named).chain(nominal).collect();
            Sheet { name, figure, unit: "V".to_owned(), beside, rows, ..Sheet::default() }
        }
        None => {
            let low = snapshot.undervoltages.iter().any(|input| input.low.get() == Some(&true));
            let figure = words(if low { "page.power.low" } else { "page.power.steady" }).to_owned();
            Sheet { name, figure, beside: vec![words("page.power.input").to_owned()], rows, ..Sheet::default() }
        }
    }
}
