//! Any text as a plan: an answer or an error with a place in it, never a panic.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    if let Err(error) = plan::Plan::parse("fuzz.toml", std::path::Path::new("/nowhere"), text) {
        assert!(!error.to_string().is_empty());
    }
});
