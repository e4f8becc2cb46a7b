//! What the recogniser listens for: a graph of words for each question.
//!
//! The narrowest graph that can answer the question, plus the commands that are
//! always live. Words come from `grammars/listening.jsgf` and the unit table; how
//! many digits are open follows from the slot. "oh" and "ohms" are never open at
//! the same place: they sound alike.

use rust_decimal::Decimal;

use super::graph::{Arc, WordGraph};
use super::jsgf::{Expansion, Grammar};
use super::lexicon::{GRAMMAR, VOCABULARY};
use super::pronunciation::can_be_heard;
use super::slot::{NumberSlot, Slot, SlotKind, named_slots};
use super::unit::{Unit, units};

/// Which of the always-live commands are listened for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CommandSet {
    /// Every one.
    All,
    /// yes, no, affirm, negative, correction, say again, stop, stand by, disregard, go back.
    Few,
}

/// What to listen for while this slot is asked.
#[must_use]
pub fn listening(slot: &Slot, commands: CommandSet) -> WordGraph {
    let mut build = Build::new();
    let (start, end) = (build.start, build.end);
    build.rule(
        match commands {
            CommandSet::All => "heard-all-commands",
            CommandSet::Few => "heard-few-commands",
        },
        start,
        end,
    );
    match &slot.kind {
        SlotKind::Number(room) => {
            build.number_of(room);
            build.rule(status_rule(room.unit), start, end);
        }
        SlotKind::YesNo => build.rule("heard-status-plain", start, end),
        SlotKind::Position => build.rule("heard-status-position", start, end),
        SlotKind::Tag => build.tag(),
        SlotKind::Choice(options) => {
            for option in options {
                // The loader of jobs has held them against the ear's words; what another ear
                // lacks, that ear refuses by name.
                for phrase in &option.phrases {
                    build.said(phrase, start, end);
                }
            }
        }
        SlotKind::Any => {
            build.any_number();
            build.rule("heard-status-resistance", start, end);
            build.rule("heard-status-position", start, end);
        }
    }
    build.graph()
}

/// Listening graphs by name: `numbers`, `digits`, `yes-no`, `tag`, `commands`, `all`,
/// or the name of a slot.
#[must_use]
pub fn named_listening(name: &str) -> Option<WordGraph> {
    let mut build = Build::new();
    let (start, end) = (build.start, build.end);
    match name {
        "yes-no" => build.rule("heard-yes-no", start, end),
        "commands" => build.rule("heard-all-commands", start, end),
        "digits" => build.digit_loop(),
        "tag" => build.tag(),
        "numbers" => build.any_number(),
        "all" => {
            build.any_number();
            build.tag();
            for rule in [
                "heard-all-commands",
                "heard-status-resistance",
                "heard-status-electrical",
                "heard-status-position",
            ] {
                build.rule(rule, start, end);
            }
            let turn = build.state();
            build.empty(start, turn);
            for word in VOCABULARY.iter() {
                let after = build.state();
                build.word(word, turn, after);
                build.empty(after, end);
                build.empty(after, turn);
            }
        }
        _ => {
            let slot = named_slots().find(|slot| slot.name == name)?;
            return Some(listening(slot, CommandSet::All));
        }
    }
    Some(build.graph())
}

fn status_rule(unit: Unit) -> &'static str {
    match unit.dimension() {
        "resistance" => "heard-status-resistance",
        "current" | "voltage" => "heard-status-electrical",
        _ => "heard-status-other",
    }
}

/// How much of a number is open.
struct Shape<'a> {
    digits: usize,
    places: usize,
    minus: bool,
    /// Units that may follow, as heard.
    units: &'a [&'a str],
    /// K forms, as in 1.04 k.
    kilo: bool,
    /// "ohms" may follow, so "oh" is open only where it cannot.
    spare_oh: bool,
}

struct Build {
    grammar: &'static Grammar,
    states: usize,
    start: usize,
    end: usize,
    arcs: Vec<Arc>,
}

