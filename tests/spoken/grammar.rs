//! The grammar reader: what it reads, and what it says about what it does not.

use proptest::prelude::*;
use sayback::spoken::jsgf::Grammar;
use sayback::spoken::{embedded_grammars, named_slots, unit, units};

fn of(rules: &str) -> Result<Grammar, sayback::spoken::jsgf::GrammarError> {
    Grammar::parse(&[&format!("#JSGF V1.0;\ngrammar test;\n{rules}")])
}

#[test]
fn the_embedded_files_read() {
    let grammar = embedded_grammars().unwrap_or_else(|fault| panic!("{fault}"));
    assert!(grammar.public().count() > 20);
    assert_eq!(named_slots().count(), 18);
    assert!(units().all(|one| unit(one.id()) == Some(one)));
    assert_eq!(sayback::spoken::Unit::none().id(), "none");
}

#[test]
fn tags_choices_options_and_repeats() {
    let grammar = of("public <a> = [very] (big | <small>) {size}; <small> = tiny {t};").unwrap();
    let all = grammar.every("a", 100);
    let said: Vec<String> = all.iter().map(|one| one.words.join(" ")).collect();
    assert_eq!(said, ["big", "tiny", "very big", "very tiny"]);
    assert_eq!(all[1].tags, ["t", "size"]);
    let grammar = of("public <a> = (x | y)+ z*; /* w */ // v").unwrap();
    for sentence in grammar.sentences("a", 200, 1) {
        assert!(
            sentence.split(' ').all(|word| "xyz".contains(word)) && !sentence.starts_with('z'),
            "{sentence}"
        );
    }
    assert_eq!(grammar.sentences("a", 50, 9), grammar.sentences("a", 50, 9));
    assert_ne!(
        grammar.sentences("a", 50, 9),
        grammar.sentences("a", 50, 10)
    );
}

#[test]
fn every_fault_has_its_place_and_a_fix() {
    for (rules, line, column, found) in [
        ("public <a> = x", 3, 15, "`;` was expected"),
        ("public <a> = x | ;", 3, 18, "nothing to say here"),
        ("public <a> = (x;", 3, 16, "`)` was expected"),
        ("public <a> = [x;", 3, 16, "`]` was expected"),
        ("public <a> = <b>;", 3, 14, "<b> is not defined"),
        (
            "public <a> = x <b>;\n<b> = y [<a>];",
            3,
            16,
            "<b> is reached again from itself",
        ),
        ("import <other.*>;", 3, 1, "imports are not in this subset"),
        (
            "public <a> = /2/ x;",
            3,
            14,
            "weights are not in this subset",
        ),
        ("public <a> = \"x y\";", 3, 14, "`\"` has no place here"),
        ("public <a> = [x]*;", 3, 8, "a * or +"),
        ("public <a> = x; <a> = y;", 3, 17, "<a> is defined twice"),
        (
            "public <a> = <VOID>;",
            3,
            14,
            "<VOID> is not in this subset",
        ),
        ("public <a> = x**;", 3, 16, "one repeat on top of another"),
        ("public <a> = {t};", 3, 14, "nothing to say here"),
        ("public <a> = <b ;", 3, 14, "`<` is never closed"),
        ("/* never closed", 3, 1, "a comment has no end"),
        ("a = x;", 3, 1, "a rule was expected"),
    ] {
        let fault = of(rules).expect_err(rules);
        assert!(fault.found.contains(found), "{rules}: {}", fault.found);
        assert_eq!(
            (fault.line, fault.column),
            (line, column),
            "{rules}: {fault}"
        );
        assert!(!fault.fix.is_empty());
        assert!(fault.to_string().contains('^'), "{fault}");
    }
    assert!(
        Grammar::parse(&["grammar x;"])
            .unwrap_err()
            .found
            .contains("header")
    );
    let deep = format!("public <a> = {}x{};", "(".repeat(5000), ")".repeat(5000));
    assert!(of(&deep).unwrap_err().found.contains("nest too deep"));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2000))]

    #[test]
    fn no_text_breaks_the_reader(text in "\\PC*") {
        let _ = Grammar::parse(&[&text]);
    }

    #[test]
    fn no_near_grammar_breaks_the_reader(parts in proptest::collection::vec(
        prop_oneof!["#JSGF V1.0;", "grammar g;", "public ", "<a>", "<b>", "=", ";", "\\|", "\\(", "\\)", "\\[", "\\]", "\\*", "\\+", "\\{t\\}", " x ", "é", "//", "/\\*", "\n", "<NULL>"], 0..40)) {
        let mut text = "#JSGF V1.0;grammar g;".to_owned();
        text.extend(parts);
        if let Ok(grammar) = Grammar::parse(&[&text]) {
            let names: Vec<String> = grammar.public().map(str::to_owned).collect();
            for name in names {
                prop_assert_eq!(grammar.sentences(&name, 3, 1).len(), 3);
                let _ = grammar.every(&name, 50);
            }
        }
    }
}
