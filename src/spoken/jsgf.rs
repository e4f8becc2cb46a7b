//! Grammars in a subset of JSGF (JSpeech Grammar Format, W3C Note, 2000).
//!
//! The subset: a header, `grammar NAME;`, rules `[public] <name> = …;` with `|`,
//! `[ ]`, `( )`, `*`, `+` and `{tag}`, and `//` and `/* */` comments. No imports,
//! no recursion, no weights. No state; a [`Grammar`] never changes once parsed.

use std::collections::BTreeMap;
use std::fmt;

/// The most words that a rule may expand to when its sentences are listed.
const MOST_SENTENCES: usize = 100_000;

/// A parsed grammar.
#[derive(Clone, Debug)]
pub struct Grammar {
    rules: BTreeMap<String, Expansion>,
}

/// The right side of a rule.
#[derive(Clone, Debug, PartialEq)]
pub enum Expansion {
    /// One word.
    Word(String),
    /// Another rule.
    Rule(String),
    /// One after the other.
    Sequence(Vec<Expansion>),
    /// One of these.
    Choice(Vec<Expansion>),
    /// Perhaps.
    Optional(Box<Expansion>),
    /// Any number of times; at least once if the flag is set.
    Repeat(Box<Expansion>, bool),
    /// With a tag.
    Tagged(Box<Expansion>, String),
}

/// A fault in a grammar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct GrammarFault {
    /// Line, from 1.
    pub line: usize,
    /// Column, from 1.
    pub column: usize,
    /// The line itself.
    pub text: String,
    /// What is wrong, and the fix.
    pub why: String,
}

impl fmt::Display for GrammarFault {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        writeln!(f, "line {}, column {}: {}", self.line, self.column, self.why)?;
        writeln!(f, "  {}", self.text)?;
        write!(f, "  {}^", " ".repeat(self.column.saturating_sub(1)))
    }
}

impl std::error::Error for GrammarFault {}

impl Grammar {
    /// Parses a grammar and checks that each rule exists and none refers to itself.
    ///
    /// # Errors
    /// The first fault, with its place.
    pub fn parse(text: &str) -> Result<Self, GrammarFault> {
        let mut reader = Reader { text, at: 0 };
        reader.header()?;
        let mut rules = BTreeMap::new();
        let mut places = BTreeMap::new();
        while reader.skip()? {
            let at = reader.at;
            let (name, expansion) = reader.rule()?;
            if rules.insert(name.clone(), expansion).is_some() {
                return Err(reader.fault(at, format!("the rule <{name}> is there twice; give one of them another name")));
            }
            places.insert(name, at);
        }
        let grammar = Self { rules };
        for (name, expansion) in &grammar.rules {
            let at = places[name];
            for other in references(expansion) {
                if !grammar.rules.contains_key(&other) {
                    return Err(reader.fault(at, format!("there is no rule <{other}>; define it, or correct the name in <{name}>")));
                }
            }
            if grammar.reaches(name, name, 0) {
                return Err(reader.fault(at, format!("the rule <{name}> refers to itself; write it without recursion")));
            }
        }
        Ok(grammar)
    }

    fn reaches(&self, from: &str, to: &str, depth: usize) -> bool {
        depth > self.rules.len()
            || self.rules.get(from).is_some_and(|expansion| {
                references(expansion).iter().any(|other| other == to || self.reaches(other, to, depth + 1))
            })
    }

    /// The right side of a rule.
    #[must_use]
    pub fn rule(&self, name: &str) -> Option<&Expansion> {
        self.rules.get(name)
    }

    /// The right side of a rule of one of our own grammars.
    pub(super) fn own(&self, name: &str) -> Expansion {
        self.rules.get(name).cloned().unwrap_or(Expansion::Choice(Vec::new()))
    }

    /// Every sentence of a rule without repeats, with the last tag passed on the way.
    #[must_use]
    pub fn sentences(&self, name: &str) -> Vec<(String, Option<String>)> {
        self.expand(&self.own(name))
            .into_iter()
            .map(|(words, tag)| (words.join(" "), tag))
            .collect()
    }