impl Build {
    fn new() -> Self {
        Build {
            grammar: &GRAMMAR,
            states: 2,
            start: 0,
            end: 1,
            arcs: Vec::new(),
        }
    }

    fn graph(self) -> WordGraph {
        WordGraph {
            states: self.states,
            start: self.start,
            finals: vec![self.end],
            arcs: self.arcs,
        }
    }

    fn state(&mut self) -> usize {
        self.states += 1;
        self.states - 1
    }

    fn word(&mut self, word: &str, from: usize, to: usize) {
        self.arcs.push(Arc {
            from,
            to,
            word: Some(word.to_owned()),
        });
    }

    fn empty(&mut self, from: usize, to: usize) {
        self.arcs.push(Arc {
            from,
            to,
            word: None,
        });
    }

    fn rule(&mut self, name: &str, from: usize, to: usize) {
        let grammar = self.grammar;
        if let Some(rule) = grammar.rule(name) {
            self.expansion(&rule.body, from, to);
        }
    }

    fn expansion(&mut self, body: &Expansion, from: usize, to: usize) {
        match body {
            Expansion::Empty => self.empty(from, to),
            Expansion::Word(word) => self.word(word, from, to),
            Expansion::Rule(name) => self.rule(name, from, to),
            Expansion::Sequence(parts) => self.chain(parts, from, to, |draft, part, at, next| {
                draft.expansion(part, at, next);
            }),
            Expansion::Choice(parts) => {
                for part in parts {
                    self.expansion(part, from, to);
                }
            }
            Expansion::Optional(part) => {
                self.expansion(part, from, to);
                self.empty(from, to);
            }
            Expansion::Star(part) | Expansion::Plus(part) => {
                let (before, after) = (self.state(), self.state());
                self.empty(from, before);
                self.expansion(part, before, after);
                self.empty(after, before);
                self.empty(after, to);
                if matches!(body, Expansion::Star(_)) {
                    self.empty(before, to);
                }
            }
            Expansion::Tagged(part, _) => self.expansion(part, from, to),
        }
    }

    /// A phrase, if the built-in ears can listen for every word of it.
    fn phrase(&mut self, phrase: &str, from: usize, to: usize) {
        if phrase.to_lowercase().split(['-', ' ']).all(can_be_heard) {
            self.said(phrase, from, to);
        }
    }

    /// A phrase as it stands, in small letters.
    fn said(&mut self, phrase: &str, from: usize, to: usize) {
        let phrase = phrase.to_lowercase().replace('-', " ");
        let words: Vec<&str> = phrase.split_whitespace().collect();
        if words.is_empty() {
            return;
        }
        self.chain(&words, from, to, |draft, word, at, next| {
            draft.word(word, at, next);
        });
    }

    /// One part behind the other: each is drawn by `draw`, between two states.
    fn chain<T>(
        &mut self,
        parts: &[T],
        from: usize,
        to: usize,
        draw: impl Fn(&mut Self, &T, usize, usize),
    ) {
        let mut at = from;
        for (index, part) in parts.iter().enumerate() {
            let next = if index + 1 == parts.len() {
                to
            } else {
                self.state()
            };
            draw(self, part, at, next);
            at = next;
        }
    }

    fn number_of(&mut self, room: &NumberSlot) {
        if !room.set.is_empty() {
            self.members(room);
            return;
        }
        let ohms = room.unit.id() == "ohm";
        let top = room.low.abs().max(room.high.abs());
        let mut heard = vec![room.unit.heard()];
        if room.unit.dimension() == "time" && room.unit.id() == "s" && top >= Decimal::from(60) {
            heard.push("minutes");
        }
        heard.retain(|word| VOCABULARY.contains(*word));
        // What Sayback says back it understands, too: "kilohms" where most say "k".
        // "one volt" is heard as "one volts", which is the same: a second spelling that sounds so
        // alike would make the ear unsure of both.
        let [_, many] = room.unit.said_back();
        if !many.is_empty() && !heard.contains(&many) && is_sayable(many) {
            heard.push(many);
        }
        self.number(&Shape {
            digits: digits_of(top),
            places: room.unit.listened_places(),
            minus: room.low < Decimal::ZERO,
            units: &heard,
            kilo: ohms && top >= Decimal::ONE_THOUSAND,
            spare_oh: ohms,
        });
    }

