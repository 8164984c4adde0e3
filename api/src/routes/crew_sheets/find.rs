//! GET /v1/depots/{depot_id}/crew-sheet

use std::ops::RangeInclusive;

use actix_web::{get, web};
use jiff::Timestamp;
use rimeyard_rules::Invalid;
use rimeyard_rules::crew::{self, Asked, CrewSheet};
use rimeyard_store::facts;
use serde::de::Error;
use serde::{Deserialize, Deserializer};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use crate::answer::Answer;
use crate::extract::{Path, Query};
use crate::problem::Problem;
use crate::roles::EVERYONE;
use crate::signed::Signed;

/// For which storm, and in what cold.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Conditions {
    /// A storm in progress or to come that touches the depot; else the one that its readiness is about.
    storm_id: Option<Uuid>,
    /// Wind at 10 m height: without it nothing is said of the cold.
    #[param(inline)]
    wind_m_per_s: Option<Wind>,
    /// Air temperature, degC; else the storm's.
    #[param(inline)]
    temperature_c: Option<Air>,
}

/// A wind, m/s.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = f64, minimum = 0, maximum = 100)]
struct Wind(f64);

/// A temperature, degC: of the range that storms have.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = f64, minimum = -80, maximum = 20)]
struct Air(f64);

impl<'de> Deserialize<'de> for Wind {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        within(deserializer, 0.0..=100.0).map(Self)
    }
}

impl<'de> Deserialize<'de> for Air {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        within(deserializer, -80.0..=20.0).map(Self)
    }
}

fn within<'de, D: Deserializer<'de>>(
    deserializer: D,
    range: RangeInclusive<f64>,
) -> Result<f64, D::Error> {
    let (least, most) = (*range.start(), *range.end());
    match f64::deserialize(deserializer) {
        Ok(value) if range.contains(&value) => Ok(value),
        _ => Err(D::Error::custom(format!(
            "must be a number from {least} to {most}"
        ))),
    }
}

/// Make the crew's sheet for a storm.
///
/// The machines with their running hours, the ground in order, wind chill and warm-up breaks, noise and vibration of an
/// operator's day, and what can hurt. It informs; local codes, the maker's manual and licensed practice decide.
#[utoipa::path(
    tag = "crew sheets",
    params(Conditions),
    responses((status = 200, description = "The sheet, as things stand now.", body = CrewSheet)),
    extensions(("x-roles" = json!(EVERYONE)))
)]
#[get("/v1/depots/{depot_id}/crew-sheet")]
pub async fn find(
    who: Signed,
    depot_id: Path<Uuid>,
    conditions: Query<Conditions>,
) -> Result<Answer, Problem> {
    let as_of = Timestamp::now();
    let facts = who
        .read(async |tx| facts::of_depot(tx, *depot_id, as_of).await)
        .await?;
    let asked = Asked {
        storm_id: conditions.storm_id,
        wind_m_per_s: conditions.wind_m_per_s.map(|wind| wind.0),
        temperature_c: conditions.temperature_c.map(|air| air.0),
    };
    // A depot takes its time; others are answered meanwhile.
    let sheet = web::block(move || crew::sheet(&facts, asked, as_of)).await;
    let sheet = sheet.map_err(Problem::internal)?.ok_or_else(|| {
        Problem::malformed(vec![Invalid::new(
            "storm_id",
            "is no storm in progress or to come at this depot; leave it out for the one that its readiness is about",
        )])
    })?;
    Ok(Answer::content(&sheet))
}
