//! A site's skyline, a panel's aim, clouds, and a season.

#![allow(clippy::unwrap_used, clippy::expect_used)]

use jiff::Timestamp;
use jiff::civil::Date;
use sky::{
    Aim, AirTemperature, Cloud, Error, Facing, Horizon, Incidence, Light, Night, Phase, Place,
    SkyModel, Steps, Surroundings, light_on_panel, moon_at, season, sun_at,
};

const LATITUDE_DEG: f64 = 56.9;

fn ridge() -> Surroundings {
    Surroundings::at(Place::new(LATITUDE_DEG, -4.2, 310.0).expect("a place"))
}

fn day() -> Steps {
    let start: Timestamp = "2026-06-21T00:17Z".parse().expect("an instant");
    Steps { start, step_s: 60.0, count: 1440 }
}

fn facing(tilt_deg: f64, azimuth_deg: f64) -> Facing {
    Facing::new(tilt_deg, azimuth_deg).expect("a facing")
}

fn energy_wh_m2(around: &Surroundings, aim: &Aim, cloud: &Cloud) -> f64 {
    let lights = light_on_panel(around, aim, cloud, day()).expect("a day");
    lights.iter().map(|light| light.poa_effective_w_m2).sum::<f64>() / 60.0
}

#[test]
fn a_turned_panel_gets_more_than_one_that_stands() {
    let around = ridge();
    let energy = |aim: Aim| energy_wh_m2(&around, &aim, &Cloud::Clear);
    let flat = energy(Aim::Fixed(Facing::FLAT));
    let fixed = energy(Aim::Fixed(facing(35.0, 180.0)));
    let turns = |hours: f64| energy(Aim::Tracked { every_s: 3600.0 * hours });
    let morning = "2026-06-21T00:00Z".parse().unwrap();
    let [nine, fifteen] =
        ["2026-06-21T10:00Z", "2026-06-21T14:30Z"].map(|text| text.parse().unwrap());
    let by_hand = energy(Aim::ReAimed(vec![
        (morning, facing(55.0, 95.0)),
        (nine, facing(35.0, 180.0)),
        (fifteen, facing(55.0, 265.0)),
    ]));
    assert!(flat < fixed && fixed < by_hand && by_hand < turns(1.0), "{flat} {fixed} {by_hand}");
    assert!(turns(6.0) < turns(3.0) && turns(3.0) < turns(1.0));
    // Turned every minute: the beam all day; turned every hour loses less than 1 %.
    let always = turns(1.0 / 60.0);
    assert!(turns(1.0) < always && turns(1.0) > 0.99 * always, "{} {always}", turns(1.0));
}

#[test]
fn a_re_aimed_panel_stands_as_it_was_left() {
    let around = ridge();
    let [before, noon] = ["2026-06-20T06:00Z", "2026-06-21T12:17Z"].map(|t| t.parse().unwrap());
    let (a, b) = (facing(20.0, 120.0), facing(60.0, 200.0));
    let lights = |aim: &Aim| light_on_panel(&around, aim, &Cloud::Clear, day()).unwrap();
    let turned = lights(&Aim::ReAimed(vec![(before, a), (noon, b)]));
    let (as_a, as_b) = (lights(&Aim::Fixed(a)), lights(&Aim::Fixed(b)));
    assert_eq!(turned[..720], as_a[..720]);
    assert_eq!(turned[720..], as_b[720..]);
    // Before the first turn it stands like the first.
    assert_eq!(lights(&Aim::ReAimed(vec![(noon, b)])), as_b);
}