    /// A number with or without a unit of any slot.
    fn any_number(&mut self) {
        let mut heard: Vec<&str> = units()
            .map(|unit| unit.heard())
            .filter(|word| VOCABULARY.contains(*word))
            .collect();
        heard.retain(|word| *word != "k");
        heard.extend(
            units()
                .map(|unit| unit.said_back()[1])
                .filter(|word| VOCABULARY.contains(*word)),
        );
        heard.sort_unstable();
        heard.dedup();
        self.number(&Shape {
            digits: 5,
            places: 3,
            minus: true,
            units: &heard,
            kilo: true,
            spare_oh: true,
        });
    }

    fn number(&mut self, shape: &Shape) {
        let (start, end) = (self.start, self.end);
        // `whole`: a unit may follow. `bare`: none may, because "oh" is open there too.
        let (first, whole) = (self.state(), self.state());
        self.empty(start, first);
        if shape.minus {
            self.rule("heard-minus", start, first);
        }
        self.empty(whole, end);
        for unit in shape.units {
            self.phrase(unit, whole, end);
        }
        let fraction = self.state();
        self.rule("heard-point", whole, fraction);
        self.places(fraction, shape.places, shape, end);
        self.digits(first, shape, whole, fraction);
        if shape.digits >= 2 {
            self.rule("heard-two-figures", first, whole);
        }
        if shape.digits >= 3 {
            self.rule("heard-hundreds", first, whole);
        }
        if shape.digits >= 4 {
            self.rule("heard-thousands", first, whole);
        }
        if shape.digits >= 5 {
            self.rule("heard-ten-thousands", first, whole);
        }
        if shape.kilo {
            self.kilo(first, shape, end);
        }
    }

    /// Digit strings, up to as many digits as the slot has.
    fn digits(&mut self, first: usize, shape: &Shape, whole: usize, fraction: usize) {
        let end = self.end;
        let after: Vec<usize> = (0..=shape.digits)
            .map(|n| if n == 0 { first } else { self.state() })
            .collect();
        // A leading zero is followed by the point, a unit or nothing.
        self.rule("heard-zero", first, whole);
        for (n, &from) in after.iter().enumerate() {
            let Some(&to) = after.get(n + 1) else {
                continue;
            };
            if n == 0 {
                self.rule("heard-nonzero-digit", from, to);
                if let Some(&two) = after.get(2) {
                    self.double(from, two, &["heard-nonzero-digit"]);
                }
                continue;
            }
            self.rule("heard-digit", from, to);
            if n == 1 || !shape.spare_oh {
                self.rule("heard-oh", from, to);
            }
            if let Some(&two) = after.get(n + 2) {
                self.double(from, two, &["heard-digit", "heard-oh"]);
            }
        }
        for (n, &state) in after.iter().enumerate().skip(1) {
            if n == 1 && shape.spare_oh && shape.digits > 1 {
                self.empty(state, end);
                self.rule("heard-point", state, fraction);
            } else {
                self.empty(state, whole);
            }
        }
    }

    /// "double five": one word for two digits, each of these rules for the digit.
    fn double(&mut self, from: usize, to: usize, digits: &[&str]) {
        let doubled = self.state();
        self.rule("heard-double", from, doubled);
        for digit in digits {
            self.rule(digit, doubled, to);
        }
    }

