//! A question's [`WordGraph`] → the graph that libvosk decodes with. No state.
//!
//! libvosk's own grammars are word lists: they bound which words may come, not
//! in which order. A graph of our own bounds the whole sentence. Around the
//! sentences it has a way out for everything that is not an answer: the word
//! [`GARBAGE`], which the model spells as a loop over all its phones, and every
//! other word of the model may stand before, after and instead of an answer, and
//! silence alone is the empty utterance. Costs are natural-log probabilities with the sign turned, on the
//! scale of the acoustic score; they were tuned on speakers that an earlier
//! model was trained on and on recorded noise, never on the clips that are reported.

use std::path::Path;

use rustfst::algorithms::determinize::{
    DeterminizeConfig, DeterminizeType, determinize_with_config,
};
use rustfst::algorithms::rm_epsilon::rm_epsilon;
use rustfst::algorithms::{connect, minimize, tr_sort};
use rustfst::prelude::*;

use super::decoding::Lexicon;
use super::{EarError, WordGraph, Words};

/// The word that stands for speech or noise that is no word of the grammar.
pub const GARBAGE: &str = "[unk]";

/// What each step through a grammar costs, in natural-log units.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Costs {
    /// The first word of an answer.
    first: f32,
    /// Each further word of an answer.
    further: f32,
    /// A word that is not in an answer, first.
    other: f32,
    /// Each further word that is not in an answer.
    other_further: f32,
    /// Garbage instead of an answer, or before one.
    garbage_first: f32,
    /// Garbage after an answer, or after other garbage.
    garbage_further: f32,
    /// Nothing but silence.
    nothing: f32,
    /// Each phone of garbage; a model with a graph of its own has this in it.
    garbage_phone: f32,
}

const COSTS: Costs = Costs {
    first: 2.3,
    further: 2.6,
    other: 8.0,
    other_further: 13.0,
    garbage_first: 8.0,
    garbage_further: 10.0,
    nothing: 0.0,
    garbage_phone: 2.0,
};

/// Writes the strict grammar of `graph` into the folder `graphs` of a model: as
/// `Gr.fst` over its word numbers where the model has a graph of its own for
/// the rest, else as the whole decoding graph, `HCLG.fst`, with `words.txt`.
///
/// # Errors
/// [`EarError::UnknownWords`] names every word that the model has no sound for,
/// [`EarError::BadGraph`] says which state does not exist or that no utterance
/// leads from the start to an end, [`EarError::Write`] that the file cannot be
/// written.
pub fn compile(
    graph: &WordGraph,
    words: &Words,
    lexicon: Option<&Lexicon>,
    graphs: &Path,
) -> Result<(), EarError> {
    let answers = answers(graph, words)?;
    let mut fst = surround(&answers, words, COSTS).map_err(fst_fault)?;
    let path = if let Some(lexicon) = lexicon {
        fst = lexicon
            .expand(&fst, COSTS.garbage_phone)
            .map_err(fst_fault)?;
        let names = graphs.join("words.txt");
        std::fs::write(&names, words.text())
            .map_err(|fault| EarError::Write { path: names, fault })?;
        graphs.join("HCLG.fst")
    } else {
        // libvosk looks ahead through it, which wants a word on every step, in order.
        rm_epsilon(&mut fst).map_err(fst_fault)?;
        connect(&mut fst).map_err(fst_fault)?;
        tr_sort(&mut fst, ILabelCompare {});
        graphs.join("Gr.fst")
    };
    fst.write(&path).map_err(|fault| EarError::Write {
        path: path.clone(),
        fault: std::io::Error::other(format!("{fault:#}")),
    })
}

