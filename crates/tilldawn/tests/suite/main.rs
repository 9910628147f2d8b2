//! The whole program, run as a person or a script runs it.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a test")]
mod bench;
mod errors;
mod fit;
mod harvest;
mod look_back;
mod night;
mod rig;
mod runtime;
mod series;
mod size;
mod support;
mod trip;
mod weather;
