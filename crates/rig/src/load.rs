//! What a load takes from the voltage it sees.

use quantity::Kind;

/// A load.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Load {
    /// Takes this power (W) whatever the voltage: anything with a switching regulator inside.
    Power(f64),
    /// Takes this current (A) whatever the voltage: LEDs, motors at constant torque.
    Current(f64),
    /// A resistance (Ω): heaters without electronics.
    Resistance(f64),
}

impl Load {
    /// Takes nothing.
    pub const OFF: Load = Load::Power(0.0);

    /// Power taken (W) at a voltage.
    #[must_use]
    pub fn power_w(self, voltage_v: f64) -> f64 {
        match self {
            Load::Power(w) => w,
            Load::Current(a) => a * voltage_v,
            Load::Resistance(ohm) => voltage_v * voltage_v / ohm,
        }
    }

    /// Current taken (A) at a voltage.
    #[must_use]
    pub fn current_a(self, voltage_v: f64) -> f64 {
        match self {
            Load::Power(0.0) => 0.0,
            Load::Power(w) => w / voltage_v,
            Load::Current(a) => a,
            Load::Resistance(ohm) => voltage_v / ohm,
        }
    }

    /// The same kind of load taking `factor` times as much at any voltage.
    #[must_use]
    pub fn times(self, factor: f64) -> Load {
        match self {
            Load::Power(w) => Load::Power(w * factor),
            Load::Current(a) => Load::Current(a * factor),
            Load::Resistance(_) if factor == 0.0 => Load::OFF,
            Load::Resistance(ohm) => Load::Resistance(ohm / factor),
        }
    }

    /// Whether it takes nothing.
    #[must_use]
    pub fn is_off(self) -> bool {
        matches!(self, Load::Power(x) | Load::Current(x) if x == 0.0)
    }

    /// The mean of this load and another of the same kind that is there for `share` of the time;
    /// none if they are of different kinds.
    #[must_use]
    pub fn blend(self, other: Load, share: f64) -> Option<Load> {
        let mean = |a: f64, b: f64| a + share * (b - a);
        match (self, other) {
            (Load::Power(a), Load::Power(b)) => Some(Load::Power(mean(a, b))),
            (Load::Current(a), Load::Current(b)) => Some(Load::Current(mean(a, b))),
            (Load::Resistance(a), Load::Resistance(b)) => {
                Some(Load::Resistance(1.0 / mean(1.0 / a, 1.0 / b)))
            }
            _ => None,
        }
    }

    /// Whether its number can be: power and current not negative, resistance above zero.
    pub(crate) fn is_possible(self) -> bool {
        match self {
            Load::Power(x) | Load::Current(x) => x.is_finite() && x >= 0.0,
            Load::Resistance(ohm) => ohm.is_finite() && ohm > 0.0,
        }
    }
}

impl std::fmt::Display for Load {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let (kind, value) = match *self {
            Load::Power(w) => (Kind::Power, w),
            Load::Current(a) => (Kind::Current, a),
            Load::Resistance(ohm) => (Kind::Resistance, ohm),
        };
        f.write_str(&kind.show(value))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn loads_at_a_voltage() {
        for (load, w, a) in [
            (Load::Power(24.0), 24.0, 2.0),
            (Load::Current(2.0), 24.0, 2.0),
            (Load::Resistance(6.0), 24.0, 2.0),
            (Load::OFF, 0.0, 0.0),
        ] {
            assert_eq!((load.power_w(12.0), load.current_a(12.0)), (w, a), "{load:?}");
            assert_eq!(load.times(0.5).power_w(12.0), w / 2.0, "{load:?}");
            assert!(load.times(0.0).is_off(), "{load:?}");
        }
    }

    #[test]
    fn means_keep_the_power() {
        for (steady, peak) in [
            (Load::Power(6.0), Load::Power(18.0)),
            (Load::Current(0.5), Load::Current(1.5)),
            (Load::Resistance(24.0), Load::Resistance(8.0)),
        ] {
            let mean = steady.blend(peak, 0.25).unwrap();
            assert!((mean.power_w(12.0) - 9.0).abs() < 1e-12, "{mean:?}");
        }
        assert_eq!(Load::Power(1.0).blend(Load::Current(1.0), 0.5), None);
    }
}
