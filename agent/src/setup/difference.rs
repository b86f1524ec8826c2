//! What would change in a text, line by line.

/// Lines of `before` and `after` that are not in both, marked `-` and `+`, with their neighbours. The longest common
/// sequence of lines is kept; texts are small, at most a few hundred lines.
pub fn difference(before: &str, after: &str) -> Vec<String> {
    const AROUND: usize = 2;
    let (old, new): (Vec<&str>, Vec<&str>) = (before.lines().collect(), after.lines().collect());
    let same_start = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
    let (old_rest, new_rest) = (&old[same_start..], &new[same_start..]);
    let same_end = old_rest.iter().rev().zip(new_rest.iter().rev()).take_while(|(a, b)| a == b).count();
    let (old_middle, new_middle) = (&old_rest[..old_rest.len() - same_end], &new_rest[..new_rest.len() - same_end]);

    let context = |lines: &[&str]| lines.iter().map(|line| format!("  {line}")).collect::<Vec<_>>();
    let mut shown = context(&old[same_start.saturating_sub(AROUND)..same_start]);
    let mut lengths = vec![vec![0_usize; new_middle.len() + 1]; old_middle.len() + 1];
    for i in (0..old_middle.len()).rev() {
        for j in (0..new_middle.len()).rev() {
            lengths[i][j] = match old_middle[i] == new_middle[j] {
                true => lengths[i + 1][j + 1] + 1,
                false => lengths[i + 1][j].max(lengths[i][j + 1]),
            };
        }
    }
    let (mut i, mut j) = (0, 0);
    while i < old_middle.len() || j < new_middle.len() {
        let removes = j == new_middle.len() || (i < old_middle.len() && lengths[i + 1][j] >= lengths[i][j + 1]);
        if i < old_middle.len() && j < new_middle.len() && old_middle[i] == new_middle[j] {
            shown.push(format!("  {}", old_middle[i]));
            (i, j) = (i + 1, j + 1);
        } else if removes {
            shown.push(format!("- {}", old_middle[i]));
            i += 1;
        } else {
            shown.push(format!("+ {}", new_middle[j]));
            j += 1;
        }
    }
    let behind = &old_rest[old_middle.len()..];
    shown.extend(context(&behind[..behind.len().min(AROUND)]));
    shown
}
