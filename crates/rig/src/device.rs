//! Devices: what they draw, when, and what voltage they need.

use crate::schedule::{Edge, Span, When};
use crate::weather::{Conditions, Follows};
use crate::{AfterBrownout, Load, RigError, Wire};

/// A fuse.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fuse {
    /// Rated current (A).
    pub rated_a: f64,
    /// How far along the wire it sits (m), from the end nearer the pack.
    pub distance_m: f64,
}

/// Something on top of a use now and then: a slew, the inrush at start.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Peak {
    /// The load while it lasts, in place of the steady one; of the same kind.
    pub load: Load,
    /// Share of the time it is there (0..1).
    pub share: f64,
}

/// One way a device is used, and when.
#[derive(Debug, Clone, PartialEq)]
pub struct Use {
    /// "idle", "exposing", …; empty if the device has only one.
    pub name: String,
    /// What it draws while it works (the duty cycle is in `when`); its rating, if it follows the
    /// weather.
    pub load: Load,
    /// When, and for what share of that time.
    pub when: When,
    /// Peaks on top.
    pub peak: Option<Peak>,
    /// What sets its power within the rating, if it follows the weather.
    pub follows: Option<Follows>,
}

/// The voltage at which a rating is taken where only its size matters.
pub(crate) const NOMINAL_V: f64 = 12.0;

impl Use {
    /// A use without name and peaks.
    #[must_use]
    pub fn new(load: Load, when: When) -> Use {
        Use { name: String::new(), load, when, peak: None, follows: None }
    }

    /// Charging a battery of its own (a laptop, a phone) that takes `energy_wh` at `charger_w`, from
    /// a given moment until it is full.
    #[must_use]
    pub fn charging(energy_wh: f64, charger_w: f64, from: Edge) -> Use {
        let lasting_s = 3600.0 * energy_wh / charger_w;
        let when = When::of(vec![Span::For(from, lasting_s)], 1.0);
        Use { name: "charging".to_owned(), ..Use::new(Load::Power(charger_w), when) }
    }

    /// Mean load while the use is on: peaks and duty cycle evened out. Right for energy. What
    /// follows the weather counts with its rating; [`Use::mean_in`] knows better.
    #[must_use]
    pub fn mean(&self) -> Load {
        let steady = match self.peak {
            Some(peak) => self.load.blend(peak.load, peak.share).unwrap_or(self.load),
            None => self.load,
        };
        steady.times(self.when.duty)
    }

    /// As [`Use::mean`], in given conditions.
    #[must_use]
    pub fn mean_in(&self, conditions: &Conditions) -> Load {
        match self.follows.filter(Follows::sets_power) {
            // a controller gives the power that is needed, whatever the voltage
            Some(follows) => {
                let most_w = self.load.power_w(NOMINAL_V);
                Load::Power(follows.power_w(conditions).min(most_w)).times(self.when.duty)
            }
            None => self.mean(),
        }
    }

    /// The greatest load while the use is on. Right for voltages and fuses.
    #[must_use]
    pub fn greatest(&self) -> Load {
        match self.peak {
            Some(peak) if peak.load.power_w(NOMINAL_V) > self.load.power_w(NOMINAL_V) => peak.load,
            _ => self.load,
        }
    }
}

/// One device.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// Its name in the plan.
    pub name: String,
    /// Its uses. Where several are on at once, the last in the list counts: "idle, always" first,
    /// then "exposing, dark".
    pub uses: Vec<Use>,
    /// Least voltage (V) at which it works; none if it doesn't mind.
    pub least_voltage_v: Option<f64>,
    /// What it does once it has seen less than that.
    pub after_brownout: AfterBrownout,
    /// What to switch off first when it gets tight: the smallest number. None: never.
    pub shed_order: Option<u32>,
    /// Branch it hangs on; none for the pack's terminals.
    pub feed: Option<String>,
    /// Its own wire from there.
    pub wire: Wire,
}

impl Device {
    /// A device with one use, straight at the pack's terminals.
    #[must_use]
    pub fn new(name: impl Into<String>, load: Load, when: When) -> Device {
        Device {
            name: name.into(),
            uses: vec![Use::new(load, when)],
            least_voltage_v: None,
            after_brownout: AfterBrownout::StaysOff,
            shed_order: None,
            feed: None,
            wire: Wire::default(),
        }
    }

    pub(crate) fn check(&self) -> Result<(), RigError> {
        let name = || self.name.clone();
        self.wire.check(&self.name)?;
        if let Some(least_v) = self.least_voltage_v
            && !(least_v >= 0.0 && least_v.is_finite())
        {
            return Err(RigError::LeastVoltage { name: name(), least_v });
        }
        if let AfterBrownout::Restarts { at_v: Some(at_v), .. } = self.after_brownout
            && let Some(least_v) = self.least_voltage_v.filter(|least_v| at_v < *least_v)
        {
            return Err(RigError::RestartTooLow { name: name(), at_v, least_v });
        }
        if self.uses.is_empty() {
            return Err(RigError::NoUse { name: name() });
        }
        for used in &self.uses {
            if !used.load.is_possible() {
                return Err(RigError::Load { name: name(), load: used.load });
            }
            if let Some(problem) = used.follows.and_then(|follows| follows.problem()) {
                return Err(RigError::Follows { name: name(), problem });
            }
            let Some(peak) = used.peak else { continue };
            if !peak.load.is_possible() {
                return Err(RigError::Load { name: name(), load: peak.load });
            }
            if !(0.0..=1.0).contains(&peak.share) {
                return Err(RigError::PeakShare { name: name(), share: peak.share });
            }
            if used.load.blend(peak.load, 0.0).is_none() {
                return Err(RigError::PeakKind { name: name() });
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::schedule::Event;

    #[test]
    fn a_battery_of_its_own_is_charged_until_full() {
        let charging = Use::charging(50.0, 40.0, Edge::Sky(Event::Sunset, 0.0));
        assert_eq!(charging.when.to_string(), "from sunset for 1 h 15 min");
        assert_eq!(charging.mean(), Load::Power(40.0));
    }
}
