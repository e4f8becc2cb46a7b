//! Command line in, exit code out.

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    match sayback::args::CommandLine::try_parse() {
        Ok(line) => sayback::acts::carry_out(line),
        Err(answer) => sayback::acts::answer(&answer),
    }
}
