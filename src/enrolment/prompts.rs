//! What is read aloud to teach the ear a voice. No state.
//!
//! Every digit at least four times, alone and in a row; yes and no words, commands, units; the spelling
//! alphabet in rows. One in five, of the kinds that matter most, is held back: the ear never learns
//! from it, and what it makes of it before and after tells whether learning was worth it.

/// What is read aloud, in this order.
pub const PROMPTS: [&str; 64] = [
    "five one two",
    "yes",
    "four point zero two",
    "no",
    "one zero three six",
    "affirm",
    "two seven point nine",
    "negative",
    "eight six four",
    "stop",
    "nine three seven",
    "say again",
    "zero five eight",
    "correction",
    "six",
    "seven",
    "nine",
    "go back",
    "three eight zero",
    "skip",
    "seven four six",
    "unable",
    "one nine two",
    "stand by",
    "five",
    "four",
    "eight",
    "go ahead",
    "six six point one",
    "yes",
    "nine zero five",
    "no",
    "two three",
    "undo",
    "four one seven",
    "note",
    "eight five nine",
    "done",
    "three",
    "two",
    "one",
    "zero",
    "next",
    "seven two point eight",
    "affirm",
    "six nine three",
    "negative",
    "ohms",
    "kilohms",
    "milliamps",
    "percent",
    "volts",
    "seconds",
    "minus one point four",
    "twelve",
    "fifty",
    "two hundred",
    "one thousand",
    "alpha bravo charlie",
    "delta echo foxtrot",
    "golf hotel india juliet",
    "kilo lima mike november",
    "oscar papa quebec romeo",
    "sierra tango uniform victor whiskey x-ray yankee zulu",
];

/// Prompts, by their number from 0, that are held back: no word in them but `skip` is in no other.
const HELD_BACK: [usize; 12] = [6, 12, 19, 22, 25, 28, 29, 31, 38, 43, 44, 46];

/// Whether the prompt of that number (from 0) is held back for the check.
#[must_use]
pub fn is_held_back(number: usize) -> bool {
    HELD_BACK.contains(&number)
}
