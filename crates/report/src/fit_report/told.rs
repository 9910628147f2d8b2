//! What is said of a fit in words.

use pack::fit::Fit;
use pack::{Pack, Provenance};
use quantity::{Kind, significant};

use super::Fitted;
use crate::words::{file_name, percent, sentence};

pub(super) const RESIDUALS: &str = "Modelled less measured voltage. A line near nought is a record that the model can repeat; at the ends of a curve, where the voltage falls steeply, a few hundredths of the charge make many millivolts, and what is more than 100 mV off is not drawn.";
pub(super) const CURVE: &str =
    "The voltage of the rested battery at 25 °C, as the records determine it.";

pub(super) const METHOD: [&str; 4] = [
    "The open-circuit curve and the resistances are solved for directly; the wells, the time constant and what temperature and charging do are searched by least squares, each starting from what is typical of the chemistry with an uncertainty of its own. What the records cannot tell stays there and is named.",
    "Each record that began full is also predicted by a fit to the others alone. With only one other left, that says little about other rates.",
    "The intervals are of 95 %, two standard uncertainties: ± 5 % lies from 95 to 105 % of the value, ×÷ 2 from half to twice of it.",
    "The time of a record is that to its lowest voltage under load; the voltage's root mean square (RMS) is taken between 10 and 95 % of the charge delivered.",
];

/// (common practice, no source)
pub(super) const CAUTIONS: [&str; 3] = [
    "The model foretells voltages, not safety: stay within the currents, voltages and temperatures that the battery's maker allows.",
    "Never charge a lithium battery below 0 °C unless its maker allows it. A pack whose protection lacks the sensor will be charged all the same, and harmed.",
    "Lead-acid batteries give off gas that can explode when they are charged: air the room, no flame, no sparks.",
];

pub(super) fn subtitle(pack: &Pack) -> String {
    let chemistry = pack.chemistry.map_or_else(String::new, |chemistry| format!(" {chemistry}"));
    format!("{} ({}{chemistry})", pack.name, Kind::Charge.show(pack.rated_ah))
}

pub(super) fn answer(fit: &Fit) -> String {
    let pack = &fit.pack;
    let capacity_ah = pack.circuit.capacity_ah;
    let of_label = percent(capacity_ah / pack.rated_ah);
    let from = match fit.runs.len() {
        1 => "one record".to_owned(),
        count => format!("{count} records"),
    };
    if let Some(lowest_v) = fit.not_below_v {
        return format!(
            "The records end at {} V, before {} is empty: until there it gives {} Ah, emptied slowly at 25 °C.",
            significant(lowest_v, 4),
            pack.name,
            significant(capacity_ah, 3),
        );
    }
    format!(
        "Emptied slowly at 25 °C, {} gives {} Ah, {of_label} of its label, as {from} tell{}.",
        pack.name,
        significant(capacity_ah, 3),
        if fit.runs.len() == 1 { "s" } else { "" },
    )
}

/// How the fits to the other records predict each.
pub(super) fn check(fit: &Fit) -> String {
    let offs: Vec<Option<f64>> = fit.left_out.iter().map(pack::fit::Met::time_off).collect();
    let worst = offs.iter().flatten().map(|off| off.abs()).fold(0.0, f64::max);
    let only_one_other = if fit.runs.len() == 2 {
        " With one other left, that says little about other rates."
    } else {
        ""
    };
    match (offs.len(), offs.iter().all(Option::is_some)) {
        (0, _) => "With one record that began full there is nothing to check it against; a second, at another current, would.".to_owned(),
        (_, true) => format!(
            "A fit to the other records predicts each record's time within {}.{only_one_other}",
            percent(worst)
        ),
        _ => format!("A fit to the other records does not reach every record's lowest voltage; see the table.{only_one_other}"),
    }
}

pub(super) fn notes(pack: &Pack) -> Vec<String> {
    let notes = match &pack.provenance {
        Provenance::Measured { notes, .. } => notes.clone(),
        Provenance::Sheet { note } => vec![note.clone()],
        Provenance::Typical { .. } | Provenance::Stated => Vec::new(),
    };
    notes.iter().map(|note| sentence(note)).collect()
}

/// How the records were read; what holds for all of them is told once.
pub(super) fn notices(fitted: &Fitted<'_>) -> Vec<String> {
    let records = &fitted.records;
    let of_all = |notice: &String| records.iter().all(|record| record.notices.contains(notice));
    let first = records.first().map_or(&[][..], |record| record.notices);
    let mut told: Vec<String> =
        first.iter().filter(|notice| of_all(notice)).map(|notice| sentence(notice)).collect();
    for record in records {
        let own = record.notices.iter().filter(|notice| !of_all(notice));
        told.extend(own.map(|notice| format!("{}: {}", file_name(record.name), sentence(notice))));
    }
    told
}