#[test]
fn a_skyline_takes_the_beam_and_no_more() {
    let mut around = ridge();
    let aim = Aim::Fixed(Facing::FLAT);
    let open = light_on_panel(&around, &aim, &Cloud::Clear, day()).unwrap();
    // A wall in the east up to 20°.
    let wall = [(0.0, 0.0), (30.0, 20.0), (150.0, 20.0), (180.0, 0.0)];
    around.horizon = Horizon::new(&wall).unwrap();
    let walled = light_on_panel(&around, &aim, &Cloud::Clear, day()).unwrap();
    let mut hidden = 0;
    for (minute, (open, walled)) in open.iter().zip(&walled).enumerate() {
        let at = day().start + jiff::SignedDuration::from_secs(60 * minute as i64 + 30);
        let sun = sun_at(&around.place, at).unwrap();
        let skyline_deg = around.horizon.altitude_deg(sun.azimuth_deg);
        if sun.altitude_deg > 1.0 && sun.altitude_deg < skyline_deg - 0.5 {
            hidden += 1;
            assert!(walled.poa_effective_w_m2 < open.poa_effective_w_m2);
            assert!(walled.poa_effective_w_m2 > 0.0, "the sky still shines");
        } else if sun.altitude_deg > skyline_deg {
            assert_eq!(open, walled);
        }
    }
    assert!(hidden > 100, "{hidden}");
}

#[test]
fn a_skyline_hides_the_moon() {
    let place = ridge().place;
    let evening = Date::constant(2026, 10, 24);
    let open = Night::of(&place, evening).unwrap();
    let walled = Horizon::new(&[(0.0, 35.0)]).unwrap();
    let behind = Night::behind(&place, &walled, evening).unwrap();
    assert_eq!((open.moon.rise, open.moon.set), (behind.moon.rise, behind.moon.set));
    // Count the dark minutes with the moon above, straight from its positions.
    let (mut above_h, mut over_wall_h) = (0.0, 0.0);
    let (dusk, dawn) = (open.astronomical_dusk.unwrap(), open.astronomical_dawn.unwrap());
    let mut at = dusk;
    while at < dawn {
        let altitude_deg = moon_at(&place, at).unwrap().altitude_deg;
        above_h += if altitude_deg + 0.26 > -0.567 { 1.0 / 60.0 } else { 0.0 };
        over_wall_h += if altitude_deg + 0.26 > 34.98 { 1.0 / 60.0 } else { 0.0 };
        at += jiff::SignedDuration::from_mins(1);
    }
    // A minute's grid at each end.
    assert!((open.dark_h - open.moon.moonless_dark_h - above_h).abs() < 0.04, "{above_h}");
    assert!((open.dark_h - behind.moon.moonless_dark_h - over_wall_h).abs() < 0.04);
    assert!(over_wall_h > 0.5 && over_wall_h < above_h, "{over_wall_h} {above_h}");
}

#[test]
fn clouds_take_their_share() {
    let around = ridge();
    let aim = Aim::Fixed(facing(35.0, 180.0));
    let level = |cloud: &Cloud| {
        let lights = light_on_panel(&around, &aim, cloud, day()).unwrap();
        lights.iter().map(|light| light.ghi_w_m2).sum::<f64>()
    };
    let clear = level(&Cloud::Clear);
    for share in [0.0, 0.2, 0.55, 0.9, 1.0, 1.05] {
        let found = level(&Cloud::Share(share));
        assert!((found - share * clear).abs() < 1e-9 * clear, "{share}: {found}");
    }
    // The fewer the clouds, the more on the plane, all the way.
    let plane: Vec<f64> = (0..=20)
        .map(|twentieth| energy_wh_m2(&around, &aim, &Cloud::Share(f64::from(twentieth) / 20.0)))
        .collect();
    assert!(plane.windows(2).all(|pair| pair[0] < pair[1]), "{plane:?}");
    assert!(light_on_panel(&around, &aim, &Cloud::Share(-0.1), day()).is_err());
}

#[test]
fn cells_follow_the_air() {
    let mut around = ridge();
    around.air = AirTemperature::Hourly((0..25).map(f64::from).collect());
    let lights = light_on_panel(&around, &Aim::Fixed(Facing::FLAT), &Cloud::Clear, day()).unwrap();
    for (minute, light) in lights.iter().enumerate() {
        let air_c = (minute as f64 + 0.5) / 60.0;
        assert!((light.air_temp_c - air_c).abs() < 1e-9);
        let above_k = light.poa_global_w_m2 / (25.0 + 6.84 * around.wind_mps);
        assert!((light.cell_temp_c - air_c - above_k).abs() < 1e-9);
    }
}

