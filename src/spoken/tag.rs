//! A spelled tag: letters by the spelling alphabet or by name, digits, marks.

use std::sync::LazyLock;

use super::lexicon::Phrases;
use super::words::{Token, tokens};

static LETTERS: LazyLock<Phrases> = LazyLock::new(|| Phrases::of(&["letter-word", "tag-mark"]));

/// What was spelled.
pub(crate) struct Spelled {
    /// The tag, each doubtful "oh" as zero.
    pub tag: String,
    /// The same with each doubtful "oh" as the letter; equal where there is none.
    pub lettered: String,
    /// "to" or "for" stands for a digit, or for nothing.
    pub loose: bool,
    /// Words that leave a doubt.
    pub soft: Vec<&'static str>,
}

/// The tag, or the first word that belongs in none.
pub(crate) fn read(words: &[&str]) -> Result<Spelled, String> {
    let mut spelled = Spelled {
        tag: String::new(),
        lettered: String::new(),
        loose: false,
        soft: Vec::new(),
    };
    let mut rest = words;
    while let Some(&word) = rest.first() {
        if let Some((length, letter)) = LETTERS.at(rest) {
            spelled.push(letter, letter);
            rest = rest.get(length..).unwrap_or_default();
            continue;
        }
        if word == "oh" {
            spelled.push("0", "O");
            rest = &rest[1..];
            continue;
        }
        let mut letters = word.chars();
        if let (Some(letter), None) = (letters.next(), letters.next())
            && letter.is_ascii_lowercase()
        {
            let letter = letter.to_ascii_uppercase().to_string();
            spelled.push(&letter, &letter);
            rest = &rest[1..];
            continue;
        }
        rest = spelled.figures(rest)?;
    }
    Ok(spelled)
}

impl Spelled {
    fn push(&mut self, digit: &str, letter: &str) {
        self.tag.push_str(digit);
        self.lettered.push_str(letter);
    }

    fn figures<'a, 'w>(&mut self, rest: &'a [&'w str]) -> Result<&'a [&'w str], String> {
        let word = rest[0];
        let one = tokens(&rest[..1])?;
        match one[..] {
            [Token::Digit(digit)] => {
                let digit = digit.to_string();
                self.push(&digit, &digit);
            }
            [Token::Loose(digit)] => {
                let digit = digit.to_string();
                self.push(&digit, &digit);
                self.loose = true;
            }
            [Token::Teen(two) | Token::Ty(two)] => {
                self.soft.push("a number word in a tag: say its digits");
                let next = rest.get(1).and_then(|next| tokens(&[next]).ok());
                if let (Some([Token::Digit(unit @ 1..=9)]), true) = (next.as_deref(), two >= 20) {
                    let both = (two + unit).to_string();
                    self.push(&both, &both);
                    return Ok(&rest[2..]);
                }
                let two = two.to_string();
                self.push(&two, &two);
            }
            [ref repeat @ (Token::Double | Token::Triple)] => {
                let Some(next) = rest.get(1) else {
                    return Err(word.to_owned());
                };
                let times = if *repeat == Token::Double { 2 } else { 3 };
                if *next == "oh" {
                    self.push(&"0".repeat(times), &"O".repeat(times));
                    return Ok(&rest[2..]);
                }
                if let Some((_, letter)) = LETTERS.at(&rest[1..2]) {
                    let many = letter.repeat(times);
                    self.push(&many, &many);
                    return Ok(&rest[2..]);
                }
                let next = tokens(&[next]).map_err(|_| word.to_owned())?;
                let [Token::Digit(digit)] = next[..] else {
                    return Err(word.to_owned());
                };
                let many = digit.to_string().repeat(times);
                self.push(&many, &many);
                return Ok(&rest[2..]);
            }
            _ => return Err(word.to_owned()),
        }
        Ok(&rest[1..])
    }
}
