//! The one-diode panel and a day's harvest against a general-purpose solar library.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

#[path = "../../sky/tests/table/mod.rs"]
mod table;

use sky::{Aim, AirTemperature, Cloud, Facing, Steps, Surroundings, light_on_panel};
use source::{Cells, Controller, Conversion, DataSheet, Diode, Module, Panel, Profile};
use table::{Row, Worst, rows};

fn module(row: &Row) -> Module {
    Module {
        photocurrent_a: row.number("I_L_ref_a"),
        saturation_a: row.number("I_o_ref_a"),
        series_ohm: row.number("R_s_ohm"),
        shunt_ohm: row.number("R_sh_ref_ohm"),
        thermal_v: row.number("a_ref_v"),
        alpha_a_per_k: row.number("alpha_sc_a_per_c"),
    }
}

fn data_sheet(row: &Row) -> DataSheet {
    DataSheet {
        max_power_v: row.number("v_mp_v"),
        max_power_a: row.number("i_mp_a"),
        open_circuit_v: row.number("v_oc_v"),
        short_circuit_a: row.number("i_sc_a"),
        alpha_a_per_k: row.number("alpha_sc_a_per_c"),
        beta_v_per_k: row.number("beta_voc_v_per_c"),
    }
}

#[test]
fn a_data_sheet_gives_the_diode() {
    let mut worst = Worst::default();
    for row in rows("sky/panel_modules.csv") {
        let (expect, found) = (module(&row), data_sheet(&row).fit().unwrap());
        let mut see = |found: f64, expect: f64, what: &str| {
            worst.see(found / expect - 1.0, || format!("{} {what}", row.text("module")));
        };
        see(found.photocurrent_a, expect.photocurrent_a, "photocurrent");
        see(found.series_ohm, expect.series_ohm, "series");
        see(found.thermal_v, expect.thermal_v, "thermal");
        see(found.saturation_a.ln(), expect.saturation_a.ln(), "saturation");
        see(found.shunt_ohm, expect.shunt_ohm, "shunt");
    }
    worst.at_most(1e-6);
}

#[test]
fn the_diode_has_the_tables_currents() {
    let modules = rows("sky/panel_modules.csv");
    let (mut small, mut power) = (Worst::default(), Worst::default());
    for row in rows("sky/panel_dc.csv") {
        let name = row.text("module");
        let module = module(modules.iter().find(|m| m.text("module") == name).unwrap());
        let (light, cell_c) = (row.number("effective_irradiance_w_m2"), row.number("temp_cell_c"));
        let diode = module.under(light, cell_c);
        let what = |of: &str| format!("{name} {light} W/m² {cell_c} °C {of}");
        let mut see = |found: f64, column: &str| {
            small.see(found - row.number(column), || what(column));
        };
        see(diode.photocurrent_a, "photocurrent_a");
        see(diode.current_a(0.0), "i_sc_a");
        see(diode.open_circuit_v(), "v_oc_v");
        see(diode.current_a(12.5), "i_at_12p5v_a");
        see(diode.current_a(13.5), "i_at_13p5v_a");
        see(diode.current_a(14.4), "i_at_14p4v_a");
        power.see(diode.max_power().power_w() - row.number("p_mp_w"), || what("most power"));
        // Near the top voltage and current are loose where the power is not.
        power.see((diode.max_power().voltage_v - row.number("v_mp_v")) / 100.0, || what("v_mp"));
        power.see((diode.max_power().current_a - row.number("i_mp_a")) / 100.0, || what("i_mp"));
        let rated = Panel::rated(row.number("pdc0_w"), row.number("gamma_pdc_per_c")).unwrap();
        power.see(rated.power_w(light, cell_c) - row.number("p_linear_w"), || what("linear"));
    }
    small.at_most(1e-6);
    power.at_most(2e-6);
}

#[test]
fn a_days_harvest() {
    let mut worst = Worst::default();
    for row in rows("sky/harvest_day.csv") {
        let around = Surroundings {
            turbidity: row.number("linke_turbidity"),
            albedo: row.number("albedo"),
            air: AirTemperature::Constant(row.number("temp_air_c")),
            wind_mps: row.number("wind_mps"),
            ..Surroundings::at(row.place())
        };
        let facing =
            Facing::new(row.number("surface_tilt_deg"), row.number("surface_azimuth_deg")).unwrap();
        let steps =
            Steps { start: row.time("window_start_utc").unwrap(), step_s: 60.0, count: 1440 };
        let day = light_on_panel(&around, &Aim::Fixed(facing), &Cloud::Clear, steps).unwrap();
        let panel = Panel::rated(100.0, -0.004).unwrap();
        let watts: Vec<f64> =
            day.iter().map(|l| panel.power_w(l.poa_effective_w_m2, l.cell_temp_c)).collect();
        let hours = |sum: f64| sum / 60.0;
        let what = |of: &str| format!("{} {} {of}", row.text("site"), row.text("local_date"));
        let mut see = |found: f64, column: &str| {
            // Relative, but not for polar days of next to nothing.
            worst.see((found - row.number(column)) / row.number(column).max(1.0), || what(column));
        };
        see(hours(day.iter().map(|l| l.ghi_w_m2).sum()), "ghi_wh_m2");
        see(hours(day.iter().map(|l| l.poa_global_w_m2).sum()), "poa_global_wh_m2");
        see(hours(day.iter().map(|l| l.poa_effective_w_m2).sum()), "poa_effective_wh_m2");
        see(day.iter().map(|l| l.cell_temp_c).fold(f64::MIN, f64::max), "max_temp_cell_c");
        see(watts.iter().copied().fold(0.0, f64::max), "peak_panel_w");
        see(hours(watts.iter().sum()), "panel_100w_wh");
    }
    worst.at_most(0.001);
}

