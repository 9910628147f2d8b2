//! Measured days, imported and put on a panel, against a general-purpose solar library's chain on
//! the same files.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

#[path = "../../sky/tests/table/mod.rs"]
mod table;

use jiff::civil::Date;
use sky::weather::{Gaps, Weather};
use sky::{Aim, Facing, Light, Surroundings};
use source::Panel;
use table::{Row, Worst, rows};

/// What this trade can promise of the reference chain: 0.5 %.
const AGREEMENT: f64 = 0.005;

fn weather(row: &Row) -> Weather {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/measured/");
    let bytes = std::fs::read(format!("{folder}{}", row.text("file"))).unwrap();
    Weather::read(&bytes, Some(row.place())).unwrap()
}

fn hours(lights: &[Light], of: impl Fn(&Light) -> f64) -> f64 {
    lights.iter().map(of).sum::<f64>() / 60.0
}

#[test]
fn measured_days_give_the_same_energy() {
    let panel = Panel::rated(100.0, -0.004).unwrap();
    let [mut level, mut plane, mut watts] = std::array::from_fn(|_| Worst::default());
    for row in rows("measured/daily_summary.csv") {
        let date: Date = row.text("day")[..10].parse().unwrap();
        let mut weather = weather(&row);
        let around = Surroundings { albedo: row.number("albedo"), ..Surroundings::at(row.place()) };
        let aim =
            Aim::Fixed(Facing::new(row.number("tilt_deg"), row.number("azimuth_deg")).unwrap());
        let steps = weather.day(date).unwrap();
        assert_eq!(steps.count, row.number("minutes") as usize);
        let what = |of: &str| format!("{} {date} {of}", row.text("file"));

        let (lights, filled) = weather.light_on_panel(&around, &aim, steps, Gaps::Dark).unwrap();
        // All there but for six minutes of beam at Payerne on the clear day.
        let expect_dark = row.number("missing_dni") as usize;
        assert_eq!((filled.dark, filled.closed, filled.split), (expect_dark, 0, 0), "{date}");
        let see = |worst: &mut Worst, found: f64, column: &str| {
            worst.see(found / row.number(column) - 1.0, || what(column));
        };
        let energy = |lights: &[Light]| {
            hours(lights, |l| panel.power_w(l.poa_effective_w_m2, l.cell_temp_c))
        };
        see(&mut level, hours(&lights, |l| l.ghi_w_m2), "ghi_wh_m2");
        see(&mut plane, hours(&lights, |l| l.poa_global_w_m2), "poa_from_measured_wh_m2");
        see(&mut watts, energy(&lights), "panel_100w_from_measured_wh");

        for reading in &mut weather.readings {
            (reading.dni_w_m2, reading.dhi_w_m2) = (None, None);
        }
        let (lights, _) = weather.light_on_panel(&around, &aim, steps, Gaps::Dark).unwrap();
        see(&mut plane, hours(&lights, |l| l.poa_global_w_m2), "poa_from_ghi_erbs_wh_m2");
        see(&mut watts, energy(&lights), "panel_100w_from_ghi_erbs_wh");
    }
    level.at_most(AGREEMENT);
    plane.at_most(AGREEMENT);
    watts.at_most(AGREEMENT);
}
