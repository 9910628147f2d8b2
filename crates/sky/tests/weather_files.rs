//! Weather files as stations write them, with their traps.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::print_stdout)]

use jiff::Timestamp;
use jiff::civil::Date;
use sky::weather::{Filled, Gaps, Layout, Table, Weather};
use sky::{Aim, DailyClearness, Error, Facing, LevelDay, Place, Surroundings};

fn bytes(name: &str) -> Vec<u8> {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/reference/measured/");
    std::fs::read(format!("{folder}{name}")).expect(name)
}

fn at(text: &str) -> Timestamp {
    text.parse().unwrap()
}

fn close(found: f64, expect: f64) {
    assert!((found - expect).abs() < 1e-9, "{found}, expected {expect}");
}

/// The reading that begins at an instant.
fn reading(weather: &Weather, start: &str) -> sky::weather::Reading {
    *weather.readings.iter().find(|reading| reading.start == at(start)).expect(start)
}

#[test]
fn surfrads_unsigned_longitude_counts_west() {
    let file = Weather::read(&bytes("surfrad-slv16001.dat"), None).unwrap();
    assert_eq!((file.layout, file.station.as_str()), (Layout::Surfrad, "Alamosa"));
    assert_eq!(file.place, Place::new(37.7, -105.92, 2317.0).unwrap());
    assert_eq!((file.readings.len(), file.interval_s), (1440, 60.0));
    let first = reading(&file, "2016-01-01T00:00Z");
    assert_eq!(first.ghi_w_m2, Some(-1.8));
    assert_eq!((first.dni_w_m2, first.dhi_w_m2), (Some(1.8), Some(2.3)));
    assert_eq!((first.air_c, first.wind_mps), (Some(-7.6), Some(3.1)));
    close(first.dew_point_c.unwrap(), sky::dew_point_c(-7.6, 0.527));
    assert!(file.findings.notices().is_empty(), "{:?}", file.findings);
}

#[test]
fn solrads_longitude_has_a_sign_and_fewer_columns_follow() {
    let file = Weather::read(&bytes("abq19056.dat"), None).unwrap();
    assert_eq!(file.place, Place::new(35.03796, -106.62211, 1617.0).unwrap());
    let last = reading(&file, "2019-02-25T00:03Z");
    assert_eq!((last.ghi_w_m2, last.dni_w_m2, last.dhi_w_m2), (Some(102.6), Some(76.3), None));
    assert_eq!(file.findings.missing_dhi, 1);
}

#[test]
fn bsrn_counts_from_the_south_pole_and_the_date_line() {
    let file = Weather::read(&bytes("bsrn-pay0616-days-07-21-23.dat"), None).unwrap();
    assert_eq!(file.layout, Layout::Bsrn);
    assert!((file.place.latitude_deg() - 46.815).abs() < 1e-9);
    assert!((file.place.longitude_deg() - 6.944).abs() < 1e-9);
    close(file.place.elevation_m(), 491.0);
    close(file.horizon.altitude_deg(53.0), 2.0);
    close(file.horizon.altitude_deg(100.0), 4.0);
    let dates: Vec<String> = file.dates().iter().map(ToString::to_string).collect();
    assert_eq!(dates, ["2016-06-07", "2016-06-21", "2016-06-23"]);
    let missing = reading(&file, "2016-06-23T13:32Z");
    assert_eq!((missing.ghi_w_m2, missing.dni_w_m2), (Some(846.0), None));
    assert_eq!(file.findings.missing_dni, 6);
    assert_eq!(file.findings.gaps.len(), 2);
    assert_eq!(file.findings.gaps[0], (at("2016-06-08T00:00Z"), at("2016-06-21T00:00Z")));
    // Global against beam and diffuse: within 0.4 % on the clear day, as its README says; all
    // three days together within 1 %.
    assert!((file.findings.closure.unwrap() - 1.0).abs() < 0.01, "{:?}", file.findings.closure);
}

