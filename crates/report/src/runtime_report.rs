//! How long a pack carries one load, for the terminal.

use pack::{Ended, Likely, Load, Pack, Provenance, Start};
use quantity::{Kind, significant};

use crate::table::{Table, indented, paragraph};
use crate::words::sentence;

/// What was asked.
#[derive(Debug, Clone, Copy)]
pub struct RuntimeAsked<'a> {
    /// The pack.
    pub pack: &'a Pack,
    /// Where it stands when the load comes on.
    pub start: Start,
    /// The load at the end of the cable.
    pub load: Load,
    /// The cable, there and back (Ω).
    pub behind_ohm: f64,
    /// The least voltage at the load (V).
    pub cutoff_v: f64,
}

/// The answer for a terminal of 80 columns.
#[must_use]
pub fn runtime_text(asked: &RuntimeAsked<'_>, likely: &Likely) -> String {
    let runtime = &likely.central;
    let load = match asked.load {
        Load::Power(power_w) => Kind::Power.show(power_w),
        Load::Current(current_a) => Kind::Current.show(current_a),
        Load::Resistance(ohm) => Kind::Resistance.show(ohm),
    };
    let cutoff = format!("{} V", significant(asked.cutoff_v, 3));
    let why = match runtime.ended_by {
        Ended::Cutoff => format!("then the voltage at the load falls to {cutoff}"),
        Ended::Empty => "then no charge is left".to_owned(),
        Ended::Collapse => {
            "then the voltage collapses: the cable and the pack can't bring this power any more"
                .to_owned()
        }
        Ended::Protection => "then the pack's own protection opens".to_owned(),
    };
    let time = Kind::Duration.show(runtime.time_to_cutoff_s);
    let mut table = Table::facts("");
    table.row(["Pack", &pack_words(asked.pack)]);
    if asked.start != Start::FULL {
        let Start { soc, temperature_c } = asked.start;
        let (from, at) = (Kind::Fraction.show(soc), Kind::Temperature.show(temperature_c));
        table.row(["When the load comes on", &format!("{from} full, at {at}")]);
    }
    table.row(["Load", &load]);
    if asked.behind_ohm > 0.0 {
        table.row(["Behind a cable of", &Kind::Resistance.show(asked.behind_ohm)]);
    }
    table.row(["Cutoff at the load", &cutoff]);
    let (low, high) =
        (Kind::Duration.show(likely.time_low_s), Kind::Duration.show(likely.time_high_s));
    if low != high {
        table.row(["19 times of 20", &format!("{low} to {high}")]);
    }
    table.row(["Charge delivered", &Kind::Charge.show(runtime.delivered_ah)]);
    table.row(["Energy delivered", &Kind::Energy.show(runtime.delivered_wh)]);
    table.row(["Left in the pack", &Kind::Fraction.show(runtime.end.soc.max(0.0))]);
    let answer = paragraph(&format!("{load} for {time}; {why}."));
    let mut text = format!("{answer}\n{}", table.terminal());
    for remark in remarks(asked.pack) {
        text.push_str(&indented(&sentence(&remark), "! ", "  "));
    }
    text
}

fn pack_words(pack: &Pack) -> String {
    let rated = Kind::Charge.show(pack.rated_ah);
    let chemistry = pack.chemistry.map_or_else(String::new, |chemistry| format!(" {chemistry}"));
    if pack.name.is_empty() {
        format!("{rated}{chemistry}")
    } else {
        format!("{} ({rated}{chemistry})", pack.name)
    }
}

/// What must be known of the pack's numbers.
fn remarks(pack: &Pack) -> Vec<String> {
    match &pack.provenance {
        Provenance::Typical { source } => vec![format!(
            "This pack was not measured: a typical curve is used ({source}). One bench record would replace it."
        )],
        Provenance::Stated => Vec::new(),
        Provenance::Sheet { note } => vec![note.clone()],
        Provenance::Measured { notes, .. } => notes.clone(),
    }
}

#[cfg(test)]
mod tests {
    use pack::{Chemistry, likely_runtime};

    use super::*;

    #[test]
    fn a_typical_pack_says_that_it_is_not_measured() {
        let pack = Pack::typical(Chemistry::Lfp, 40.0).unwrap();
        let (start, load) = (Start::FULL, Load::Power(30.0));
        let asked = RuntimeAsked { pack: &pack, start, load, behind_ohm: 0.05, cutoff_v: 12.0 };
        let found = likely_runtime(&pack, asked.load, asked.behind_ohm, asked.cutoff_v).unwrap();
        let text = runtime_text(&asked, &found);
        assert!(text.starts_with("30 W for "), "{text}");
        assert!(text.contains("19 times of 20") && text.contains(" h "), "{text}");
        assert!(text.contains("not measured") && text.contains("50 mΩ"), "{text}");
        assert!(text.lines().all(|line| line.chars().count() <= 80), "{text}");
    }
}
