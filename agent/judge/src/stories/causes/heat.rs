//! Rows about heat: the fan or the way of the air, one tray, the room.

use super::Row;
use traylight_data::verdict::Cause;

const AIR: &[Cause] = &[Cause::Airflow, Cause::AirBlocked];
const BLOCKED: &[Cause] = &[Cause::AirBlocked];
const TRAY: &[Cause] = &[Cause::TrayAir];
const ROOM: &[Cause] = &[Cause::WarmRoom];

/// Drives and board get warmer together over two hours, by 2 °C within ten minutes at most.
macro_rules! slowly {
    ($board:literal, $more:literal) => {
        concat!(
            "0 hot all 42; board 50; 1200 hot all 44; 2400 hot all 46; 3600 hot all 47; 4800 hot all 49; 6000 hot all 51; ",
            "board ", $board, "; 6600 hot all 51; ", $more
        )
    };
}

pub const ROWS: &[Row] = &[
    // `airflow`: several drives too warm; likely when a fan fails as well.
    Row::yes("airflow", AIR, ["two over their limit", "300 hot 1 53; hot 2 53; 900 end", "air-blocked possible"]),
    Row::yes(
        "airflow",
        AIR,
        ["two over their limit, the fan stands", "300 fan stands; 310 hot 1 53; hot 2 53; 900 end", "airflow likely"],
    ),
    Row::yes(
        "airflow",
        AIR,
        ["they heat up together", "0 hot all 36; 900 hot all 46; 1600 end", "air-blocked possible"],
    ),
    Row::yes(
        "airflow",
        AIR,
        ["one over its limit, the fan stands", "300 fan stands; hot 1 53; 900 end", "airflow likely"],
    ),
    Row::no("airflow", AIR, ["one over its limit", "300 hot 3 53; 900 end", "tray-air possible"]),
    Row::no("airflow", AIR, ["the fan stands, nothing is warm", "300 fan stands", "self-evident certain"]),
    Row::no("airflow", AIR, ["they get warm at work", "0 hot all 36; 900 hot all 42; 1600 end", ""]),
    Row::no("airflow", AIR, ["all are warm, none too warm", "300 hot all 40; 900 end", ""]),
    Row::no("airflow", AIR, ["drives and board alike, over hours", slowly!("59", "7200 end"), "warm-room likely"]),
    // The same, and all fans turn.
    Row::yes(
        "air-blocked",
        BLOCKED,
        ["two over their limit", "300 hot 1 53; hot 2 53; 900 end", "air-blocked possible"],
    ),
    Row::yes(
        "air-blocked",
        BLOCKED,
        ["they heat up together", "0 hot all 36; 900 hot all 46; 1600 end", "air-blocked possible"],
    ),
    Row::yes("air-blocked", BLOCKED, ["all over their limit", "300 hot all 53; 900 end", "air-blocked possible"]),
    Row::no(
        "air-blocked",
        BLOCKED,
        [
            "one of two fans rests",
            "0 second-fan turns; 290 second-fan rests; 300 hot 1 53; hot 2 53; 900 end",
            "airflow possible",
        ],
    ),
    Row::yes(
        "air-blocked",
        BLOCKED,
        ["a header has no fan", "0 second-fan rests; 300 hot 1 53; hot 2 53; 900 end", "air-blocked possible"],
    ),
    Row::no(
        "air-blocked",
        BLOCKED,
        ["the fan is not read", "0 fan untold; 300 hot 1 53; hot 2 53; 900 end", "airflow possible"],
    ),
    Row::no("air-blocked", BLOCKED, ["one over its limit", "300 hot 3 53; 900 end", "tray-air possible"]),
    Row::no(
        "air-blocked",
        BLOCKED,
        ["the fan stands", "300 fan stands; 310 hot 1 53; hot 2 53; 900 end", "airflow likely"],
    ),
    // `tray-air`: one drive warmer than its peers.
    Row::yes("tray-air", TRAY, ["one over its limit", "300 hot 3 53; 900 end", "tray-air possible"]),
    Row::yes("tray-air", TRAY, ["half an hour above its peers", "300 hot 3 47; 2400 end", "tray-air possible"]),
    Row::yes("tray-air", TRAY, ["both", "300 hot 3 54; 2400 end", "tray-air possible"]),
    Row::no(
        "tray-air",
        TRAY,
        ["all are nearly as warm", "0 hot all 48; 1200 hot 3 51; 1800 end", "self-evident certain"],
    ),
    Row::no("tray-air", TRAY, ["two", "300 hot 3 53; hot 4 53; 900 end", "air-blocked possible"]),
    Row::no("tray-air", TRAY, ["the fan stands", "300 fan stands; hot 3 53; 900 end", "airflow likely"]),
    Row::no("tray-air", TRAY, ["for a quarter of an hour", "300 hot 3 47; 1200 hot 3 37; 2400 end", ""]),
    // `warm-room`: drives and board warmer by the same over hours, the fan as ever.
    Row::yes("warm-room", ROOM, ["by nine degrees", slowly!("59", "7200 end"), "warm-room likely"]),
    Row::yes("warm-room", ROOM, ["the board a little more", slowly!("61", "7200 end"), "warm-room likely"]),
    Row::yes("warm-room", ROOM, ["one drive stays cooler", slowly!("58", "hot 6 44; 7200 end"), "warm-room likely"]),
    Row::no("warm-room", ROOM, ["the board stays as it was", slowly!("50", "7200 end"), "air-blocked possible"]),
    Row::no("warm-room", ROOM, ["the board is the source", slowly!("70", "7200 end"), "air-blocked possible"]),
    Row::no("warm-room", ROOM, ["the fan stands", slowly!("59; fan stands", "7200 end"), "airflow likely"]),
];
