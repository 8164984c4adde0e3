//! A real input: the daily weather of New York and Seattle, 2012 to 2015, from precipitation and temperature to the
//! winters that a depot counts with. tests/reference/weather.py says where it is from and counts the snow days by itself.

use std::collections::BTreeMap;

use jiff::ToSpan;
use jiff::civil::{Date, date};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_worker::{Settings, drain};
use serde::Deserialize;
use serde_json::{Value, json};

use super::super::fleet::owner;
use super::bring;

#[derive(Deserialize)]
struct City {
    /// By the year in which a winter begins.
    snow_days: BTreeMap<i16, Vec<Date>>,
    /// Precipitation, mm, and the day's highest and lowest temperature, degC.
    days: Vec<(Date, f64, f64, f64)>,
}

/// New snow, mm, of melt water by the NCDC table of new snowfall to estimated melt water (trade notes, section 4).
fn new_snow_mm(precipitation_mm: f64, temperature_f: f64) -> f64 {
    let ratio = match temperature_f.round() as i32 {
        35.. => 0.0,
        28..=34 => 10.0,
        20..=27 => 15.0,
        15..=19 => 20.0,
        10..=14 => 30.0,
        0..=9 => 40.0,
        -20..=-1 => 50.0,
        _ => 100.0,
    };
    precipitation_mm * ratio
}

/// New snow of every day of the four years, mm.
fn snowfall(city: &City) -> Vec<(Date, f64)> {
    let fell: BTreeMap<Date, f64> = city
        .days
        .iter()
        .map(|(on, water, highest, lowest)| {
            let mean_f = (highest + lowest) / 2.0 * 1.8 + 32.0;
            (*on, new_snow_mm(*water, mean_f))
        })
        .collect();
    date(2012, 1, 1)
        .series(1.day())
        .take_while(|on| on.year() < 2016)
        .map(|on| (on, fell.get(&on).copied().unwrap_or(0.0)))
        .collect()
}

/// The snow days that a depot's list of snowfall has.
async fn snow_days(actor: &Actor, depot: uuid::Uuid) -> Vec<Date> {
    let (mut days, mut after) = (Vec::new(), String::new());
    loop {
        let path = format!("/v1/depots/{depot}/snowfall?limit=200{after}");
        let page = actor.get(&path).await.expect(200).json();
        for day in page["items"].as_array().unwrap() {
            if day["snowfall_mm"].as_f64().unwrap() >= 25.0 {
                days.push(day["on"].as_str().unwrap().parse().unwrap());
            }
        }
        match page["next_after"].as_str() {
            Some(last) => after = format!("&after={last}"),
            None => return days,
        }
    }
}

#[tokio::test]
async fn daily_weather_becomes_the_winters_that_a_depot_counts_with() {
    let cities: BTreeMap<String, City> =
        serde_json::from_str(include_str!("../../reference/weather.json")).expect("JSON");
    let server = TestServer::start().await;
    let actor = server.administrator().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    // As one agency keeps it, and as another does.
    let mut new_york = String::from("Site,Date,New Snow (inches)\r\n");
    for (on, mm) in snowfall(&cities["New York"]) {
        let inches = (mm / 2.54).round() / 10.0;
        new_york += &format!(
            "Home,{}/{}/{},{inches}\r\n",
            on.month(),
            on.day(),
            on.year()
        );
    }
    let mut seattle = String::from("\u{feff}day;depot;snowfall [cm]\n");
    for (on, mm) in snowfall(&cities["Seattle"]) {
        seattle += &format!(
            "{on};{far};{}\n",
            (mm.round() / 10.0).to_string().replace('.', ",")
        );
    }
    for (query, table) in [("dates=month-first", new_york), ("decimal=comma", seattle)] {
        let import = bring(
            &server,
            &actor,
            &format!("what=snowfall&dry_run=false&{query}"),
            &table,
        )
        .await;
        assert_eq!(
            (&import["state"], &import["rows_applied"]),
            (&json!("applied"), &json!(1461)),
            "{import}"
        );
    }
    drain(&server.database, &Settings::default())
        .await
        .expect("drained");
    let owner = owner(&server).await;
    for (name, depot) in [("New York", home), ("Seattle", far)] {
        let city = &cities[name];
        let counted: Vec<Date> = city.snow_days.values().flatten().copied().collect();
        assert_eq!(snow_days(&actor, depot).await, counted, "{name}");
        // Of the winters that begin in 2012, 2013 and 2014 every day is on record, of those before and after half.
        let scenarios: Vec<usize> = (2012..=2014)
            .map(|year| city.snow_days.get(&year).map_or(0, Vec::len))
            .collect();
        let stored = "select inputs from depot_state where depot_id = $1";
        let inputs: String = owner.query_one(stored, &[&depot]).await.unwrap().get(0);
        let season = serde_json::from_str::<Value>(&inputs).unwrap()["season"].clone();
        assert_eq!(season["snow_days"], json!(scenarios), "{name}: {season}");
        assert_eq!(
            season["from"], "fixed dates",
            "three winters tell no season"
        );
    }
    assert_eq!(
        cities["New York"].snow_days[&2013].len(),
        12,
        "and it did snow"
    );
}
