//! Command line and environment. Nothing else reads either.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand, ValueEnum};

/// Hands-free job runner for modulating electric quarter-turn valve actuators.
#[derive(Debug, Parser)]
#[command(
    name = "sayback",
    version,
    about,
    after_help = "Exit codes: 0 done, 1 not done, 2 wrong use, 3 could not save.\n\
                  Sayback never moves the actuator and never says that anything is safe."
)]
pub struct CommandLine {
    /// What to do.
    #[command(subcommand)]
    pub act: Act,
}

/// What Sayback can be asked to do.
#[derive(Debug, Subcommand)]
pub enum Act {
    /// Run a job: a built-in one by name, or a job file.
    Run(RunArgs),
    /// Work off a list of actuators, one after another: next, by tag, what is left; each is resumed where it stopped.
    Route(RouteArgs),
    /// Go on with a run exactly where it stopped.
    Resume(ResumeArgs),
    /// List the runs, newest last.
    Runs(RunsFolder),
    /// List the built-in jobs, or print one as a job file to start from.
    Jobs {
        /// Print this job file.
        name: Option<String>,
    },
    /// Check a job file, and a job sheet against it.
    CheckJob {
        /// The job file, or the name of a built-in job.
        job: String,
        /// A job sheet to check against it.
        #[arg(long, value_name = "FILE")]
        sheet: Option<PathBuf>,
        /// Model folder that is to listen, instead of the one inside the program: whether it has all the words.
        #[cfg(feature = "voice")]
        #[arg(long, value_name = "FOLDER", env = "SAYBACK_MODEL")]
        model: Option<PathBuf>,
    },
    /// Make the record of a run again: page, PDF, table and data.
    Record(RecordArgs),
    /// Tell the past jobs of a tag: drift since the last as left, what repeats, when to look again; or list the tags.
    History(HistoryArgs),
    /// Write the summary of a week: out of tolerance, drift, parts, meters, not done and why.
    Summary(SummaryArgs),
    /// Copy the runs of another crew's folder into this one. Nothing is overwritten; what contradicts is kept twice and shown.
    Merge(MergeArgs),
    /// Check a run's journal, clips and signatures: say in words what was changed, if anything.
    Verify(VerifyArgs),
    /// Make a key of your own, to sign runs with.
    Key(KeyArgs),
    /// Sign a run, with its clips, with your own key.
    Sign(SignArgs),
    /// Do one calculation of the core, or check a table of them.
    Calc {
        /// Name of the calculation. Without it: list them all.
        #[arg(conflicts_with = "table")]
        name: Option<String>,
        /// Inputs as a JSON object, for example '{"signal": 12, "lo": 4, "hi": 20, "action": "direct"}'.
        inputs: Option<String>,
        /// Check the rows of a tab-separated table instead.
        #[arg(long, value_name = "FILE")]
        table: Option<PathBuf>,
    },
    /// Say how a phrase would be taken for a slot, or check a table of them.
    Parse {
        /// Slot, for example R1K, MA, YN. Without it: list them all.
        #[arg(conflicts_with = "table")]
        slot: Option<String>,
        /// The phrase, in quotes.
        phrase: Option<String>,
        /// Check the rows of a tab-separated table instead.
        #[arg(long, value_name = "FILE")]
        table: Option<PathBuf>,
    },
    /// Say what the ear hears in recordings, or print figures over a table of them.
    #[cfg(feature = "voice")]
    Hear(HearArgs),
    /// List the microphones, or remember one.
    #[cfg(feature = "voice")]
    Microphones(MicrophonesArgs),
    /// Check the microphone before a job, in about two minutes: noise, voice, twelve words, four numbers.
    #[cfg(feature = "voice")]
    MicrophoneCheck(MicrophoneCheckArgs),
    /// Fit the ear to one person's voice: three minutes of reading aloud.
    #[cfg(feature = "voice")]
    Enrol(EnrolArgs),
    /// Print the JSON Schema (draft 2020-12) of `record --print json`.
    Schema,
    /// Print completions for a shell.
    Completions {
        /// The shell.
        shell: clap_complete::Shell,
    },
}

/// Options of `run`.
#[derive(Debug, Args)]
pub struct RunArgs {
    /// Name of a built-in job (see `sayback jobs`), or a job file.
    pub job: String,
    /// Job sheet: nameplate data, limits of the order, who does the job.
    #[arg(long, value_name = "FILE")]
    pub sheet: Option<PathBuf>,
    /// Who does the job.
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Who relays the readings, where a partner speaks for the one at the valve.
    #[arg(long, value_name = "NAME")]
    pub relayed_by: Option<String>,
    /// How it is shown and heard.
    #[command(flatten)]
    pub session: SessionArgs,
}