#[test]
fn midc_tells_the_minute_without_leading_zeros_and_no_place() {
    let text = bytes("midc_raw_20181018.txt");
    let error = Weather::read(&text, None).unwrap_err();
    assert_eq!(error, Error::WeatherPlace { layout: "MIDC" });
    let tucson = Place::new(32.22969, -110.95534, 786.0).unwrap();
    let file = Weather::read(&text, Some(tucson)).unwrap();
    assert_eq!((file.readings.len(), file.clock_h), (1440, -7.0));
    // 00:07 MST is 07:07 UTC; 13:58 MST is 20:58 UTC.
    let early = reading(&file, "2018-10-18T07:00Z");
    assert_eq!((early.dni_w_m2, early.air_c), (Some(-0.411739), Some(16.1)));
    let noon = reading(&file, "2018-10-18T20:58Z");
    assert_eq!(noon.dni_w_m2.map(f64::round), Some(966.0));
    assert_eq!(file.dates(), [Date::constant(2018, 10, 18)]);
    // The fixed global instrument reads a little less than beam and diffuse make.
    let closure = file.findings.closure.unwrap();
    assert!((0.97..1.0).contains(&closure), "{closure}");
}

#[test]
fn instruments_that_disagree_are_told() {
    let file = epw(|day, hour| {
        let [ghi, dni, dhi] = round_sky(hour);
        epw_hour(day, hour, [0.9 * ghi, 0.9 * dni, dhi])
    });
    let file = Weather::read(file.as_bytes(), None).unwrap();
    let closure = file.findings.closure.unwrap();
    let said = file.findings.notices().join("\n");
    assert_eq!((closure - 1.0).abs() > 0.02, said.contains("what beam and diffuse make together"));
    assert!((closure - 1.0).abs() > 0.02, "{closure}");
}

#[test]
fn crn_stamps_end_their_five_minutes() {
    let file = Weather::read(&bytes("CRNS0101-05-2019-AZ_Tucson_11_W.txt"), None).unwrap();
    assert_eq!((file.layout, file.interval_s), (Layout::Crn, 300.0));
    assert_eq!(file.place, Place::new(32.24, -111.17, 0.0).unwrap());
    let first = reading(&file, "2019-01-01T16:05Z");
    assert_eq!((first.ghi_w_m2, first.air_c), (Some(296.0), None));
    assert_eq!(reading(&file, "2019-01-01T16:10Z").air_c, Some(3.3));
    assert_eq!((file.findings.missing_air, file.findings.missing_dni), (1, 4));
}

#[test]
fn tmy3_hours_end_at_their_stamp_and_months_come_from_any_year() {
    let file = Weather::read(&bytes("tmy3-723170-greensboro-jan-jul.csv"), None).unwrap();
    assert_eq!((file.layout, file.clock_h, file.interval_s), (Layout::Tmy3, -5.0, 3600.0));
    assert_eq!(file.station, "GREENSBORO PIEDMONT TRIAD INT");
    assert_eq!(file.place, Place::new(36.1, -79.95, 273.0).unwrap());
    assert!(file.typical);
    assert_eq!(file.readings.len(), 1488);
    assert_eq!(file.findings.gaps.len(), 1, "{:?}", file.findings.gaps);
    // The first row, 01:00, begins at midnight; the last, 24:00 on 31 July, at 23:00: 04:00 UTC.
    assert_eq!(file.readings[0].start, at("2001-01-01T05:00Z"));
    assert_eq!(file.readings[0].air_c, Some(10.0));
    assert_eq!(file.readings[0].dew_point_c, Some(6.1));
    assert_eq!(file.readings[1487].start, at("2001-08-01T04:00Z"));
    assert_eq!(file.readings[1487].air_c, Some(19.9));
    // A typical hour stands for any year.
    let in_2026 = file.reading_at(at("2026-01-01T05:30Z")).unwrap();
    assert_eq!(in_2026.air_c, Some(10.0));
    assert!(file.reading_at(at("2026-03-01T05:30Z")).is_none());

    let days = file.season(Date::constant(2026, 7, 16), 10, 3.0).unwrap();
    assert_eq!(days.len(), 21);
    assert!(days.iter().all(|day| (0.05..1.3).contains(&day.share_of_clear)), "{days:?}");
    assert!(days.iter().all(|day| day.air.is_some_and(|air| air.lowest_c < air.highest_c)));
    assert!(file.season(Date::constant(2026, 4, 15), 20, 3.0).unwrap().is_empty());
}

