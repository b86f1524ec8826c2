//! Prints every text that a person reads on one sheet, to be read aloud: both word tables with sample values, then what is
//! outside them.

#![allow(clippy::print_stdout, reason = "a tool prints what it is asked for")]

fn main() {
    print!("{}", traylight_tests::texts::sheet());
}
