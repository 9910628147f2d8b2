//! The steps of a trip's draws and nothing around them, for the benchmark `step`.

use plan::Plan;

use crate::draws::{Doubt, Draw};
use crate::engine::{self, Keep};
use crate::error::TripError;
use crate::forecast::{cell_of, loads_of};
use crate::prepare::prepare;
use crate::skies::Skies;
use crate::tally::LANES;

/// Lays a plan's first draws out and hands `time` what takes all of them through the trip on this
/// thread, in portable code or in the best that the machine has; it says how many steps of a draw
/// that was. The rig's curves are worked out in it, as in a forecast; the draws, the sky and the
/// count of what fails are not.
///
/// # Errors
/// As [`crate::forecast()`].
#[doc(hidden)]
pub fn steps_of_draws(
    plan: &Plan,
    draws: usize,
    portable: bool,
    time: impl FnOnce(&mut dyn FnMut() -> usize),
) -> Result<(), TripError> {
    let (_, timeline) = prepare(plan)?;
    let cell = cell_of(plan);
    let mut loads = loads_of(plan, &timeline);
    let doubt = Doubt::of(plan, Skies::of_plan(plan)?, &timeline, &mut loads);
    let groups: Vec<[Draw; LANES]> = (0..draws / LANES)
        .map(|group| std::array::from_fn(|lane| doubt.draw(1, (group * LANES + lane) as u64)))
        .collect();
    let mut run = || {
        for group in &groups {
            let go = if portable { engine::run_portable } else { engine::run };
            std::hint::black_box(go(&timeline, &cell, &mut loads, group, Keep::Ends));
        }
        timeline.steps.len() * groups.len() * LANES
    };
    time(&mut run);
    Ok(())
}
