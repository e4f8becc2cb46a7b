//! Grammar text to rules, by recursive descent.

use std::collections::BTreeMap;

use super::{DEEPEST, Expansion, GrammarError, Rule, fault};

#[derive(Debug, Clone, PartialEq, Eq)]
enum Token {
    Header,
    Word(String),
    Rule(String),
    Tag(String),
    Mark(char),
}

pub(super) struct Reader<'a> {
    text: &'a str,
    tokens: Vec<(Token, usize)>,
    at: usize,
    /// Rules named in bodies, with their places.
    pub(super) uses: Vec<(String, usize)>,
    /// Rules defined, with their places.
    pub(super) defined: Vec<(String, usize)>,
}

impl<'a> Reader<'a> {
    pub(super) fn of(text: &'a str) -> Result<Self, GrammarError> {
        Ok(Reader {
            text,
            tokens: tokens(text)?,
            at: 0,
            uses: Vec::new(),
            defined: Vec::new(),
        })
    }

    pub(super) fn file(&mut self, rules: &mut BTreeMap<String, Rule>) -> Result<(), GrammarError> {
        if self.next() != Some(Token::Header) {
            return Err(self.fault_before(
                "the file does not start with a header",
                "start it with: #JSGF V1.0 UTF-8 en;",
            ));
        }
        self.word("grammar", "after the header write: grammar name;")?;
        if !matches!(self.next(), Some(Token::Word(_))) {
            return Err(self.fault_before("no grammar name", "write: grammar name;"));
        }
        self.mark(';', "end the line with ;")?;
        while self.at < self.tokens.len() {
            let mut public = false;
            if let Some(Token::Word(word)) = self.peek() {
                match word.as_str() {
                    "public" => {
                        public = true;
                        self.at += 1;
                    }
                    "import" => {
                        return Err(self.fault_here(
                            "imports are not in this subset",
                            "copy the rule into this file",
                        ));
                    }
                    _ => {}
                }
            }
            let place = self.place();
            let Some(Token::Rule(name)) = self.next() else {
                return Err(self.fault_before("a rule was expected", "write: <name> = words;"));
            };
            self.mark('=', "after the rule's name write =")?;
            let body = self.choice(0)?;
            self.mark(';', "end the rule with ;")?;
            self.defined.push((name.clone(), place));
            if rules.insert(name.clone(), Rule { public, body }).is_some() {
                return Err(fault(
                    self.text,
                    place,
                    format!("<{name}> is defined twice"),
                    "keep one of the two",
                ));
            }
        }
        Ok(())
    }

    fn choice(&mut self, depth: usize) -> Result<Expansion, GrammarError> {
        if depth > DEEPEST {
            return Err(self.fault_here(
                "brackets nest too deep",
                "give the inner part a rule of its own",
            ));
        }
        let mut parts = vec![self.sequence(depth)?];
        while self.peek() == Some(&Token::Mark('|')) {
            self.at += 1;
            parts.push(self.sequence(depth)?);
        }
        Ok(if parts.len() == 1 {
            parts.remove(0)
        } else {
            Expansion::Choice(parts)
        })
    }

    fn sequence(&mut self, depth: usize) -> Result<Expansion, GrammarError> {
        let mut parts = Vec::new();
        loop {
            let place = self.place();
            let mut part = match self.peek().cloned() {
                Some(Token::Word(word)) => {
                    self.at += 1;
                    Expansion::Word(word)
                }
                Some(Token::Rule(name)) => {
                    self.at += 1;
                    match name.as_str() {
                        "NULL" => Expansion::Empty,
                        "VOID" => {
                            return Err(fault(
                                self.text,
                                place,
                                "<VOID> is not in this subset".into(),
                                "leave the alternative out",
                            ));
                        }
                        _ => {
                            self.uses.push((name.clone(), place));
                            Expansion::Rule(name)
                        }
                    }
                }
                Some(Token::Mark('(')) => {
                    self.at += 1;
                    let inner = self.choice(depth + 1)?;
                    self.mark(')', "close the bracket with )")?;
                    inner
                }
                Some(Token::Mark('[')) => {
                    self.at += 1;
                    let inner = self.choice(depth + 1)?;
                    self.mark(']', "close the bracket with ]")?;
                    Expansion::Optional(Box::new(inner))
                }
                _ => break,
            };
            let mut repeated = false;
            loop {
                part = match self.peek().cloned() {
                    Some(Token::Mark(sign @ ('*' | '+'))) => {
                        if repeated {
                            return Err(
                                self.fault_here("one repeat on top of another", "keep one * or +")
                            );
                        }
                        repeated = true;
                        self.at += 1;
                        if sign == '*' {
                            Expansion::Star(Box::new(part))
                        } else {
                            Expansion::Plus(Box::new(part))
                        }
                    }
                    Some(Token::Tag(tag)) => {
                        self.at += 1;
                        Expansion::Tagged(Box::new(part), tag)
                    }
                    _ => break,
                };
            }
            parts.push(part);
        }
        match parts.len() {
            0 => Err(self.fault_here("nothing to say here", "write a word, a <rule>, or <NULL>")),
            1 => Ok(parts.remove(0)),
            _ => Ok(Expansion::Sequence(parts)),
        }
    }