/// Options of `resume`.
#[derive(Debug, Args)]
pub struct ResumeArgs {
    /// The run: its folder, or its name in the runs folder. Without it: the newest that is not closed.
    pub run: Option<String>,
    /// How it is shown and heard.
    #[command(flatten)]
    pub session: SessionArgs,
}

/// Options of `route`.
#[derive(Debug, Args)]
pub struct RouteArgs {
    /// The route: TOML, or a table (CSV) with a line of column names.
    pub file: PathBuf,
    /// Print where each actuator stands, and what comes next, and do nothing else.
    #[arg(long)]
    pub list: bool,
    /// Job sheet of the meter check: the meter, its limits, and what it is checked with.
    #[arg(long, value_name = "FILE")]
    pub meter: Option<PathBuf>,
    /// The first day that counts, in place of the route's own: runs that began before it are of an
    /// earlier route.
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    pub from: Option<jiff::civil::Date>,
    /// Who does the jobs, where the route does not say.
    #[arg(long, value_name = "NAME")]
    pub by: Option<String>,
    /// Who relays the readings, where the route does not say.
    #[arg(long, value_name = "NAME")]
    pub relayed_by: Option<String>,
    /// How it is shown and heard.
    #[command(flatten)]
    pub session: SessionArgs,
}

/// How a job is shown and heard.
#[derive(Debug, Args)]
pub struct SessionArgs {
    /// Listen to this recording (WAV or FLAC, mono) instead of the microphone.
    #[arg(long, value_name = "FILE")]
    pub recording: Option<PathBuf>,
    /// Take the recording as fast as the ear can, not at its own pace.
    #[arg(long, requires = "recording")]
    pub fast: bool,
    /// Lines instead of a screen: for screen readers and pipes.
    #[arg(long)]
    pub plain: bool,
    /// Keypad only: leave the ear off.
    #[arg(long)]
    pub keypad: bool,
    /// Microphone, by its name in `sayback microphones`.
    #[arg(long, value_name = "NAME", env = "SAYBACK_MICROPHONE")]
    pub microphone: Option<String>,
    /// Push-to-talk: the microphone is closed until the talk key (Tab) opens it, and again closes it.
    #[arg(long)]
    pub push_to_talk: bool,
    /// Nobody else talks near the microphone: "yes" and "done" are enough where "affirm" is wanted otherwise.
    #[arg(long)]
    pub alone: bool,
    /// A headset is worn: the ear stays open while Sayback speaks, and a stop word cuts it off.
    #[arg(long)]
    pub headset: bool,
    /// Say nothing aloud, and sound no tones.
    #[arg(long, env = "SAYBACK_QUIET", value_parser = clap::builder::FalseyValueParser::new())]
    pub quiet: bool,
    /// Speak in plain lines too, where it is silent otherwise.
    #[arg(long, conflicts_with = "quiet")]
    pub aloud: bool,
    /// Speed of the voice: 0.7 (slow) to 1.6 (fast). Keys: F6 slower, F7 faster.
    #[arg(long, value_name = "TIMES", default_value = "1.0", value_parser = speed)]
    pub speed: f32,
    /// Loudness of the voice: 0.1 to 2.0. Keys: F8 softer, F9 louder.
    #[arg(long, value_name = "TIMES", default_value = "1.0", value_parser = loudness)]
    pub loudness: f32,
    /// Loudspeaker, by its name in the sound system.
    #[arg(long, value_name = "NAME", env = "SAYBACK_LOUDSPEAKER")]
    pub loudspeaker: Option<String>,
    /// Model folder in Vosk's format, instead of the one inside the program.
    #[arg(long, value_name = "FOLDER", env = "SAYBACK_MODEL")]
    pub model: Option<PathBuf>,
    /// Listen with the common ear, even where one was fitted to the person of --by.
    #[cfg(feature = "voice")]
    #[arg(long)]
    pub common_ear: bool,
    /// File with other keys for the acts.
    #[arg(long, value_name = "FILE", env = "SAYBACK_KEYS")]
    pub keys: Option<PathBuf>,
    /// Bold and reverse only, no colour.
    #[arg(long)]
    pub contrast: bool,
    /// Where runs are kept.
    #[command(flatten)]
    pub folder: RunsFolder,
}

/// A day as ISO 8601 writes it.
fn day(text: &str) -> Result<jiff::civil::Date, String> {
    text.parse()
        .ok()
        .filter(|_| text.len() == 10)
        .ok_or_else(|| format!("{text} is no date. Write it as 2026-11-23"))
}

