//! Whether nights called 90 % are carried nine times of ten: many full plans, each with a pack of
//! such a size that its last night is about so sure, and for each many truths that are hidden from
//! the forecast and drawn by other means than its own from what the plan says.
//!
//! The truths go through the engine, each with its own pack and its own steps; that a plain slow
//! simulation comes to the same verdicts is seen on some of them.

mod cells;
mod days;
mod dice;
mod light;
mod plans;
mod pool;
mod ready;
mod truths;

use rayon::prelude::*;

use crate::forecast::loads_of;
use crate::truth::live_along;
use dice::Dice;
use plans::shape;
use pool::{Judged, Pool, Size};
use ready::{Ready, as_it_is, sized};

/// Seeds of the searches for a pack's size; those of forecasts and truths are plans' numbers.
const SEARCH: u64 = 1_000_000;

/// Calls the nights of a plan, and lives them with one truth after the other.
fn judge(number: usize, size: Size) -> Judged {
    let shape = shape(number);
    let plan = sized(&shape, SEARCH + number as u64, size.search);
    let ready = Ready::of(&plan);
    let mut loads = loads_of(&plan, &ready.timeline);
    let tally = ready.drawn(1.0, number as u64, size.draws);
    let mut called: Vec<f64> = tally.nights().iter().map(|chance| chance.share).collect();
    called.push(tally.trip().share);
    let hidden = ready.hidden(&shape);
    let mut dice = Dice::new(number as u64);
    let mut carried = vec![0; called.len()];
    for _ in 0..size.truths {
        let mut nights = ready.goes(&mut loads, &hidden.draw(&mut dice));
        nights.push(nights.iter().all(|carried| *carried));
        for (count, carried) in carried.iter_mut().zip(nights) {
            *count += usize::from(carried);
        }
    }
    Judged { kinds: shape.kinds, called, carried, size }
}

/// What the forecast leaves out to be quick may come to this much: on a dull day the harvest lies
/// in the day as on a clear one, and where a panel stands counts by a second-order curve.
const LEFT_OUT: f64 = 0.005;

/// Judges many plans and tells of what is off, if anything is.
fn calibrated(size: Size) {
    let all: Vec<Judged> =
        (0..size.plans).into_par_iter().map(|number| judge(number, size)).collect();
    let is_night = |judged: &Judged, at: usize| at + 1 < judged.called.len();
    let mut pools = Vec::new();
    for (from, to) in [(0.5, 0.7), (0.7, 0.85), (0.85, 0.95), (0.95, 0.99)] {
        let within = |called: f64| (from..to).contains(&called);
        let nights = Pool::of(&all, |judged, at, called| is_night(judged, at) && within(called));
        let trips = Pool::of(&all, |judged, at, called| !is_night(judged, at) && within(called));
        pools.push((format!("nights called {from} to {to}"), nights));
        pools.push((format!("trips called {from} to {to}"), trips));
    }
    let mut kinds: Vec<&str> = all.iter().flat_map(|judged| judged.kinds.clone()).collect();
    kinds.sort_unstable();
    kinds.dedup();
    for kind in kinds {
        let pool = Pool::of(&all, |judged, at, called| {
            is_night(judged, at) && judged.kinds.contains(&kind) && (0.5..0.99).contains(&called)
        });
        pools.push((kind.to_owned(), pool));
    }
    let table: Vec<String> = pools.iter().map(|(what, pool)| pool.line(what)).collect();
    println!("{}", table.join("\n"));
    let nine =
        Pool::of(&all, |judged, at, called| is_night(judged, at) && (0.85..0.95).contains(&called));
    assert!(nine.error < 0.006, "too few nights to tell: {nine:?}");
    assert!((0.88..=0.92).contains(&nine.carried), "{nine:?}");
    for (what, pool) in pools {
        assert!(pool.nights > 0, "no nights: {what}");
        assert!(pool.off().abs() < 3.0 * pool.error + LEFT_OUT, "{}", pool.line(&what));
    }
}

#[test]
fn nights_called_nine_in_ten_are_carried_nine_times_of_ten() {
    calibrated(Size { plans: 72, draws: 1024, search: 256, truths: 400 });
}

/// The same with many more, in some minutes; docs/trip.md has what it found:
/// `cargo test -p trip calibration::exhaustive -- --ignored --nocapture`
#[test]
#[ignore = "takes some minutes"]
fn exhaustive() {
    calibrated(Size { plans: 400, draws: 4096, search: 512, truths: 1000 });
}

/// The same hidden truths lived by a plain slow simulation, with the truths' own steps and packs.
#[test]
fn a_plain_simulation_comes_to_the_same_verdicts() {
    const PLANS: usize = 48;
    const TRUTHS: usize = 5;
    let lived: Vec<(Vec<bool>, Vec<bool>)> = (0..PLANS)
        .into_par_iter()
        .flat_map_iter(|number| {
            let shape = shape(number);
            let plan = sized(&shape, SEARCH + number as u64, 64);
            let ready = Ready::of(&plan);
            let mut loads = loads_of(&plan, &ready.timeline);
            let hidden = ready.hidden(&shape);
            let mut dice = Dice::new(500 + number as u64);
            let verdicts = |_| {
                let truth = hidden.draw(&mut dice);
                let goes = ready.goes(&mut loads, &truth);
                (goes, live_along(&plan, &truth.timeline, &as_it_is(truth.draw, &plan)).carried)
            };
            (0..TRUTHS).map(verdicts).collect::<Vec<_>>()
        })
        .collect();
    let nights: Vec<(&bool, &bool)> =
        lived.iter().flat_map(|(goes, lived)| goes.iter().zip(lived)).collect();
    let lost = nights.iter().filter(|(_, lived)| !**lived).count();
    let apart = nights.iter().filter(|(goes, lived)| goes != lived).count();
    assert!(lost > 30, "too few nights are lost to tell: {lost} of {}", nights.len());
    assert!(apart * 100 <= nights.len(), "{apart} of {} nights told apart", nights.len());
    println!("{apart} of {} nights told apart, {lost} lost", nights.len());
}
