//! Each thing that was said can be heard again: its sound is in the page itself.

use base64::Engine;
use base64::engine::general_purpose::STANDARD;

use super::super::markup::{Markup, beside};
use super::super::types::{HowLine, Report, Sound};

/// Plays the sound of record `seq`; leads to the file beside the page where nobody looked for it.
pub(super) fn sound(page: &mut Markup, report: &Report, seq: u64, how: &HowLine) {
    let Some(clip) = &how.clip else { return };
    // The blank belongs to the sound, so that nothing of it is left where it is not printed.
    page.element("span", &[("class", "sound")], |page| {
        page.text(" ");
        match report.sounds.get(clip) {
            Some(Sound::Whole(bytes)) => {
                let source = format!("data:audio/wav;base64,{}", STANDARD.encode(bytes));
                let label = format!("Sound of record {seq}, heard: {}", how.heard);
                page.element(
                    "audio",
                    &[
                        ("controls", ""),
                        ("preload", "none"),
                        ("src", &source),
                        ("aria-label", &label),
                        ("title", &label),
                    ],
                    |_| {},
                );
            }
            Some(Sound::Changed) => {
                page.leaf("span", "mark", "sound was changed");
            }
            Some(Sound::Missing(_)) => {
                page.leaf("span", "mark", "sound is missing");
            }
            None => {
                let address = beside(&report.head.clips_folder, clip);
                page.element(
                    "a",
                    &[
                        ("href", &address),
                        ("title", &format!("heard: {}", how.heard)),
                    ],
                    |page| {
                        page.text("sound");
                    },
                );
            }
        }
    });
}
