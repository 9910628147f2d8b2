//! What a device does once it has seen too low a voltage, and what goes down with it.

use std::fmt::{Display, Formatter};
use std::str::FromStr;

use quantity::Kind;

use crate::tree::{End, Island};
use crate::{Rig, Solution};

/// What a device does after a brownout.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum AfterBrownout {
    /// It stays off until someone switches it on again.
    #[default]
    StaysOff,
    /// It comes on by itself once its voltage is back.
    Restarts {
        /// The voltage (V) at the device, drawing nothing, at which it does; none for
        /// [`RESTART_ABOVE_V`] above its least.
        at_v: Option<f64>,
        /// How long (s) it is off at least.
        after_s: f64,
    },
}

/// So far above its least voltage a device starts again where nothing is said, and a converter
/// above its least input (V; common practice, no source).
pub const RESTART_ABOVE_V: f64 = 0.5;

/// So long a device is off at least where nothing is said (s; common practice, no source).
pub const RESTART_AFTER_S: f64 = 60.0;

/// Why a text does not say what a device does after a brownout.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "{read:?} is nothing a device does after a brownout{problem}; write \"stays off\", \"restarts\", \"restarts at 12.2 V\" or \"restarts at 12.2 V after 2 min\""
)]
pub struct AfterBrownoutError {
    /// What could not be read.
    pub read: String,
    /// What is wrong with it, after a colon.
    pub problem: String,
}

impl FromStr for AfterBrownout {
    type Err = AfterBrownoutError;

    fn from_str(text: &str) -> Result<Self, AfterBrownoutError> {
        let wrong = |problem: String| AfterBrownoutError { read: text.trim().to_owned(), problem };
        let read =
            |kind: Kind, value: &str| kind.read(value).map_err(|error| wrong(format!(": {error}")));
        let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
        if words.eq_ignore_ascii_case("stays off") {
            return Ok(Self::StaysOff);
        }
        let start = words.get(..8).filter(|start| start.eq_ignore_ascii_case("restarts"));
        let mut rest = start.and_then(|_| words.get(8..)).ok_or_else(|| wrong(String::new()))?;
        let mut after_s = RESTART_AFTER_S;
        if let Some((before, after)) = rest.split_once(" after ") {
            after_s = read(Kind::Duration, after)?;
            rest = before;
        }
        let at_v = match rest.strip_prefix(" at ") {
            Some(at) => Some(read(Kind::Voltage, at)?),
            None if rest.is_empty() => None,
            None => return Err(wrong(String::new())),
        };
        if !(0.0..f64::INFINITY).contains(&after_s) {
            return Err(wrong(": it can't be off for less than no time".to_owned()));
        }
        Ok(Self::Restarts { at_v, after_s })
    }
}

impl Display for AfterBrownout {
    fn fmt(&self, f: &mut Formatter<'_>) -> std::fmt::Result {
        let Self::Restarts { at_v, after_s } = self else { return f.write_str("stays off") };
        f.write_str("restarts")?;
        if let Some(at_v) = at_v {
            write!(f, " at {}", Kind::Voltage.show(*at_v))?;
        }
        write!(f, " after {}", Kind::Duration.show(*after_s))
    }
}

impl Rig {
    /// The branch whose converter feeds a device from the pack; none where no converter stands
    /// between them.
    fn gate(&self, device: usize) -> Option<usize> {
        let feeds = |end: End| {
            let has = |island: &Island| island.leaves.iter().any(|leaf| leaf.end == end);
            self.islands.iter().position(has).unwrap_or(0)
        };
        let mut island = feeds(End::Device(device));
        let mut gate = None;
        while island > 0 {
            gate = self.islands.get(island)?.branch;
            island = feeds(End::Island(island));
        }
        gate
    }

    /// The devices that lose their power when the converter before this one drops out, itself
    /// among them; only itself if the pack feeds it directly.
    #[must_use]
    pub fn fall_with(&self, device: usize) -> Vec<usize> {
        match self.gate(device) {
            None => vec![device],
            gate => (0..self.devices().len()).filter(|other| self.gate(*other) == gate).collect(),
        }
    }

    /// The voltage (V) at which a device starts again by itself: where it is, or behind a converter
    /// at the converter's input. None if it stays off.
    #[must_use]
    pub fn restart_v(&self, device: usize) -> Option<f64> {
        let found = self.devices().get(device)?;
        let AfterBrownout::Restarts { at_v, .. } = found.after_brownout else { return None };
        let converter = self.gate(device).and_then(|gate| self.branches().get(gate)?.converter);
        Some(match converter {
            Some(converter) => converter.least_input_v + RESTART_ABOVE_V,
            None => at_v.unwrap_or(found.least_voltage_v.unwrap_or_default() + RESTART_ABOVE_V),
        })
    }

