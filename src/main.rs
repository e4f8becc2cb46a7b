//! Command line in, exit code out.

use std::process::ExitCode;

use clap::Parser;

fn main() -> ExitCode {
    sayback::acts::carry_out(sayback::args::CommandLine::parse())
}