fn speed(text: &str) -> Result<f32, String> {
    within(text, 0.7, 1.6)
}

fn loudness(text: &str) -> Result<f32, String> {
    within(text, 0.1, 2.0)
}

fn within(text: &str, least: f32, most: f32) -> Result<f32, String> {
    text.parse()
        .ok()
        .filter(|times| (least..=most).contains(times))
        .ok_or_else(|| format!("give a number from {least} to {most}, for example 1.2"))
}

/// Where runs are kept.
#[derive(Clone, Debug, Args)]
pub struct RunsFolder {
    /// Folder of the runs.
    #[arg(long = "runs", value_name = "FOLDER", env = "SAYBACK_RUNS")]
    pub runs: Option<PathBuf>,
}

/// Options of `record`.
#[derive(Debug, Args)]
pub struct RecordArgs {
    /// The run: its folder, or its name in the runs folder. Without it: the newest.
    pub run: Option<String>,
    /// Print this form to standard output instead of writing all of them into the run's folder.
    #[arg(long, value_enum)]
    pub print: Option<Form>,
    /// Where runs are kept.
    #[command(flatten)]
    pub folder: RunsFolder,
}

/// Options of `history`.
#[derive(Debug, Args)]
pub struct HistoryArgs {
    /// Tag of the actuator. Without it: list all tags, each with its last job.
    pub tag: Option<String>,
    /// Find words in notes, reasons and findings of all jobs; a word finds those that begin so.
    #[arg(long, value_name = "WORDS", num_args = 1.., conflicts_with = "tag")]
    pub find: Vec<String>,
    /// Where runs are kept.
    #[command(flatten)]
    pub folder: RunsFolder,
}

/// Options of `summary`.
#[derive(Debug, Args)]
pub struct SummaryArgs {
    /// First date, YYYY-MM-DD. Without it: Monday of this week, or of the week of --to.
    #[arg(long, value_name = "DATE", value_parser = day)]
    pub from: Option<jiff::civil::Date>,
    /// Last date, YYYY-MM-DD. Without it: six days after the first.
    #[arg(long, value_name = "DATE", value_parser = day)]
    pub to: Option<jiff::civil::Date>,
    /// The route of these dates: its groups, and what was planned and not begun.
    #[arg(long, value_name = "FILE")]
    pub route: Option<PathBuf>,
    /// Where runs are kept.
    #[command(flatten)]
    pub folder: RunsFolder,
}

/// Options of `merge`.
#[derive(Debug, Args)]
pub struct MergeArgs {
    /// Folders of runs to copy from.
    #[arg(required = true, value_name = "FOLDER")]
    pub folders: Vec<PathBuf>,
    /// Where runs are kept.
    #[command(flatten)]
    pub folder: RunsFolder,
}

/// Options of `verify`.
#[derive(Debug, Args)]
pub struct VerifyArgs {
    /// The run: its folder, or its name in the runs folder.
    pub run: String,
    /// List of signers whose keys you know, as ssh-keygen takes it: one `"NAME" ssh-ed25519 KEY` a line.
    #[arg(long, value_name = "FILE", env = "SAYBACK_SIGNERS")]
    pub signers: Option<PathBuf>,
    /// Where runs are kept.
    #[command(flatten)]
    pub folder: RunsFolder,
}

/// Which key, and what opens it.
#[derive(Debug, Args)]
pub struct KeyFile {
    /// File of the private key, in OpenSSH's form.
    #[arg(long, value_name = "FILE", env = "SAYBACK_KEY")]
    pub key: Option<PathBuf>,
    /// Take the passphrase from the first line of this file, instead of asking.
    #[arg(long, value_name = "FILE")]
    pub passphrase_file: Option<PathBuf>,
}

/// Options of `key`.
#[derive(Debug, Args)]
pub struct KeyArgs {
    /// Whose key it is, as it is to stand in what is signed.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Make it without a passphrase: who has the file can sign.
    #[arg(long, conflicts_with = "passphrase_file")]
    pub no_passphrase: bool,
    /// Where it goes.
    #[command(flatten)]
    pub file: KeyFile,
}

/// Options of `sign`.
#[derive(Debug, Args)]
pub struct SignArgs {
    /// The run: its folder, or its name in the runs folder.
    pub run: String,
    /// What to sign with.
    #[command(flatten)]
    pub file: KeyFile,
    /// Where runs are kept.
    #[command(flatten)]
    pub folder: RunsFolder,
}

