//! Will it last till dawn? The command line.

mod ageing;
mod args;
mod bench;
mod clock;
mod compare;
mod fit;
mod harvest;
mod night;
mod night_season;
mod output;
mod patience;
mod rig;
mod runtime;
mod size;
mod trip;

use std::process::ExitCode;

use clap::Parser;

use args::{Args, Command};

fn main() -> ExitCode {
    let args = Args::parse();
    let json = args.command.json();
    let done = match &args.command {
        Command::Ageing(asked) => ageing::run(asked),
        Command::Bench(asked) => bench::run(asked),
        Command::Compare(asked) => compare::run(asked),
        Command::Fit(asked) => fit::run(asked),
        Command::Harvest(asked) => harvest::run(asked),
        Command::Night(asked) => night::run(asked),
        Command::Rig(asked) => rig::run(asked),
        Command::Runtime(asked) => runtime::run(asked),
        Command::Size(asked) => size::run(asked),
        Command::Trip(asked) => trip::run(asked),
    };
    match done {
        Ok(status) => status,
        Err(failure) => output::fail(&failure, json),
    }
}