    fn expand(&self, expansion: &Expansion) -> Vec<(Vec<String>, Option<String>)> {
        match expansion {
            Expansion::Word(word) => vec![(vec![word.clone()], None)],
            Expansion::Rule(name) => self.expand(&self.own(name)),
            Expansion::Choice(list) => list.iter().flat_map(|one| self.expand(one)).take(MOST_SENTENCES).collect(),
            Expansion::Optional(inner) => {
                let mut all = vec![(Vec::new(), None)];
                all.extend(self.expand(inner));
                all
            }
            Expansion::Repeat(inner, at_least_once) => {
                let mut all = self.expand(inner);
                if !at_least_once {
                    all.push((Vec::new(), None));
                }
                all
            }
            Expansion::Tagged(inner, tag) => {
                self.expand(inner).into_iter().map(|(words, _)| (words, Some(tag.clone()))).collect()
            }
            Expansion::Sequence(list) => {
                let mut all: Vec<(Vec<String>, Option<String>)> = vec![(Vec::new(), None)];
                for one in list {
                    let next = self.expand(one);
                    all = all
                        .iter()
                        .flat_map(|(words, tag)| {
                            next.iter().map(move |(more, other)| {
                                let mut words = words.clone();
                                words.extend(more.iter().cloned());
                                (words, other.clone().or_else(|| tag.clone()))
                            })
                        })
                        .take(MOST_SENTENCES)
                        .collect();
                }
                all
            }
        }
    }

    /// One sentence, chosen by the numbers that `choose` gives (below its argument).
    pub fn sample(&self, expansion: &Expansion, choose: &mut dyn FnMut(usize) -> usize, out: &mut Vec<String>) {
        match expansion {
            Expansion::Word(word) => out.push(word.clone()),
            Expansion::Rule(name) => self.sample(&self.own(name), choose, out),
            Expansion::Sequence(list) => list.iter().for_each(|one| self.sample(one, choose, out)),
            Expansion::Choice(list) if list.is_empty() => {}
            Expansion::Choice(list) => {
                let at = choose(list.len());
                self.sample(&list[at], choose, out);
            }
            Expansion::Optional(inner) => {
                if choose(2) == 1 {
                    self.sample(inner, choose, out);
                }
            }
            Expansion::Repeat(inner, at_least_once) => {
                for _ in 0..choose(4) + usize::from(*at_least_once) {
                    self.sample(inner, choose, out);
                }
            }
            Expansion::Tagged(inner, _) => self.sample(inner, choose, out),
        }
    }
}

fn references(expansion: &Expansion) -> Vec<String> {
    match expansion {
        Expansion::Word(_) => Vec::new(),
        Expansion::Rule(name) => vec![name.clone()],
        Expansion::Sequence(list) | Expansion::Choice(list) => list.iter().flat_map(references).collect(),
        Expansion::Optional(inner) | Expansion::Repeat(inner, _) | Expansion::Tagged(inner, _) => references(inner),
    }
}

struct Reader<'a> {
    text: &'a str,
    at: usize,
}