/// Days made from the mean alone are spread like the days of a typical year with that mean.
#[test]
fn made_days_are_spread_like_real_ones() {
    let file = Weather::read(&bytes("tmy3-723170-greensboro-jan-jul.csv"), None).unwrap();
    for month in [1, 7] {
        let middle = Date::constant(2026, month, 16);
        let days = file.season(middle, 15, 3.0).unwrap();
        let clearness: Vec<f64> = days.iter().map(|day| day.clearness).collect();
        let count = clearness.len() as f64;
        let mean = clearness.iter().sum::<f64>() / count;
        let square = clearness.iter().map(|day| (day - mean).powi(2)).sum::<f64>();
        let spread = (square / (count - 1.0)).sqrt();
        let level = LevelDay::from(&file.place, file.day(middle).unwrap().start, 3.0).unwrap();
        let made = DailyClearness::of_mean(mean, level.clear_day()).unwrap().spread();
        println!("{month}: {count} days, mean {mean:.3}, spread {spread:.3}, made {made:.3}");
        // Two standard deviations of the spread of 31 days that remember each other: 0.04.
        assert!((made - spread).abs() < 0.04, "{month}: {made} {spread}");
    }
}

/// An EPW file, made up: two summer days of a round sky.
fn epw(hour_line: impl Fn(i32, i32) -> String) -> String {
    let mut file = String::from("LOCATION,Nowhere,-,-,made up,000000,40.0,15.0,1.0,100.0\n");
    for header in ["DESIGN CONDITIONS", "TYPICAL/EXTREME PERIODS", "GROUND TEMPERATURES"] {
        file += &format!("{header},0\n");
    }
    for header in ["HOLIDAYS", "COMMENTS 1", "COMMENTS 2", "DATA PERIODS"] {
        file += &format!("{header},0\n");
    }
    for day in [20, 21] {
        for hour in 1..=24 {
            file += &hour_line(day, hour);
        }
    }
    file
}

fn epw_hour(day: i32, hour: i32, light: [f64; 3]) -> String {
    let [ghi, dni, dhi] = light;
    format!(
        "1999,6,{day},{hour},60,?9,18.5,9.0,54,100100,0,0,350,{ghi},{dni},{dhi},0,0,0,0,180,3.5,\
         5,5,20,77777,9,999999999,20,0.1,0,88,0,0,0\n"
    )
}

/// A sun of 900 W/m² at noon, up from 5 to 19 o'clock.
fn round_sky(hour: i32) -> [f64; 3] {
    let height = (std::f64::consts::PI * (f64::from(hour) - 0.5 - 5.0) / 14.0).sin().max(0.0);
    [900.0 * height.powf(1.2), 800.0 * height.sqrt(), 90.0 * height.sqrt()]
}

#[test]
fn epw_hours_run_from_1_to_24() {
    let file = epw(|day, hour| epw_hour(day, hour, round_sky(hour)));
    let file = Weather::read(file.as_bytes(), None).unwrap();
    assert_eq!((file.layout, file.station.as_str()), (Layout::Epw, "Nowhere"));
    assert_eq!(file.place, Place::new(40.0, 15.0, 100.0).unwrap());
    assert_eq!(file.readings.len(), 48);
    // Hour 1 of 20 June begins at midnight, 23:00 UTC of the 19th.
    assert_eq!(file.readings[0].start, at("2001-06-19T23:00Z"));
    let noon = reading(&file, "2001-06-20T11:00Z");
    close(noon.ghi_w_m2.unwrap(), round_sky(13)[0]);
    assert_eq!((noon.air_c, noon.dew_point_c, noon.wind_mps), (Some(18.5), Some(9.0), Some(3.5)));
    let around = Surroundings::at(file.place);
    let steps = file.day(Date::constant(2026, 6, 21)).unwrap();
    let flat = Aim::Fixed(Facing::FLAT);
    let (lights, filled) = file.light_on_panel(&around, &flat, steps, Gaps::Dark).unwrap();
    let level_wh_m2: f64 = lights.iter().map(|light| light.ghi_w_m2).sum();
    let expect_wh_m2: f64 = (1..=24).map(|hour| round_sky(hour)[0]).sum();
    // All hours whose middle has the sun up; the file's sun is up as long.
    assert!((level_wh_m2 - expect_wh_m2).abs() < 1.0, "{level_wh_m2} {expect_wh_m2}");
    assert_eq!(filled.as_read + filled.dark + filled.closed + filled.split, filled.as_read);
}

