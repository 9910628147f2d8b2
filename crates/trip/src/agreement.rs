//! Whether a trip is as unsure of a pack as [`pack::likely_runtime_from`] is.

use pack::fit::{Run, fit};
use pack::{Chemistry, Load, Pack, Sample, Start, likely_runtime_from};
use plan::Plan;

use crate::draws::{Doubt, Draw};
use crate::engine::{self, Keep};
use crate::forecast::{cell_of, loads_of};
use crate::prepare::prepare;
use crate::skies::Skies;

/// A noise-free record of `tests/reference/bench`.
pub(crate) fn record(name: &str) -> Vec<Sample> {
    let path = format!("{}/../../tests/reference/bench/{name}.csv", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(path).unwrap();
    let number = |field: &str| field.parse::<f64>().unwrap();
    pack::counted(text.lines().skip(1).map(|line| {
        let mut fields = line.split(',').map(number);
        std::array::from_fn(|_| fields.next().unwrap())
    }))
}

pub(crate) fn fitted(chemistry: Chemistry, rated_ah: f64, names: &[&str]) -> Pack {
    let records: Vec<Vec<Sample>> = names.iter().map(|name| record(name)).collect();
    let runs: Vec<Run<'_>> = names
        .iter()
        .zip(&records)
        .map(|(name, samples)| Run { name, samples, from_full: true })
        .collect();
    fit("pack", chemistry, rated_ah, &runs, &mut |_| {}).unwrap().pack
}

/// A night of one steady load on a pack given by its file, everything else known exactly.
fn plan(pack: &Pack, power_w: f64, least_v: f64, air_c: f64) -> Plan {
    let folder = std::env::temp_dir().join(format!("tilldawn-agreement-{}", std::process::id()));
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("pack.toml"), toml::to_string(pack).unwrap()).unwrap();
    let text = format!(
        r#"
format = 1
[site]
latitude = "56.9 N"
longitude = "4.2 W"
[air]
night = "{air_c} °C"
day = "{air_c} °C"
[trip]
first_evening = "2026-12-20"
[pack]
file = "pack.toml"
[rig.devices.mount]
power = "{power_w} W ± 0 W"
least_voltage = "{least_v} V"
when = "night"
"#
    );
    let plan = Plan::parse("plan.toml", &folder, &text).unwrap();
    std::fs::remove_dir_all(&folder).unwrap();
    plan
}

/// Mean and standard deviation of the time (s) until the load stops, over 2000 draws of a plan;
/// the latter is then known to 1.6 % (one standard uncertainty).
fn drawn_times(plan: &Plan) -> (f64, f64) {
    const GROUPS: u64 = 125;
    let (_, timeline) = prepare(plan).unwrap();
    let (cell, mut loads) = (cell_of(plan), loads_of(plan, &timeline));
    let skies = Skies::of_plan(plan).unwrap();
    let doubt = Doubt::of(plan, skies, &timeline, &mut loads);
    let from_s = timeline.steps[0].at_s;
    let mut times_s: Vec<f64> = Vec::new();
    for group in 0..GROUPS {
        let draws: [Draw; 16] = std::array::from_fn(|lane| doubt.draw(4, 16 * group + lane as u64));
        for outcome in engine::run(&timeline, &cell, &mut loads, &draws, Keep::Ends) {
            times_s.push(outcome.failures[0].expect("it stops in the night").at_s - from_s);
        }
    }
    let mean = times_s.iter().sum::<f64>() / times_s.len() as f64;
    let square = times_s.iter().map(|s| (s - mean).powi(2)).sum::<f64>() / times_s.len() as f64;
    (mean, square.sqrt())
}

#[test]
fn a_trip_is_as_unsure_of_a_measured_pack_as_its_runtime() {
    let lfp = ["truth/pack-a-discharge-c20", "truth/pack-a-discharge-c5", "truth/pack-a-pulses"];
    let lead = ["truth/pack-b-discharge-c20", "truth/pack-b-discharge-c5"];
    let lfp = fitted(Chemistry::Lfp, 40.0, &lfp);
    let lead = fitted(Chemistry::Flooded, 17.0, &lead);
    let one = Pack::from_discharge(
        "one",
        Some(Chemistry::Lfp),
        Some(40.0),
        &record("truth/pack-a-discharge-c10"),
    )
    .unwrap();
    // far beyond what was measured and in the cold the interval adds up what draws multiply
    for (pack, power_w, least_v, air_c, room) in [
        (&lfp, 45.0, 12.0, 25.0, 0.05),
        (&lfp, 45.0, 11.0, 5.0, 0.15),
        // three times the largest current that was measured
        (&lfp, 300.0, 11.0, 25.0, 0.15),
        (&lead, 15.0, 11.5, 25.0, 0.05),
        (&lead, 30.0, 11.0, 25.0, 0.05),
        (&lead, 15.0, 11.5, 5.0, 0.15),
        // by one record at 4 A
        (&one, 45.0, 12.0, 25.0, 0.05),
        (&one, 120.0, 11.5, 25.0, 0.05),
    ] {
        let start = Start { soc: 1.0, temperature_c: air_c };
        let load = Load::Power(power_w);
        let likely = likely_runtime_from(pack, start, load, 0.0, least_v).unwrap();
        let central_s = likely.central.time_to_cutoff_s;
        let told_s = (likely.time_high_s - likely.time_low_s) / (2.0 * 1.96);
        let (mean_s, drawn_s) = drawn_times(&plan(pack, power_w, least_v, air_c));
        let case = format!("{} of {power_w} W to {least_v} V at {air_c} °C", pack.name);
        assert!(
            (drawn_s / told_s - 1.0).abs() < room,
            "{case}: drawn ± {drawn_s} s, told ± {told_s} s of {central_s} s"
        );
        assert!((mean_s - central_s).abs() < 0.3 * told_s, "{case}: {mean_s} s, not {central_s} s");
    }
}
