//! `step`: one event in, effects out. Decides everything; changes nothing that
//! is saved except by handing a record to the journal and, once that is on the
//! disk, to `Saved::apply`.

use super::answer::{self, Outcome};
use super::question::{self, Asked, asked};
use super::record::{Body, Channel, Clip, Cursor, How};
use super::{
    Candidate, EarState, Effect, Event, Key, Mark, Message, Phase, Run, Stamp, keypad, relaying,
};
use crate::spoken::{self, Command, CommandSet, Slot, SlotKind};

/// How much fainter than the value a yes may be, in decibels. Chosen on real recordings: of 781
/// pairs of a "yes" and a digit by the same speaker (76 speakers), 5 lie further apart. A voice
/// at three times the distance is 9.5 dB fainter (inverse distance law, free field).
const FAINTER_DB: f32 = 10.0;

/// Takes in one event.
pub fn step(run: &mut Run, event: Event, at: Stamp) -> Vec<Effect> {
    let mut turn = Turn {
        run,
        at,
        effects: Vec::new(),
        relisten: false,
        heard_db: None,
    };
    turn.run.live.now_ms = at.mono_ms;
    turn.take(event);
    if turn.relisten {
        turn.listen();
    }
    turn.effects
}

/// Whether these words stop, whatever is asked.
fn is_stop(words: &str) -> bool {
    let nothing = Slot {
        name: String::new(),
        kind: SlotKind::Choice(Vec::new()),
    };
    spoken::parse(&nothing, words).meaning == Some(spoken::Meaning::Command(Command::Stop))
}

/// Said where a plain yes may be a word of somebody else's talk.
pub(super) const AFFIRM_IS_WANTED: &str = "Affirm or negative is wanted. Enter keeps it.";

/// Whether these words, which mean yes, are *affirm* or *affirmative*.
pub(super) fn is_affirm(words: &str) -> bool {
    words
        .split_whitespace()
        .any(|word| word.starts_with("affirm"))
}

/// When the core wants a [`Event::Tick`], on the clock of [`Stamp::mono_ms`].
#[must_use]
pub fn deadline(run: &Run) -> Option<u64> {
    match run.live.phase {
        // Each quarter second, so that the count-down on the screen moves.
        Phase::Holding { until_ms, .. } => Some(until_ms.min(run.live.now_ms + 250)),
        _ => None,
    }
}

/// One call of `step`: the run, the time, and what is to be done.
pub(super) struct Turn<'run> {
    pub(super) run: &'run mut Run,
    pub(super) at: Stamp,
    pub(super) effects: Vec<Effect>,
    pub(super) relisten: bool,
    /// How loud the utterance of this event was, where it is one and that is known.
    heard_db: Option<f32>,
}

