//! The form in which a pack is kept: plain named numbers, for any format that `serde` writes.

use crate::error::above;
use crate::{
    Chemistry, Circuit, Limits, Ocv, Pack, PackError, Provenance, Rise, Spread, Warmth, Wells,
};
use serde::{Deserialize, Serialize};

/// The version of the form.
const FORMAT: u32 = 1;

/// A pack as written. The names carry the units.
#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct PackFile {
    format: u32,
    name: String,
    chemistry: Option<String>,
    rated_ah: f64,
    #[serde(default)]
    idle_a: f64,
    provenance: ProvenanceFile,
    #[serde(default)]
    spread: Spread,
    #[serde(default)]
    limits: Limits,
    circuit: CircuitFile,
    #[serde(default)]
    variants: Vec<CircuitFile>,
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "lowercase", deny_unknown_fields)]
enum ProvenanceFile {
    Typical { source: String },
    Stated,
    Sheet { note: String },
    Measured { from: Vec<String>, notes: Vec<String> },
}

#[derive(Debug, Clone, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct CircuitFile {
    capacity_ah: f64,
    r0_ohm: f64,
    #[serde(default)]
    r1_ohm: f64,
    #[serde(default)]
    c1_f: f64,
    #[serde(default)]
    charge_ohm: f64,
    #[serde(default = "one")]
    charge_efficiency: f64,
    #[serde(default)]
    offset_v: f64,
    /// `[soc, voltage_v]`.
    ocv: Vec<(f64, f64)>,
    rise: Option<Rise>,
    warmth: Option<Warmth>,
    wells: Option<Wells>,
}

fn one() -> f64 {
    1.0
}

impl From<Pack> for PackFile {
    fn from(pack: Pack) -> Self {
        Self {
            format: FORMAT,
            name: pack.name,
            chemistry: pack.chemistry.map(|c| c.to_string()),
            rated_ah: pack.rated_ah,
            idle_a: pack.idle_a,
            provenance: match pack.provenance {
                Provenance::Typical { source } => {
                    ProvenanceFile::Typical { source: source.into_owned() }
                }
                Provenance::Stated => ProvenanceFile::Stated,
                Provenance::Sheet { note } => ProvenanceFile::Sheet { note },
                Provenance::Measured { from, notes } => ProvenanceFile::Measured { from, notes },
            },
            spread: pack.spread,
            limits: pack.limits,
            circuit: pack.circuit.into(),
            variants: pack.variants.into_iter().map(CircuitFile::from).collect(),
        }
    }
}

impl From<Circuit> for CircuitFile {
    fn from(circuit: Circuit) -> Self {
        Self {
            capacity_ah: circuit.capacity_ah,
            r0_ohm: circuit.r0_ohm,
            r1_ohm: circuit.r1_ohm,
            c1_f: circuit.c1_f,
            charge_ohm: circuit.charge_ohm,
            charge_efficiency: circuit.charge_efficiency,
            offset_v: circuit.offset_v,
            ocv: circuit.ocv.points().to_vec(),
            rise: Some(circuit.rise),
            warmth: Some(circuit.warmth),
            wells: circuit.wells,
        }
    }
}

impl TryFrom<PackFile> for Pack {
    type Error = PackError;

    fn try_from(file: PackFile) -> Result<Self, PackError> {
        if file.format != FORMAT {
            return Err(PackError::Value {
                what: "the format of the pack file",
                value: f64::from(file.format),
                right: "1",
            });
        }
        let variants = file.variants.into_iter().map(Circuit::try_from);
        Ok(Self {
            name: file.name,
            chemistry: file.chemistry.map(|c| c.parse::<Chemistry>()).transpose()?,
            rated_ah: above("rated_ah", file.rated_ah, 0.0, "a number above 0")?,
            circuit: file.circuit.try_into()?,
            idle_a: within("idle_a", file.idle_a, 0.0, 1e3, "a number of 0 or more")?,
            limits: file.limits,
            spread: file.spread,
            variants: variants.collect::<Result<_, _>>()?,
            provenance: match file.provenance {
                ProvenanceFile::Typical { source } => Provenance::Typical { source: source.into() },
                ProvenanceFile::Stated => Provenance::Stated,
                ProvenanceFile::Sheet { note } => Provenance::Sheet { note },
                ProvenanceFile::Measured { from, notes } => Provenance::Measured { from, notes },
            },
        })
    }
}

impl TryFrom<CircuitFile> for Circuit {
    type Error = PackError;

    fn try_from(file: CircuitFile) -> Result<Self, PackError> {
        const MANY: f64 = 1e9;
        let ohm = |what, value| within(what, value, 0.0, MANY, "a number of 0 or more");
        let share = |what, value| within(what, value, 0.0, 1.0, "a number from 0 to 1");
        let r1_ohm = ohm("r1_ohm", file.r1_ohm)?;
        let c1_f = ohm("c1_f", file.c1_f)?;
        if (r1_ohm > 0.0) != (c1_f > 0.0) {
            let right = "0 only together with r1_ohm; a number above 0 with it";
            return Err(PackError::Value { what: "c1_f", value: c1_f, right });
        }
        let plain = Self::plain(
            within("capacity_ah", file.capacity_ah, 1e-9, MANY, "a number above 0")?,
            Ocv::new(file.ocv)?,
            ohm("r0_ohm", file.r0_ohm)?,
            r1_ohm,
            c1_f,
        );
        if let Some(rise) = file.rise {
            within("rise.share", rise.share, 0.0, MANY, "a number of 0 or more")?;
            within("rise.below_soc", rise.below_soc, 1e-9, 1.0, "a number from 0 to 1")?;
        }
        if let Some(warmth) = file.warmth {
            within("warmth.resistance_k", warmth.resistance_k, 0.0, 1e5, "0 or more")?;
            within("warmth.capacity_per_k", warmth.capacity_per_k, 0.0, 1.0, "0 or more")?;
        }
        if let Some(wells) = file.wells {
            within("wells.at_hand", wells.at_hand, 1e-6, 1.0, "a number from 0 to 1")?;
            within("wells.rate_per_s", wells.rate_per_s, 1e-9, MANY, "a number above 0")?;
        }
        above("charge_efficiency", file.charge_efficiency, 0.0, "a number above 0, up to 1")?;
        Ok(Self {
            charge_ohm: ohm("charge_ohm", file.charge_ohm)?,
            charge_efficiency: share("charge_efficiency", file.charge_efficiency)?,
            offset_v: within("offset_v", file.offset_v, -MANY, MANY, "a number")?,
            rise: file.rise.unwrap_or(plain.rise),
            warmth: file.warmth.unwrap_or(plain.warmth),
            wells: file.wells,
            ..plain
        })
    }
}

fn within(
    what: &'static str,
    value: f64,
    least: f64,
    most: f64,
    right: &'static str,
) -> Result<f64, PackError> {
    if (least..=most).contains(&value) {
        Ok(value)
    } else {
        Err(PackError::Value { what, value, right })
    }
}