#[test]
fn a_season_shows_its_nights_and_its_light() {
    let around = ridge();
    let aim = Aim::Fixed(facing(45.0, 180.0));
    let nights = season(&around, &aim, Date::constant(2026, 1, 1), 365).unwrap();
    assert_eq!(nights.len(), 365);
    let on = |month, day| {
        let date = Date::constant(2026, month, day);
        nights.iter().find(|night| night.evening == date).unwrap()
    };
    // No darkness at midsummer at 57° N; more than 12 h at midwinter.
    assert_eq!(on(6, 21).night.dark_h, 0.0);
    assert!(on(12, 21).night.dark_h > 12.0);
    assert!(on(12, 21).clear_wh_m2 < 0.5 * on(6, 21).clear_wh_m2);
    assert!(nights.iter().all(|n| n.night.moon.moonless_dark_h <= n.night.dark_h + 1e-9));
    // The coarse steps against a minute's.
    let minutes = Steps {
        start: on(10, 9).night.start - jiff::SignedDuration::from_hours(12),
        step_s: 60.0,
        count: 1440,
    };
    let lights: Vec<Light> = light_on_panel(&around, &aim, &Cloud::Clear, minutes).unwrap();
    let fine_wh_m2 = lights.iter().map(|light| light.poa_effective_w_m2).sum::<f64>() / 60.0;
    assert!((on(10, 9).clear_wh_m2 / fine_wh_m2 - 1.0).abs() < 0.002);
}

#[test]
fn surroundings_that_cant_be_are_named() {
    let said = |around: Surroundings| {
        let aim = Aim::Fixed(Facing::FLAT);
        light_on_panel(&around, &aim, &Cloud::Clear, day()).unwrap_err().to_string()
    };
    assert!(said(Surroundings { turbidity: 0.5, ..ridge() }).starts_with("the turbidity is 0.5"));
    assert!(said(Surroundings { albedo: 1.5, ..ridge() }).starts_with("the albedo is 1.5"));
    assert!(said(Surroundings { wind_mps: f64::NAN, ..ridge() }).contains("NaN m/s"));
    let hot = AirTemperature::Hourly(vec![20.0, 285.0]);
    assert!(
        said(Surroundings { air: hot, ..ridge() }).starts_with("the air temperature is 285 °C")
    );
    assert!(
        matches!(Facing::new(120.0, 0.0), Err(Error::OutOfBounds(wrong)) if wrong.read == 120.0)
    );
    let no_step = Steps { step_s: 0.0, ..day() };
    let aim = Aim::Fixed(Facing::FLAT);
    assert!(light_on_panel(&ridge(), &aim, &Cloud::Clear, no_step).is_err());
}

