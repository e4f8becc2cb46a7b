//! Text that came from people, made harmless for any output.

/// The text without control characters and without characters that change the
/// direction or are not seen; line ends and tabs become blanks.
#[must_use]
pub fn plain(text: &str) -> String {
    text.chars()
        .filter_map(|c| match c {
            '\t' | '\n' | '\r' | '\u{2028}' | '\u{2029}' => Some(' '),
            c if c.is_control() || is_unseen(c) => None,
            c => Some(c),
        })
        .collect()
}

/// Bidirectional controls (Unicode Standard Annex 9), zero-width characters, tags, and
/// the two last code points of a plane.
fn is_unseen(c: char) -> bool {
    matches!(
        c,
        '\u{61C}' | '\u{200B}'..='\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2060}'..='\u{206F}' | '\u{FEFF}'
            | '\u{FFF9}'..='\u{FFFB}' | '\u{E0000}'..='\u{E007F}'
    ) || (c as u32) & 0xFFFE == 0xFFFE
}