#[test]
fn any_table_with_a_heading_is_read() {
    let place = Place::new(40.0, 15.0, 100.0).unwrap();
    let check = |file: &str, start: &str, [ghi, dni, dhi, air, dew, wind]: [f64; 6]| {
        let found = Weather::read(file.as_bytes(), Some(place)).unwrap();
        assert_eq!((found.layout, found.interval_s), (Layout::Table, 1800.0), "{file}");
        let first = reading(&found, start);
        for (found, expect) in [
            (first.ghi_w_m2, ghi),
            (first.dni_w_m2, dni),
            (first.dhi_w_m2, dhi),
            (first.air_c, air),
            (first.dew_point_c, dew),
            (first.wind_mps, wind),
        ] {
            assert!((found.unwrap() - expect).abs() < 1e-9, "{file}: {first:?}, expected {expect}");
        }
    };
    check(
        "time,GHI,DNI,DHI,temp_air,dew point,wind speed\n\
         2026-06-21T11:00Z,800,700,120,18.5,9,3\n2026-06-21T11:30Z,810,700,120,18.5,9,3\n",
        "2026-06-21T11:00Z",
        [800.0, 700.0, 120.0, 18.5, 9.0, 3.0],
    );
    // Decimal commas, other units, a line above, an offset from UTC.
    check(
        "station 7;roof\nTimestamp;Global (kW/m²);Direct (kW/m²);Diffuse (kW/m²);Temp (°F);\
         Humidity (%);Wind (km/h);Wind dir\n\
         2026-06-21T13:00+02:00;0,8;0,7;0,12;68,0;50;36;180\n\
         2026-06-21T13:30+02:00;0,8;0,7;0,12;68,0;50;36;180\n",
        "2026-06-21T11:00Z",
        [800.0, 700.0, 120.0, 20.0, sky::dew_point_c(20.0, 0.5), 10.0],
    );
    // Day and time apart.
    check(
        "Date\tTime (UTC)\tglobal\tbeam\tdiffuse\ttemperature [K]\tdewpoint\twind (kt)\n\
         21.06.2026\t11:00\t800\t700\t120\t290,15\t9\t0\n\
         21.06.2026\t11:30\t800\t700\t120\t290,15\t9\t0\n",
        "2026-06-21T11:00Z",
        [800.0, 700.0, 120.0, 17.0, 9.0, 0.0],
    );
    let file = "time,GHI\n2026-06-21T11:00Z,800\n";
    let error = Weather::read(file.as_bytes(), None).unwrap_err();
    assert_eq!(error, Error::WeatherPlace { layout: "table" });
    let file = "time,GHI\nyesterday,800\n2026-06-21T11:00Z,a lot\n2026-06-21T12:00Z,-9999\n";
    let found = Weather::read(file.as_bytes(), Some(place)).unwrap().findings;
    assert_eq!((found.rows, found.unreadable, found.missing_ghi), (3, 2, 1));
}

#[test]
fn readings_from_elsewhere_are_checked_alike() {
    let epw = epw(|day, hour| epw_hour(day, hour, round_sky(hour)));
    let epw = Weather::read(epw.as_bytes(), None).unwrap();
    let mut readings = epw.readings.clone();
    readings.reverse();
    readings.push(readings[3]);
    let table = Table { station: "mine".into(), place: epw.place, clock_h: 1.0, readings };
    let found = Weather::from_readings(table.clone()).unwrap();
    assert_eq!((found.layout, found.interval_s, found.typical), (Layout::Table, 3600.0, false));
    assert_eq!((found.readings, found.findings.repeated), (epw.readings, 1));
    let nothing = Weather::from_readings(Table { readings: Vec::new(), ..table });
    assert_eq!(nothing, Err(Error::WeatherEmpty { layout: "table", rows: 0 }));
}

