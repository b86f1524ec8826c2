//! The three type faces, cut to rows that stack: 8, 16 and 24 pixels high.
//!
//! The letters come from general font libraries. Where text goes is not decided here.

use embedded_graphics::{
    image::{GetPixel, ImageRaw},
    mono_font::{MonoFont, iso_8859_1::FONT_6X10, iso_8859_1::FONT_10X20},
    pixelcolor::BinaryColor,
    prelude::*,
};
use profont::PROFONT_24_POINT;

use crate::frame::PanelSize;

/// A type face. Every character of a face takes the same room.
///
/// A capital of 7 pixels on a panel of 0.17 mm pitch is read from 0.2 m, one of 13 from about 0.4 m, one of 19 from about
/// 0.6 m (ISO 9241-3, 16 to 20 minutes of arc). What is to be read from 2 m needs 55 pixels there: see `figure`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Face {
    /// 6 by 8 pixels, capitals 7 high: 21 columns and 8 lines on 128 by 64 pixels.
    Small,
    /// 10 by 16 pixels, capitals 13 high: 12 columns.
    Medium,
    /// 16 by 24 pixels, capitals 19 high: 8 columns.
    Large,
}

impl Face {
    /// Width of a character, in pixels, with its own gap.
    pub const fn width(self) -> u32 {
        match self {
            Face::Small => 6,
            Face::Medium => 10,
            Face::Large => 16,
        }
    }

    /// Height of a line, in pixels.
    pub const fn height(self) -> u32 {
        match self {
            Face::Small => 8,
            Face::Medium => 16,
            Face::Large => 24,
        }
    }

    /// How many whole characters stand side by side on the panel.
    pub const fn columns(self, panel: PanelSize) -> usize {
        (panel.width() / self.width()) as usize
    }

    /// Rows of a capital letter.
    pub const fn capitals(self) -> u32 {
        self.baseline() as u32 + 1
    }

    const fn font(self) -> &'static MonoFont<'static> {
        match self {
            Face::Small => &FONT_6X10,
            Face::Medium => &FONT_10X20,
            Face::Large => &PROFONT_24_POINT,
        }
    }

    /// The row of the font's own, higher, cell where capitals begin: the first row of ours.
    const fn capitals_begin(self) -> i32 {
        match self {
            Face::Small => 1,
            Face::Medium => 3,
            Face::Large => 5,
        }
    }

    /// The row of our cell that letters stand on.
    const fn baseline(self) -> i32 {
        self.font().baseline as i32 - self.capitals_begin()
    }
}

/// What is shown where a text was cut.
pub(crate) const ELLIPSIS: char = '…';

/// Where something is heading. The fonts have no arrows; these are drawn from a pattern of five columns by seven rows.
const ARROWS: [(char, [u8; 7]); 3] = [
    ('↑', [0b00100, 0b01110, 0b10101, 0b00100, 0b00100, 0b00100, 0b00100]),
    ('↓', [0b00100, 0b00100, 0b00100, 0b00100, 0b10101, 0b01110, 0b00100]),
    ('→', [0b00000, 0b00100, 0b00010, 0b11111, 0b00010, 0b00100, 0b00000]),
];

/// The character the faces have for this one: itself, its plain cousin, or a question mark.
pub(crate) fn drawable(c: char) -> char {
    match c {
        ' '..='~' | '\u{A1}'..='\u{AC}' | '\u{AE}'..='\u{FF}' | ELLIPSIS | '↑' | '↓' | '→' => c,
        '\u{A0}' | '\u{2009}' | '\u{202F}' => ' ',
        '\u{2010}'..='\u{2015}' | '\u{2212}' => '-',
        '‘' | '’' => '\'',
        '“' | '”' | '„' => '"',
        'μ' => 'µ',
        _ => '?',
    }
}

/// The pixels of one character of one face.
pub(crate) enum Glyph {
    /// Letters from a font. `rows` says which row of the font's cell each row of our cell shows.
    Letter { image: &'static ImageRaw<'static, BinaryColor>, corner: Point, rows: Rows },
    /// Three dots. The fonts have none.
    Dots(Face),
    /// An arrow.
    Arrow(&'static [u8; 7], Face),
}

/// A choice of rows: `count` rows from `first` on, but the last one is taken from `last`.
#[derive(Clone, Copy)]
pub(crate) struct Rows {
    first: i32,
    count: i32,
    last: i32,
}

impl Glyph {
    pub(crate) fn of(c: char, face: Face) -> Glyph {
        let c = drawable(c);
        if c == ELLIPSIS {
            return Glyph::Dots(face);
        }
        if let Some((_, pattern)) = ARROWS.iter().find(|(arrow, _)| *arrow == c) {
            return Glyph::Arrow(pattern, face);
        }
        let font = face.font();
        let corner = corner_of(c, font);
        Glyph::Letter { image: &font.image, corner, rows: Rows::of(font, corner, face) }
    }