#[test]
fn a_cable_and_dirt_cost_what_they_must() {
    let [row, ..] = &rows("sky/panel_modules.csv")[..] else { panic!("no module") };
    let module = module(row);
    let clean = Panel::new(Cells::Diode(module), 0.0, 0.0).unwrap();
    let cabled = Panel::new(Cells::Diode(module), 0.0, 0.3).unwrap();
    let dirty = Panel::new(Cells::Diode(module), 0.05, 0.0).unwrap();
    // Through 0.3 Ω the current at 13.5 V is the panel's at 13.5 V + 0.3 Ω × I.
    let through_a = cabled.current_a(900.0, 40.0, 13.5);
    let at_panel_a = clean.current_a(900.0, 40.0, 13.5 + 0.3 * through_a);
    assert!((through_a - at_panel_a).abs() < 1e-9, "{through_a} {at_panel_a}");
    assert!((dirty.power_w(1000.0, 30.0) - clean.power_w(950.0, 30.0)).abs() < 1e-12);
    // By rating, too, and near to I²R.
    let rated = |cable_ohm| {
        let cells = Cells::Rated { rating_w: 50.0, coefficient_per_k: -0.004, max_power_v: 18.0 };
        Panel::new(cells, 0.0, cable_ohm).unwrap()
    };
    let lost_w = rated(0.0).power_w(900.0, 25.0) - rated(0.3).power_w(900.0, 25.0);
    assert!((lost_w - 2.5_f64.powi(2) * 0.3).abs() < 1e-9, "{lost_w}");
    let through_a = rated(0.3).current_a(900.0, 50.0, 17.0);
    let at_panel_a = rated(0.0).current_a(900.0, 50.0, 17.0 + 0.3 * through_a);
    assert!((through_a - at_panel_a).abs() < 1e-12);
}

#[test]
fn controllers_give_the_batterys_current() {
    let mppt = |limit_a| {
        Controller::new(Conversion::Mppt { efficiency: 0.95 }, limit_a, 0.2, Profile::LFP).unwrap()
    };
    let panel = Panel::rated(100.0, -0.004).unwrap();
    assert!((mppt(20.0).output_a(&panel, 1000.0, 25.0, 12.5) - 7.6).abs() < 1e-12);
    assert_eq!(mppt(5.0).output_a(&panel, 1000.0, 25.0, 12.5), 5.0);
    assert_eq!(mppt(5.0).output_a(&panel, 0.0, 25.0, 12.5), 0.0);
    let pwm = Controller::new(Conversion::Pwm, 20.0, 0.0, Profile::AGM).unwrap();
    // 100 W at 18 V: 5.56 A whatever the battery's voltage; the rest of the 100 W is lost.
    for battery_v in [11.0, 12.5, 14.4] {
        let into_a = pwm.output_a(&panel, 1000.0, 25.0, battery_v);
        assert!((into_a - 100.0 / 18.0).abs() < 1e-12, "{battery_v}: {into_a}");
    }
    assert!(Controller::new(Conversion::Mppt { efficiency: 1.1 }, 1.0, 0.0, Profile::GEL).is_err());
}

/// Figures that no diode has are refused, not fitted.
#[test]
fn impossible_data_sheets_are_named() {
    let [row, ..] = &rows("sky/panel_modules.csv")[..] else { panic!("no module") };
    let good = data_sheet(row);
    let said = |sheet: DataSheet| match sheet.fit() {
        Err(error) => error.to_string(),
        Ok(module) => panic!("{sheet:?} fitted {module:?}"),
    };
    assert!(said(DataSheet { max_power_v: 22.0, ..good }).contains("voltage at most power is 22"));
    assert!(said(DataSheet { beta_v_per_k: 0.07, ..good }).contains("change is 0.07 V/K"));
    assert!(said(DataSheet { beta_v_per_k: -1e-4, ..good }).contains("does not fit together"));
    assert!(said(DataSheet { short_circuit_a: f64::NAN, ..good }).contains("NaN"));
}

/// With no light nothing comes out, and nothing breaks.
#[test]
fn darkness_gives_nothing() {
    let dark = Diode {
        photocurrent_a: 0.0,
        saturation_a: 1e-10,
        series_ohm: 0.4,
        shunt_s: 0.0,
        thermal_v: 0.9,
    };
    assert_eq!(dark.max_power().power_w(), 0.0);
    assert!(dark.current_a(12.5) < 0.0);
    assert_eq!(dark.open_circuit_v(), 0.0);
}
