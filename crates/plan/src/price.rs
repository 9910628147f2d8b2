//! What a thing of the plan costs.

use crate::error::PlanError;
use crate::section::Section;

/// `price = 140`: a plain number, which needs the word it is counted in.
pub(crate) fn read(
    section: &mut Section<'_>,
    currency: Option<&str>,
) -> Result<Option<f64>, PlanError> {
    let price = section.maybe_number("price", 0.0..=1e9)?;
    if price.is_some() && currency.is_none() {
        return Err(section.error(
            "price",
            "what is a price counted in? Write such as currency = \"crowns\" near the top of the file, below format = 1",
        ));
    }
    Ok(price)
}
