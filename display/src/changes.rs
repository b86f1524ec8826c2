//! Which bytes must travel to turn one picture into another.
//!
//! Pure arithmetic on two frames. Sending, and knowing what the panel shows, is not its job.

use crate::frame::{Frame, PanelSize};

/// What it costs to begin a window, in bytes on the bus: a message of address, control byte and two commands of three
/// bytes, then address and control byte of the message with the data.
const WINDOW_COST: usize = 2 + 6 + 2;
/// The same for a run of bytes in one page, where there are no windows: three commands of one byte in place of two of
/// three.
const RUN_COST: usize = 2 + 3 + 2;

/// The windows that must be sent to make the panel, now showing `shown`, show `wanted`. None when they are equal. They
/// never cost more, together, than the whole picture in one window.
pub fn changes(shown: &Frame, wanted: &Frame) -> Vec<Window> {
    let windows = join(runs(shown, wanted, WINDOW_COST));
    let whole = Window::whole(wanted.panel_size());
    if windows.iter().map(Window::cost).sum::<usize>() < whole.cost() { windows } else { vec![whole] }
}

/// The same for a controller that takes data page by page: each window is one page high.
pub fn changes_by_page(shown: &Frame, wanted: &Frame) -> Vec<Window> {
    runs(shown, wanted, RUN_COST)
}

/// A rectangle of the controller's memory, first and last included. The controller fills it row by row of pages (horizontal
/// addressing, SSD1306 datasheet section 10.1.3).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Window {
    /// First column of pixels.
    pub first_column: u8,
    /// Last column of pixels.
    pub last_column: u8,
    /// First page: a page is eight rows of pixels.
    pub first_page: u8,
    /// Last page.
    pub last_page: u8,
}

impl Window {
    /// All of the panel.
    pub const fn whole(size: PanelSize) -> Window {
        Window {
            first_column: 0,
            last_column: (size.width() - 1) as u8,
            first_page: 0,
            last_page: (size.height() / 8 - 1) as u8,
        }
    }

    /// The same, page by page.
    pub fn pages(self) -> impl Iterator<Item = Window> {
        (self.first_page..=self.last_page).map(move |page| Window { first_page: page, last_page: page, ..self })
    }

    /// The bytes of the frame in this window, in the order the controller takes them.
    pub fn bytes_of(&self, frame: &Frame) -> Vec<u8> {
        let columns = usize::from(self.first_column)..=usize::from(self.last_column);
        pages(frame)
            .take(usize::from(self.last_page) + 1)
            .skip(usize::from(self.first_page))
            .flat_map(|page| page[columns.clone()].iter().copied())
            .collect()
    }

    /// Bytes on the bus to send this window.
    pub fn cost(&self) -> usize {
        let columns = usize::from(self.last_column - self.first_column) + 1;
        let pages = usize::from(self.last_page - self.first_page) + 1;
        WINDOW_COST + columns * pages
    }

    /// The smallest window that holds both.
    fn with(&self, other: &Window) -> Window {
        Window {
            first_column: self.first_column.min(other.first_column),
            last_column: self.last_column.max(other.last_column),
            first_page: self.first_page.min(other.first_page),
            last_page: self.last_page.max(other.last_page),
        }
    }
}

/// The columns that differ, page by page, as windows of one page each. A gap no longer than the cost of a new window is
/// sent along.
fn runs(shown: &Frame, wanted: &Frame, cost: usize) -> Vec<Window> {
    let mut runs: Vec<Window> = Vec::new();
    for (page, (old, new)) in (0..).zip(pages(shown).zip(pages(wanted))) {
        let differing = (0..).zip(old.iter().zip(new)).filter(|(_, (old, new))| old != new);
        for (column, _) in differing {
            let near = |run: &&mut Window| run.first_page == page && usize::from(column - run.last_column - 1) <= cost;
            match runs.last_mut().filter(near) {
                Some(run) => run.last_column = column,
                None => {
                    runs.push(Window { first_column: column, last_column: column, first_page: page, last_page: page })
                }
            }
        }
    }
    runs
}

/// Joins windows as long as one window costs no more than the two it replaces: a digit that is two pages high becomes one
/// window.
fn join(mut windows: Vec<Window>) -> Vec<Window> {
    while let Some((i, j, joined)) = first_saving(&windows) {
        windows[i] = joined;
        windows.swap_remove(j);
    }
    windows
}

