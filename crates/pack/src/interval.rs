//! How sure a runtime is.

use crate::error::above;
use crate::{Circuit, Load, Pack, PackError, Runtime, State, Warmth, runtime_from};

/// A runtime with the interval in which it lies 19 times of 20.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Likely {
    /// By the model as it is.
    pub central: Runtime,
    /// The short end.
    pub time_low_s: f64,
    /// The long end.
    pub time_high_s: f64,
}

/// Coverage factor of the interval.
const COVERAGE: f64 = 1.96;

/// Where a pack stands when its load comes on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Start {
    /// State of charge, rested.
    pub soc: f64,
    /// Of the battery, all the time.
    pub temperature_c: f64,
}

impl Start {
    /// Full, at 25 °C.
    pub const FULL: Self = Self { soc: 1.0, temperature_c: 25.0 };
}

/// How long a full pack at 25 °C carries a load: [`likely_runtime_from`] that start.
///
/// # Errors
/// As [`crate::runtime`].
pub fn likely_runtime(
    pack: &Pack,
    load: Load,
    behind_ohm: f64,
    cutoff_v: f64,
) -> Result<Likely, PackError> {
    likely_runtime_from(pack, Start::FULL, load, behind_ohm, cutoff_v)
}

/// How long a pack carries a load (see [`runtime_from`]), and how sure that is: from the fit's
/// variants, the pack's spread, and what the cold does where that was not measured, each moved by
/// one standard uncertainty and added in squares.
///
/// # Errors
/// As [`runtime_from`], and for a start that is none.
pub fn likely_runtime_from(
    pack: &Pack,
    start: Start,
    load: Load,
    behind_ohm: f64,
    cutoff_v: f64,
) -> Result<Likely, PackError> {
    above("the temperature in °C", start.temperature_c, -273.15, "a temperature")?;
    let soc = above("the charge to begin with", start.soc, 0.0, "a share above 0, up to 1")?;
    if soc > 1.0 {
        let right = "a share above 0, up to 1";
        return Err(PackError::Value { what: "the charge to begin with", value: soc, right });
    }
    let run = |pack: &Pack| {
        let climate = pack.circuit.climate(start.temperature_c);
        runtime_from(pack, State::rested(soc), &climate, load, behind_ohm, cutoff_v)
    };
    let central = run(pack)?;
    let time_s = |circuit: Circuit| {
        let pack = Pack { circuit, variants: Vec::new(), ..pack.clone() };
        run(&pack).map(|run| run.time_to_cutoff_s)
    };
    let central_s = central.time_to_cutoff_s;
    let (mut shorter, mut longer) = (0.0, 0.0);
    for variant in &pack.variants {
        let square = (time_s(variant.clone())? - central_s).powi(2);
        shorter += square;
        longer += square;
    }
    let spread = &pack.spread;
    let circuit = &pack.circuit;
    for (capacity, resistance, offset_v) in
        [(spread.capacity, 0.0, 0.0), (0.0, spread.resistance, 0.0), (0.0, 0.0, spread.ocv_v)]
    {
        for sign in [-1.0, 1.0] {
            let drawn = circuit.drawn(
                (1.0 + sign * capacity).max(0.01),
                (1.0 + sign * resistance).max(0.01),
                sign * offset_v,
            );
            let off_s = time_s(drawn)? - central_s;
            *(if off_s < 0.0 { &mut shorter } else { &mut longer }) += off_s * off_s;
        }
    }
    let warmth = circuit.warmth;
    let [resistance, capacity] = pack.cold_u();
    for sign in [-1.0, 1.0] {
        let factor = |u: f64| f64::exp(sign * u);
        for warmth in [
            Warmth { resistance_k: warmth.resistance_k * factor(resistance), ..warmth },
            Warmth { capacity_per_k: warmth.capacity_per_k * factor(capacity), ..warmth },
        ] {
            let off_s = time_s(Circuit { warmth, ..circuit.clone() })? - central_s;
            *(if off_s < 0.0 { &mut shorter } else { &mut longer }) += off_s * off_s;
        }
    }
    let steady_a = central.delivered_ah * 3600.0 / central_s;
    let square = (pack.rate_u(steady_a) * central_s).powi(2);
    shorter += square;
    longer += square;
    Ok(Likely {
        central,
        time_low_s: (central_s - COVERAGE * f64::sqrt(shorter)).max(0.0),
        time_high_s: central_s + COVERAGE * f64::sqrt(longer),
    })
}
