//! `tilldawn bench`.

use std::process::ExitCode;

use crate::args;
use crate::output::Failure;

pub(crate) fn run(_asked: &args::Bench) -> Result<ExitCode, Failure> {
    Err(Failure::new("record", "soon"))
}
