//! What stands between other recognisers and the scoring (`benches/compare.py`): the grammars as they
//! are written out for them, read by the script, and what they heard, scored as the ear is.

use std::path::Path;
use std::process::Command;

use sayback::hear::{TableOptions, run_table, write_fsg};
use sayback::spoken::named_listening;

fn script(arguments: &[&Path]) -> (bool, String) {
    let output = Command::new("python3")
        .args(arguments)
        .output()
        .expect("setup installs Python");
    let text = String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
    (output.status.success(), text.into_owned())
}

fn grammar_py() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("benches/grammar.py")
}

#[test]
fn figures_in_free_text_are_spelled_out_and_nothing_is_guessed() {
    let doctest = [Path::new("-m"), Path::new("doctest"), &grammar_py()];
    let (good, text) = script(&doctest);
    assert!(good, "{text}");
}

#[test]
fn a_grammar_written_out_has_the_same_sentences() {
    let folder = tempfile::tempdir().unwrap();
    for name in ["digits", "numbers", "yes-no", "tag", "commands"] {
        let graph = named_listening(name).unwrap();
        let mut cases = Vec::new();
        for sentence in graph.sentences(60, 7) {
            let words: Vec<&str> = sentence.split(' ').collect();
            // As it is, without its first word, and turned round: some of those are sentences too.
            let turned: Vec<&str> = words.iter().rev().copied().collect();
            for words in [&words[..], &words[1..], &turned[..]] {
                let answer = if graph.accepts(words) { "yes" } else { "no" };
                cases.push(format!("{}\t{answer}", words.join(" ")));
            }
        }
        assert!(cases.iter().any(|case| case.ends_with("no")), "{name}");
        let (written, list) = (
            folder.path().join("grammar.fsg"),
            folder.path().join("cases.tsv"),
        );
        let mut text = Vec::new();
        write_fsg(name, &mut text).unwrap();
        std::fs::write(&written, text).unwrap();
        std::fs::write(&list, cases.join("\n") + "\n").unwrap();
        let (good, told) = script(&[&grammar_py(), &written, &list]);
        assert!(good, "{name}: {told}");
        // It can fail.
        std::fs::write(&list, cases.join("\n").replacen("\tyes", "\tno", 1)).unwrap();
        assert!(!script(&[&grammar_py(), &written, &list]).0, "{name}");
    }
}

#[test]
fn what_another_recogniser_heard_is_scored_by_the_same_rules() {
    let folder = tempfile::tempdir().unwrap();
    let clip = Path::new(env!("CARGO_MANIFEST_DIR")).join("audio-fixtures/clips/yes.flac");
    let (list, heard) = (
        folder.path().join("list.tsv"),
        folder.path().join("heard.tsv"),
    );
    let rows = [
        ("four zero", "four zero", "right"),
        ("four zero", "four oh", "same_value"),
        ("four zero", "four one", "value_error"),
        ("four zero", "stop", "value_error"),
        ("four zero", "", "empty"),
        ("", "four", "false_accept"),
        ("", "", "right"),
    ];
    let path = clip.display();
    let mut text = "path\ttranscript\tgroup\tgrammar\n".to_owned();
    let mut words = String::new();
    for (said, got, _) in rows {
        text += &format!("{path}\t{said}\tg\tdigits\n");
        words += &format!("{path}\t{got}\t0.5\t0.25\n");
    }
    std::fs::write(&list, text).unwrap();
    let score = |words: &str| {
        std::fs::write(&heard, words).unwrap();
        let options = TableOptions {
            each: true,
            heard: Some(heard.clone()),
            ..TableOptions::default()
        };
        let mut out = Vec::new();
        run_table(&list, &options, &mut out)
            .map(|()| String::from_utf8(out).unwrap())
            .map_err(|fault| fault.to_string())
    };
    let table = score(&words).unwrap();
    for (line, (said, got, verdict)) in table.lines().zip(rows) {
        let cells: Vec<&str> = line.split('\t').collect();
        assert_eq!((cells[4], cells[5], cells[6]), (said, got, verdict));
    }
    let total: Vec<&str> = table.lines().last().unwrap().split('\t').collect();
    assert_eq!(total[..8], ["total", "7", "10", "6", "4", "2", "1", "1"]);
    assert_eq!(total[8], "250.0", "after the last sample, in milliseconds");
    // A line that is missing, of another clip, or no line at all, is named.
    let short = words
        .rsplit_once('\n')
        .unwrap()
        .0
        .rsplit_once('\n')
        .unwrap()
        .0;
    for (bad, line) in [
        (short.to_owned(), "line 7: not the clip"),
        (
            words.replacen("yes.flac", "no.flac", 1),
            "line 1: not the clip",
        ),
        (
            words.replacen("0.5", "soon", 1),
            "line 1: not a line of what was heard",
        ),
    ] {
        let fault = score(&bad).unwrap_err();
        assert!(fault.contains(line), "{fault}");
    }
}
