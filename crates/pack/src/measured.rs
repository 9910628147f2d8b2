//! A pack's model from one plain discharge record.

use crate::typical::LITHIUM_LAG;
use crate::{Chemistry, Circuit, Ocv, Pack, PackError, Provenance, Rise, Spread};

/// One row of a record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Since the run began.
    pub elapsed_s: f64,
    /// At the terminals.
    pub voltage_v: f64,
    /// Out of the pack.
    pub current_a: f64,
    /// Net charge out of the pack since the run began.
    pub delivered_ah: f64,
    /// Of the battery, where it was logged.
    pub temperature_c: Option<f64>,
}

/// Samples from plain columns; those of unequal length are cut to the shortest. See [`counted`].
#[must_use]
pub fn samples(elapsed_s: &[f64], voltage_v: &[f64], current_a: &[f64]) -> Vec<Sample> {
    let rows = elapsed_s.iter().zip(voltage_v).zip(current_a);
    counted(rows.map(|((&elapsed_s, &voltage_v), &current_a)| [elapsed_s, voltage_v, current_a]))
}

/// Samples from rows of time (s), voltage (V) and current (A), the charge counted by trapezoids.
#[must_use]
pub fn counted(rows: impl IntoIterator<Item = [f64; 3]>) -> Vec<Sample> {
    let mut delivered_ah = 0.0;
    let mut last: Option<(f64, f64)> = None;
    rows.into_iter()
        .map(|[elapsed_s, voltage_v, current_a]| {
            if let Some((last_s, last_a)) = last {
                delivered_ah += (elapsed_s - last_s) * 0.5 * (last_a + current_a) / 3600.0;
            }
            last = Some((elapsed_s, current_a));
            Sample { elapsed_s, voltage_v, current_a, delivered_ah, temperature_c: None }
        })
        .collect()
}

/// A point of the open-circuit curve found from a row: charge still at hand and voltage.
struct Rested {
    at_hand_ah: f64,
    voltage_v: f64,
}

/// What is said of a record that charges.
const CHARGED: &str = "it puts in more than it takes out; a discharge is needed";
/// Rows of one curve are averaged within thousandths of the capacity.
const BINS: f64 = 1000.0;
/// A change of current by this share of the largest is a step.
const STEP_SHARE: f64 = 0.3;
/// A step's two rows may be this far apart and still tell the resistance.
const STEP_LONGEST_S: f64 = 15.0;

impl Pack {
    /// A pack whose capacity and curve are those of one discharge from full.
    ///
    /// The resistance comes from steps of the current where the record has some; else it is the
    /// chemistry's typical one for this size, and the provenance says so. What the record gave
    /// at its own current is reproduced whatever the resistance; a variant is what it would be with
    /// a resistance one standard uncertainty higher.
    ///
    /// # Errors
    /// [`PackError::Record`] if the rows are no discharge.
    pub fn from_discharge(
        from: &str,
        chemistry: Option<Chemistry>,
        rated_ah: Option<f64>,
        record: &[Sample],
    ) -> Result<Self, PackError> {
        let (last, largest_a) = check(record)?;
        let mut notes = Vec::new();
        let (mean_v, steady_a) = means(record);
        let kind = chemistry.unwrap_or_else(|| {
            let guess = guess(mean_v);
            notes.push(format!(
                "no chemistry was given; with {mean_v:.1} V on the mean it was treated as {guess}"
            ));
            guess
        });
        let rated_ah = rated_ah.unwrap_or(last.delivered_ah);
        let cells = kind.cells_of(mean_v).unwrap_or_else(|| {
            let cells = kind.cells();
            notes.push(format!(
                "a mean of {mean_v:.1} V is not that of a number of {kind} cells; {cells} were \
                 taken"
            ));
            cells
        });
        let mut pack = Self::typical_of(kind, cells, rated_ah)?;
        pack.chemistry = chemistry;
        pack.name = from.to_owned();
        // what the curve itself shows towards empty must not be counted twice
        pack.circuit.rise = Rise { share: 0.0, below_soc: 1.0 };
        pack.circuit.wells.get_or_insert(LITHIUM_LAG);
        // nothing is known here of what the pack lost to itself during the run
        pack.idle_a = 0.0;
        let resistance = match step_resistance(record, largest_a, &pack.circuit) {
            Some((factor, spread)) => {
                pack.circuit.r0_ohm *= factor;
                pack.circuit.r1_ohm *= factor;
                pack.circuit.c1_f /= factor;
                spread
            }
            None => {
                notes.push(format!(
                    "the record has no step of the current, so the resistance is the typical one \
                     of {kind} at {rated_ah:.0} Ah, known to about 30 %"
                ));
                pack.spread.resistance
            }
        };
        // what it shows at its own current stays, whatever the resistance: the curve goes with it
        let shown = |circuit: Circuit| -> Result<Circuit, PackError> {
            let (capacity_ah, points) = rest(record, &circuit, largest_a);
            if capacity_ah <= 0.0 {
                return Err(PackError::Record(CHARGED.to_owned()));
            }
            Ok(Circuit { capacity_ah, ocv: Ocv::new(curve(&points, capacity_ah))?, ..circuit })
        };
        pack.variants = vec![shown(pack.circuit.drawn(1.0, 1.0 + resistance, 0.0))?];
        pack.circuit = shown(pack.circuit)?;
        let last_v = last.voltage_v;
        pack.limits.allow(largest_a, last_v);
        if last_v > kind.empty_v(cells) + 0.5 {
            notes.push(format!(
                "the record ends at {last_v:.2} V, before the battery was empty; what it holds \
                 below that is not known and is not counted"
            ));
        }
        // the record's own runs scatter far less than packs do; what an instrument is worth is
        // for the one who knows the instrument
        pack.spread = Spread {
            capacity: 0.01,
            resistance: 0.0,
            ocv_v: 0.01,
            up_to_a: Some(steady_a),
            from_a: Some(steady_a),
        };
        pack.provenance = Provenance::Measured { from: vec![from.to_owned()], notes };
        Ok(pack)
    }
}

