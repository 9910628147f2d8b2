//! Sunlight and warmth against a general-purpose solar library.

mod table;

use sky::{
    ClearSky, Incidence, Irradiance, PlaneSun, SkyModel, Warming, dew_point_c,
    extraterrestrial_w_m2, on_plane, pressure_pa, relative_air_mass, split_global,
    vapour_pressure_hpa,
};
use table::{Worst, rows};

/// Tables are printed to 1e-5 W/m².
const PRINTED_W_M2: f64 = 2e-5;

fn cos(degrees: f64) -> f64 {
    degrees.to_radians().cos()
}

#[test]
fn clear_sky() {
    let [mut light, mut mass, mut pressure] = std::array::from_fn(|_| Worst::default());
    for row in rows("sky/clearsky.csv") {
        let what = || format!("{} {}", row.text("site"), row.text("utc"));
        let elevation_m = row.number("elev_m");
        pressure.see(pressure_pa(elevation_m) - row.number("pressure_pa"), what);
        let outside = extraterrestrial_w_m2(row.number("day_of_year") as u16);
        light.see(outside - row.number("dni_extra_w_m2"), what);
        let apparent_deg = 90.0 - row.number("apparent_zenith_deg");
        if let Some(expect) = row.optional("airmass_relative") {
            mass.see(relative_air_mass(apparent_deg) / expect - 1.0, what);
        }
        let found =
            ClearSky::new(elevation_m, row.number("pressure_pa"), row.number("linke_turbidity"))
                .at(apparent_deg, outside);
        light.see(found.ghi_w_m2 - row.number("ghi_w_m2"), what);
        light.see(found.dni_w_m2 - row.number("dni_w_m2"), what);
        light.see(found.dhi_w_m2 - row.number("dhi_w_m2"), what);
    }
    light.at_most(PRINTED_W_M2);
    mass.at_most(1e-7);
    pressure.at_most(0.06);
}

#[test]
fn split() {
    let mut worst = Worst::default();
    for row in rows("sky/decomposition.csv") {
        let what = || format!("case {}", row.text("case"));
        let outside = extraterrestrial_w_m2(row.number("day_of_year") as u16);
        let found = split_global(row.number("ghi_w_m2"), 90.0 - row.number("zenith_deg"), outside);
        worst.see(found.dni_w_m2 - row.number("dni_w_m2"), what);
        worst.see(found.dhi_w_m2 - row.number("dhi_w_m2"), what);
    }
    worst.at_most(PRINTED_W_M2);
}

#[test]
fn tilted_plane() {
    let mut worst = Worst::default();
    for row in rows("sky/transposition.csv") {
        let model = match row.text("model") {
            "isotropic" => SkyModel::Isotropic,
            "haydavies" => SkyModel::HayDavies,
            _ => SkyModel::Perez,
        };
        let light = Irradiance {
            ghi_w_m2: row.number("ghi_w_m2"),
            dni_w_m2: row.number("dni_w_m2"),
            dhi_w_m2: row.number("dhi_w_m2"),
        };
        let sun = PlaneSun {
            cos_zenith: cos(row.number("solar_zenith_deg")),
            cos_incidence: cos(row.number("aoi_deg")),
            extraterrestrial_w_m2: row.number("dni_extra_w_m2"),
            // Empty where the sun is below the horizon and no light falls.
            relative_air_mass: row.optional("airmass_relative").unwrap_or(0.0),
            hidden: false,
        };
        let found = on_plane(
            model,
            &light,
            &sun,
            cos(row.number("surface_tilt_deg")),
            row.number("albedo"),
        );
        let what = || format!("case {} {model:?}", row.text("case"));
        worst.see(found.direct_w_m2 - row.number("poa_direct_w_m2"), what);
        worst.see(found.sky_w_m2 - row.number("poa_sky_diffuse_w_m2"), what);
        worst.see(found.ground_w_m2 - row.number("poa_ground_diffuse_w_m2"), what);
        worst.see(found.global_w_m2() - row.number("poa_global_w_m2"), what);
    }
    worst.at_most(PRINTED_W_M2);
}

#[test]
fn incidence() {
    let glass = |coating_index| Incidence::Physical {
        index: 1.526,
        extinction_per_m: 4.0,
        thickness_m: 0.002,
        coating_index,
    };
    let mut worst = Worst::default();
    for row in rows("sky/iam.csv") {
        let aoi_deg = row.number("aoi_deg");
        for (kind, column) in [
            (Incidence::default(), "iam_ashrae_b0p05"),
            (glass(None), "iam_physical_n1p526_k4_l0p002"),
            (glass(Some(1.29)), "iam_physical_ar_n1p526_nar1p29"),
        ] {
            let found = kind.share(cos(aoi_deg));
            worst.see(found - row.number(column), || format!("{column} at {aoi_deg}"));
        }
    }
    worst.at_most(1e-8);
}

#[test]
fn cell_temperature() {
    let mut worst = Worst::default();
    for row in rows("sky/celltemp.csv") {
        let found_c = Warming::default().cell_c(
            row.number("poa_w_m2"),
            row.number("temp_air_c"),
            row.number("wind_mps"),
        );
        let expect_c = row.number("faiman_u0_25_u1_6p84_c");
        worst.see(found_c - expect_c, || format!("case {}", row.text("case")));
    }
    worst.at_most(1e-5);
}

#[test]
fn dew_point() {
    let (mut worst, mut remembered) = (Worst::default(), Worst::default());
    for row in rows("sky/dewpoint.csv") {
        let (air_c, share) = (row.number("temp_c"), row.number("rh_percent") / 100.0);
        let what = || format!("{} at {air_c} °C", row.text("source"));
        if row.text("source") == "wmo8-magnus-water" {
            worst.see(dew_point_c(air_c, share) - row.number("dew_point_c"), what);
            worst.see(vapour_pressure_hpa(air_c) - row.number("e_sat_water_hpa"), what);
        } else {
            remembered.see(dew_point_c(air_c, share) - row.number("dew_point_c"), what);
        }
    }
    worst.at_most(1e-5);
    // These rows are a rounded table from memory.
    remembered.at_most(0.1);
}
