//! Where a record leaves the middle of the drawn trips.

use super::{Compared, Measure, Parting};

/// What lasts no longer than this (s) is no parting, and what pauses no longer is one.
const LASTS_S: f64 = 1800.0;

/// The partings in order of time.
pub(super) fn partings(compared: &[Compared]) -> Vec<Parting> {
    let voltage = |at: &Compared| Some((at.voltage_v, at.typical_v, at.band_v));
    let charge = |at: &Compared| Some((at.out_ah?, at.typical_ah, at.band_ah));
    let mut found = of_measure(compared, Measure::Voltage, voltage);
    found.extend(of_measure(compared, Measure::Charge, charge));
    found.sort_by_key(|parting| parting.from);
    found
}

/// Measured, typical, and the ends of the middle.
type Values = (f64, f64, [f64; 2]);

fn of_measure(
    compared: &[Compared],
    what: Measure,
    values: impl Fn(&Compared) -> Option<Values>,
) -> Vec<Parting> {
    let mut partings: Vec<Parting> = Vec::new();
    let mut is_outside = false;
    let last = compared.last().map(|at| at.time);
    for at in compared {
        let Some((measured, typical, [low, high])) = values(at) else { continue };
        let off = measured - typical;
        if (low..=high).contains(&measured) {
            is_outside = false;
            continue;
        }
        let pause_s = |parting: &Parting| at.time.duration_since(parting.to).as_secs_f64();
        // one that pauses briefly goes on
        match partings.last_mut().filter(|parting| {
            (is_outside || pause_s(parting) <= LASTS_S) && parting.most.signum() == off.signum()
        }) {
            Some(parting) => {
                parting.to = at.time;
                if off.abs() > parting.most.abs() {
                    (parting.most, parting.most_at) = (off, at.time);
                }
            }
            None => partings.push(Parting {
                what,
                from: at.time,
                to: at.time,
                to_the_end: false,
                most: off,
                most_at: at.time,
            }),
        }
        is_outside = true;
    }
    for parting in &mut partings {
        parting.to_the_end = Some(parting.to) == last;
    }
    partings.retain(|parting| parting.to.duration_since(parting.from).as_secs_f64() >= LASTS_S);
    partings
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: i64, voltage_v: f64) -> Compared {
        Compared {
            time: jiff::Timestamp::from_second(minute * 60).unwrap(),
            stands_for_s: 300.0,
            voltage_v,
            typical_v: 13.0,
            band_v: [12.9, 13.1],
            current_a: None,
            typical_a: 2.0,
            out_ah: None,
            typical_ah: 1.0,
            band_ah: [0.9, 1.1],
        }
    }

    #[test]
    fn what_lasts_is_a_parting() {
        let low = |minute: i64| if minute == 100 { 12.5 } else { 12.8 };
        let course: Vec<Compared> = (0..60)
            .map(|step| 5 * step)
            .map(|minute| match minute {
                20 => at(minute, 13.4),
                80..=110 | 125..=150 => at(minute, low(minute)),
                270.. => at(minute, 13.2),
                _ => at(minute, 13.05),
            })
            .collect();
        let found = partings(&course);
        let minutes = |time: jiff::Timestamp| time.as_second() / 60;
        assert_eq!(found.len(), 1, "{found:?}");
        let parting = found[0];
        assert_eq!((minutes(parting.from), minutes(parting.to)), (80, 150));
        assert_eq!(minutes(parting.most_at), 100);
        assert!((parting.most + 0.5).abs() < 1e-12 && !parting.to_the_end);
    }
}
