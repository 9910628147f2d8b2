//! How sure a runtime is.

use crate::{Circuit, Load, Pack, PackError, Runtime, runtime};

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

/// Relative standard uncertainty of the time for each factor e of current beyond what was
/// measured: models fitted to a fifth of the rate were up to 12 % off.
const BEYOND: f64 = 0.07;

/// The same for currents below, where all was measured at one: a fifth of the current was up to
/// 6 % off.
const BELOW: f64 = 0.03;

/// How long a full pack carries a load (see [`runtime`]), and how sure that is: from the fit's
/// variants and the pack's spread, each moved by one standard uncertainty and added in squares.
///
/// # Errors
/// As [`runtime`].
pub fn likely_runtime(
    pack: &Pack,
    load: Load,
    behind_ohm: f64,
    cutoff_v: f64,
) -> Result<Likely, PackError> {
    let central = runtime(pack, load, behind_ohm, cutoff_v)?;
    let time_s = |circuit: Circuit| {
        let pack = Pack { circuit, variants: Vec::new(), ..pack.clone() };
        runtime(&pack, load, behind_ohm, cutoff_v).map(|run| run.time_to_cutoff_s)
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
    let steady_a = central.delivered_ah * 3600.0 / central_s;
    let beyond = spread.up_to_a.map_or(0.0, |up_to_a| (steady_a / up_to_a).ln().max(0.0));
    let below = spread.from_a.map_or(0.0, |from_a| (from_a / steady_a).ln().max(0.0));
    let square = ((BEYOND * beyond + BELOW * below) * central_s).powi(2);
    shorter += square;
    longer += square;
    Ok(Likely {
        central,
        time_low_s: (central_s - COVERAGE * f64::sqrt(shorter)).max(0.0),
        time_high_s: central_s + COVERAGE * f64::sqrt(longer),
    })
}