/// Mean voltage in V and current in A over the charge given.
fn means(record: &[Sample]) -> (f64, f64) {
    let (mut volts, mut amperes, mut total_ah) = (0.0, 0.0, 0.0);
    for pair in record.windows(2) {
        let [a, b] = pair else { continue };
        let given_ah = (b.delivered_ah - a.delivered_ah).max(0.0);
        volts += given_ah * 0.5 * (a.voltage_v + b.voltage_v);
        amperes += given_ah * 0.5 * (a.current_a + b.current_a);
        total_ah += given_ah;
    }
    (volts / total_ah, amperes / total_ah)
}

/// The chemistry with this mean voltage in a number of cells that is often sold: 12, 24 or 48 V
/// (common practice, no source).
fn guess(mean_v: f64) -> Chemistry {
    let sold = [
        (Chemistry::Lfp, [4, 8, 16, 4]),
        (Chemistry::Agm, [6, 12, 24, 3]),
        (Chemistry::Nmc, [3, 4, 7, 14]),
    ];
    let fits = |&(kind, cells): &(Chemistry, [u32; 4])| {
        kind.cells_of(mean_v).is_some_and(|n| cells.contains(&n))
    };
    sold.iter().find(|kind| fits(kind)).map_or(Chemistry::Lfp, |(kind, _)| *kind)
}

/// The last row with the load on, and the largest current.
pub(crate) fn check(record: &[Sample]) -> Result<(Sample, f64), PackError> {
    let wrong = |text: &str| Err(PackError::Record(text.to_owned()));
    if let Some(bad) = record.iter().find(|s| {
        !(s.elapsed_s.is_finite()
            && s.voltage_v.is_finite()
            && s.current_a.is_finite()
            && s.delivered_ah.is_finite())
    }) {
        return wrong(&format!("a row at {} s holds no number", bad.elapsed_s));
    }
    if record.windows(2).any(|w| matches!(w, [a, b] if b.elapsed_s < a.elapsed_s)) {
        return wrong("its time runs backwards");
    }
    let largest_a = record.iter().map(|s| s.current_a).fold(0.0, f64::max);
    let on = |s: &&Sample| s.current_a > 0.05 * largest_a;
    let Some(last) = record.iter().rev().find(on).copied() else {
        return wrong("no current flows out of the battery; a discharge is needed");
    };
    if record.iter().filter(on).count() < 3 {
        return wrong("fewer than three rows have the load on");
    }
    if last.delivered_ah <= 0.0 {
        return wrong(CHARGED);
    }
    Ok((last, largest_a))
}

/// How the steps' resistance compares with the circuit's, and its relative standard uncertainty.
fn step_resistance(record: &[Sample], largest_a: f64, circuit: &Circuit) -> Option<(f64, f64)> {
    let tau_s = circuit.r1_ohm * circuit.c1_f;
    let mut factors: Vec<f64> = record
        .windows(2)
        .filter_map(|pair| {
            let &[a, b] = pair else { return None };
            let (dt_s, step_a) = (b.elapsed_s - a.elapsed_s, b.current_a - a.current_a);
            let seen_ohm = (a.voltage_v - b.voltage_v) / step_a;
            let expected_ohm = circuit.r0_ohm + circuit.r1_ohm * (1.0 - (-dt_s / tau_s).exp());
            (step_a.abs() > STEP_SHARE * largest_a && dt_s <= STEP_LONGEST_S && seen_ohm > 0.0)
                .then_some(seen_ohm / expected_ohm)
        })
        .collect();
    factors.sort_by(f64::total_cmp);
    let median = *factors.get(factors.len() / 2)?;
    // one step says little of how the next will be
    Some((median, 0.1 + 0.1 / (factors.len() as f64).sqrt()))
}