/// The sentences alone: a minimal deterministic automaton without costs.
fn answers(graph: &WordGraph, words: &Words) -> Result<VectorFst<TropicalWeight>, EarError> {
    let in_range = |state: usize| {
        if state < graph.states {
            Ok(u32::try_from(state).unwrap_or(u32::MAX))
        } else {
            Err(EarError::BadGraph(format!(
                "state {state} is named, but there are only {} states",
                graph.states
            )))
        }
    };
    let mut unknown: Vec<String> = Vec::new();
    let mut fst = VectorFst::<TropicalWeight>::new();
    fst.add_states(graph.states);
    fst.set_start(in_range(graph.start)?).map_err(fst_fault)?;
    for &state in &graph.finals {
        fst.set_final(in_range(state)?, TropicalWeight::one())
            .map_err(fst_fault)?;
    }
    for arc in &graph.arcs {
        let label = match &arc.word {
            None => EPS_LABEL,
            Some(word) => words.number(word).unwrap_or_else(|| {
                unknown.push(word.clone());
                EPS_LABEL
            }),
        };
        let step = Tr::new(label, label, TropicalWeight::one(), in_range(arc.to)?);
        fst.add_tr(in_range(arc.from)?, step).map_err(fst_fault)?;
    }
    if !unknown.is_empty() {
        unknown.sort();
        unknown.dedup();
        return Err(EarError::UnknownWords(unknown));
    }
    connect(&mut fst).map_err(fst_fault)?;
    if fst.num_states() == 0 {
        return Err(EarError::BadGraph(
            "no utterance leads from its start to an end".to_owned(),
        ));
    }
    rm_epsilon(&mut fst).map_err(fst_fault)?;
    let config = DeterminizeConfig::default().with_det_type(DeterminizeType::DeterminizeFunctional);
    let mut fst: VectorFst<TropicalWeight> =
        determinize_with_config(&fst, config).map_err(fst_fault)?;
    minimize(&mut fst).map_err(fst_fault)?;
    connect(&mut fst).map_err(fst_fault)?;
    if fst
        .states_iter()
        .all(|state| fst.num_trs(state).unwrap_or(0) == 0)
    {
        return Err(EarError::BadGraph("it holds no word at all".to_owned()));
    }
    Ok(fst)
}

/// Puts the costs on the sentences, and garbage and silence around them.
fn surround(
    answers: &VectorFst<TropicalWeight>,
    words: &Words,
    costs: Costs,
) -> anyhow::Result<VectorFst<TropicalWeight>> {
    let mut fst = VectorFst::<TropicalWeight>::new();
    fst.add_states(answers.num_states() + 4);
    let inner = u32::try_from(answers.num_states())?;
    let (outset, before, leaving, after) = (inner, inner + 1, inner + 2, inner + 3);
    let garbage = words.garbage();
    let step = |label, cost, to| Tr::new(label, label, TropicalWeight::new(cost), to);
    fst.set_start(outset)?;
    fst.set_final(outset, TropicalWeight::new(costs.nothing))?;
    for state in answers.states_iter() {
        for tr in answers.get_trs(state)?.trs() {
            fst.add_tr(state, step(tr.ilabel, costs.further, tr.nextstate))?;
        }
        if answers.is_final(state)? {
            fst.set_final(state, TropicalWeight::one())?;
            fst.add_tr(state, step(EPS_LABEL, 0.0, leaving))?;
        }
    }
    let start = answers
        .start()
        .ok_or_else(|| anyhow::anyhow!("the sentences have no start"))?;
    for tr in answers.get_trs(start)?.trs() {
        fst.add_tr(outset, step(tr.ilabel, costs.first, tr.nextstate))?;
        fst.add_tr(before, step(tr.ilabel, costs.first, tr.nextstate))?;
    }
    // Any word of the model may stand where garbage may: "right" said to a
    // yes-or-no question is then heard as "right", which is no answer, and not
    // pressed into the nearest word that is one.
    for (from, to, other, unknown) in [
        (outset, before, costs.other, costs.garbage_first),
        (before, before, costs.other_further, costs.garbage_further),
        (leaving, after, costs.other_further, costs.garbage_further),
    ] {
        fst.add_tr(from, step(garbage, unknown, to))?;
        for word in words.all() {
            let label = words.number(word).unwrap_or(EPS_LABEL);
            fst.add_tr(from, step(label, other, to))?;
        }
    }
    fst.set_final(before, TropicalWeight::one())?;
    fst.set_final(after, TropicalWeight::one())?;
    fst.add_tr(after, step(EPS_LABEL, 0.0, leaving))?;
    connect(&mut fst)?;
    Ok(fst)
}

#[expect(clippy::needless_pass_by_value, reason = "the form that map_err takes")]
fn fst_fault(fault: anyhow::Error) -> EarError {
    EarError::BadGraph(format!("{fault:#}"))
}