    /// Whether the pixel of the character's cell is lit.
    pub(crate) fn is_lit(&self, x: i32, y: i32) -> bool {
        match self {
            Glyph::Letter { image, corner, rows } => {
                let row = if y == rows.count - 1 { rows.last } else { rows.first + y };
                image.pixel(*corner + Point::new(x, row)) == Some(BinaryColor::On)
            }
            Glyph::Dots(face) => {
                let (pitch, dot) = (face.width() as i32 / 3, face.width() as i32 / 6);
                let on_baseline = (face.baseline() - dot + 1..=face.baseline()).contains(&y);
                on_baseline && x / pitch < 3 && x % pitch < dot
            }
            Glyph::Arrow(pattern, face) => {
                // The column at the right is the gap to the next character.
                let (columns, rows) = (face.width() as i32 - 1, face.baseline() + 1);
                let (column, row) = (x * 5 / columns, y * 7 / rows);
                (0..columns).contains(&x) && (0..rows).contains(&y) && pattern[row as usize] >> (4 - column) & 1 == 1
            }
        }
    }
}

impl Rows {
    /// The rows from the top of capitals on.
    const fn plain(face: Face) -> Rows {
        let (first, count) = (face.capitals_begin(), face.height() as i32);
        Rows { first, count, last: first + count - 1 }
    }

    /// The rows of the font's cell that matter for this character.
    ///
    /// Our cells are lower than the fonts' own, so that lines stack without waste. A capital with an accent is moved down
    /// to keep its accent; the tail of a `g` is shortened by the row before its last, so that its curl is kept.
    fn of(font: &MonoFont<'_>, corner: Point, face: Face) -> Rows {
        let plain = Rows::plain(face);
        let Size { width, height } = font.character_size;
        let inked = |row: &i32| {
            (0..width as i32).any(|x| font.image.pixel(corner + Point::new(x, *row)) == Some(BinaryColor::On))
        };
        let top = (0..height as i32).find(inked).unwrap_or(plain.first);
        let bottom = (0..height as i32).rfind(inked).unwrap_or(plain.last);
        match (top < plain.first, bottom > plain.last) {
            (true, false) => Rows { first: top, count: plain.count, last: top + plain.count - 1 },
            (false, true) => Rows { last: bottom, ..plain },
            _ => plain,
        }
    }
}

/// The top left pixel of a character in the font's image.
fn corner_of(c: char, font: &MonoFont<'_>) -> Point {
    let Size { width, height } = font.character_size;
    let per_row = font.image.size().width / width;
    let index = font.glyph_mapping.index(c) as u32;
    Point::new((index % per_row * width) as i32, (index / per_row * height) as i32)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FACES: [Face; 3] = [Face::Small, Face::Medium, Face::Large];

    fn picture(c: char, face: Face) -> Vec<String> {
        let glyph = Glyph::of(c, face);
        (0..face.height() as i32)
            .map(|y| (0..face.width() as i32).map(|x| if glyph.is_lit(x, y) { '#' } else { '.' }).collect())
            .collect()
    }

    #[test]
    fn the_small_face_gives_21_columns_and_8_lines() {
        let panel = PanelSize::W128H64;
        assert_eq!(FACES.map(|face| face.columns(panel)), [21, 12, 8]);
        assert_eq!(FACES.map(|face| panel.height() / face.height()), [8, 4, 2]);
    }

    #[test]
    fn tails_and_accents_survive_the_lower_cell() {
        assert_eq!(
            picture('g', Face::Small),
            ["......", "......", ".####.", "#...#.", "#...#.", ".####.", "....#.", ".###.."]
        );
        assert_eq!(
            picture('H', Face::Small),
            ["#...#.", "#...#.", "#...#.", "#####.", "#...#.", "#...#.", "#...#.", "......"]
        );
        for face in FACES {
            assert_ne!(picture('Ä', face), picture('A', face), "{face:?}");
            assert_ne!(picture('ç', face), picture('c', face), "{face:?}");
        }
    }

    #[test]
    fn german_letters_have_pictures_of_their_own() {
        for face in FACES {
            let pictures = "AÄOÖUÜaäoöuüßsB?".chars().map(|c| picture(c, face));
            let mut different: Vec<Vec<String>> = pictures.collect();
            different.sort();
            different.dedup();
            assert_eq!(different.len(), 16, "{face:?}");
        }
    }

    #[test]
    fn every_character_but_the_space_leaves_ink_in_every_face() {
        for face in FACES {
            for c in ('!'..='~').chain('\u{A1}'..='\u{FF}').chain(['…', '↑', '↓', '→', '鳥', '\u{202E}']) {
                assert!(picture(c, face).concat().contains('#'), "{c:?} in {face:?}");
            }
            assert!(!picture(' ', face).concat().contains('#'));
        }
    }

    #[test]
    fn digits_and_capitals_keep_all_their_rows_and_differ() {
        for face in FACES {
            let signs: Vec<char> = ('0'..='9').chain('A'..='Z').collect();
            for (i, a) in signs.iter().enumerate() {
                assert!(picture(*a, face)[0].contains('#'), "{a} in {face:?} begins at the top");
                for b in &signs[i + 1..] {
                    assert_ne!(picture(*a, face), picture(*b, face), "{a} and {b} in {face:?}");
                }
            }
        }
    }

    #[test]
    fn what_the_faces_lack_becomes_its_plain_cousin_or_a_question_mark() {
        let given = ['a', 'é', '–', '“', '鳥', '\u{301}', '\u{A0}', 'μ'];
        assert_eq!(given.map(drawable), ['a', 'é', '-', '"', '?', '?', ' ', 'µ']);
    }
}
