//! The typical pack of each chemistry, for when nothing was measured.
//!
//! The numbers are from memory of data sheets, standards and textbooks, and say so in the pack's
//! provenance. Rested voltages of LFP follow the electrodes of Safari & Delacourt (J. Electrochem.
//! Soc. 158 (2011) A562, from memory); of NMC those of Chen et al. (J. Electrochem. Soc. 167 (2020)
//! 080534, from memory); of lead-acid the rule that a cell's voltage is the acid's density plus
//! 0.84 V (Vinal, *Storage Batteries*, from memory), linear between densities of 1.11 and 1.285.
//! The wells of lead-acid are those whose 20, 10, 5 and 1-hour capacities come closest to
//! 100, 89, 78, 52 % of the label (flooded), 100, 93, 85, 62 % (AGM) and 100, 90, 80, 55 % (gel),
//! from memory of data sheets. Its resistance to charge is the term 0.48 Ω·Ah a cell over the
//! missing charge of Copetti et al. (Progress in Photovoltaics 1 (1993) 283, from memory).

use crate::error::above;
use crate::{
    Chemistry, Circuit, Limits, Ocv, Pack, PackError, Provenance, Rise, Spread, Warmth, Wells,
};

/// How a lithium pack's charge lags behind: by 0.05 h of its current in the end, within half an
/// hour, from memory of discharge curves at several rates. The typical curve itself is one for
/// all rates; this is where a measured pack's behaviour at other rates starts from.
pub(crate) const LITHIUM_LAG: Wells = Wells { at_hand: 1.0 / 1.1, rate_per_s: 1.0 / 1800.0 };

/// What is typical of one chemistry; voltages are a cell's, resistances for the whole 12 V pack.
struct Typical {
    ocv: &'static [(f64, f64)],
    /// Charge at a very low rate, over the label's.
    capacity: f64,
    /// R0 times the label's Ah.
    r0_ohm_ah: f64,
    r1_ohm_ah: f64,
    tau_s: f64,
    /// Added while charging, over the charge still missing, times the label's Ah.
    charge_ohm_ah: f64,
    charge_efficiency: f64,
    rise: Rise,
    warmth: Warmth,
    wells: Option<Wells>,
    /// Lost to itself in a month of 30 days.
    month: f64,
    spread: Spread,
    empty_v: f64,
    release_v: Option<f64>,
    charge_v: f64,
    float_v: Option<f64>,
    /// Currents over the label's Ah.
    discharge_c: Option<f64>,
    charge_c: f64,
    source: &'static str,
}

const LFP: Typical = Typical {
    ocv: &[
        (0.0, 2.50),
        (0.01, 2.70),
        (0.02, 2.83),
        (0.035, 2.98),
        (0.05, 3.06),
        (0.075, 3.15),
        (0.1, 3.19),
        (0.15, 3.215),
        (0.2, 3.235),
        (0.3, 3.262),
        (0.4, 3.283),
        (0.5, 3.290),
        (0.6, 3.295),
        (0.65, 3.305),
        (0.7, 3.325),
        (0.8, 3.332),
        (0.9, 3.335),
        (0.95, 3.340),
        (0.98, 3.36),
        (0.99, 3.40),
        (1.0, 3.55),
    ],
    capacity: 0.94,
    r0_ohm_ah: 0.6,
    r1_ohm_ah: 0.4,
    tau_s: 60.0,
    charge_ohm_ah: 0.0,
    charge_efficiency: 0.995,
    rise: Rise { share: 0.5, below_soc: 0.15 },
    warmth: Warmth { resistance_k: 2400.0, capacity_per_k: 0.005 },
    wells: None,
    month: 0.03,
    spread: Spread { capacity: 0.03, resistance: 0.3, ocv_v: 0.03, up_to_a: None, from_a: None },
    empty_v: 2.5,
    release_v: Some(2.9),
    charge_v: 3.55,
    float_v: None,
    discharge_c: Some(1.0),
    charge_c: 0.5,
    source: "typical LFP pack of four cells, from memory of data sheets; capacity 94 % of the \
             label (common practice, no source); rested voltages after Safari & Delacourt 2011",
};

