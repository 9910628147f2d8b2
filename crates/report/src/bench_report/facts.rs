//! What a run gave, as names and values.

use bench::{AboveCutoff, Discharge, Efficiency, Recharge, Run, RunKind, Settings, Solar};
use quantity::{Clock, Kind, significant, with_uncertainty};
use record::Record;

use super::{Tested, told};
use crate::table::Table;
use crate::words::{NONE, fixed, in_utc, percent, percent_within, short};

/// The rows of a table of facts: name, value, remark.
struct Rows(Table);

impl Rows {
    fn add(&mut self, name: impl Into<String>, value: String, remark: impl Into<String>) {
        self.0.row([name.into(), value, remark.into()]);
    }

    fn discharge(&mut self, test: &Tested<'_>, kind: RunKind, discharge: &Discharge) {
        let of_label = |share: Option<f64>, label: Option<f64>, unit: &str| match (share, label) {
            // what pulses or nights of use take says nothing about the label
            (Some(share), Some(label)) if kind == RunKind::Discharge => {
                format!("{} of the {} {unit} label", percent(share), short(label))
            }
            _ => String::new(),
        };
        let settings = test.settings;
        self.add("Load on for", hours(discharge.duration_s), "");
        self.add(
            "Charge delivered",
            with_uncertainty(discharge.capacity_ah, discharge.capacity_u_ah, "Ah"),
            of_label(discharge.share_of_label, settings.rated_ah, "Ah"),
        );
        self.add(
            "Energy delivered",
            with_uncertainty(discharge.energy_wh, discharge.energy_u_wh, "Wh"),
            of_label(discharge.share_of_label_energy, settings.rated_wh, "Wh"),
        );
        if let Some(capacity_ah) = discharge.capacity_at_20_c_ah {
            let capacity = format!("{} Ah", significant(capacity_ah, 4));
            self.add("Charge at 20 °C", capacity, "IEC 60896");
        }
        self.above(&discharge.above_cutoff, "");
        if let Some(at_gear) = &discharge.at_gear {
            self.above(at_gear, " at the gear");
        }
        self.add(
            "Mean",
            format!("{} V", significant(discharge.mean_voltage_v, 4)),
            format!("{} W", significant(discharge.mean_power_w, 3)),
        );
        let [first_v, last_v] = discharge.first_last_v;
        let to = format!("to {} V", fixed(last_v, 2));
        self.add("Under load from", format!("{} V", fixed(first_v, 2)), to);
        for (name, rest_v) in
            [("At rest before", discharge.rest_before_v), ("At rest after", discharge.rest_after_v)]
        {
            if let Some(rest_v) = rest_v {
                self.add(name, format!("{} V", fixed(rest_v, 2)), "");
            }
        }
    }

    fn above(&mut self, above: &AboveCutoff, place: &str) {
        self.add(
            format!("At {} V or more{place}", short(above.cutoff_v)),
            format!("{} of the charge", percent_within(above.share, above.share_u)),
            format!(
                "{} Ah, {} Wh",
                significant(above.capacity_ah, 4),
                significant(above.energy_wh, 4)
            ),
        );
    }

    fn chargers(&mut self, settings: &Settings, run: &Run, recharge: &Recharge) {
        let amperes = |current_a: f64| Kind::Current.show(current_a);
        if let Some(promised_a) = settings.charger_a {
            let verdict = recharge.charger_gives(promised_a).to_string();
            self.add(format!("The charger's label, {}", amperes(promised_a)), verdict, "JCGM 106");
        }
        if let Some(current_a) = settings.other_charger_a {
            let (time, remark) = match run.with_charger_s(current_a) {
                Some(duration_s) => (hours(duration_s), ""),
                None => (NONE.to_owned(), "the record shows no resistance to tell it by"),
            };
            self.add(format!("With a charger of {}", amperes(current_a)), time, remark);
        }
    }

    fn recharge(&mut self, test: &Tested<'_>, run: &Run, recharge: &Recharge) {
        self.add("Current in for", hours(recharge.duration_s), "pauses not counted");
        let charge = with_uncertainty(recharge.charge_ah, recharge.charge_u_ah, "Ah");
        self.add("Charge put in", charge, "");
        let energy = with_uncertainty(recharge.energy_wh, recharge.energy_u_wh, "Wh");
        self.add(
            "Energy put in",
            energy,
            format!("{} W on average", significant(recharge.mean_power_w, 3)),
        );
        if let Some(solar) = &recharge.solar {
            self.solar(solar);
        } else {
            let current = format!("{} A on average", significant(recharge.cc_current_a, 3));
            self.add("At the source's limit (CC)", hours(recharge.cc_s), current);
            if let Some(voltage_v) = recharge.cv_voltage_v {
                let voltage = format!("{} V", fixed(voltage_v, 2));
                self.add("At the voltage limit (CV)", hours(recharge.cv_s), voltage);
            }
            self.chargers(test.settings, run, recharge);
        }
        for reached in &recharge.time_to {
            let share = Kind::Fraction.show(reached.share);
            self.add(format!("To {share} of it"), hours(reached.duration_s), "");
        }
        if let Some(efficiency) = &recharge.efficiency {
            self.efficiency(efficiency);
        }
    }

    fn efficiency(&mut self, efficiency: &Efficiency) {
        let coulombic = percent_within(efficiency.coulombic, efficiency.coulombic_u);
        self.add("Charge out over charge in", coulombic, "");
        let energy = percent_within(efficiency.energy, efficiency.energy_u);
        self.add("Energy out over energy in", energy, "");
    }

    fn solar(&mut self, solar: &Solar) {
        let of_rating = |share: Option<f64>| {
            share.map_or_else(String::new, |share| {
                format!("{} of the panel's rating", percent(share))
            })
        };
        self.add("From first to last sun", hours(solar.span_s), "clouds included");
        let watts = |power_w: f64| format!("{} W", significant(power_w, 3));
        let mean = of_rating(solar.mean_share_of_rating);
        self.add("Mean power in that time", watts(solar.mean_power_w), mean);
        let peak = of_rating(solar.peak_share_of_rating);
        self.add("Greatest power", watts(solar.peak_power_w), peak);
        if let Some(share) = solar.share_of_clear_sky {
            let clear = solar.clear_sky_wh.map(|wh| format!("{} Wh from the panel", fixed(wh, 0)));
            self.add("Of what a clear sky gives", percent(share), clear.unwrap_or_default());
        }
    }
}

fn hours(duration_s: f64) -> String {
    format!("{} h", Clock(duration_s))
}

/// What a run gave.
pub(super) fn facts(test: &Tested<'_>, run: &Run) -> Table {
    let caption = format!("{}: {}", test.record.file, told::kind(run));
    let mut rows = Rows(Table::facts(caption).text(""));
    if let Some(start) = started(test.record, run) {
        rows.add("Began", start, "");
    }
    if let Some(discharge) = &run.discharge {
        rows.discharge(test, run.kind, discharge);
    }
    if let Some(recharge) = &run.recharge {
        rows.recharge(test, run, recharge);
    }
    if let Some(temperature_c) = run.mean_temperature_c {
        rows.add("Mean temperature", Kind::Temperature.show(temperature_c), "");
    }
    rows.0
}

fn started(record: &Record, run: &Run) -> Option<String> {
    let on_the_wall = || {
        let since = jiff::SignedDuration::try_from_secs_f64(run.from_s).ok()?;
        let at = record.local_start?.checked_add(since).ok()?;
        Some(format!("{} (no zone)", at.strftime("%Y-%m-%d %H:%M")))
    };
    run.start.map(in_utc).or_else(on_the_wall)
}