    /// Up to `most` decimals and the unit.
    fn places(&mut self, point: usize, most: usize, shape: &Shape, end: usize) {
        let last = self.decimals(point, most, shape.spare_oh);
        for state in last {
            self.empty(state, end);
            for unit in shape.units {
                self.phrase(unit, state, end);
            }
        }
    }

    /// The states after one to `most` decimals.
    fn decimals(&mut self, point: usize, most: usize, spare_oh: bool) -> Vec<usize> {
        let after: Vec<usize> = (0..=most)
            .map(|n| if n == 0 { point } else { self.state() })
            .collect();
        for (n, &from) in after.iter().enumerate() {
            let Some(&to) = after.get(n + 1) else {
                continue;
            };
            self.rule("heard-digit", from, to);
            if n == 0 || !spare_oh {
                self.rule("heard-oh", from, to);
            }
            if let Some(&two) = after.get(n + 2) {
                self.double(from, two, &["heard-digit", "heard-oh"]);
            }
        }
        after[1..].to_vec()
    }

    /// 0 to 99 with up to three decimals, then "k".
    fn kilo(&mut self, first: usize, shape: &Shape, end: usize) {
        let (whole, unit) = (self.state(), self.state());
        self.word("k", unit, end);
        self.rule("heard-digit", first, whole);
        if shape.digits >= 5 {
            self.rule("heard-two-figures", first, whole);
            let tens = self.state();
            self.rule("heard-nonzero-digit", first, tens);
            self.rule("heard-digit", tens, whole);
        }
        self.empty(whole, unit);
        let point = self.state();
        self.rule("heard-point", whole, point);
        for state in self.decimals(point, 3, shape.spare_oh) {
            self.empty(state, unit);
        }
    }

    /// Only the members of a closed set, and what each is easily taken for (15 for 50),
    /// so that the wrong one is heard as what it is.
    fn members(&mut self, room: &NumberSlot) {
        let (start, end) = (self.start, self.end);
        let unit = self.state();
        self.empty(unit, end);
        if VOCABULARY.contains(room.unit.heard()) {
            self.word(room.unit.heard(), unit, end);
        }
        let [_, many] = room.unit.said_back();
        if many != room.unit.heard() {
            self.phrase(many, unit, end);
        }
        for value in &room.set {
            let digits: Vec<String> = super::readback::digit_words(value);
            self.phrase(&digits.join(" "), start, unit);
            for cardinal in super::readback::cardinal_words(value) {
                self.phrase(&cardinal, start, unit);
            }
        }
    }

    fn digit_loop(&mut self) {
        let (start, end) = (self.start, self.end);
        let (before, after) = (self.state(), self.state());
        self.empty(start, before);
        self.empty(after, before);
        self.empty(after, end);
        let (point, fraction) = (self.state(), self.state());
        self.rule("heard-point", after, point);
        self.empty(fraction, point);
        self.empty(fraction, end);
        for (from, to) in [(before, after), (point, fraction)] {
            let doubled = self.state();
            self.rule("heard-double", from, doubled);
            for (from, to) in [(from, to), (doubled, to)] {
                self.rule("heard-digit", from, to);
                self.rule("heard-oh", from, to);
            }
        }
    }

    fn tag(&mut self) {
        let (start, end) = (self.start, self.end);
        let (before, after) = (self.state(), self.state());
        self.empty(start, before);
        self.empty(after, before);
        self.empty(after, end);
        self.rule("heard-letter", before, after);
        self.rule("heard-digit", before, after);
        let doubled = self.state();
        self.rule("heard-double", before, doubled);
        self.rule("heard-digit", doubled, after);
        if VOCABULARY.contains("dash") {
            self.word("dash", after, before);
        }
    }
}

/// Whether the ear has a sound for every word of it.
fn is_sayable(phrase: &str) -> bool {
    phrase.split(' ').all(can_be_heard)
}

fn digits_of(top: Decimal) -> usize {
    let whole = top.trunc().normalize().to_string();
    whole.trim_start_matches('-').len().clamp(1, 6)
}
