//! How far two spellings are apart: for "did you mean". No state.

/// Number of letters to change, put in or leave out; only the first sixty count.
#[must_use]
pub fn distance(one: &str, other: &str) -> usize {
    let one: Vec<char> = one.chars().take(60).collect();
    distance_of(&one, other)
}

/// The same, where one spelling is held against many.
#[must_use]
pub fn distance_of(one: &[char], other: &str) -> usize {
    let other: Vec<char> = other.chars().take(60).collect();
    let mut row: Vec<usize> = (0..=other.len()).collect();
    for (line, a) in one.iter().enumerate() {
        let mut diagonal = row[0];
        row[0] = line + 1;
        for (column, b) in other.iter().enumerate() {
            let replaced = diagonal + usize::from(a != b);
            diagonal = row[column + 1];
            row[column + 1] = replaced.min(diagonal + 1).min(row[column] + 1);
        }
    }
    row[other.len()]
}