impl Turn<'_> {
    fn take(&mut self, event: Event) {
        match event {
            Event::Begin => {
                if self.run.saved.cursor == Cursor::Closed {
                    self.run.live.phase = Phase::Done;
                    self.tell(Mark::Plain, "This job is closed.");
                } else {
                    // What holds for the whole job, before anything of it is asked, and again on resuming.
                    let cautions = self.run.job.cautions.join(" ");
                    self.go_on_after(Mark::Watch, cautions);
                }
            }
            Event::Key(key) => {
                let bounced = keypad::is_bounce(&mut self.run.live, key, self.at.mono_ms);
                if key == Key::Talk && !bounced {
                    self.talk();
                } else if !bounced {
                    self.relisten = true;
                    keypad::take(self, key);
                }
            }
            Event::Typed(Key::Talk) => self.talk(),
            Event::Typed(key) => {
                self.relisten = true;
                keypad::take(self, key);
            }
            Event::Line(text) => {
                self.relisten = true;
                keypad::line(self, &text);
            }
            Event::Heard {
                words,
                listen,
                clip,
                damaged,
                level_db,
            } => {
                self.heard_db = level_db;
                self.heard(&words, listen, clip, damaged);
            }
            Event::Saved => self.saved(),
            Event::NotSaved { why, again } => {
                self.run.live.pending = None;
                self.run.live.queue.clear();
                self.tell(Mark::Bad, &format!("NOT SAVED. Write it on paper. {why}"));
                self.run.live.phase = Phase::NotSaved { again };
                self.relisten = true;
            }
            Event::EarLost { why } => {
                self.tell(Mark::Watch, &why);
                self.run.live.ear = EarState::Lost(why.clone());
                self.append_aside(Body::Microphone { state: why });
            }
            Event::EarBack => {
                let was_lost = matches!(self.run.live.ear, EarState::Lost(_));
                self.run.live.ear = EarState::Open;
                self.relisten = true;
                if was_lost {
                    self.append_aside(Body::Microphone {
                        state: "The ear is back.".to_owned(),
                    });
                }
            }
            Event::Tick => self.tick(),
            Event::Hangup { code } => self.effects.push(Effect::Quit(code)),
        }
    }

    fn tick(&mut self) {
        if let Phase::Holding { until_ms, seconds } = self.run.live.phase
            && self.at.mono_ms >= until_ms
            && let Asked::Step(step) = self.asked()
        {
            let then = self.run.saved.step_after(&self.run.job.clone(), step, None);
            let step = step.id.clone();
            self.tell(Mark::Good, &format!("{seconds} seconds. Release."));
            self.append(Body::Held {
                step,
                seconds,
                then,
            });
        }
    }

    /// The talk key. What is said while the question stays open is heard to its end: the question
    /// keeps its number, so that the utterance that the key ended is still an answer to it.
    fn talk(&mut self) {
        let live = &mut self.run.live;
        match (&live.ear, live.microphone.closed) {
            (EarState::None, _) => {
                self.tell(
                    Mark::Watch,
                    "This run is by keypad: there is no microphone to open.",
                );
            }
            (_, true) => {
                live.microphone.closed = false;
                self.relisten = true;
            }
            (_, false) => {
                live.microphone.closed = true;
                self.effects.push(Effect::CloseEar);
            }
        }
    }

    // ---- what is heard -------------------------------------------------

    fn heard(&mut self, words: &str, listen: u64, clip: Option<Clip>, damaged: bool) {
        // Stop words act even when they come late.
        if is_stop(words) {
            self.stop(How {
                channel: Channel::Voice,
                heard: words.to_owned(),
                clip,
                ..How::default()
            });
            return;
        }
        if listen != self.run.live.listen
            || matches!(
                self.run.live.phase,
                Phase::Saving | Phase::Done | Phase::Idle
            )
        {
            return;
        }
        self.relisten = true;
        if damaged {
            self.tell(Mark::Watch, "Sound was lost in the middle. Say it again.");
            return;
        }
        if words.is_empty() {
            if let Phase::Confirming(candidate) = &mut self.run.live.phase {
                candidate.talk_heard = true;
            }
            if !matches!(
                self.run.live.phase,
                Phase::Paused | Phase::Stopped | Phase::Holding { .. }
            ) {
                self.tell(Mark::Watch, "Not understood. Say it again, or type it.");
            }
            return;
        }
        if self.run.live.phase == Phase::Noting {
            self.note(words, Channel::Voice, clip);
            return;
        }
        if let Phase::Reason(reason) = self.run.live.phase.clone() {
            self.reason_heard(words, reason);
            return;
        }
        if let Phase::Relaying(waiting) = self.run.live.phase.clone() {
            self.relay_heard(words, clip, waiting);
            return;
        }
        let job = self.run.job.clone();
        let asked = asked(&job, &self.run.saved, &self.cursor());
        match answer::heard(self.run, &asked, words, clip.clone()) {
            Outcome::Command(command) => self.command(command, words, clip),
            Outcome::Candidate(candidate) => match self.run.live.phase {
                Phase::Asking | Phase::Confirming(_) => self.confirm(candidate),
                _ => self.tell(Mark::Watch, "Not now. Say go ahead first."),
            },
            Outcome::Ask(message) => {
                if matches!(self.run.live.phase, Phase::Asking | Phase::Confirming(_)) {
                    self.run.live.phase = Phase::Asking;
                    self.tell(message.mark, &message.text);
                }
            }
        }
    }

    pub(super) fn confirm(&mut self, mut candidate: Candidate) {
        candidate.level_db = self.heard_db;
        self.run.live.typed.clear();
        self.tell(Mark::Plain, &candidate.said.clone());
        self.run.live.phase = Phase::Confirming(candidate);
    }

    /// A command by voice; the keypad calls the same parts.
    pub(super) fn command(&mut self, command: Command, words: &str, clip: Option<Clip>) {
        let how = How {
            channel: Channel::Voice,
            heard: words.to_owned(),
            clip,
            ..How::default()
        };
        match (self.run.live.phase.clone(), command) {
            (_, Command::Stop) => self.stop(how),
            (Phase::Paused | Phase::Stopped | Phase::Menu | Phase::Statuses, Command::Resume) => {
                self.ask_again();
            }
            (Phase::Paused | Phase::Stopped, _) => {
                self.tell(Mark::Plain, "Standing by. Say go ahead.");
            }
            (Phase::Confirming(candidate), Command::Yes) if self.is_from_afar(&candidate) => {
                self.tell(Mark::Watch, "Fainter than the value. Affirm or negative?");
            }
            (Phase::Confirming(candidate), Command::Yes) if self.may_be_talk(&candidate, words) => {
                self.tell(Mark::Watch, AFFIRM_IS_WANTED);
            }
            (Phase::Confirming(candidate), Command::Yes) => self.keep(candidate),
            (Phase::Confirming(_), Command::No | Command::Disregard) => {
                self.run.live.phase = Phase::Asking;
                self.tell(Mark::Watch, "Not stored. Say it again.");
            }
            (
                Phase::Confirming(candidate),
                Command::RepeatPrompt | Command::RepeatLastValue | Command::ReadBack,
            ) => {
                self.say(&candidate.said);
            }
            (Phase::Confirming(_), Command::Correction) => {
                self.run.live.phase = Phase::Asking;
                self.tell(Mark::Watch, "Not stored. Say the right value.");
            }
            (_, Command::Ack | Command::AckWillDo) => {
                self.tell(
                    Mark::Watch,
                    "That is received, not yes. Affirm or negative?",
                );
            }
            (Phase::Leaving, Command::Yes) if self.wants_affirm(words) => {
                self.tell(Mark::Watch, "Affirm or negative is wanted. Enter goes on.");
            }
            (Phase::Telling, Command::Next | Command::Yes | Command::Resume) => {
                if self.wants_affirm(words) {
                    // Spoken only: what was found stays on the screen.
                    self.say("Next: affirm or negative?");
                } else {
                    self.go_on(String::new());
                }
            }
            (Phase::Telling, Command::RepeatPrompt | Command::ReadBack) => {
                let text = self.run.live.message.text.clone();
                self.say(&text);
            }
            (Phase::Leaving, Command::Yes) => self.leave(),
            (Phase::Leaving, _) => self.ask_again(),
            (Phase::Asking, Command::Yes) => self.yes(how),
            (Phase::Asking, Command::No) => self.no(how),
            (Phase::Asking, Command::Next) => self.next(how),
            (_, Command::RepeatPrompt) => self.ask_again(),
            (_, Command::RepeatLastValue | Command::ReadBack) => {
                let text = self
                    .run
                    .live
                    .last_kept
                    .clone()
                    .unwrap_or_else(|| "Nothing is kept yet".to_owned());
                self.say(&format!("{text}."));
            }
            (_, Command::Pause | Command::PauseLong) => self.pause(),
            (_, Command::Back) => self.back(),
            (_, Command::Undo) => self.undo(),
            (_, Command::Correction) => self.correct(),
            (_, Command::Skip) => self.skip(false, how),
            (_, Command::Unable) => self.skip(true, how),
            (_, Command::Note) => self.begin_note(),
            (_, Command::Relay) => self.begin_relaying(),
            (_, Command::Help | Command::Status) => self.say_place(),
            (_, Command::Slower) => self.effects.push(Effect::Slower),
            (_, Command::Louder) => self.effects.push(Effect::Louder),
            (_, Command::RadioCheck) => self.say("Loud and clear."),
            (_, Command::Disregard) => {
                self.run.live.typed.clear();
                self.tell(Mark::Plain, "Disregarded. Nothing was stored.");
            }
            _ => {}
        }
    }

    /// Whether this utterance is so much fainter than the one that gave the value that somebody
    /// else may have said it, further from the microphone.
    fn is_from_afar(&self, candidate: &Candidate) -> bool {
        matches!((self.heard_db, candidate.level_db), (Some(yes), Some(value)) if yes < value - FAINTER_DB)
    }

    /// Whether these words, which mean yes, done or next, may be of somebody else's talk, so that
    /// *affirm* is wanted, which is seldom said but as an answer. Of real sentences that begin with
    /// "yes" some are heard as a yes (`tests/mic/talk.rs`).
    pub(super) fn wants_affirm(&self, words: &str) -> bool {
        !self.run.live.microphone.alone && !is_affirm(words)
    }

    /// The same for a value that was read back. Somebody who is alone may have company after all:
    /// other speech was heard since.
    fn may_be_talk(&self, candidate: &Candidate, words: &str) -> bool {
        self.wants_affirm(words) || candidate.talk_heard && !is_affirm(words)
    }

    // ---- small parts ---------------------------------------------------

    /// The cursor whose question is open: that of the run, or of the answer that is being corrected.
    pub(super) fn cursor(&self) -> Cursor {
        super::view::open_cursor(self.run)
    }

    pub(super) fn asked(&self) -> Asked<'_> {
        asked(&self.run.job, &self.run.saved, &self.cursor())
    }

    pub(super) fn question(&self) -> String {
        self.asked().sentence(&self.run.job, &self.run.saved)
    }

    pub(super) fn say(&mut self, text: &str) {
        if !text.is_empty() {
            self.effects.push(Effect::Say(text.to_owned()));
        }
    }

    pub(super) fn tell(&mut self, mark: Mark, text: &str) {
        self.run.live.message = Message {
            mark,
            text: text.to_owned(),
        };
        self.say(text);
    }

    pub(super) fn listen(&mut self) {
        let live = &self.run.live;
        let commands_only = || Slot {
            name: String::new(),
            kind: SlotKind::Choice(Vec::new()),
        };
        let (slot, commands) = match &live.phase {
            Phase::Asking => (self.asked().slot(&self.run.saved), CommandSet::All),
            Phase::Relaying(None) => (relaying::slot(), CommandSet::Few),
            Phase::Confirming(_) | Phase::Leaving | Phase::Relaying(Some(_)) => (
                Slot {
                    name: "yes or no".to_owned(),
                    kind: SlotKind::YesNo,
                },
                CommandSet::Few,
            ),
            Phase::Reason(reason) => (
                Slot {
                    name: "reason".to_owned(),
                    kind: question::choice(&Self::reason_options(self.run, reason)),
                },
                CommandSet::Few,
            ),
            Phase::Noting => (
                Slot {
                    name: "note".to_owned(),
                    kind: SlotKind::Any,
                },
                CommandSet::All,
            ),
            Phase::Saving | Phase::Idle | Phase::Done => return,
            _ => (commands_only(), CommandSet::All),
        };
        self.run.live.listen += 1;
        if self.run.live.microphone.closed {
            // The question has its new number, so that what comes late is no answer to it.
            return;
        }
        let listen = self.run.live.listen;
        self.effects.push(Effect::Listen {
            slot,
            commands,
            listen,
        });
    }
}

/// Enter, on the keypad.
#[must_use]
pub(super) fn keyed(text: &str) -> How {
    How {
        channel: Channel::Keypad,
        heard: text.to_owned(),
        ..How::default()
    }
}

/// Keys that can bounce are all but the digits: two equal digits in a row are a number.
#[must_use]
pub(super) fn can_bounce(key: Key) -> bool {
    !matches!(key, Key::Digit(_) | Key::Letter(_))
}