const NMC: Typical = Typical {
    ocv: &[
        (0.0, 2.90),
        (0.02, 3.18),
        (0.05, 3.35),
        (0.1, 3.45),
        (0.2, 3.56),
        (0.3, 3.62),
        (0.4, 3.67),
        (0.5, 3.74),
        (0.6, 3.83),
        (0.7, 3.92),
        (0.8, 4.01),
        (0.9, 4.08),
        (1.0, 4.20),
    ],
    capacity: 0.95,
    r0_ohm_ah: 0.7,
    r1_ohm_ah: 0.4,
    tau_s: 40.0,
    charge_ohm_ah: 0.0,
    charge_efficiency: 0.995,
    rise: Rise { share: 0.6, below_soc: 0.2 },
    warmth: Warmth { resistance_k: 3000.0, capacity_per_k: 0.004 },
    wells: None,
    month: 0.03,
    spread: Spread { capacity: 0.04, resistance: 0.3, ocv_v: 0.04, up_to_a: None, from_a: None },
    empty_v: 2.8,
    release_v: Some(3.1),
    charge_v: 4.2,
    float_v: None,
    discharge_c: Some(1.0),
    charge_c: 0.5,
    source: "typical NMC pack of three cells, from memory of data sheets; rested voltages after \
             Chen et al. 2020",
};

/// Flooded; AGM and gel differ from it in few figures.
const FLOODED: Typical = Typical {
    ocv: &[(0.0, 1.75), (0.03, 1.90), (0.08, 1.967), (1.0, 2.125)],
    capacity: 1.115,
    r0_ohm_ah: 0.7,
    r1_ohm_ah: 0.6,
    tau_s: 300.0,
    charge_ohm_ah: 6.0 * 0.48,
    charge_efficiency: 0.88,
    rise: Rise { share: 1.0, below_soc: 1.0 },
    warmth: Warmth { resistance_k: 1500.0, capacity_per_k: 0.006 },
    wells: Some(Wells { at_hand: 0.39, rate_per_s: 1.89e-4 }),
    month: 0.05,
    spread: Spread { capacity: 0.08, resistance: 0.3, ocv_v: 0.06, up_to_a: None, from_a: None },
    empty_v: 1.75,
    release_v: None,
    charge_v: 2.4,
    float_v: Some(2.25),
    discharge_c: None,
    charge_c: 0.15,
    source: "typical flooded lead-acid battery of six cells, from memory of data sheets; rested \
             voltages by the density rule (Vinal)",
};

const AGM: Typical = Typical {
    ocv: &[(0.0, 1.75), (0.03, 1.90), (0.08, 1.967), (1.0, 2.135)],
    capacity: 1.067,
    r0_ohm_ah: 0.5,
    r1_ohm_ah: 0.6,
    charge_efficiency: 0.95,
    wells: Some(Wells { at_hand: 0.49, rate_per_s: 2.17e-4 }),
    month: 0.03,
    charge_c: 0.25,
    source: "typical AGM lead-acid battery of six cells, from memory of data sheets; rested \
             voltages by the density rule (Vinal)",
    ..FLOODED
};

const GEL: Typical = Typical {
    capacity: 1.10,
    r0_ohm_ah: 0.7,
    charge_efficiency: 0.93,
    wells: Some(Wells { at_hand: 0.42, rate_per_s: 1.92e-4 }),
    month: 0.03,
    charge_v: 2.35,
    charge_c: 0.2,
    source: "typical gel lead-acid battery of six cells, from memory of data sheets; rested \
             voltages by the density rule (Vinal)",
    ..AGM
};

impl Chemistry {
    fn typical(self) -> &'static Typical {
        match self {
            Self::Lfp => &LFP,
            Self::Nmc => &NMC,
            Self::Flooded => &FLOODED,
            Self::Agm => &AGM,
            Self::Gel => &GEL,
        }
    }
}