fn first_saving(windows: &[Window]) -> Option<(usize, usize, Window)> {
    windows.iter().enumerate().find_map(|(i, a)| {
        windows.iter().enumerate().skip(i + 1).find_map(|(j, b)| {
            let joined = a.with(b);
            (joined.cost() <= a.cost() + b.cost()).then_some((i, j, joined))
        })
    })
}

fn pages(frame: &Frame) -> impl Iterator<Item = &[u8]> {
    frame.bytes().chunks(frame.panel_size().width() as usize)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const SIZE: PanelSize = PanelSize::W128H64;

    fn lit(pixels: &[(i32, i32)]) -> Frame {
        let mut frame = Frame::new(SIZE);
        pixels.iter().for_each(|(x, y)| frame.set(*x, *y, true));
        frame
    }

    fn windows(pixels: &[(i32, i32)]) -> Vec<(u8, u8, u8, u8)> {
        changes(&Frame::new(SIZE), &lit(pixels))
            .iter()
            .map(|window| (window.first_column, window.last_column, window.first_page, window.last_page))
            .collect()
    }

    #[test]
    fn equal_pictures_need_nothing() {
        let frame = lit(&[(3, 3), (90, 50)]);
        assert_eq!(changes(&frame, &frame), []);
    }

    #[test]
    fn a_short_gap_is_sent_along_and_a_long_one_is_not() {
        assert_eq!(windows(&[(10, 0), (21, 0)]), [(10, 21, 0, 0)]);
        assert_eq!(windows(&[(10, 0), (22, 0)]), [(10, 10, 0, 0), (22, 22, 0, 0)]);
    }

    #[test]
    fn page_by_page_a_shorter_gap_is_worth_a_new_beginning() {
        let runs = |pixels: &[(i32, i32)]| {
            let runs = changes_by_page(&Frame::new(SIZE), &lit(pixels));
            runs.iter()
                .map(|run| (run.first_column, run.last_column, run.first_page, run.last_page))
                .collect::<Vec<_>>()
        };
        assert_eq!(runs(&[(10, 0), (18, 0)]), [(10, 18, 0, 0)]);
        assert_eq!(runs(&[(10, 0), (19, 0)]), [(10, 10, 0, 0), (19, 19, 0, 0)]);
        assert_eq!(runs(&[(10, 7), (10, 8)]), [(10, 10, 0, 0), (10, 10, 1, 1)]);
        assert_eq!(Window::whole(SIZE).pages().count(), 8);
    }

    #[test]
    fn a_change_two_pages_high_is_one_window() {
        assert_eq!(windows(&[(10, 7), (15, 7), (10, 8), (15, 8)]), [(10, 15, 0, 1)]);
    }

    #[test]
    fn a_change_all_over_is_the_whole_picture_in_one_window() {
        let everywhere: Vec<(i32, i32)> = (0..128).flat_map(|x| (0..8).map(move |page| (x, page * 8))).collect();
        assert_eq!(windows(&everywhere), [(0, 127, 0, 7)]);
        assert_eq!(Window::whole(SIZE).cost(), 1034);
    }

    proptest! {
        #[test]
        fn the_windows_carry_every_change_and_never_cost_more_than_the_whole(
            old in proptest::collection::vec((0..128i32, 0..64i32), 0..60),
            new in proptest::collection::vec((0..128i32, 0..64i32), 0..60)
        ) {
            let (old, new) = (lit(&old), lit(&new));
            let windows = changes(&old, &new);
            let mut memory = old.bytes().to_vec();
            for window in &windows {
                let mut bytes = window.bytes_of(&new).into_iter();
                for page in window.first_page..=window.last_page {
                    for column in window.first_column..=window.last_column {
                        let Some(byte) = bytes.next() else { panic!("{window:?} has too few bytes") };
                        memory[usize::from(page) * 128 + usize::from(column)] = byte;
                    }
                }
                prop_assert_eq!(bytes.next(), None);
            }
            prop_assert_eq!(memory, new.bytes());
            prop_assert!(windows.iter().map(Window::cost).sum::<usize>() <= Window::whole(SIZE).cost());
        }
    }
}
