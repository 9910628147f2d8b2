//! What several tests prove over the years, and of several packs.

mod ageing;
mod comparison;

pub use ageing::{Past, ageing_page, ageing_text};
pub use comparison::{Compared, comparison_page, comparison_text};

use crate::bench_report::caution_section;
use crate::page::{Block, Section};

/// The texts and tables among some blocks, for a terminal.
fn in_terminal(blocks: &[Block]) -> String {
    let parts: Vec<String> = blocks
        .iter()
        .filter_map(|block| match block {
            Block::Text(text) => Some(crate::table::paragraph(text)),
            Block::Table(table) => Some(table.terminal()),
            _ => None,
        })
        .collect();
    parts.join("\n")
}

/// How it was found, and what can hurt whoever repeats it.
fn closing(method: &[String]) -> [Section; 2] {
    let method = Section::new("Method and uncertainty", vec![Block::List(method.to_vec())]);
    [method, caution_section()]
}