proptest::proptest! {
    /// Anywhere, at any time, however the panel stands: light is finite and not negative, and the
    /// plane gets no more than beam, sky and ground can give.
    #[test]
    fn light_is_never_nonsense(
        latitude_deg in -90.0_f64..=90.0,
        longitude_deg in -180.0_f64..=180.0,
        elevation_m in -400.0_f64..6000.0,
        start_s in -600_000_000_i64..4_100_000_000,
        tilt_deg in 0.0_f64..=90.0,
        azimuth_deg in 0.0_f64..=360.0,
        turbidity in 1.5_f64..10.0,
        share in 0.0_f64..1.2,
        albedo in 0.0_f64..=1.0,
        model in 0_usize..3,
        tracked in proptest::bool::ANY,
        glass in proptest::bool::ANY,
    ) {
        let model = [SkyModel::Isotropic, SkyModel::HayDavies, SkyModel::Perez][model];
        let physical = Incidence::Physical {
            index: 1.526, extinction_per_m: 4.0, thickness_m: 0.002, coating_index: Some(1.29),
        };
        let around = Surroundings {
            turbidity,
            albedo,
            model,
            incidence: if glass { physical } else { Incidence::default() },
            ..Surroundings::at(Place::new(latitude_deg, longitude_deg, elevation_m).unwrap())
        };
        let aim = if tracked {
            Aim::Tracked { every_s: 10_800.0 }
        } else {
            Aim::Fixed(facing(tilt_deg, azimuth_deg))
        };
        let start = Timestamp::from_second(start_s).unwrap();
        let steps = Steps { start, step_s: 1800.0, count: 60 };
        for light in light_on_panel(&around, &aim, &Cloud::Share(share), steps).unwrap() {
            proptest::prop_assert!(light.poa_effective_w_m2.is_finite());
            proptest::prop_assert!(light.poa_effective_w_m2 >= 0.0, "{light:?}");
            proptest::prop_assert!(light.poa_effective_w_m2 <= light.poa_global_w_m2 + 1e-9);
            proptest::prop_assert!(light.poa_global_w_m2 < 2600.0, "{light:?}");
            proptest::prop_assert!(light.cell_temp_c >= light.air_temp_c);
        }
    }

    /// Every night anywhere has its events in order, and the full series sees sun and moon at
    /// them where they should be.
    #[test]
    fn nights_are_in_order(
        latitude_deg in -90.0_f64..=90.0,
        longitude_deg in -180.0_f64..=180.0,
        day in 0_i64..55_000,
    ) {
        let place = Place::new(latitude_deg, longitude_deg, 0.0).unwrap();
        let evening = Date::constant(1950, 1, 1) + jiff::Span::new().days(day);
        let night = Night::of(&place, evening).unwrap();
        let order = [
            Some(night.start), night.sunset, night.civil_dusk, night.nautical_dusk,
            night.astronomical_dusk, Some(night.midnight), night.astronomical_dawn,
            night.nautical_dawn, night.civil_dawn, night.sunrise, Some(night.end),
        ];
        let there: Vec<Timestamp> = order.into_iter().flatten().collect();
        proptest::prop_assert!(there.is_sorted(), "{night:?}");
        for (event, level_deg) in [
            (night.sunset, -0.8333), (night.civil_dusk, -6.0), (night.nautical_dusk, -12.0),
            (night.astronomical_dusk, -18.0), (night.astronomical_dawn, -18.0),
            (night.nautical_dawn, -12.0), (night.civil_dawn, -6.0), (night.sunrise, -0.8333),
        ] {
            if let Some(at) = event {
                let sun = sun_at(&place, at).unwrap();
                proptest::prop_assert!((sun.altitude_deg - level_deg).abs() < 2e-4, "{at} {sun:?}");
            }
        }
        for at in [night.moon.rise, night.moon.set].into_iter().flatten() {
            let moon = moon_at(&place, at).unwrap();
            let limb_deg = moon.altitude_deg + (1737.4 / moon.distance_km).asin().to_degrees();
            proptest::prop_assert!((limb_deg + 34.0 / 60.0).abs() < 2e-4, "{at} {moon:?}");
        }
        // Where there is no sunset the sun stays up or stays down, hour by hour.
        if night.sunset.is_none() && night.sunrise.is_none() {
            let up = |hour: i64| {
                let at = night.start + jiff::SignedDuration::from_hours(hour);
                sun_at(&place, at).unwrap().altitude_deg > -0.8333
            };
            let ups = (2..=22).filter(|hour| up(*hour)).count();
            proptest::prop_assert_eq!(ups, if night.darkest == Phase::Day { 21 } else { 0 });
        }
        proptest::prop_assert!((0.0..=24.0).contains(&night.dark_h));
        proptest::prop_assert!((0.0..=1.0).contains(&night.moon.lit_fraction));
        proptest::prop_assert!(night.moon.moonless_dark_h <= night.dark_h + 1e-9);
    }
}
