//! Words of a job's own, which stand in no lexicon: said as the dictionary has them.

use sayback::edge::ear::{Ear, EarError, ModelChoice};
use sayback::edge::sound;
use sayback::spoken::{ChoiceOption, CommandSet, Slot, SlotKind, listening};

use super::{cache, ear, fixtures, phrase, phrases};

const FOUND: [&str; 8] = [
    "corroded",
    "gasket torn",
    "housing cracked",
    "seized",
    "bearing worn",
    "terminal loose",
    "rusty",
    "lubricated",
];

/// The question of a job that has these in its closed list.
fn question() -> Slot {
    Slot {
        name: "found".to_owned(),
        kind: SlotKind::Choice(
            FOUND
                .iter()
                .map(|say| ChoiceOption {
                    id: say.replace(' ', "-"),
                    phrases: vec![(*say).to_owned()],
                })
                .collect(),
        ),
    }
}

/// Two neural voices that no ear was trained on (`audio-fixtures/README.md`).
#[test]
fn a_closed_list_of_common_words_is_heard() {
    let graph = listening(&question(), CommandSet::All);
    let mut ear = ear();
    let (mut right, mut asked) = (0, Vec::new());
    for say in FOUND {
        for voice in ["af_kore", "bm_fable"] {
            let name = format!("own-words/{}--{voice}.flac", say.replace(' ', "-"));
            let sound = sound::read(&fixtures().join(name)).expect("a recording");
            let heard = phrase(&mut ear, &graph, &sound);
            if heard == say {
                right += 1;
            } else {
                assert_eq!(heard, "", "{say} by {voice}");
                asked.push(format!("{say} by {voice}"));
            }
        }
    }
    assert!(right >= 14, "{right} of 16; not understood: {asked:?}");
}

#[test]
fn a_model_with_a_fixed_graph_does_not_learn_words() {
    let folder =
        std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/ear/look-ahead-model");
    let mut ear = Ear::open_in(&ModelChoice::Folder(folder), &cache()).expect("it opens");
    let fault = ear.listen(&phrases(&["gasket"]), 16_000).err();
    assert!(
        matches!(&fault, Some(EarError::UnknownWords(words)) if words == &["gasket"]),
        "{fault:?}"
    );
}
