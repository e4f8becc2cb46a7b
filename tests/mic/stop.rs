//! A stop that acts before the pause after it: how soon, and how often it was none.
//!
//! `SAYBACK_CLIPS=LIST cargo test --test all mic::stop -- --ignored --nocapture`

use std::collections::BTreeMap;
use std::path::Path;

use sayback::edge::ear::{Ear, ModelChoice};
use sayback::edge::listening::{Gate, Rule};
use sayback::edge::sound;
use sayback::spoken::named_listening;

use super::front::clips;

const RATE: usize = 16_000;

/// Seconds into these samples at which the voice ends: the last 20 ms within 30 dB of the loudest.
fn voice_ends(samples: &[i16]) -> f64 {
    let power = |frame: &[i16]| {
        frame
            .iter()
            .map(|&step| f64::from(step).powi(2))
            .sum::<f64>()
    };
    let frames: Vec<f64> = samples.chunks(RATE / 50).map(power).collect();
    let loudest = frames.iter().fold(0.0, |a: f64, &b| a.max(b));
    let last = frames.iter().rposition(|&frame| frame > loudest / 1000.0);
    (last.unwrap_or(0) + 1) as f64 / 50.0
}

#[test]
#[ignore = "needs recordings: SAYBACK_CLIPS names their list"]
fn how_soon_and_how_often() {
    let list = std::env::var("SAYBACK_CLIPS").expect("SAYBACK_CLIPS names a list of recordings");
    let mut ear = Ear::open(&ModelChoice::BuiltIn).expect("an ear");
    let graph = named_listening("MA").expect("a grammar");
    let mut groups: BTreeMap<String, (usize, usize, Vec<f64>, Vec<String>)> = BTreeMap::new();
    for clip in clips(Path::new(&list)) {
        let read = sound::read(&clip.path).expect("a recording");
        let mut samples = read.samples;
        let ends = voice_ends(&samples);
        samples.extend(vec![0; RATE * 2]);
        let mut listener = ear.listen(&graph, read.rate).expect("a question");
        let mut gate = Gate::new(Rule::default(), read.rate);
        let counts = groups.entry(clip.group.clone()).or_default();
        counts.0 += 1;
        let mut stops = 0;
        for (place, block) in samples.chunks(RATE / 10).enumerate() {
            let mut passed = Vec::new();
            gate.pass(block, &mut passed);
            if passed.is_empty() {
                continue;
            }
            let heard = listener.accept(&passed).expect("a working ear");
            if let Some(heard) = heard.filter(|heard| heard.phrase().starts_with("stop")) {
                stops += 1;
                counts.2.push((place + 1) as f64 / 10.0 - ends);
                counts.3.push(format!(
                    "{}{}",
                    clip.said,
                    if heard.words[0].confidence > 0.0 {
                        ""
                    } else {
                        "*"
                    }
                ));
            }
        }
        counts.1 += usize::from(stops > 0);
    }
    println!("group\tclips\tstopped\tmedian_s\tp95_s\twhat (* before the pause)");
    for (group, (clips, stopped, mut after, what)) in groups {
        after.sort_by(f64::total_cmp);
        let at = |part: f64| {
            after
                .get(((after.len() as f64 * part) as usize).min(after.len().saturating_sub(1)))
                .copied()
                .unwrap_or(f64::NAN)
        };
        let early = what.iter().filter(|text| text.ends_with('*')).count();
        println!(
            "{group}\t{clips}\t{stopped}\t{:.2}\t{:.2}\tearly {early} of {}",
            at(0.5),
            at(0.95),
            what.len()
        );
    }
}
