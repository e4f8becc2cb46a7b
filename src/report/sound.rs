//! Sounds that are missing, or other than the journal says.

use super::build::Folded;
use super::types::{Sound, SoundFault, Sounds};

pub(super) fn faults(folded: &Folded, sounds: &Sounds) -> Vec<SoundFault> {
    folded
        .bodies()
        .filter_map(|(seq, _, body)| {
            let clip = body.clip()?;
            let (changed, detail) = match sounds.get(&clip.file)? {
                Sound::Whole(_) => return None,
                Sound::Changed => (
                    true,
                    "its hash is not the one in the journal. It is not on this page; put the first one back from a copy of the run, and make the record again".to_owned(),
                ),
                Sound::Missing(why) => (
                    false,
                    format!("it cannot be read ({why}). Put it back from a copy of the run, and make the record again; the value stands as it was said and affirmed"),
                ),
            };
            Some(SoundFault {
                seq,
                file: clip.file.clone(),
                changed,
                detail,
            })
        })
        .collect()
}