    /// The voltage (V) that [`Rig::restart_v`] is held against.
    #[must_use]
    pub fn start_v(&self, device: usize, seen: &Solution) -> f64 {
        match self.gate(device) {
            Some(gate) => seen.branches.get(gate).map_or(0.0, |branch| branch.to_v),
            None => seen.devices.get(device).map_or(0.0, |device| device.voltage_v),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::When;
    use crate::{Branch, Converter, Device, Load, RigError, Wire};

    #[test]
    fn words_say_what_it_does() {
        let restarts = |at_v, after_s| AfterBrownout::Restarts { at_v, after_s };
        for (text, expected, shown) in [
            ("stays off", AfterBrownout::StaysOff, "stays off"),
            ("Restarts", restarts(None, 60.0), "restarts after 1 min"),
            ("restarts at 12.2 V", restarts(Some(12.2), 60.0), "restarts at 12.2 V after 1 min"),
            ("restarts  after 0 s", restarts(None, 0.0), "restarts after 0 s"),
            (
                "restarts at 11,9 V after 2 min",
                restarts(Some(11.9), 120.0),
                "restarts at 11.9 V after 2 min",
            ),
        ] {
            let read: AfterBrownout = text.parse().unwrap();
            assert_eq!(read, expected, "{text}");
            assert_eq!(read.to_string(), shown);
            assert_eq!(shown.parse::<AfterBrownout>().unwrap(), expected);
        }
        for (text, about) in [
            ("", "stays off"),
            ("restart", "restarts at"),
            ("restarts 12 V", "restarts at"),
            ("restarts at 12 W", "V"),
            ("restarts after -1 min", "-1 min"),
            ("restartsé", "restarts"),
        ] {
            let error = text.parse::<AfterBrownout>().unwrap_err().to_string();
            assert!(error.contains(about), "{error}");
        }
    }

    fn device(name: &str, feed: Option<&str>, text: &str) -> Device {
        let mut device = Device::new(name, Load::Power(12.0), When::always());
        device.feed = feed.map(str::to_owned);
        device.least_voltage_v = Some(if feed.is_some() { 4.5 } else { 11.4 });
        device.after_brownout = text.parse().unwrap();
        device
    }

    fn branch(name: &str, feed: Option<&str>, output_v: f64, least_input_v: f64) -> Branch {
        let mut converter = Converter::rated(output_v, 0.1, 60.0, 0.9);
        converter.least_input_v = least_input_v;
        let (name, feed) = (name.to_owned(), feed.map(str::to_owned));
        Branch { name, feed, wire: Wire::resistance(0.1), converter: Some(converter) }
    }

    /// A converter before another, a device on each, and two at the pack.
    fn rig() -> Rig {
        let branches =
            vec![branch("19 V", None, 19.0, 10.5), branch("5 V", Some("19 V"), 5.0, 7.0)];
        let devices = vec![
            device("a", None, "restarts"),
            device("b", Some("19 V"), "restarts"),
            device("c", Some("5 V"), "restarts"),
            device("d", None, "restarts at 12.4 V"),
            device("e", Some("5 V"), "stays off"),
        ];
        Rig::new(branches, devices).unwrap()
    }

    #[test]
    fn what_hangs_on_one_converter_falls_together() {
        let rig = rig();
        assert_eq!(rig.fall_with(0), [0]);
        assert_eq!(rig.fall_with(1), [1, 2, 4]);
        assert_eq!(rig.fall_with(4), [1, 2, 4]);
    }

    #[test]
    fn a_device_starts_by_its_own_voltage_or_its_converters_input() {
        let rig = rig();
        let found: Vec<Option<f64>> = (0..5).map(|device| rig.restart_v(device)).collect();
        assert_eq!(found, [Some(11.9), Some(11.0), Some(11.0), Some(12.4), None]);
        let off = vec![Load::OFF; 5];
        let mut loads = off.clone();
        loads[1] = Load::Power(20.0);
        let seen = rig.solve(12.0, &loads).unwrap();
        assert_eq!(rig.start_v(0, &seen), 12.0);
        // the other device's current drops its part in the wire to the converter
        let input_v = rig.start_v(2, &seen);
        assert!((11.7..11.85).contains(&input_v), "{input_v}");
        assert!(rig.start_v(2, &rig.solve(12.0, &off).unwrap()) > 11.99);
    }

    #[test]
    fn a_restart_below_what_it_needs_is_refused() {
        let refuse = |device: Device| Rig::new(vec![branch("5 V", None, 5.0, 7.0)], vec![device]);
        let low = refuse(device("a", None, "restarts at 11.3 V")).unwrap_err();
        assert!(matches!(low, RigError::RestartTooLow { .. }), "{low}");
        let behind = refuse(device("b", Some("5 V"), "restarts at 5 V")).unwrap_err();
        assert!(matches!(behind, RigError::RestartBehind { .. }), "{behind}");
        assert!(behind.to_string().contains("\"5 V\""), "{behind}");
    }
}