/// The capacity at a very low rate, and the rested voltage at each row with the load on.
///
/// The state of the slow part and of the wells follows from the current alone. The record ends
/// where nothing is left at hand, which sets the capacity.
fn rest(record: &[Sample], circuit: &Circuit, largest_a: f64) -> (f64, Vec<Rested>) {
    let tau_s = circuit.r1_ohm * circuit.c1_f;
    let (mut v1_v, mut bound_ah, mut taken_ah) = (0.0, 0.0, 0.0);
    let mut points = Vec::with_capacity(record.len());
    let mut last: Option<Sample> = None;
    for &row in record {
        if let Some(before) = last {
            let dt_s = row.elapsed_s - before.elapsed_s;
            let current_a = 0.5 * (before.current_a + row.current_a);
            let keep = (-dt_s / tau_s).exp();
            v1_v = v1_v * keep + circuit.r1_ohm * current_a * (1.0 - keep);
            if let Some(w) = circuit.wells {
                // the gap in Ah, times the share that is not at hand
                let keep = (-w.rate_per_s * dt_s).exp();
                let level = (1.0 - w.at_hand) / (w.at_hand * w.rate_per_s * 3600.0);
                bound_ah = bound_ah * keep + current_a * level * (1.0 - keep);
            }
        }
        last = Some(row);
        if row.current_a > 0.05 * largest_a {
            taken_ah = row.delivered_ah + bound_ah;
            let voltage_v = row.voltage_v + v1_v + circuit.r0_ohm * row.current_a;
            points.push(Rested { at_hand_ah: taken_ah, voltage_v });
        }
    }
    for point in &mut points {
        point.at_hand_ah = taken_ah - point.at_hand_ah;
    }
    (taken_ah, points)
}

/// The open-circuit curve: rows averaged in narrow bins, then made to rise with SoC.
fn curve(points: &[Rested], capacity_ah: f64) -> Vec<(f64, f64)> {
    let mut bins: Vec<(f64, f64, f64)> = Vec::new();
    let mut last_bin = f64::NAN;
    let mut by_soc: Vec<(f64, f64)> =
        points.iter().map(|p| (p.at_hand_ah / capacity_ah, p.voltage_v)).collect();
    by_soc.sort_by(|a, b| a.0.total_cmp(&b.0));
    for &(soc, voltage_v) in &by_soc {
        let bin = (soc * BINS).floor();
        match bins.last_mut() {
            Some((sum_soc, sum_v, rows)) if bin == last_bin => {
                *sum_soc += soc;
                *sum_v += voltage_v;
                *rows += 1.0;
            }
            _ => bins.push((soc, voltage_v, 1.0)),
        }
        last_bin = bin;
    }
    let means: Vec<(f64, f64, f64)> =
        bins.iter().map(|&(soc, v, rows)| (soc / rows, v / rows, rows)).collect();
    let mut curve = rising(&means);
    // the ends stand where the record began and ended
    if let (Some(&(_, first_v)), Some(&(_, last_v))) = (by_soc.first(), by_soc.last()) {
        curve.retain(|&(soc, _)| soc > 1e-9 && soc < 1.0 - 1e-9);
        let low_v = curve.first().map_or(first_v, |p| p.1.min(first_v));
        let high_v = curve.last().map_or(last_v, |p| p.1.max(last_v));
        curve.insert(0, (0.0, low_v));
        curve.push((1.0, high_v));
    }
    curve
}

/// The closest curve that never falls (pool adjacent violators; Barlow et al., *Statistical
/// Inference under Order Restrictions*, 1972, from memory).
pub(crate) fn rising(points: &[(f64, f64, f64)]) -> Vec<(f64, f64)> {
    let mut pools: Vec<(f64, f64, usize)> = Vec::new();
    for &(_, voltage_v, weight) in points {
        let mut pool = (voltage_v, weight, 1);
        while let Some(&(before_v, before_weight, count)) = pools.last() {
            if before_v <= pool.0 {
                break;
            }
            let weight = before_weight + pool.1;
            pool = ((before_v * before_weight + pool.0 * pool.1) / weight, weight, count + pool.2);
            pools.pop();
        }
        pools.push(pool);
    }
    let levels =
        pools.iter().flat_map(|&(voltage_v, _, count)| std::iter::repeat_n(voltage_v, count));
    points.iter().map(|p| p.0).zip(levels).collect()
}
