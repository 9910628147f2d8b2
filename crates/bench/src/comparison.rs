//! Several packs side by side.

use crate::{Difference, Discharge, Repeats};

/// One pack in a comparison: what was measured, and what its maker and shop say.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// What to call it.
    pub name: String,
    /// Energy delivered above the cutoff (Wh), by [`Repeats::of_usable_energy`].
    pub usable_wh: Repeats,
    /// Mean share of the charge delivered above the cutoff (0..1).
    pub share_above_cutoff: f64,
    /// Time of a full recharge, where there was one (s).
    pub recharge_s: Option<f64>,
    /// Its mass (kg).
    pub mass_kg: Option<f64>,
    /// Its price, in any one currency.
    pub price: Option<f64>,
    /// Its volume (l).
    pub volume_l: Option<f64>,
    /// The cycles its maker promises.
    pub promised_cycles: Option<f64>,
    /// The years its maker answers for it.
    pub warranty_years: Option<f64>,
}

/// An entry with its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Which entry.
    pub entry: usize,
    /// From 1; two that can't be told apart share it.
    pub rank: usize,
    /// How far it is behind the best of its rank or, for the best of a rank, of the rank above;
    /// nothing for the first.
    pub behind: Option<Difference>,
    /// Usable energy over mass (Wh/kg).
    pub usable_wh_per_kg: Option<f64>,
    /// Usable energy over price (Wh per unit of money).
    pub usable_wh_per_price: Option<f64>,
    /// Usable energy over volume (Wh/l).
    pub usable_wh_per_l: Option<f64>,
    /// Price over the energy it will have delivered after its promised cycles, each taken as full
    /// as the first (money per Wh).
    pub price_per_wh_of_life: Option<f64>,
}

/// Mean share of the charge delivered above the cutoff (0..1).
#[must_use]
pub fn mean_share_above_cutoff(runs: &[&Discharge]) -> f64 {
    runs.iter().map(|run| run.above_cutoff.share).sum::<f64>() / runs.len() as f64
}

/// Ranks packs by their usable energy, most first. `same_meter` says whether one meter recorded
/// all of them.
#[must_use]
pub fn compare(entries: &[Entry], same_meter: bool) -> Vec<Place> {
    let mut order: Vec<usize> = (0..entries.len()).collect();
    order.sort_by(|&a, &b| entries[b].usable_wh.mean.total_cmp(&entries[a].usable_wh.mean));
    let mut places: Vec<Place> = Vec::new();
    let mut best = None;
    for (nth, &at) in order.iter().enumerate() {
        let entry = &entries[at];
        let behind = best.map(|best: usize| {
            Difference::of(&entries[best].usable_wh, &entry.usable_wh, same_meter)
        });
        let tied = behind.is_some_and(|behind| !behind.told_apart());
        if !tied {
            best = Some(at);
        }
        let rank = if tied { places.last().map_or(1, |place| place.rank) } else { nth + 1 };
        let usable_wh = entry.usable_wh.mean;
        let of_life = |price: f64| entry.promised_cycles.map(|cycles| price / (usable_wh * cycles));
        places.push(Place {
            entry: at,
            rank,
            behind,
            usable_wh_per_kg: entry.mass_kg.map(|kg| usable_wh / kg),
            usable_wh_per_price: entry.price.map(|price| usable_wh / price),
            usable_wh_per_l: entry.volume_l.map(|litres| usable_wh / litres),
            price_per_wh_of_life: entry.price.and_then(of_life),
        });
    }
    places
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(name: &str, mean: f64, u_runs: f64) -> Entry {
        Entry {
            name: name.to_owned(),
            usable_wh: Repeats {
                n: 5,
                mean,
                spread: Some(u_runs * 5.0_f64.sqrt()),
                u_runs,
                u_meter: 0.0,
                dof: 4.0,
                u_95: 2.776 * u_runs,
                furthest: None,
            },
            share_above_cutoff: 0.95,
            recharge_s: None,
            mass_kg: Some(5.0),
            price: Some(250.0),
            volume_l: None,
            promised_cycles: Some(2000.0),
            warranty_years: Some(3.0),
        }
    }

    #[test]
    fn packs_that_differ_by_less_than_chance_share_a_rank() {
        let entries = [entry("a", 450.0, 2.0), entry("b", 500.0, 3.0), entry("c", 497.0, 3.0)];
        let places = compare(&entries, true);
        let ranks: Vec<(usize, usize)> = places.iter().map(|p| (p.entry, p.rank)).collect();
        assert_eq!(ranks, [(1, 1), (2, 1), (0, 3)]);
        assert_eq!(places[0].behind, None);
        assert_eq!(places[0].usable_wh_per_kg, Some(100.0));
        assert_eq!(places[0].usable_wh_per_price, Some(2.0));
        // 250 for 2000 cycles of 500 Wh
        assert!((places[0].price_per_wh_of_life.unwrap() - 0.000_25).abs() < 1e-12);
        assert_eq!(places[0].usable_wh_per_l, None);
    }
}