    fn peek(&self) -> Option<&Token> {
        self.tokens.get(self.at).map(|(token, _)| token)
    }

    fn next(&mut self) -> Option<Token> {
        let token = self.peek().cloned();
        self.at += 1;
        token
    }

    fn place(&self) -> usize {
        self.tokens
            .get(self.at)
            .map_or(self.text.len(), |(_, place)| *place)
    }

    fn word(&mut self, want: &str, fix: &str) -> Result<(), GrammarError> {
        match self.next() {
            Some(Token::Word(word)) if word == want => Ok(()),
            _ => Err(self.fault_before(&format!("`{want}` was expected"), fix)),
        }
    }

    fn mark(&mut self, want: char, fix: &str) -> Result<(), GrammarError> {
        match self.next() {
            Some(Token::Mark(mark)) if mark == want => Ok(()),
            _ => Err(self.fault_before(&format!("`{want}` was expected"), fix)),
        }
    }

    fn fault_here(&self, found: &str, fix: &str) -> GrammarError {
        fault(self.text, self.place(), found.to_owned(), fix)
    }

    fn fault_before(&self, found: &str, fix: &str) -> GrammarError {
        let place = self
            .tokens
            .get(self.at.saturating_sub(1))
            .map_or(self.text.len(), |(_, place)| *place);
        fault(self.text, place, found.to_owned(), fix)
    }
}

fn tokens(text: &str) -> Result<Vec<(Token, usize)>, GrammarError> {
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(first) = text[at..].chars().next() {
        let rest = &text[at..];
        let start = at;
        if first.is_whitespace() {
            at += first.len_utf8();
        } else if rest.starts_with("//") {
            at += rest.find('\n').unwrap_or(rest.len());
        } else if rest.starts_with("/*") {
            let Some(end) = rest.find("*/") else {
                return Err(fault(
                    text,
                    at,
                    "a comment has no end".into(),
                    "close it with */",
                ));
            };
            at += end + 2;
        } else if rest.starts_with("#JSGF") {
            let Some(end) = rest.find(';') else {
                return Err(fault(
                    text,
                    at,
                    "the header has no end".into(),
                    "end it with ;",
                ));
            };
            at += end + 1;
            found.push((Token::Header, start));
        } else if first == '<' || first == '{' {
            let close = if first == '<' { '>' } else { '}' };
            let Some(end) = rest.find(close) else {
                return Err(fault(
                    text,
                    at,
                    format!("`{first}` is never closed"),
                    &format!("close it with {close}"),
                ));
            };
            let inner = rest[1..end].trim().to_owned();
            if first == '<'
                && (inner.is_empty()
                    || inner.contains(|c: char| c.is_whitespace() || "<=;|(){}[]".contains(c)))
            {
                return Err(fault(
                    text,
                    at,
                    format!("`<{inner}>` is no rule name"),
                    "use letters, digits and -",
                ));
            }
            at += end + 1;
            found.push((
                if first == '<' {
                    Token::Rule(inner)
                } else {
                    Token::Tag(inner)
                },
                start,
            ));
        } else if ";=|*+()[]".contains(first) {
            at += 1;
            found.push((Token::Mark(first), start));
        } else if first == '/' {
            return Err(fault(
                text,
                at,
                "weights are not in this subset".into(),
                "take the /…/ out; use // for a comment",
            ));
        } else if "\">}#\\".contains(first) {
            return Err(fault(
                text,
                at,
                format!("`{first}` has no place here"),
                "write words bare, without quotes",
            ));
        } else {
            let end = rest
                .find(|c: char| c.is_whitespace() || ";=|*+()[]<>{}/\"#\\".contains(c))
                .unwrap_or(rest.len());
            at += end;
            found.push((Token::Word(rest[..end].to_owned()), start));
        }
    }
    Ok(found)
}
