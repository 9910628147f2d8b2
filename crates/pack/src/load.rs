//! What draws on a pack, and the current it draws.

/// One load behind a resistance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Load {
    /// Takes this many watts whatever its voltage.
    Power(f64),
    /// Takes this many amperes.
    Current(f64),
    /// A resistor of this many ohms.
    Resistance(f64),
}

impl Load {
    /// The current in A that it draws from an internal voltage `internal_v` through `ohm`
    /// in all; `None` where a constant power has no solution of `P = v·i` (voltage collapse).
    #[must_use]
    #[inline]
    pub fn current_a(self, internal_v: f64, ohm: f64) -> Option<f64> {
        match self {
            Self::Current(current_a) => Some(current_a),
            Self::Resistance(own_ohm) => Some(internal_v / (ohm + own_ohm)),
            Self::Power(power_w) => {
                let square = internal_v * internal_v - 4.0 * ohm * power_w;
                // the form that loses no digits when the resistance is small
                (square >= 0.0 && internal_v > 0.0)
                    .then(|| 2.0 * power_w / (internal_v + square.sqrt()))
            }
        }
    }
}
