//! The whole program, run as a person or a script runs it.

mod bench;
mod errors;
mod harvest;
mod night;
mod rig;
mod runtime;
mod support;
mod trip;
