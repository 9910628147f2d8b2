//! What people should know of a record before they believe its numbers.

use quantity::Kind;

use crate::Settings;
use crate::trace::{Gap, Trace};

/// So many gaps are told one by one.
const MOST_GAPS: usize = 5;

impl Trace<'_> {
    /// What holds for every run of the record.
    pub(crate) fn notices(&self, settings: &Settings) -> Vec<String> {
        let mut notices = Vec::new();
        if self.zero_a != 0.0 {
            let share = self.zero_a.abs() / self.peak_a;
            notices.push(format!(
                "the current meter shows {} with nothing connected; this was taken off every reading ({:.1} % of the largest current)",
                signed(Kind::Current, self.zero_a),
                100.0 * share,
            ));
        }
        for gap in self.gaps.iter().take(MOST_GAPS) {
            notices.push(self.of_gap(*gap));
        }
        if let Some(more) = self.gaps.len().checked_sub(MOST_GAPS).filter(|more| *more > 0) {
            notices.push(format!("and {more} more times without readings, treated the same way"));
        }
        let resolution = self.record.resolution;
        let steps = [(Kind::Voltage, resolution.voltage_v), (Kind::Current, resolution.current_a)]
            .iter()
            .filter(|(_, step)| *step > 0.0)
            .map(|(kind, step)| kind.show(*step))
            .collect::<Vec<_>>()
            .join(" and ");
        match settings.instrument {
            None => notices.push(
                "the accuracy of the meter is not given, so the uncertainty holds only the last digits, the sampling, the noise and the ends of the run"
                    .to_owned(),
            ),
            Some(instrument) if instrument.current.digits > 0.0 || instrument.voltage.digits > 0.0 => {
                notices.push(format!(
                    "the digits of the meter's accuracy were taken as {steps}, the steps seen in the data"
                ));
            }
            Some(_) => {}
        }
        notices
    }

    fn of_gap(&self, gap: Gap) -> String {
        let [from_s, to_s] = [gap.at, gap.at + 1].map(|at| self.elapsed_s(at));
        let span = Kind::Duration.show(to_s - from_s);
        let from = Kind::Duration.show(from_s);
        if gap.bridged {
            return format!(
                "{span} without readings after {from}: the readings on both sides agree, so the time between them is counted and its bound is in the uncertainty"
            );
        }
        let most_a =
            [gap.at, gap.at + 1].map(|at| self.current_a(at).abs()).into_iter().fold(0.0, f64::max);
        format!(
            "{span} without readings after {from}: it is too long or the readings on both sides differ, so nothing is counted in it; at the larger of their currents it would be {}",
            Kind::Charge.show(most_a * (to_s - from_s) / 3600.0),
        )
    }
}

fn signed(kind: Kind, value: f64) -> String {
    format!("{}{}", if value < 0.0 { "-" } else { "" }, kind.show(value.abs()))
}
