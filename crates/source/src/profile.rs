//! The stages of a charge: bulk, absorption, float.

/// How a charger or controller ends a charge. The maker's instructions for the battery decide;
/// the presets are usual values for 12 V batteries *(common practice, no source)*.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Profile {
    /// Voltage held in absorption.
    pub absorb_v: f64,
    /// How long absorption lasts at most.
    pub absorb_s: f64,
    /// Absorption ends when the battery takes no more than this.
    pub tail_a: f64,
    /// Voltage held afterwards.
    pub float_v: f64,
    /// A battery fallen below this is charged from the start again.
    pub rebulk_v: f64,
}

impl Profile {
    /// Lithium iron phosphate, four cells.
    pub const LFP: Self =
        Self { absorb_v: 14.2, absorb_s: 3600.0, tail_a: 2.0, float_v: 13.5, rebulk_v: 13.2 };
    /// Lead-acid with liquid acid.
    pub const FLOODED: Self =
        Self { absorb_v: 14.6, absorb_s: 4.0 * 3600.0, tail_a: 1.0, float_v: 13.5, rebulk_v: 12.8 };
    /// Lead-acid, acid held in a glass mat.
    pub const AGM: Self = Self { absorb_v: 14.4, ..Self::FLOODED };
    /// Lead-acid, acid held in gel.
    pub const GEL: Self = Self { absorb_v: 14.1, float_v: 13.7, ..Self::FLOODED };
}

/// Where a charge stands.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum Stage {
    /// All there is goes in until the absorption voltage is reached.
    #[default]
    Bulk,
    /// The absorption voltage is held.
    Absorption {
        /// For so long already.
        held_s: f64,
    },
    /// Full: the float voltage is held.
    Float,
}

impl Stage {
    /// The voltage the battery must not be driven above in this stage.
    #[must_use]
    pub fn limit_v(&self, profile: &Profile) -> f64 {
        match self {
            Self::Bulk | Self::Absorption { .. } => profile.absorb_v,
            Self::Float => profile.float_v,
        }
    }

    /// The stage after a step at whose end the battery stood at a voltage, taking a current
    /// (positive into the battery).
    #[must_use]
    pub fn after(self, profile: &Profile, voltage_v: f64, into_a: f64, step_s: f64) -> Self {
        if voltage_v < profile.rebulk_v {
            return Self::Bulk;
        }
        // Held means at the limit but for rounding of whoever solves for the current.
        let at_limit = voltage_v >= profile.absorb_v - 1e-3;
        match self {
            Self::Bulk if at_limit => Self::Absorption { held_s: 0.0 },
            Self::Absorption { held_s } => {
                let held_s = held_s + step_s;
                let taken = at_limit && into_a <= profile.tail_a;
                if taken || held_s >= profile.absorb_s {
                    Self::Float
                } else {
                    Self::Absorption { held_s }
                }
            }
            stage => stage,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_charge_goes_through_its_stages() {
        let profile = Profile::LFP;
        let step = |stage: Stage, voltage_v, into_a| stage.after(&profile, voltage_v, into_a, 60.0);
        let bulk = step(Stage::default(), 13.4, 10.0);
        assert_eq!(bulk, Stage::Bulk);
        let absorbing = step(bulk, 14.2, 10.0);
        assert_eq!(absorbing, Stage::Absorption { held_s: 0.0 });
        assert_eq!(absorbing.limit_v(&profile), 14.2);
        // A cloud: the voltage falls, little goes in, and that does not count as full.
        let clouded = step(absorbing, 13.6, 0.5);
        assert_eq!(clouded, Stage::Absorption { held_s: 60.0 });
        let full = step(clouded, 14.2, 1.9);
        assert_eq!(full, Stage::Float);
        assert_eq!(full.limit_v(&profile), 13.5);
        assert_eq!(step(full, 13.1, -3.0), Stage::Bulk);
    }

    #[test]
    fn absorption_ends_by_time_too() {
        let mut stage = Stage::Absorption { held_s: 0.0 };
        for _ in 0..59 {
            stage = stage.after(&Profile::LFP, 14.2, 5.0, 60.0);
            assert!(matches!(stage, Stage::Absorption { .. }));
        }
        assert_eq!(stage.after(&Profile::LFP, 14.2, 5.0, 60.0), Stage::Float);
    }
}
