//! Words of IDENTIFY DEVICE that say by themselves whether they state anything.

/// A word that carries its own mark: bit 15 clear and bit 14 set. Without it, nothing in the word is stated.
pub fn stated(word: u16) -> u16 {
    if word & 0xC000 == 0x4000 { word } else { 0 }
}

/// Words 76 to 79 are 0000h or FFFFh on drives that are not SATA.
pub fn sata(word: u16) -> u16 {
    if word == 0xFFFF { 0 } else { word }
}