impl Pack {
    /// The typical 12 V pack of a chemistry at its label's capacity. A lead-acid label is taken
    /// as the 20-hour capacity.
    ///
    /// # Errors
    /// [`PackError::Value`] if the label is no capacity.
    pub fn typical(chemistry: Chemistry, rated_ah: f64) -> Result<Self, PackError> {
        Self::typical_of(chemistry, chemistry.cells(), rated_ah)
    }

    /// The typical pack of so many cells in series.
    ///
    /// # Errors
    /// As [`Pack::typical`].
    pub fn typical_of(chemistry: Chemistry, cells: u32, rated_ah: f64) -> Result<Self, PackError> {
        let rated_ah = above("the rated capacity in Ah", rated_ah, 0.0, "a number above 0")?;
        let t = chemistry.typical();
        let cells = f64::from(cells);
        let twelfths = cells / f64::from(chemistry.cells());
        let ocv: Vec<(f64, f64)> = t.ocv.iter().map(|&(soc, v)| (soc, v * cells)).collect();
        let r1_ohm = twelfths * t.r1_ohm_ah / rated_ah;
        Ok(Self {
            name: format!("{rated_ah} Ah {chemistry}"),
            chemistry: Some(chemistry),
            rated_ah,
            circuit: Circuit {
                capacity_ah: t.capacity * rated_ah,
                r0_ohm: twelfths * t.r0_ohm_ah / rated_ah,
                r1_ohm,
                c1_f: t.tau_s / r1_ohm,
                charge_ohm: twelfths * t.charge_ohm_ah / rated_ah,
                charge_efficiency: t.charge_efficiency,
                ocv: Ocv::new(ocv)?,
                offset_v: 0.0,
                rise: t.rise,
                warmth: t.warmth,
                wells: t.wells,
            },
            idle_a: rated_ah * t.month / (30.0 * 24.0),
            limits: Limits {
                undervoltage_v: chemistry.is_lithium().then_some(t.empty_v * cells),
                release_v: t.release_v.map(|v| v * cells),
                overvoltage_v: chemistry.is_lithium().then_some((t.charge_v + 0.1) * cells),
                discharge_a: t.discharge_c.map(|c| c * rated_ah),
                charge_a: Some(t.charge_c * rated_ah),
                charge_least_c: chemistry.is_lithium().then_some(0.0),
                refuses_frost: chemistry.is_lithium(),
                most_c: Some(if chemistry.is_lithium() { 60.0 } else { 50.0 }),
                charge_v: Some(t.charge_v * cells),
                advised_soc: (!chemistry.is_lithium()).then_some(0.5),
                float_v: t.float_v.map(|v| v * cells),
            },
            spread: t.spread,
            variants: Vec::new(),
            provenance: Provenance::Typical { source: t.source.into() },
        })
    }
}

impl Chemistry {
    /// Voltage in V of one cell on the mean of a discharge, and by how much it may be off, as a
    /// share.
    fn mean_v(self) -> (f64, f64) {
        match self {
            Self::Lfp => (3.2, 0.05),
            Self::Nmc => (3.65, 0.07),
            Self::Flooded | Self::Agm | Self::Gel => (2.0, 0.06),
        }
    }

    /// Cells in series of a pack with this mean voltage in V under load; `None` if no number of
    /// cells of this chemistry has it.
    #[must_use]
    pub fn cells_of(self, mean_v: f64) -> Option<u32> {
        let (cell_v, share) = self.mean_v();
        let cells = (mean_v / cell_v).round();
        let fits = cells >= 1.0 && (mean_v / (cells * cell_v) - 1.0).abs() <= share;
        // a lead-acid battery has three cells or a multiple
        let sold = self.is_lithium() || cells % 3.0 == 0.0;
        (fits && sold && cells < 1000.0).then_some(cells as u32)
    }

    /// The voltage in V at which so many cells count as empty.
    pub(crate) fn empty_v(self, cells: u32) -> f64 {
        self.typical().empty_v * f64::from(cells)
    }
}
