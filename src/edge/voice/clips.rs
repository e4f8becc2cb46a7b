//! The clips of our own: the pack inside the program, found by what is said.
//!
//! No state but the pack, read once. The pack is what `voice/render.py` writes: a
//! table of names, samples and bytes, then the two headers of one Vorbis encoder,
//! then the packets of each clip (Vorbis I specification, Xiph.Org, sections 4.2 and 4.3).
//! Packets without the Ogg pages around them, because each page of a file of its own
//! would carry the four kilobytes of code books again.

use std::collections::HashMap;
use std::sync::LazyLock;

use lewton::audio::{PreviousWindowRight, read_audio_packet_generic};
use lewton::header::{IdentHeader, SetupHeader, read_header_ident, read_header_setup};

static PACK: &[u8] = include_bytes!("../../../voice/clips.pack");

/// Samples a second of every clip.
pub const RATE: u32 = 24_000;

/// Why a pack cannot be used: a fault of the build, not of the person.
#[derive(Debug, thiserror::Error, PartialEq, Eq)]
#[error("the pack of clips is damaged: {0}. Render it again with voice/render.py")]
pub struct PackError(&'static str);

/// One clip in the pack.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Clip {
    samples: usize,
    start: usize,
    end: usize,
}

/// All clips, by name: words in small letters, and at the end the mark that they close with.
pub struct Clips {
    voice: String,
    bytes: &'static [u8],
    ident: IdentHeader,
    setup: SetupHeader,
    list: Vec<Clip>,
    names: HashMap<&'static str, usize>,
    /// Words of the longest name.
    longest: usize,
}

impl Clips {
    /// The pack inside this program.
    #[must_use]
    pub fn own() -> &'static Self {
        static OWN: LazyLock<Clips> = LazyLock::new(|| {
            // expect: the pack is part of the program, and a test reads every clip of it.
            Clips::read(PACK).expect("the built-in pack was read by a test")
        });
        &OWN
    }

    /// Reads a pack.
    ///
    /// # Errors
    /// If its table, headers or lengths do not fit together.
    pub fn read(bytes: &'static [u8]) -> Result<Self, PackError> {
        let end = bytes
            .windows(2)
            .position(|pair| pair == b"\n\n")
            .ok_or(PackError("its table has no end"))?;
        let table =
            std::str::from_utf8(&bytes[..end]).map_err(|_| PackError("its table is no text"))?;
        let mut lines = table.lines();
        let head: Vec<&str> = lines.next().unwrap_or_default().split('\t').collect();
        let ["sayback-voice 1", voice, ident_bytes, setup_bytes] = head[..] else {
            return Err(PackError("it is of another format"));
        };
        let number = |text: &str| {
            text.parse::<usize>()
                .map_err(|_| PackError("a length is no number"))
        };
        let ident_at = end + 2;
        let setup_at = ident_at.saturating_add(number(ident_bytes)?);
        let mut at = setup_at.saturating_add(number(setup_bytes)?);
        let part = |from: usize, to: usize| bytes.get(from..to).ok_or(PackError("it is cut short"));
        let ident = read_header_ident(part(ident_at, setup_at)?)
            .map_err(|_| PackError("its first header is no Vorbis"))?;
        if ident.audio_sample_rate != RATE || ident.audio_channels != 1 {
            return Err(PackError("it is not mono of 24000 samples a second"));
        }
        let setup = read_header_setup(
            part(setup_at, at)?,
            ident.audio_channels,
            (ident.blocksize_0, ident.blocksize_1),
        )
        .map_err(|_| PackError("its second header is no Vorbis"))?;
        let (mut clips, mut names, mut longest) = (Vec::new(), HashMap::new(), 0);
        for line in lines {
            let row: Vec<&'static str> = line.split('\t').collect();
            let [name, samples, length] = row[..] else {
                return Err(PackError("a row of its table has not three columns"));
            };
            let clip = Clip {
                samples: number(samples)?,
                start: at,
                end: at.saturating_add(number(length)?),
            };
            at = clip.end;
            part(clip.start, clip.end)?;
            longest = longest.max(name.split(' ').count());
            if names.insert(name, clips.len()).is_some() {
                return Err(PackError("a name is there twice"));
            }
            clips.push(clip);
        }
        Ok(Self {
            voice: voice.to_owned(),
            bytes,
            ident,
            setup,
            list: clips,
            names,
            longest,
        })
    }

    /// Name of the voice that spoke them.
    #[must_use]
    pub fn voice(&self) -> &str {
        &self.voice
    }

    /// Names of all clips.
    pub fn names(&self) -> impl Iterator<Item = &str> {
        self.names.keys().copied()
    }

    /// Number of a clip by its whole name.
    #[must_use]
    pub fn find(&self, name: &str) -> Option<usize> {
        self.names.get(name).copied()
    }

    /// Words of the longest name.
    #[must_use]
    pub fn longest(&self) -> usize {
        self.longest
    }

    /// The sound of a clip at [`RATE`], 1.0 being full scale.
    ///
    /// # Errors
    /// If there is no such clip, or its packets are no Vorbis.
    pub fn samples(&self, number: usize) -> Result<Vec<f32>, PackError> {
        let clip = self
            .list
            .get(number)
            .ok_or(PackError("there is no clip of that number"))?;
        let mut rest = &self.bytes[clip.start..clip.end];
        let mut before = PreviousWindowRight::new();
        let mut out = Vec::with_capacity(clip.samples);
        while let [low, high, behind @ ..] = rest {
            let length = usize::from(u16::from_le_bytes([*low, *high]));
            let packet = behind
                .get(..length)
                .ok_or(PackError("a packet is cut short"))?;
            rest = &behind[length..];
            let decoded: Vec<Vec<f32>> =
                read_audio_packet_generic(&self.ident, &self.setup, packet, &mut before)
                    .map_err(|_| PackError("a packet is no Vorbis"))?;
            out.extend(decoded.first().into_iter().flatten());
        }
        if out.len() < clip.samples {
            return Err(PackError("a clip is shorter than its row says"));
        }
        out.truncate(clip.samples);
        Ok(out)
    }
}
