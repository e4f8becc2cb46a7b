//! What is said and heard: the phrases of a choice, and sentences with placeholders.
//! Holds nothing.

use std::collections::BTreeMap;

use super::draft::{Draft, Of, Owner, Setting};
use super::fault::{Span, near, shown};
use super::table::{Table, Text, check_id, decimal, text};
use crate::job::{ChoiceOption, Piece, Placeholder, Template};
use crate::spoken;

/// Options that one digit can choose between.
const MOST_OPTIONS: usize = 9;
/// Characters of an option: nine of them and the question share one screen.
const NAME_OF_OPTION: usize = 40;

impl Draft<'_> {
    /// The closed list of a choice.
    pub(in crate::job) fn options(&mut self, table: &mut Table, by: Owner) -> Vec<ChoiceOption> {
        let mut options: Vec<ChoiceOption> = Vec::new();
        let mut phrases: Vec<(String, usize)> = Vec::new();
        let span = table.span.clone();
        for mut entry in table.tables("options", "an option", &mut self.faults) {
            let id = entry.need_text("id", 40, "\"open\"", &mut self.faults);
            // A choice of units is stored as the unit's own id, which may hold capitals.
            if !id.text.is_empty() && spoken::unit(&id.text).is_none() {
                check_id(&id, &mut self.faults);
            }
            if options.iter().any(|other| other.id == id.text) && !id.text.is_empty() {
                self.faults.add(
                    &id.span,
                    format!("a second option \"{}\"", shown(&id.text)),
                    "give each option its own id",
                );
            }
            let title = entry.need_text("title", NAME_OF_OPTION, "\"Open\"", &mut self.faults);
            let say = entry.texts("say", 60, &mut self.faults);
            for phrase in &say {
                self.phrase(phrase, options.len(), &mut phrases);
            }
            let (next, sets) = match by {
                Owner::Step(_) => (self.target(&mut entry, "next", by), None),
                Owner::Plate(_) => (None, entry.take("sets")),
            };
            if let (Some(sets), Owner::Plate(plate)) = (sets, by)
                && let Some(sets) = Table::new(sets, "`sets`", &mut self.faults)
            {
                for (item, value) in sets.entries() {
                    if let Some(value) = text(value, "a value of `sets`", 60, &mut self.faults) {
                        self.settings.push(Setting {
                            plate,
                            option: options.len(),
                            item,
                            value,
                        });
                    }
                }
            }
            entry.done(&mut self.faults);
            options.push(ChoiceOption {
                id: id.text,
                title: title.text,
                say: say.into_iter().map(|text| text.text).collect(),
                next,
                sets: BTreeMap::new(),
            });
        }
        if !(2..=MOST_OPTIONS).contains(&options.len()) {
            self.faults.add(
                &span,
                format!("a choice of {}", options.len()),
                format!("give 2 to {MOST_OPTIONS} options: each has its own digit key"),
            );
        }
        options
    }

    /// A phrase that chooses an option: the ear must know its words, and nothing else may sound like it.
    fn phrase(&mut self, phrase: &Text, option: usize, taken: &mut Vec<(String, usize)>) {
        const PLACES: [&str; 9] = [
            "one", "two", "three", "four", "five", "six", "seven", "eight", "nine",
        ];
        let words: Vec<&str> = phrase.text.split(' ').collect();
        for word in &words {
            if !self.ears.has(word) {
                self.unknown_word(word, &phrase.span);
                return;
            }
            if let Some(known) = self.ears.sounds_like_vocabulary(word) {
                self.faults.add(
                    &phrase.span,
                    format!("\"{}\" sounds like \"{known}\"", shown(word)),
                    "use another word: the ear cannot tell the two apart",
                );
                return;
            }
        }
        let slot = spoken::Slot {
            name: String::new(),
            kind: spoken::SlotKind::Choice(Vec::new()),
        };
        if let Some(spoken::Meaning::Command(_)) = spoken::parse(&slot, &phrase.text).meaning {
            let what = format!("\"{}\" is a command", phrase.text);
            self.faults.add(
                &phrase.span,
                what,
                "use another phrase: commands are live in every question",
            );
            return;
        }
        if let Some(place) = PLACES.iter().position(|place| *place == phrase.text) {
            let what = format!("\"{}\" already means option {}", phrase.text, place + 1);
            self.faults.add(
                &phrase.span,
                what,
                "leave it out: every option has its number",
            );
            return;
        }
        if let Some((text, other)) = taken
            .iter()
            .find(|(text, other)| *other != option && self.ears.sound_alike(text, &phrase.text))
        {
            let means = if *text == phrase.text {
                "already means"
            } else {
                "sounds like"
            };
            let what = format!("\"{}\" {means} option {}", phrase.text, other + 1);
            self.faults
                .add(&phrase.span, what, "give each option its own phrases");
            return;
        }
        taken.push((phrase.text.clone(), option));
    }

    fn unknown_word(&mut self, word: &str, span: &Span) {
        // Among so many words, one of quite another length is never the nearest.
        let length = word.chars().count();
        let alike = self
            .ears
            .every()
            .filter(|known| known.chars().count().abs_diff(length) <= (length / 3).max(1));
        // Looked for in the first few faults only: the dictionary is long.
        let near = if self.faults.count() < 10 {
            near(word, alike)
        } else {
            None
        };
        let fix = near.map_or_else(
            || "use English words in small letters, as a dictionary spells them; an option without `say` is chosen by its number".to_owned(),
            |near| format!("did you mean \"{near}\"? Words are spelled as in an English dictionary, in small letters"),
        );
        let what = format!("the ear does not know the word \"{}\"", shown(word));
        self.faults.add(span, what, fix);
    }

    /// A sentence with placeholders. `in_row`: it is asked for each point of a set.
    pub(in crate::job) fn template(
        &mut self,
        sentence: &Text,
        by: Owner,
        in_row: bool,
    ) -> Template {
        let mut pieces = Vec::new();
        let mut rest = sentence.text.as_str();
        // Without escapes the text stands in the file as it is, one quote further in.
        let plain = sentence.span.len() == sentence.text.len() + 2;
        while let Some(open) = rest.find(['{', '}']) {
            let from = sentence.text.len() - rest.len() + open;
            let inner = rest[open + 1..]
                .find('}')
                .filter(|_| rest[open..].starts_with('{'));
            let Some(length) = inner else {
                let what = format!("a loose brace in \"{}\"", shown(&sentence.text));
                self.faults.add(
                    &sentence.span,
                    what,
                    "write {step.ID}, or another placeholder, with both braces",
                );
                return Template::default();
            };
            let name = &rest[open + 1..open + 1 + length];
            let span = if plain {
                sentence.span.start + 1 + from..sentence.span.start + 1 + from + length + 2
            } else {
                sentence.span.clone()
            };
            if open > 0 {
                pieces.push(Piece::Text(rest[..open].to_owned()));
            }
            if let Some(placeholder) = self.placeholder(name, &span, by, in_row) {
                pieces.push(Piece::Placeholder(placeholder));
            }
            rest = &rest[open + length + 2..];
        }
        if !rest.is_empty() {
            pieces.push(Piece::Text(rest.to_owned()));
        }
        Template(pieces)
    }

    fn placeholder(
        &mut self,
        name: &str,
        span: &Span,
        by: Owner,
        in_row: bool,
    ) -> Option<Placeholder> {
        const HEADS: [&str; 9] = [
            "point",
            "direction",
            "signal",
            "signal.50",
            "plate.ID",
            "limit.ID",
            "step.ID",
            "figure.STEP.NAME",
            "advice.STEP",
        ];
        let parts: Vec<&str> = name.split('.').collect();
        let row_only = matches!(parts.as_slice(), ["point" | "direction" | "signal"]);
        if row_only && !in_row {
            let what = format!("{{{name}}} stands outside a set of readings");
            self.faults.add(
                span,
                what,
                "only the `ask` of a column has a point; use {signal.50} for a fixed one",
            );
            return None;
        }
        let (placeholder, of) = match parts.as_slice() {
            ["point"] => return Some(Placeholder::Point),
            ["direction"] => return Some(Placeholder::Direction),
            ["signal"] => (Placeholder::Signal, Of::Signal),
            ["signal", number @ ..] if !number.is_empty() => {
                let text = Text {
                    text: number.join("."),
                    span: span.clone(),
                };
                (
                    Placeholder::SignalAt(decimal(&text, &mut self.faults)?),
                    Of::Signal,
                )
            }
            ["plate", id] => (
                Placeholder::Plate((*id).to_owned()),
                Of::Plate((*id).to_owned()),
            ),
            ["limit", id] => (
                Placeholder::Limit((*id).to_owned()),
                Of::Limit((*id).to_owned()),
            ),
            ["step", id] => (
                Placeholder::Step((*id).to_owned()),
                Of::Answer((*id).to_owned()),
            ),
            ["advice", id] => (
                Placeholder::Advice((*id).to_owned()),
                Of::Finding((*id).to_owned()),
            ),
            ["figure", id, figure] => (
                Placeholder::Figure {
                    step: (*id).to_owned(),
                    figure: (*figure).to_owned(),
                },
                Of::Finding((*id).to_owned()),
            ),
            _ => {
                self.faults
                    .unknown(span, "placeholder", name, HEADS.iter().copied());
                return None;
            }
        };
        self.mention(by, of, span);
        Some(placeholder)
    }
}
