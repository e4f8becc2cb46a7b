//! Interim graphs until the spoken module gives them.
use crate::edge::ear::{WordArc, WordGraph};
#[derive(Clone)]
enum X {
    W(&'static str),
    S(Vec<X>),
    A(Vec<X>),
    O(Box<X>),
    P(Box<X>),
}
use X::{A, O, P, S, W};
fn words(list: &'static str) -> X {
    A(list.split_whitespace().map(W).collect())
}
fn opt(x: X) -> X {
    O(Box::new(x))
}
fn plus(x: X) -> X {
    P(Box::new(x))
}
fn phrases(list: &'static str) -> X {
    A(list
        .split('/')
        .map(|p| S(p.split_whitespace().map(W).collect()))
        .collect())
}
struct B {
    n: usize,
    arcs: Vec<WordArc>,
}
impl B {
    fn state(&mut self) -> usize {
        self.n += 1;
        self.n - 1
    }
    fn arc(&mut self, from: usize, to: usize, word: Option<&str>) {
        self.arcs.push(WordArc {
            from,
            to,
            word: word.map(str::to_owned),
        });
    }
    fn add(&mut self, x: &X, from: usize, to: usize) {
        match x {
            W(w) => self.arc(from, to, Some(w)),
            S(xs) => {
                let mut at = from;
                for (i, x) in xs.iter().enumerate() {
                    let next = if i + 1 == xs.len() { to } else { self.state() };
                    self.add(x, at, next);
                    at = next;
                }
            }
            A(xs) => {
                for x in xs {
                    self.add(x, from, to);
                }
            }
            O(x) => {
                self.add(x, from, to);
                self.arc(from, to, None);
            }
            P(x) => {
                let (a, b) = (self.state(), self.state());
                self.arc(from, a, None);
                self.add(x, a, b);
                self.arc(b, a, None);
                self.arc(b, to, None);
            }
        }
    }
}
fn graph(x: &X) -> WordGraph {
    let mut b = B { n: 2, arcs: vec![] };
    b.add(x, 0, 1);
    WordGraph {
        states: b.n,
        start: 0,
        finals: vec![1],
        arcs: b.arcs,
    }
}
const D: &str = "zero one two three four five six seven eight nine";
const D1: &str = "one two three four five six seven eight nine";
const TEEN: &str =
    "ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen";
const TENS: &str = "twenty thirty forty fifty sixty seventy eighty ninety";
const COMMANDS: &str = "stop/undo/back/go back/next/skip/repeat/say again/status/help/pause/resume/cancel/disregard/correction/louder/slower/start/ready/done/go ahead/stand by/wait/over/hold/emergency stop/note/save/delete/pass/fail/not applicable/unable";
fn yes_no() -> X {
    phrases("yes/no/affirm/affirmative/negative/correct/incorrect/wrong/confirm")
}
fn below_hundred() -> X {
    A(vec![
        words(D1),
        words(TEEN),
        words(TENS),
        S(vec![words(TENS), words(D1)]),
    ])
}
fn numbers() -> X {
    let card = A(vec![
        S(vec![
            words(D1),
            W("hundred"),
            opt(S(vec![opt(W("and")), below_hundred()])),
        ]),
        S(vec![words(TEEN), W("hundred")]),
        S(vec![
            words(D1),
            W("thousand"),
            opt(S(vec![words(D1), W("hundred")])),
            opt(S(vec![opt(W("and")), below_hundred()])),
        ]),
        below_hundred(),
    ]);
    let digits = plus(words(
        "zero one two three four five six seven eight nine niner",
    ));
    let int = A(vec![
        digits,
        card,
        S(vec![words(D1), words(TEEN)]),
        S(vec![words(D1), words(TENS)]),
        S(vec![words("ten twelve"), W("oh"), words(D1)]),
    ]);
    let frac = S(vec![words("point decimal"), plus(words(D))]);
    let unit = A(vec![words(
        "ohms milliamps percent volts degrees seconds k millivolts megohms amps kilohms",
    )]);
    S(vec![opt(W("minus")), int, opt(frac), opt(unit)])
}
const NATO: &str = "alpha bravo charlie delta echo foxtrot golf hotel india juliet kilo lima mike november oscar papa quebec romeo sierra tango uniform victor whiskey x-ray yankee zulu";
/// The named grammars.
pub fn named(name: &str) -> Option<WordGraph> {
    Some(graph(&match name {
        "digits" => S(vec![
            plus(words(D)),
            opt(S(vec![words("point decimal"), plus(words(D))])),
        ]),
        "numbers" => numbers(),
        "yes-no" => yes_no(),
        "commands" => phrases(COMMANDS),
        "tag" => plus(A(vec![words(NATO), words(D)])),
        "all" => A(vec![
            numbers(),
            yes_no(),
            phrases(COMMANDS),
            plus(A(vec![words(NATO), words(D)])),
            phrases(
                "open/closed/left/right/up/down/off/go/fully open/fully closed/mid position/overload/open circuit/short circuit/no reading/over range/infinity/stable/drifting/jumping",
            ),
        ]),
        _ => return None,
    }))
}
/// The value of a phrase.
pub fn value(phrase: &str) -> Option<String> {
    (!phrase.is_empty()).then(|| phrase.replace("niner", "nine").replace("decimal", "point"))
}
