//! Many plans, put together from parts: sites, seasons, packs, housings, rigs, weather and sources.

use std::path::Path;
use std::sync::OnceLock;

use pack::{Chemistry, Circuit, Limits, Pack, Spread};
use plan::Plan;

use super::dice::Dice;
use crate::agreement::{fitted, record};

/// A plan and what it is made of.
pub(super) struct Shape {
    /// What its parts are called, to see whether one kind of plan is off.
    pub(super) kinds: Vec<&'static str>,
    /// Standard deviation of the clearness, where it is stated.
    pub(super) clearness: Option<f64>,
    /// How sure its last night is to be made.
    pub(super) wanted: f64,
    parts: Parts,
}

/// What a plan is written from.
struct Parts {
    text: String,
    pack: Source,
}

/// Where its pack comes from.
enum Source {
    /// A table, with the capacity and resistances to be put in.
    Table(&'static str),
    Measured(&'static Pack),
}

/// Latitude, longitude and what else is said of a site.
const SITES: [[&str; 4]; 8] = [
    ["north 36°", "36.1 N", "80 W", "albedo = \"30 %\""],
    ["south 25°", "24.6 S", "70.4 W", "elevation = \"2400 m\"\nturbidity = 2"],
    ["south 44°", "43.9 S", "170.5 E", ""],
    ["north 20°", "19.8 N", "155.5 W", "elevation = \"2800 m\"\nturbidity = 2"],
    ["equator", "0.5 S", "36.9 E", "elevation = \"1900 m\""],
    ["south 33°", "33.3 S", "149.1 E", "horizon = [[0, 2], [120, 8], [240, 3]]"],
    [
        "north 57°",
        "56.9 N",
        "4.2 W",
        "elevation = \"430 m\"\nhorizon = [[0, 2], [120, 8], [240, 3]]",
    ],
    ["north 63°", "63.2 N", "19 W", ""],
];
/// So many of them have enough sun in every month for a mean clearness.
const SUNNY: usize = 6;
const DATES: [&str; 6] =
    ["2026-01-14", "2026-07-16", "2026-03-09", "2026-05-02", "2026-10-09", "2026-12-20"];
const AIRS: [[&str; 2]; 4] = [
    ["frost", "night = \"-8 °C ± 6 K\"\nday = \"1 °C ± 5 K\""],
    ["near frost", "night = \"1 °C ± 5 K\"\nday = \"9 °C ± 4 K\"\nhumidity = \"85 % ± 12 %\""],
    ["mild", "night = \"9 °C ± 3 K\"\nday = \"19 °C ± 5 K\"\ndew_point = \"6 °C ± 3 K\""],
    ["warm", "night = \"19 °C ± 3 K\"\nday = \"30 °C ± 4 K\"\nwind = \"3 m/s\""],
];
const PACKS: [[&str; 2]; 6] = [
    ["typical LFP", "chemistry = \"LFP\"\nrated = \"CAPACITY Ah\""],
    ["typical NMC", "chemistry = \"NMC\"\nrated = \"CAPACITY Ah\""],
    ["typical AGM", "chemistry = \"AGM\"\nrated = \"CAPACITY Ah\""],
    ["typical flooded", "chemistry = \"flooded\"\nrated = \"CAPACITY Ah\"\nstart = \"95 %\""],
    [
        "plain circuit",
        "[pack.circuit]\ncapacity = \"CAPACITY Ah ± 6 %\"\nr0 = \"R0 mohm ± 40 %\"\n\
         r1 = \"R1 mohm\"\nc1 = \"3000 F\"\n\
         ocv = [[0, 10.5], [0.05, 12.3], [0.1, 12.8], [0.5, 13.1], [0.9, 13.3], [1, 13.6]]",
    ],
    [
        "circuit with wells",
        "start = \"90 %\"\n[pack.circuit]\ncapacity = \"CAPACITY Ah ± 9 %\"\n\
         r0 = \"R0 mohm ± 25 %\"\nr1 = \"R1 mohm\"\nc1 = \"3000 F\"\ncharge_efficiency = \"96 %\"\n\
         charge_resistance = \"2 mohm\"\nwells = { at_hand = \"45 %\", rate_per_s = 0.0002 }\n\
         warmth = { resistance_k = 1500, capacity_per_k = 0.006 }\n\
         ocv = [[0, 10.5], [0.03, 11.4], [0.08, 11.8], [1, 12.8]]",
    ],
];
const MEASURED: [&str; 3] = ["LFP by one record", "LFP by three records", "flooded by two records"];
const HOUSINGS: [[&str; 2]; 4] = [
    ["as the air", ""],
    ["in the open", "mass = \"6 kg\""],
    ["in foam", "mass = \"6 kg\"\nfoam = \"30 mm\""],
    [
        "heated",
        "mass = \"6 kg\"\nfoam = \"20 mm\"\n\
     heater = { power = \"6 W\", on_below = \"2 °C\", off_above = \"6 °C\" }",
    ],
];
const RIGS: [[&str; 2]; 6] = [
    [
        "two devices",
        "[rig.devices.mount]\npower = \"14 W ± 20 %\"\nleast_voltage = \"11.2 V\"\nwhen = \"night\"\n\
         [rig.devices.camera]\npower = \"20 W\"\nleast_voltage = \"11 V\"\nwhen = \"dusk to dawn\"",
    ],
    [
        "cables and peaks",
        "[rig.branches.hub]\ncable = { length = \"1.5 m\", section = \"12 AWG\" }\n\
         [rig.devices.mount]\nfeed = \"hub\"\npower = \"9 W ± 2 W\"\n\
         peak = { power = \"30 W\", share = \"1 %\" }\nleast_voltage = \"11 V\"\n\
         cable = { length = \"2.5 m\", section = \"16 AWG\" }\nwhen = \"night\"\n\
         [rig.devices.camera]\nfeed = \"hub\"\nleast_voltage = \"10.8 V\"\n\
         cable = { length = \"3 m\", section = \"1.0 mm²\" }\n\
         uses.idle = { power = \"3 W ± 1 W\", when = \"night\" }\n\
         uses.busy = { power = \"14 W ± 2 W\", when = \"1 h after sunset to 2 h before sunrise\" }\n\
         [rig.devices.lamp]\ncurrent = \"0.4 A ± 0.1 A\"\nleast_voltage = \"10.8 V\"\n\
         when = \"dusk to dawn at 50 %\"",
    ],
    [
        "dew",
        "[rig.devices.mount]\npower = \"9 W ± 2 W\"\nleast_voltage = \"11 V\"\nwhen = \"night\"\n\
         [rig.devices.strip]\nresistance = \"7 ohm ± 5 %\"\nleast_voltage = \"10 V\"\n\
         dew = { aperture = \"250 mm\", margin = \"3 K\" }\n\
         cable = { length = \"2 m\", section = \"18 AWG\" }\nwhen = \"night\"",
    ],
    [
        "converters",
        "[rig.branches.\"19 V\"]\ncable = { length = \"1.5 m\", section = \"10 AWG\" }\n\
         converter = { output = \"19 V\", idle = \"0.6 W\", rated = \"90 W\", efficiency = \"92 %\", least_input = \"10.8 V\" }\n\
         [rig.branches.usb]\n\
         converter = { output = \"5 V\", idle = \"0.1 W\", loss_share = \"8 %\", loss_per_w = 0.002, least_input = \"9 V\" }\n\
         [rig.devices.laptop]\nfeed = \"19 V\"\npower = \"16 W ± 5 W\"\nwhen = \"sunset to sunrise\"\n\
         [rig.devices.phone]\nfeed = \"usb\"\ncharging = { energy = \"15 Wh\", power = \"10 W ± 2 W\" }\n\
         [rig.devices.mount]\npower = \"9 W\"\nleast_voltage = \"11 V\"\nwhen = \"night\"",
    ],
    [
        "waits for a clear sky",
        "[rig.devices.camera]\ncooling = { set = \"-10 °C\", greatest_difference = \"35 K\", greatest_power = \"24 W ± 3 W\", steady = \"4 W\" }\n\
         least_voltage = \"11 V\"\nwhen = \"night\"\nonly_when_clear = true\n\
         [rig.devices.mount]\npower = \"7 W ± 2 W\"\nleast_voltage = \"11 V\"\nwhen = \"night\"\n\
         [rig.devices.strip]\nresistance = \"12 ohm\"\nleast_voltage = \"10 V\"\n\
         dew = { aperture = \"150 mm\", sky_view = \"30 %\" }\nwhen = \"night\"",
    ],
    [
        "one device",
        "[rig.devices.radio]\ncurrent = \"1.6 A ± 0.3 A\"\nleast_voltage = \"11.5 V\"\nwhen = \"always\"",
    ],
];
/// Weather and sources; `SOUTH` is towards the noon sun.
const SOURCES: [[&str; 2]; 9] = [
    ["no source", "[weather]\nsun = \"60 % ± 40 %\""],
    [
        "MPPT under a share",
        "[weather]\nsun = \"65 % ± 40 %\"\n[sources.panel]\npanel = \"80 W\"\ntilt = \"45°\"\n\
         azimuth = \"SOUTH\"\ncontroller = { kind = \"MPPT\", most_current = \"10 A\", absorb = \"14.4 V\" }",
    ],
    [
        "PWM under a lasting share",
        "[weather]\nsun = \"50 % ± 45 %\"\npersistence = \"70 %\"\n[sources.panel]\npanel = \"100 W\"\n\
         flat = true\ncontroller = { kind = \"PWM\", absorb = \"14.4 V\", float = \"13.6 V\", own_draw = \"0.3 W\" }",
    ],
    [
        "MPPT by clearness",
        "[weather]\nclearness = \"36 %\"\n[sources.panel]\npanel = \"120 W\"\ntilt = \"60° ± 10°\"\n\
         azimuth = \"SOUTH ± 25°\"\ndirt = \"3 %\"\n\
         controller = { kind = \"MPPT\", most_current = \"5 A\", absorb = \"14.4 V\" }",
    ],
    [
        "two panels by a spread clearness",
        "[weather]\nclearness = \"40 % ± 22 %\"\npersistence = \"60 %\"\n[sources.one]\npanel = \"50 W\"\n\
         tilt = \"50°\"\nazimuth = \"100°\"\ncontroller = { kind = \"MPPT\", absorb = \"14.4 V\" }\n\
         [sources.two]\npanel = \"50 W\"\ntilt = \"50°\"\nazimuth = \"260°\"\n\
         controller = { kind = \"PWM\", absorb = \"14.4 V\" }",
    ],
    [
        "charger",
        "[sources.engine]\ncharger = \"8 A\"\nabsorb = \"14.4 V\"\nfloat = \"13.6 V\"\nwhen = \"10:00 to 12:30\"",
    ],
    [
        "charger and panel that wait",
        "[weather]\nsun = \"60 % ± 40 %\"\n[sources.engine]\ncharger = \"6 A\"\nabsorb = \"14.4 V\"\n\
         when = \"09:00 to 11:00\"\ncharges_above = \"3 °C\"\n[sources.panel]\npanel = \"60 W\"\n\
         turned_every = \"2 h\"\ncharges_above = \"1 °C\"\n\
         controller = { kind = \"MPPT\", absorb = \"14.4 V\" }",
    ],
    [
        "days of a file",
        "[weather]\nfile = \"tmy3-723170-greensboro-jan-jul.csv\"\n[sources.panel]\npanel = \"100 W\"\n\
         tilt = \"40°\"\nazimuth = \"SOUTH\"\ncontroller = { kind = \"MPPT\", absorb = \"14.4 V\" }",
    ],
    [
        "turned by hand under peak sun hours",
        "[weather]\npeak_sun_hours = \"1.4 h\"\n[sources.panel]\npanel = \"100 W\"\n\
         aims = [{ from = \"06:00\", tilt = \"60°\", azimuth = \"120°\" }, { from = \"13:00\", tilt = \"60°\", azimuth = \"240°\" }]\n\
         controller = { kind = \"MPPT\", absorb = \"14.4 V\" }",
    ],
];

/// Where the weather file lies.
const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/measured");

/// How sure a plan's last night is to be made: mostly about nine in ten.
const WANTED: [f64; 8] = [0.9, 0.88, 0.92, 0.78, 0.9, 0.62, 0.91, 0.97];
const NIGHTS: [&str; 4] = ["one night", "two nights", "three nights", "four nights"];

/// Which of so many parts a plan gets: dealt from a shuffled pile, so that each comes as often as
/// any other and meets them all.
fn deal(number: usize, count: usize, pile: u64) -> usize {
    let mut dice = Dice::new(1000 * pile + (number / count) as u64);
    let mut cards: Vec<usize> = (0..count).collect();
    for left in (1..count).rev() {
        cards.swap(left, dice.below(left + 1));
    }
    cards[number % count]
}

/// Plan number `number`.
pub(super) fn shape(number: usize) -> Shape {
    let [air, air_text] = AIRS[deal(number, AIRS.len(), 1)];
    let [rig, rig_text] = RIGS[deal(number, RIGS.len(), 2)];
    let [source, source_text] = SOURCES[deal(number, SOURCES.len(), 3)];
    let [housing, housing_text] = HOUSINGS[deal(number, HOUSINGS.len(), 4)];
    let (pack, found) = match deal(number, PACKS.len() + MEASURED.len(), 5) {
        at if at < PACKS.len() => (PACKS[at][0], Source::Table(PACKS[at][1])),
        at => (MEASURED[at - PACKS.len()], Source::Measured(measured(at - PACKS.len()))),
    };
    let by_clearness = source_text.contains("clearness") || source_text.contains("peak_sun");
    let sites = if by_clearness { SUNNY } else { SITES.len() };
    let [site, latitude, longitude, more] = SITES[deal(number, sites, 6)];
    // the file has but two months
    let dates = if source_text.contains("file") { 2 } else { DATES.len() };
    let date = DATES[deal(number, dates, 7)];
    // what a source brings shows in the second night
    let nights = if source == "no source" { 1 } else { 2 } + deal(number, 3, 8);
    let noon_sun = if latitude.contains('S') { "0°" } else { "180°" };
    let source_text = source_text.replace("SOUTH", noon_sun);
    let text = format!(
        "format = 1\n[site]\nlatitude = \"{latitude}\"\nlongitude = \"{longitude}\"\n{more}\n\
         [air]\n{air_text}\n[trip]\nfirst_evening = \"{date}\"\nnights = {nights}\n\
         [pack]\n{housing_text}\nPACK\n{rig_text}\n{source_text}\n"
    );
    let clearness = source_text.contains("clearness = \"40 % ± 22 %\"");
    Shape {
        kinds: vec![site, air, pack, housing, rig, source, NIGHTS[nights - 1]],
        clearness: clearness.then_some(0.22 / plan::COVERAGE_95),
        wanted: WANTED[deal(number, WANTED.len(), 9)],
        parts: Parts { text, pack: found },
    }
}

impl Shape {
    /// The plan with a pack of so much capacity.
    pub(super) fn plan(&self, capacity_ah: f64) -> Plan {
        let table = match self.parts.pack {
            Source::Table(table) => table,
            Source::Measured(_) => PACKS[0][1],
        };
        let table = table
            .replace("CAPACITY", &format!("{capacity_ah:.3}"))
            .replace("R0", &format!("{:.4}", 1600.0 / capacity_ah))
            .replace("R1", &format!("{:.4}", 800.0 / capacity_ah));
        // keys of [pack] come before its tables
        let text = self.parts.text.replace("PACK", &table);
        let mut plan = Plan::parse("plan.toml", Path::new(FOLDER), &text)
            .unwrap_or_else(|error| panic!("{error}\n{text}"));
        if let Source::Measured(pack) = self.parts.pack {
            let pack = resized(pack, capacity_ah / pack.circuit.capacity_ah);
            plan.battery.one = pack.clone();
            plan.battery.pack = pack;
        }
        plan
    }
}

/// A pack so many times as large, the same in all else.
fn resized(pack: &Pack, times: f64) -> Pack {
    let circuit = |circuit: &Circuit| Circuit {
        capacity_ah: times * circuit.capacity_ah,
        r0_ohm: circuit.r0_ohm / times,
        r1_ohm: circuit.r1_ohm / times,
        c1_f: times * circuit.c1_f,
        charge_ohm: circuit.charge_ohm / times,
        ..circuit.clone()
    };
    let current = |current_a: Option<f64>| current_a.map(|current_a| times * current_a);
    let Pack { limits, spread, .. } = pack;
    Pack {
        circuit: circuit(&pack.circuit),
        variants: pack.variants.iter().map(circuit).collect(),
        rated_ah: times * pack.rated_ah,
        idle_a: times * pack.idle_a,
        limits: Limits {
            discharge_a: current(limits.discharge_a),
            charge_a: current(limits.charge_a),
            ..*limits
        },
        spread: Spread {
            up_to_a: current(spread.up_to_a),
            from_a: current(spread.from_a),
            ..*spread
        },
        ..pack.clone()
    }
}

/// Packs as records prove them; fitted once.
fn measured(which: usize) -> &'static Pack {
    static PACKS: [OnceLock<Pack>; 3] = [const { OnceLock::new() }; 3];
    PACKS[which].get_or_init(|| {
        let lfp =
            ["truth/pack-a-discharge-c20", "truth/pack-a-discharge-c5", "truth/pack-a-pulses"];
        let lead = ["truth/pack-b-discharge-c20", "truth/pack-b-discharge-c5"];
        match which {
            0 => {
                let record = record("truth/pack-a-discharge-c10");
                Pack::from_discharge("one", Some(Chemistry::Lfp), Some(40.0), &record).unwrap()
            }
            1 => fitted(Chemistry::Lfp, 40.0, &lfp),
            _ => fitted(Chemistry::Flooded, 17.0, &lead),
        }
    })
}