impl Reader<'_> {
    fn fault(&self, at: usize, why: String) -> GrammarFault {
        let before = &self.text[..at];
        let start = before.rfind('\n').map_or(0, |at| at + 1);
        GrammarFault {
            line: before.matches('\n').count() + 1,
            column: self.text[start..at].chars().count() + 1,
            text: self.text[start..].lines().next().unwrap_or_default().to_owned(),
            why,
        }
    }

    fn here(&self, why: &str) -> GrammarFault {
        self.fault(self.at, why.to_owned())
    }

    fn rest(&self) -> &str {
        &self.text[self.at..]
    }

    /// Passes blanks and comments; false at the end.
    fn skip(&mut self) -> Result<bool, GrammarFault> {
        loop {
            let rest = self.rest();
            let blanks = rest.len() - rest.trim_start().len();
            self.at += blanks;
            let rest = self.rest();
            if rest.starts_with("//") {
                self.at += rest.find('\n').unwrap_or(rest.len());
            } else if rest.starts_with("/*") {
                let end = rest.find("*/").ok_or_else(|| self.here("this comment has no end; close it with */"))?;
                self.at += end + 2;
            } else {
                return Ok(!rest.is_empty());
            }
        }
    }

    fn header(&mut self) -> Result<(), GrammarFault> {
        if !self.rest().starts_with("#JSGF V1.0") {
            return Err(self.here("the first line must be: #JSGF V1.0 UTF-8 en;"));
        }
        self.at += self.rest().find('\n').unwrap_or(self.rest().len());
        self.skip()?;
        if !self.rest().starts_with("grammar ") {
            return Err(self.here("the header is followed by the grammar's name: grammar numbers;"));
        }
        let end = self.rest().find(';').ok_or_else(|| self.here("the grammar's name ends with ;"))?;
        self.at += end + 1;
        Ok(())
    }

    fn eat(&mut self, token: &str) -> Result<bool, GrammarFault> {
        self.skip()?;
        let found = self.rest().starts_with(token);
        if found {
            self.at += token.len();
        }
        Ok(found)
    }

    fn rule(&mut self) -> Result<(String, Expansion), GrammarFault> {
        let at = self.at;
        if self.rest().starts_with("import") {
            return Err(self.here("imports are not in the subset; copy the rule into this file"));
        }
        if self.rest().starts_with("public") {
            self.at += "public".len();
            self.skip()?;
        }
        let name = self.rule_name()?.ok_or_else(|| self.fault(at, "a rule begins like this: public <name> = …;".to_owned()))?;
        if !self.eat("=")? {
            return Err(self.here("the rule's name is followed by ="));
        }
        let expansion = self.choice(0)?;
        if !self.eat(";")? {
            return Err(self.here("a rule ends with ;"));
        }
        Ok((name, expansion))
    }

    fn rule_name(&mut self) -> Result<Option<String>, GrammarFault> {
        self.skip()?;
        if !self.rest().starts_with('<') {
            return Ok(None);
        }
        let end = self.rest().find('>').ok_or_else(|| self.here("a rule's name ends with >"))?;
        let name = self.rest()[1..end].to_owned();
        if name.is_empty() || !name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-') {
            return Err(self.here("a rule's name is of letters, figures and -"));
        }
        self.at += end + 1;
        Ok(Some(name))
    }

    fn choice(&mut self, depth: usize) -> Result<Expansion, GrammarFault> {
        if depth > 60 {
            return Err(self.here("too many brackets inside each other; split the rule"));
        }
        let mut list = vec![self.sequence(depth)?];
        while self.eat("|")? {
            list.push(self.sequence(depth)?);
        }
        Ok(if list.len() == 1 { list.swap_remove(0) } else { Expansion::Choice(list) })
    }

    fn sequence(&mut self, depth: usize) -> Result<Expansion, GrammarFault> {
        let mut list = Vec::new();
        while let Some(one) = self.item(depth)? {
            list.push(one);
        }
        match list.len() {
            0 => Err(self.here("something is missing here: a word, a <rule>, or a group")),
            1 => Ok(list.swap_remove(0)),
            _ => Ok(Expansion::Sequence(list)),
        }
    }

    fn item(&mut self, depth: usize) -> Result<Option<Expansion>, GrammarFault> {
        self.skip()?;
        let mut item = if self.eat("(")? {
            let inner = self.choice(depth + 1)?;
            if !self.eat(")")? {
                return Err(self.here("this group has no end; close it with )"));
            }
            inner
        } else if self.eat("[")? {
            let inner = self.choice(depth + 1)?;
            if !self.eat("]")? {
                return Err(self.here("this option has no end; close it with ]"));
            }
            Expansion::Optional(Box::new(inner))
        } else if let Some(name) = self.rule_name()? {
            Expansion::Rule(name)
        } else {
            let length = self
                .rest()
                .find(|c: char| !(c.is_ascii_lowercase() || c == '\'' || c == '-'))
                .unwrap_or(self.rest().len());
            if length == 0 {
                return match self.rest().chars().next() {
                    None | Some('|' | ')' | ']' | ';') => Ok(None),
                    Some('/') => Err(self.here("weights are not in the subset; leave them out")),
                    Some(_) => Err(self.here("words are of small letters, ' and -")),
                };
            }
            let word = self.rest()[..length].to_owned();
            self.at += length;
            Expansion::Word(word)
        };
        loop {
            if self.eat("*")? {
                item = Expansion::Repeat(Box::new(item), false);
            } else if self.eat("+")? {
                item = Expansion::Repeat(Box::new(item), true);
            } else if self.eat("{")? {
                let end = self.rest().find('}').ok_or_else(|| self.here("a tag ends with }"))?;
                let tag = self.rest()[..end].trim().to_owned();
                self.at += end + 1;
                item = Expansion::Tagged(Box::new(item), tag);
            } else {
                return Ok(Some(item));
            }
        }
    }
}
