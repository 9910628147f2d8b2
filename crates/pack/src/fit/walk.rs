//! What a record's current alone says: charge taken, lag of the wells, drive of the slow part.

use crate::typical::LITHIUM_LAG;
use crate::{Circuit, Sample, Warmth};

/// The parameters that act on the voltage in a curved way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Latent {
    /// Charge in Ah that lags behind in the end per ampere, in h: `(1 − c)/(c·k')`.
    pub(super) lag_h: f64,
    /// Rate at which the wells level out.
    pub(super) rate_per_s: f64,
    /// Time constant of the slow part.
    pub(super) tau_s: f64,
    pub(super) warmth: Warmth,
    pub(super) charge_efficiency: f64,
}

/// One of those parameters: its name, and how well it is known before any record.
#[derive(Debug, Clone, Copy)]
pub(super) struct Known {
    pub(super) name: &'static str,
    pub(super) unit: &'static str,
    /// Standard uncertainty of its logarithm.
    pub(super) spread: f64,
    get: fn(&Latent) -> f64,
    set: fn(&mut Latent, f64),
}

impl Known {
    pub(super) const ALL: [Self; 6] = [
        Self {
            name: "lag of the wells",
            unit: "h",
            spread: 1.5,
            get: |l| l.lag_h,
            set: |l, x| l.lag_h = x,
        },
        Self {
            name: "rate of the wells",
            unit: "1/s",
            spread: 1.0,
            get: |l| l.rate_per_s,
            set: |l, x| l.rate_per_s = x,
        },
        Self {
            name: "time constant",
            unit: "s",
            spread: 0.7,
            get: |l| l.tau_s,
            set: |l, x| l.tau_s = x,
        },
        Self {
            name: "resistance in the cold",
            unit: "K",
            spread: 0.5,
            get: |l| l.warmth.resistance_k,
            set: |l, x| l.warmth.resistance_k = x,
        },
        Self {
            name: "capacity in the cold",
            unit: "1/K",
            spread: 1.5,
            get: |l| l.warmth.capacity_per_k,
            set: |l, x| l.warmth.capacity_per_k = x,
        },
        Self {
            name: "charge lost in charging",
            unit: "1",
            spread: 1.0,
            get: |l| 1.0 - l.charge_efficiency,
            set: |l, x| l.charge_efficiency = 1.0 - x,
        },
    ];

    pub(super) fn of(&self, latent: &Latent) -> f64 {
        (self.get)(latent)
    }

    /// `latent` with this parameter `z` of its standard uncertainties above `prior`'s.
    pub(super) fn moved(&self, latent: &mut Latent, prior: &Latent, z: f64) {
        // twenty times more or less than the prior is beyond anything a battery does
        let log = (self.spread * z).clamp(-3.0, 3.0);
        (self.set)(latent, (self.get)(prior) * log.exp());
    }
}

impl Latent {
    /// What is known of them before any record.
    pub(super) fn prior(circuit: &Circuit) -> Self {
        let wells = circuit.wells.unwrap_or(LITHIUM_LAG);
        Self {
            lag_h: wells.lag_h(),
            rate_per_s: wells.rate_per_s,
            tau_s: circuit.r1_ohm * circuit.c1_f,
            warmth: circuit.warmth,
            charge_efficiency: circuit.charge_efficiency,
        }
    }
}

/// A row as the linear part of the model needs it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    /// Charge in Ah gone from what is at hand, stretched by the cold.
    pub(super) taken_ah: f64,
    /// Current in A times the factor of temperature on the resistances.
    pub(super) drive_a: f64,
    /// The same through the slow part's filter.
    pub(super) slow_a: f64,
    pub(super) voltage_v: f64,
}

/// Walks a record whose pack began with `begun_ah` taken. Calls `see` at every row with its index.
pub(super) fn walk(
    samples: &[Sample],
    begun_ah: f64,
    latent: &Latent,
    mut see: impl FnMut(usize, Row),
) {
    let (mut net_ah, mut behind_ah, mut slow_a) = (begun_ah, 0.0, 0.0);
    let mut last: Option<(&Sample, f64)> = None;
    // steps of a record are mostly equal
    let (mut kept_s, mut keep_slow, mut keep_behind) = (f64::NAN, 0.0, 0.0);
    let mut warm = (f64::NAN, 1.0, 1.0);
    for (index, row) in samples.iter().enumerate() {
        let temperature_c = row.temperature_c.unwrap_or(25.0);
        if warm.0 != temperature_c {
            let climate = latent.warmth.climate(temperature_c);
            warm = (temperature_c, climate.resistance, climate.stretch);
        }
        let drive_a = row.current_a * warm.1;
        if let Some((before, before_a)) = last {
            let dt_s = row.elapsed_s - before.elapsed_s;
            if dt_s != kept_s {
                kept_s = dt_s;
                keep_slow = (-dt_s / latent.tau_s).exp();
                keep_behind = (-dt_s * latent.rate_per_s).exp();
            }
            let out_ah = row.delivered_ah - before.delivered_ah;
            let stored_ah = if out_ah < 0.0 { out_ah * latent.charge_efficiency } else { out_ah };
            net_ah += stored_ah;
            if dt_s > 0.0 {
                let mean_a = stored_ah * 3600.0 / dt_s;
                behind_ah = behind_ah * keep_behind + latent.lag_h * mean_a * (1.0 - keep_behind);
                slow_a = slow_a * keep_slow + 0.5 * (before_a + drive_a) * (1.0 - keep_slow);
            }
        }
        last = Some((row, drive_a));
        let taken_ah = (net_ah + behind_ah) * warm.2;
        see(index, Row { taken_ah, drive_a, slow_a, voltage_v: row.voltage_v });
    }
}
