//! What reaches each device through the wires.

mod tables;
mod tree;

use rig::{Collapse, Rig, Solution};

use crate::page::Block;
use crate::table::paragraph;

/// The rig at one instant.
#[derive(Debug, Clone)]
pub struct RigMoment {
    /// What is on, or when it is: "mount, camera exposing".
    pub name: String,
    /// Voltages and currents, or where the voltage collapses.
    pub solution: Result<Solution, Collapse>,
}

/// The moments as tables for a terminal of 80 columns.
#[must_use]
pub fn rig_text(rig: &Rig, moments: &[RigMoment]) -> String {
    let mut text = String::new();
    for moment in moments {
        match &moment.solution {
            Ok(solution) => {
                text.push_str(&tables::devices(rig, &moment.name, solution).terminal());
                text.push('\n');
                text.push_str(&tables::wires(rig, solution).terminal());
            }
            Err(collapse) => text.push_str(&paragraph(&format!("{}: {collapse}.", moment.name))),
        }
        text.push('\n');
    }
    text
}

/// The same for a section of a page, with the wiring drawn as a tree.
#[must_use]
pub fn rig_blocks(rig: &Rig, moments: &[RigMoment]) -> Vec<Block> {
    let mut blocks = Vec::new();
    for moment in moments {
        match &moment.solution {
            Ok(solution) => {
                blocks.push(Block::Rows(
                    tree::wiring(rig, &moment.name, solution),
                    "A line shows what is lost on the way from where a thing hangs; a dashed tick is the least voltage a device needs.".into(),
                ));
                blocks.push(Block::Table(tables::devices(rig, &moment.name, solution)));
                blocks.push(Block::Table(tables::wires(rig, solution)));
            }
            Err(collapse) => blocks.push(Block::Text(format!("{}: {collapse}.", moment.name))),
        }
    }
    blocks
}
