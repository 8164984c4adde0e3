//! POST /v1/calculations/{name}: any figure asked for by itself. Pure: nothing is read or stored.

use utoipa_actix_web::service_config::ServiceConfig;

/// One route for a calculation of the rules, of the same name but for dashes.
macro_rules! calculation {
    ($(#[$doc:meta])* $name:ident, $path:literal) => {
        mod $name {
            use actix_web::{post, web};
            use rimeyard_rules::calculations::$name::{Input, Output, calculate};

            use crate::answer::Answer;
            use crate::extract::Json;
            use crate::problem::Problem;
            use crate::roles::EVERYONE;
            use crate::signed::Signed;

            $(#[$doc])*
            #[utoipa::path(
                tag = "calculations",
                responses((status = 200, description = "The figures, unrounded.", body = Output)),
                extensions(("x-roles" = json!(EVERYONE)))
            )]
            #[post($path)]
            pub async fn $name(_who: Signed, body: Json<Input>) -> Result<Answer, Problem> {
                let (input, _) = body.into_parts();
                // Long inputs take their time; others are answered meanwhile.
                let output = web::block(move || calculate(&input)).await.map_err(Problem::internal)??;
                Ok(Answer::value(&output))
            }
        }
    };
}

calculation! {
    /// The Weibull distribution that lives have by themselves, by maximum likelihood.
    life_fit, "/v1/calculations/life-fit"
}
calculation! {
    /// Where a measured part stands after its readings, and whether it lasts.
    wear, "/v1/calculations/wear"
}
calculation! {
    /// How a fleet's parts wear, from their readings: the mixed model by REML or maximum likelihood.
    wear_fit, "/v1/calculations/wear-fit"
}
calculation! {
    /// Whether a measured part lasts over futures of snow days, and for how many hours.
    wear_season, "/v1/calculations/wear-season"
}
calculation! {
    /// Running hours to come.
    running_hours, "/v1/calculations/running-hours"
}
calculation! {
    /// Whether a part that is not measured lasts.
    life, "/v1/calculations/life"
}
calculation! {
    /// Whether the spares carried are enough for what breaks.
    breaks, "/v1/calculations/breaks"
}
calculation! {
    /// Whether a machine that stood starts.
    starts, "/v1/calculations/starts"
}
calculation! {
    /// What starts after standing teach about the next.
    start_fit, "/v1/calculations/start-fit"
}
calculation! {
    /// The clearing rate that a depot's duties need in a storm.
    needed_rate, "/v1/calculations/needed-rate"
}
calculation! {
    /// The chance that a depot's machines meet a needed rate.
    depot, "/v1/calculations/depot"
}
calculation! {
    /// When snow is to be expected, from past winters.
    season, "/v1/calculations/season"
}
calculation! {
    /// How many spares to keep for a level of service.
    spares, "/v1/calculations/spares"
}
calculation! {
    /// A wet battery's corrected gravity, charge and freezing point.
    battery, "/v1/calculations/battery"
}
calculation! {
    /// Wind chill.
    wind_chill, "/v1/calculations/wind-chill"
}
calculation! {
    /// A reading against its check; takes what a stored reading shows under `inputs`.
    verdict, "/v1/calculations/verdict"
}
calculation! {
    /// Where a unit stands; takes what its readiness shows under `inputs`.
    unit, "/v1/calculations/unit"
}
calculation! {
    /// What is owed of a task; takes what a unit's due tasks show under `inputs`, with their `hours_ahead` put into them.
    due, "/v1/calculations/due"
}
calculation! {
    /// What to fix first in the minutes there are: the jobs that make depots likeliest to keep up, in their order.
    plan, "/v1/calculations/plan"
}
calculation! {
    /// Repair or renew: what a machine costs a year if it is kept, against a new one.
    ///
    /// Takes what GET /v1/units/{unit_id}/renew shows under `inputs`.
    renew, "/v1/calculations/renew"
}

/// Mounts them.
pub fn routes(config: &mut ServiceConfig) {
    config
        .service(wear::wear)
        .service(wear_fit::wear_fit)
        .service(life_fit::life_fit)
        .service(wear_season::wear_season)
        .service(running_hours::running_hours)
        .service(life::life)
        .service(breaks::breaks)
        .service(starts::starts)
        .service(start_fit::start_fit)
        .service(needed_rate::needed_rate)
        .service(depot::depot)
        .service(season::season)
        .service(spares::spares)
        .service(battery::battery)
        .service(wind_chill::wind_chill)
        .service(verdict::verdict)
        .service(unit::unit)
        .service(due::due)
        .service(plan::plan)
        .service(renew::renew);
}
