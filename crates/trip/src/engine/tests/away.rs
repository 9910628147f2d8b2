//! What comes back on in a trip: devices after a brownout, protections that have opened.

use ::pack::Limits;
use rig::{Branch, Converter, Device, Load, Rig, Wire, schedule::When};

use super::super::{Cause, Cell, Keep, Outcome, run};
use super::{circuit, draw};
use crate::Ledger;
use crate::answer::MOST_RESTARTS;
use crate::draws::Draw;
use crate::ledger;
use crate::loads::Loads;
use crate::timeline::{Block, Held, Set, Step, Timeline};
use crate::trace::Trace;

/// A night of ten hours in which devices are on by the hour and a source may come.
struct Night {
    rig: Rig,
    soc_start: f64,
    limits: Limits,
    /// Until when each device is on (h).
    until_h: Vec<f64>,
    /// From when on a source is there (h), and what it gives (A or W).
    source: Option<(f64, Gives)>,
    sunrise_h: f64,
}

#[derive(Clone, Copy)]
enum Gives {
    Charger(f64),
    Panel(f64),
}

fn device(name: &str, power_w: f64, least_v: f64, after: &str) -> Device {
    let mut device = Device::new(name, Load::Power(power_w), When::always());
    device.least_voltage_v = Some(least_v);
    device.after_brownout = after.parse().unwrap();
    device
}

fn fed_by(feed: &str, mut device: Device) -> Device {
    device.feed = Some(feed.to_owned());
    device
}

fn branch(name: &str, ohm: f64, converter: Option<Converter>) -> Branch {
    Branch { name: name.to_owned(), feed: None, wire: Wire::resistance(ohm), converter }
}

/// What became of it.
struct Told {
    outcome: Outcome,
    trace: Trace,
    ledger: Ledger,
}

impl Night {
    fn of(rig: Rig, soc_start: f64) -> Self {
        let until_h = vec![10.0; rig.devices().len()];
        let limits = Limits::default();
        Night { rig, soc_start, limits, until_h, source: None, sunrise_h: 100.0 }
    }

    fn timeline(&self) -> Timeline {
        const QUARTERS: usize = 40;
        let mut timeline = Timeline { nights: 1, ..Timeline::default() };
        for quarter in 0..QUARTERS {
            let hour = quarter as f64 / 4.0;
            let on = |until_h: &f64| (hour < *until_h).then_some(0);
            let set = Set { uses: self.until_h.iter().map(on).collect(), night: None, air: None };
            let known = timeline.sets.iter().position(|known| *known == set);
            let set = known.unwrap_or_else(|| {
                timeline.sets.push(set);
                timeline.sets.len() - 1
            });
            let gives = self.source.filter(|(from_h, _)| hour >= *from_h).map(|(_, gives)| gives);
            let first = timeline.steps.len();
            for minute in 0..15 {
                let step =
                    Step { at_s: 3600.0 * hour + 60.0 * f64::from(minute), ..Step::default() };
                timeline.steps.push(match gives {
                    None => step,
                    Some(Gives::Charger(charger_a)) => Step { charger_a, ..step },
                    Some(Gives::Panel(panel_w)) => Step { panel_w, panel_cap_a: 20.0, ..step },
                });
            }
            timeline.blocks.push(Block {
                steps: first..first + 15,
                dt_s: 60.0,
                set,
                night: 0,
                air_c: 10.0,
                supplied: gives.is_some(),
                hold_v: 14.4,
                float: None,
                no_charge_below_c: f64::NEG_INFINITY,
                most_charge_a: f64::INFINITY,
                dusk_of: None,
                dawn_of: None,
                restart: hour == self.sunrise_h,
                aims: Vec::new(),
            });
        }
        timeline
    }

    fn told(&self) -> Told {
        self.told_of(&self.timeline())
    }