/// Form of a record.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub enum Form {
    /// Page to read, print and sign.
    Html,
    /// The same for paper and archives, readable by a screen reader.
    Pdf,
    /// Table, one row an answer.
    Csv,
    /// Data.
    Json,
    /// Short summary.
    Text,
}

/// Options of `microphones`.
#[cfg(feature = "voice")]
#[derive(Debug, Args)]
pub struct MicrophonesArgs {
    /// Use this one from now on; by its name in the list.
    #[arg(long, value_name = "NAME")]
    pub choose: Option<String>,
    /// Use the system's own from now on.
    #[arg(long, conflicts_with = "choose")]
    pub forget: bool,
}

/// Options of `microphone-check`.
#[cfg(feature = "voice")]
#[derive(Debug, Args)]
pub struct MicrophoneCheckArgs {
    /// Whose voice: listens with the ear that was fitted to it, or offers to fit one after the check.
    #[arg(long, value_name = "NAME", conflicts_with = "recording")]
    pub by: Option<String>,
    /// Judge a recording of a check instead: five seconds without speech, then what is to be read.
    #[arg(long, value_name = "FILE")]
    pub recording: Option<PathBuf>,
    /// Microphone, by its name in `sayback microphones`.
    #[arg(long, value_name = "NAME", env = "SAYBACK_MICROPHONE")]
    pub microphone: Option<String>,
    /// Lines instead of a screen.
    #[arg(long)]
    pub plain: bool,
    /// Bold and reverse only, no colour.
    #[arg(long)]
    pub contrast: bool,
    /// Model folder in Vosk's format, instead of the one inside the program.
    #[arg(long, value_name = "FOLDER", env = "SAYBACK_MODEL")]
    pub model: Option<PathBuf>,
}

/// Options of `enrol`.
#[cfg(feature = "voice")]
#[derive(Debug, Args)]
pub struct EnrolArgs {
    /// Whose voice: the name that is given to `run --by`.
    #[arg(long, value_name = "NAME")]
    pub by: String,
    /// Learn from recordings instead: a tab-separated table with the columns path, transcript, and optionally use (learn or check).
    #[arg(long, value_name = "FILE")]
    pub recordings: Option<PathBuf>,
    /// Forget this person's ear, and the recordings it learnt from.
    #[arg(long, conflicts_with = "recordings")]
    pub forget: bool,
    /// Microphone, by its name in `sayback microphones`.
    #[arg(long, value_name = "NAME", env = "SAYBACK_MICROPHONE")]
    pub microphone: Option<String>,
    /// Lines instead of a screen.
    #[arg(long)]
    pub plain: bool,
    /// Bold and reverse only, no colour.
    #[arg(long)]
    pub contrast: bool,
}

/// Options of `hear`.
#[cfg(feature = "voice")]
#[derive(Debug, Args)]
pub struct HearArgs {
    /// Recordings, WAV or FLAC, mono.
    #[arg(required_unless_present_any = ["table", "fsg"], conflicts_with_all = ["table", "fsg"])]
    pub files: Vec<PathBuf>,
    /// Print figures over the rows of a tab-separated table: path, transcript, group, and optionally grammar.
    #[arg(long, value_name = "FILE")]
    pub table: Option<PathBuf>,
    /// With --table: one line a clip as well.
    #[arg(long, requires = "table")]
    pub each: bool,
    /// What is listened for: all, numbers, digits, yes-no, tag, commands.
    #[arg(long, value_name = "NAME")]
    pub grammar: Option<String>,
    /// One JSON object a recording.
    #[arg(long, conflicts_with = "table")]
    pub json: bool,
    /// Model folder in Vosk's format (or a folder with two, one and two), instead of those inside the program.
    #[arg(long, value_name = "FOLDER", env = "SAYBACK_MODEL")]
    pub model: Option<PathBuf>,
    /// With --table: the first of two models alone, to see what the second is worth.
    #[arg(long, requires = "table")]
    pub one_ear: bool,
    /// With --table: words in any order instead of a strict grammar, to see what that is worth.
    #[arg(long, requires = "table")]
    pub any_order: bool,
    /// With --table: score what another recogniser heard: a line a clip with path, words, seconds, seconds after the last sample.
    #[arg(long, value_name = "FILE", requires = "table", conflicts_with_all = ["model", "one_ear", "any_order"])]
    pub heard: Option<PathBuf>,
    /// Print the grammar as a finite state grammar in the text form of the Sphinx recognisers instead.
    #[arg(long, conflicts_with = "table")]
    pub fsg: bool,
}
