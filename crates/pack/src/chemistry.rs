//! The chemistries, by the words people use for them.

use crate::PackError;
use std::{fmt, str::FromStr};

/// What a pack is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Chemistry {
    /// Lithium iron phosphate.
    Lfp,
    /// Lithium nickel manganese cobalt oxide, and its like with 3.6 V a cell.
    Nmc,
    /// Lead-acid with liquid acid.
    Flooded,
    /// Lead-acid with the acid in a glass mat.
    Agm,
    /// Lead-acid with the acid in a gel.
    Gel,
}

impl Chemistry {
    /// All of them, in the order they are offered.
    pub const ALL: [Self; 5] = [Self::Lfp, Self::Nmc, Self::Flooded, Self::Agm, Self::Gel];

    /// Whether it is one of the lithium chemistries.
    #[must_use]
    pub fn is_lithium(self) -> bool {
        matches!(self, Self::Lfp | Self::Nmc)
    }

    /// Cells in series in a pack sold as 12 V (common practice, no source).
    #[must_use]
    pub fn cells(self) -> u32 {
        match self {
            Self::Lfp => 4,
            Self::Nmc => 3,
            Self::Flooded | Self::Agm | Self::Gel => 6,
        }
    }
}

impl fmt::Display for Chemistry {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(match self {
            Self::Lfp => "LFP",
            Self::Nmc => "NMC",
            Self::Flooded => "flooded lead-acid",
            Self::Agm => "AGM",
            Self::Gel => "gel",
        })
    }
}

impl FromStr for Chemistry {
    type Err = PackError;

    /// Reads "LFP", "LiFePO4", "lithium iron phosphate", "Li-ion", "AGM", "lead acid" …;
    /// capitals, spaces and hyphens don't matter. Plain "lead-acid" is taken as flooded.
    fn from_str(text: &str) -> Result<Self, PackError> {
        let plain: String = text
            .chars()
            .filter(|c| c.is_alphanumeric())
            .flat_map(char::to_lowercase)
            .map(|c| if c == '₄' { '4' } else { c })
            .collect();
        Ok(match plain.as_str() {
            "lfp" | "lifepo4" | "lifepo" | "lithiumironphosphate" | "ironphosphate" => Self::Lfp,
            "nmc" | "nca" | "liion" | "lithiumion" | "lipo" | "licoo2" => Self::Nmc,
            "flooded" | "leadacid" | "lead" | "wet" | "floodedleadacid" => Self::Flooded,
            "agm" | "agmleadacid" | "vrla" => Self::Agm,
            "gel" | "gelleadacid" => Self::Gel,
            _ => return Err(PackError::Chemistry(text.to_owned())),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_people_use() {
        for (text, chemistry) in [
            ("lfp", Chemistry::Lfp),
            ("LiFePO4", Chemistry::Lfp),
            ("LiFePO₄", Chemistry::Lfp),
            ("Lithium iron phosphate", Chemistry::Lfp),
            ("Li-ion", Chemistry::Nmc),
            ("lead acid", Chemistry::Flooded),
            ("AGM", Chemistry::Agm),
            ("Gel", Chemistry::Gel),
        ] {
            assert_eq!(text.parse(), Ok(chemistry), "{text}");
        }
        for chemistry in Chemistry::ALL {
            assert_eq!(chemistry.to_string().parse(), Ok(chemistry));
        }
        let error = "NiMH".parse::<Chemistry>().unwrap_err().to_string();
        assert!(error.contains("NiMH") && error.contains("agm"), "{error}");
    }
}