#[test]
fn what_is_missing_is_named_and_filled_only_when_told() {
    // No beam at noon of the first day, no light at all an hour later, three hours absent.
    let file = epw(|day, hour| match (day, hour) {
        (20, 13) => epw_hour(day, hour, [round_sky(13)[0], 9999.0, round_sky(13)[2]]),
        (20, 14) => epw_hour(day, hour, [9999.0; 3]),
        (21, 3..=5) => String::new(),
        (21, 7) => "1999,6,21,seven,60\n".to_owned(),
        (21, 9) => epw_hour(day, 8, round_sky(8)),
        _ => epw_hour(day, hour, round_sky(hour)),
    });
    let file = Weather::read(file.as_bytes(), None).unwrap();
    let found = &file.findings;
    assert_eq!((found.rows, found.unreadable, found.repeated), (45, 1, 1));
    assert_eq!((found.missing_ghi, found.missing_dni, found.missing_dhi), (1, 2, 1));
    // 21 June: hours 3 to 5, 7 and 9 are not there.
    assert_eq!(found.gaps.len(), 3, "{:?}", found.gaps);
    assert_eq!(found.gaps[0], (at("2001-06-21T01:00Z"), at("2001-06-21T04:00Z")));
    assert!(found.notices().iter().any(|line| line == "1 of 45 rows could not be read"));
    let around = Surroundings::at(file.place);
    let aim = Aim::Fixed(Facing::new(30.0, 180.0).unwrap());
    let steps = file.day(Date::constant(2026, 6, 20)).unwrap();
    let energy = |gaps| {
        let (lights, filled) = file.light_on_panel(&around, &aim, steps, gaps).unwrap();
        (lights.iter().map(|light| light.poa_global_w_m2).sum::<f64>(), filled)
    };
    let (dark_wh_m2, dark) = energy(Gaps::Dark);
    let (closed_wh_m2, closed) = energy(Gaps::Close);
    assert_eq!((dark.dark, dark.closed), (2, 0));
    assert_eq!((closed.dark, closed.closed), (1, 1));
    assert!(closed_wh_m2 > dark_wh_m2 + 500.0, "{closed_wh_m2} {dark_wh_m2}");
    assert_ne!(closed, Filled::default());
}

#[test]
fn light_that_cant_be_is_refused_with_its_likely_cause() {
    let said = |file: String| Weather::read(file.as_bytes(), None).unwrap_err().to_string();
    // kJ/m² for W/m².
    let kilojoules = epw(|day, hour| epw_hour(day, hour, round_sky(hour).map(|w_m2| 3.6 * w_m2)));
    assert!(said(kilojoules).contains("brighter than can be"));
    // kW/m².
    let kilowatts = epw(|day, hour| epw_hour(day, hour, round_sky(hour).map(|w| w / 1000.0)));
    assert!(said(kilowatts).contains("perhaps they are kW/m²"));
    // Noon at midnight.
    let shifted = epw(|day, hour| epw_hour(day, hour, round_sky((hour + 11) % 24 + 1)));
    let shifted = said(shifted);
    assert!(shifted.contains("sun below the horizon") || shifted.contains("brighter"), "{shifted}");
}

#[test]
fn what_is_no_weather_file_is_refused() {
    let said = |text: &str| Weather::read(text.as_bytes(), None).unwrap_err().to_string();
    assert!(said("time,volts\n0,12.5\n").contains("begins with \"time,volts\""));
    assert!(said("").contains("begins with \"\""));
    assert!(said("LOCATION,here\n").contains("line 1 of the EPW"), "{}", said("LOCATION,here\n"));
    assert!(said("*U0001\n 21  6 2016  1\n").contains("record 0100"));
    let header = "723170,\"X\",NC,-5.0,36.100,-79.950,273\nDate (MM/DD/YYYY),Time (HH:MM),GHI\n";
    assert!(said(header).contains("no column GHI (W/m^2)"), "{}", said(header));
    let nowhere = epw(|_, _| String::new()).replace("40.0,15.0", "140.0,15.0");
    assert!(said(&nowhere).contains("the latitude is 140"));
    assert!(said(&epw(|_, _| "x\n".to_owned())).contains("none of the 48 rows of the EPW"));
}

proptest::proptest! {
    /// Whatever a file holds, reading it ends with a result.
    #[test]
    fn no_file_breaks_the_reader(
        layout in 0_usize..6,
        cut in 0.0_f64..1.0,
        flips in proptest::collection::vec((0.0_f64..1.0, proptest::num::u8::ANY), 0..20),
    ) {
        let names = [
            "surfrad-slv16001.dat", "abq19056.dat", "bsrn-pay0616-days-07-21-23.dat",
            "midc_raw_20181018.txt", "CRNS0101-05-2019-AZ_Tucson_11_W.txt",
            "tmy3-723170-greensboro-jan-jul.csv",
        ];
        let mut file = bytes(names[layout]);
        file.truncate(3000.max((cut * 12_000.0) as usize).min(file.len()));
        let length = file.len();
        for (place, byte) in flips {
            file[((place * length as f64) as usize).min(length - 1)] = byte;
        }
        let _ = Weather::read(&file, Place::new(30.0, -110.0, 500.0).ok());
    }
}