    fn told_of(&self, timeline: &Timeline) -> Told {
        let circuit = circuit("thevenin.json");
        let cell = Cell {
            circuit: &circuit,
            limits: &self.limits,
            soc_start: self.soc_start,
            idle_a: 0.0,
            housing: None,
        };
        let mut loads = Loads::new((&self.rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
        let draw = draw(&circuit, self.rig.devices().len());
        let mut trace = Trace::default();
        let one = std::array::from_ref(&draw);
        let [outcome] = run(timeline, &cell, &mut loads, one, Keep::Steps(&mut trace));
        let uses = ledger::uses(&trace, &self.rig, &mut loads, &draw);
        let ledger = ledger::close(&trace, &uses, &cell);
        let moved = ledger.stored_start_wh + ledger.harvest_wh;
        assert!(ledger.imbalance_wh.abs() < 1e-9 * moved, "{ledger:?}");
        Told { outcome, trace, ledger }
    }

    /// Sixteen draws that differ give in lanes what each gives alone, to the last bit.
    fn check_lanes(&self) {
        let (circuit, timeline) = (circuit("thevenin.json"), self.timeline());
        let cell = Cell {
            circuit: &circuit,
            limits: &self.limits,
            soc_start: self.soc_start,
            idle_a: 0.0,
            housing: None,
        };
        let mut loads = Loads::new((&self.rig, &[]), &timeline.sets, 8.0, 15.0, 0.0);
        let draws: [Draw; 16] = std::array::from_fn(|lane| {
            let off = lane as f64 / 16.0 - 0.5;
            let mut one = draw(&circuit, self.rig.devices().len());
            one.pack = circuit.drawn(1.0 + 0.2 * off, 1.0 - 0.4 * off, 0.0);
            one.devices.iter_mut().for_each(|factor| *factor = 1.0 + 0.3 * off);
            one
        });
        let together = run(&timeline, &cell, &mut loads, &draws, Keep::Paths);
        for (draw, outcome) in draws.iter().zip(&together) {
            let [alone] =
                run(&timeline, &cell, &mut loads, std::array::from_ref(draw), Keep::Paths);
            assert!(format!("{alone:?}") == format!("{outcome:?}"), "{draw:?}");
        }
    }
}

impl Told {
    /// Whether a device is off in the step at an hour.
    fn is_off(&self, device: usize, hour: f64) -> bool {
        let at = |moment: &&crate::trace::Moment| moment.at_s + moment.dt_s > 3600.0 * hour + 1e-6;
        self.trace.moments.iter().find(at).unwrap().off >> device & 1 != 0
    }

    /// When a device first went off (h).
    fn fell_h(&self, device: usize) -> f64 {
        let off = |moment: &&crate::trace::Moment| moment.off >> device & 1 != 0;
        self.trace.moments.iter().find(off).unwrap().at_s / 3600.0
    }

    fn restarts_h(&self, device: usize) -> Vec<f64> {
        let its = self.trace.restarts.iter().filter(|restart| restart.device == device);
        its.map(|restart| restart.at_s / 3600.0).collect()
    }
}

/// A heater pulls the hub they share down until the camera browns out; when the heater goes off at
/// half past, the camera has enough again.
fn beside_a_heater(after: &str) -> Night {
    let camera = fed_by("hub", device("camera", 10.0, 12.3, after));
    let heater = fed_by("hub", device("heater", 80.0, 8.0, "stays off"));
    let rig = Rig::new(vec![branch("hub", 0.05, None)], vec![camera, heater]).unwrap();
    let mut night = Night::of(rig, 0.3);
    (night.until_h, night.sunrise_h) = (vec![10.0, 0.5], 3.0);
    night
}

#[test]
fn a_device_that_stays_off_waits_for_sunrise() {
    let told = beside_a_heater("stays off").told();
    let stop = told.outcome.failures[0].unwrap();
    assert_eq!((stop.device, stop.cause), (Some(0), Cause::Brownout));
    assert!((0.1..0.5).contains(&told.fell_h(0)), "fell at {} h", told.fell_h(0));
    assert!(told.is_off(0, 0.6) && told.is_off(0, 2.9) && !told.is_off(0, 3.0));
    assert_eq!(told.trace.restarts, []);
}

#[test]
fn a_device_restarts_when_another_load_lets_its_voltage_rise() {
    let told = beside_a_heater("restarts").told();
    assert_eq!(told.restarts_h(0), [0.5]);
    assert!(told.is_off(0, 0.49) && !told.is_off(0, 0.5) && !told.is_off(0, 2.0));
    // it has failed all the same
    let stop = told.outcome.failures[0].unwrap();
    assert_eq!((stop.device, stop.at_s / 3600.0), (Some(0), told.fell_h(0)));
    // one that waits for more than there is stays off
    let told = beside_a_heater("restarts at 13.1 V").told();
    assert!(told.restarts_h(0).is_empty() && told.is_off(0, 2.9));
    // one that takes its time starts that much later
    let told = beside_a_heater("restarts after 40 min").told();
    let [back_h] = told.restarts_h(0)[..] else { panic!("{:?}", told.trace.restarts) };
    let rested_s = 3600.0 * (back_h - told.fell_h(0)) - 2400.0;
    assert!((0.0..60.0).contains(&rested_s), "{rested_s} s later than asked");
}

/// A long thin cable: without its load the device sees more than it restarts at, and with it less
/// than it needs.
fn hunting(at_v: f64) -> Night {
    let mut camera = device("camera", 60.0, 11.0, &format!("restarts at {at_v} V"));
    camera.wire = Wire::resistance(0.1);
    Night::of(Rig::new(Vec::new(), vec![camera]).unwrap(), 0.15)
}

#[test]
fn a_device_that_hunts_is_counted_and_the_ledger_closes() {
    let night = hunting(11.5);
    let told = night.told();
    let restarts = told.restarts_h(0);
    assert!((10..=MOST_RESTARTS).contains(&restarts.len()), "{} times", restarts.len());
    // each time it was off for a minute at least, and drew something or nothing in between
    assert!(restarts.windows(2).all(|pair| pair[1] - pair[0] > 1.0 / 60.0 - 1e-9), "{restarts:?}");
    assert!(restarts[0] - told.fell_h(0) > 1.0 / 60.0 - 1e-9);
    let stays = Night { rig: hunting(13.5).rig, ..hunting(11.5) }.told();
    assert!(stays.restarts_h(0).is_empty());
    assert!(told.ledger.loads_wh > stays.ledger.loads_wh + 1.0, "{:?}", told.ledger);
    // never less than it needs while it is on, but for the moment in which it goes
    for moment in told.trace.moments.iter().filter(|moment| moment.off == 0) {
        let device_v = moment.voltage_v - 0.1 * moment.current_a;
        assert!(device_v > 11.0 - 1e-3, "{device_v} V at {} s", moment.at_s);
    }
    night.check_lanes();
}

/// A cable so thin that nothing could ever run behind it: the end comes by counting.
#[test]
fn a_hopeless_device_is_given_up() {
    let mut night = hunting(11.5);
    let mut hopeless = night.rig.devices()[0].clone();
    hopeless.wire = Wire::resistance(5.0);
    night.rig = Rig::new(Vec::new(), vec![hopeless]).unwrap();
    night.soc_start = 1.0;
    let told = night.told();
    assert_eq!(told.restarts_h(0).len(), MOST_RESTARTS);
    assert_eq!(told.outcome.failures[0].unwrap().cause, Cause::Collapse);
    assert!(told.ledger.loads_wh < 1e-9, "{:?}", told.ledger);
}

/// A converter that drops out takes with it all that hangs on it; what restarts does when its input
/// has risen by a margin, what does not waits for sunrise.
#[test]
fn a_converter_drops_out_and_comes_back() {
    let mut converter = Converter::rated(19.0, 0.3, 90.0, 0.92);
    converter.least_input_v = 11.5;
    let devices = vec![
        fed_by("19 V", device("screen", 20.0, 17.0, "stays off")),
        fed_by("19 V", device("laptop", 30.0, 17.0, "restarts")),
        device("mount", 5.0, 8.0, "stays off"),
    ];
    let rig = Rig::new(vec![branch("19 V", 0.05, Some(converter))], devices).unwrap();
    let mut night = Night { source: Some((5.0, Gives::Charger(6.0))), ..Night::of(rig, 0.2) };
    night.sunrise_h = 8.0;
    let told = night.told();
    let stop = told.outcome.failures[0].unwrap();
    assert_eq!((stop.device, stop.cause), (Some(0), Cause::Brownout));
    assert!((0.5..4.0).contains(&told.fell_h(0)), "{} h", told.fell_h(0));
    assert_eq!(told.fell_h(0), told.fell_h(1), "both at the same moment");
    assert!(!told.is_off(2, 4.0), "what the pack feeds goes on");
    let [back_h] = told.restarts_h(1)[..] else { panic!("{:?}", told.trace.restarts) };
    assert!((5.0..6.0).contains(&back_h), "back at {back_h} h");
    assert!(told.is_off(0, 7.9) && !told.is_off(0, 8.0));
    // the input that it waited for: the pack's voltage less the wire's drop, which is next to nothing
    let before = told.trace.moments.iter().rfind(|moment| moment.at_s < 3600.0 * back_h).unwrap();
    assert!((11.99..12.1).contains(&before.voltage_v), "{} V", before.voltage_v);
    night.check_lanes();
}

/// An empty pack whose protection has opened is found by a source.
fn opened(gives: Gives) -> Night {
    let rig = Rig::new(Vec::new(), vec![device("radio", 60.0, 8.0, "stays off")]).unwrap();
    let limits = Limits { undervoltage_v: Some(11.0), release_v: Some(12.5), ..Limits::default() };
    Night { limits, source: Some((5.0, gives)), ..Night::of(rig, 0.2) }
}

#[test]
fn a_source_closes_an_opened_protection_within_a_minute() {
    for gives in [Gives::Charger(4.0), Gives::Panel(50.0)] {
        let told = opened(gives).told();
        assert_eq!(told.outcome.failures[0].unwrap().cause, Cause::Protection);
        let moments = &told.trace.moments;
        let opened = moments.iter().position(|moment| moment.off != 0).unwrap();
        let closed = opened + moments[opened..].iter().position(|moment| moment.off == 0).unwrap();
        let closed_h = moments[closed].at_s / 3600.0;
        assert!(moments[opened].at_s / 3600.0 < 2.0 && closed_h > 5.0, "closed at {closed_h} h");
        // the pack at rest at the end of a moment: the first at which it has enough
        let circuit = circuit("thevenin.json");
        let rest_v = |at: usize| circuit.ocv.at(moments[at].state.soc) - moments[at].state.v1_v;
        assert!(rest_v(closed - 1) >= 12.5 && rest_v(closed - 2) < 12.5, "at {closed_h} h");
        // not when its quarter of an hour begins
        assert!((closed_h * 4.0).fract() > 1e-6, "closed at {closed_h} h");
        assert!(told.ledger.loads_wh > 60.0);
    }
    opened(Gives::Panel(50.0)).check_lanes();
}

/// A night that begins as a source finds a pack that has rested high enough is not lost for what the
/// night before did to it.
#[test]
fn a_protection_closed_at_sunrise_does_not_cost_the_next_night() {
    let mut night = opened(Gives::Charger(40.0));
    night.limits.release_v = Some(11.2);
    let mut timeline = night.timeline();
    timeline.nights = 2;
    timeline.blocks.iter_mut().filter(|block| block.supplied).for_each(|block| block.night = 1);
    let told = night.told_of(&timeline);
    assert!(told.is_off(0, 4.99) && !told.is_off(0, 5.0));
    assert_eq!(told.outcome.failures[1], None);
}

#[test]
fn a_source_that_waits_for_a_warm_pack_closes_nothing() {
    let night = opened(Gives::Charger(4.0));
    let mut timeline = night.timeline();
    let dark = timeline.steps.iter().map(|step| Step { at_s: step.at_s, ..Step::default() });
    timeline.held = vec![Held { below_c: 12.0, steps: dark.collect() }];
    let told = night.told_of(&timeline);
    assert!(told.is_off(0, 9.9));
    timeline.held[0].below_c = 8.0;
    assert!(!night.told_of(&timeline).is_off(0, 9.9));
}

/// What opens although a source is there tries again a quarter of an hour later.
#[test]
fn too_much_current_is_tried_again_now_and_then() {
    let mut night = opened(Gives::Charger(4.0));
    night.limits = Limits { discharge_a: Some(3.0), ..Limits::default() };
    (night.soc_start, night.source) = (0.5, Some((0.0, Gives::Charger(1.0))));
    night.until_h = vec![2.0];
    let told = night.told();
    let ends = told.trace.moments.windows(2).filter(|pair| pair[0].off != 0 && pair[1].off == 0);
    // it never carries anything: every try ends where it begins, until the load is gone
    assert_eq!(ends.count(), 1);
    assert!(told.is_off(0, 1.99) && !told.is_off(0, 2.1));
    assert_eq!(told.ledger.loads_wh, 0.0);
}
