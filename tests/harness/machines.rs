//! Machines at a depot, made over HTTP as an administrator makes them.

use jiff::{SignedDuration, Timestamp};
use rimeyard_rules::sheet::{Derived, Reads, Sheet, two_stage_thrower};
use serde_json::{Value, json};
use uuid::Uuid;

use crate::Actor;

/// Machines of one model.
#[derive(Debug, Clone)]
pub struct Machines {
    /// Their model: the default two-stage thrower.
    pub model: String,
    /// Each one's id, in the order in which they were made.
    pub units: Vec<String>,
}

impl Machines {
    /// `count` of them at `depot`, of a model of their own, never inspected.
    pub async fn make(administrator: &Actor, depot: Uuid, count: usize) -> Self {
        let name = Uuid::now_v7().to_string();
        let new = json!({"name": name, "kind": "two-stage thrower"});
        let checklist = administrator
            .post("/v1/checklists", &new)
            .await
            .expect(201)
            .id();
        let new = json!({"name": name, "kind": "two-stage thrower", "checklist_id": checklist});
        let model = administrator
            .post("/v1/models", &new)
            .await
            .expect(201)
            .id();
        let mut units = Vec::with_capacity(count);
        for number in 1..=count {
            let tag = format!("{}-{number}", &name[24..]);
            let new = json!({"tag": tag, "depot_id": depot, "model_id": model, "acquired_on": "2023-10-01", "came_new": true});
            units.push(administrator.post("/v1/units", &new).await.expect(201).id());
        }
        Self { model, units }
    }

    /// The same, each inspected `days_ago` and found sound.
    pub async fn make_sound(
        administrator: &Actor,
        depot: Uuid,
        count: usize,
        days_ago: i64,
    ) -> Self {
        let machines = Self::make(administrator, depot, count).await;
        for unit in &machines.units {
            let inspection = sound_inspection(unit, days_ago);
            administrator
                .post("/v1/inspections", &inspection)
                .await
                .expect(201);
        }
        machines
    }
}

/// An instant so many days ago, to the second.
pub fn days_ago(days: i64) -> String {
    let seconds = (Timestamp::now() - SignedDuration::from_hours(24 * days)).as_second();
    Timestamp::from_second(seconds)
        .expect("in range")
        .to_string()
}

/// A pre-season inspection of everything on the default sheet, all of it sound.
pub fn sound_inspection(unit: &str, days: i64) -> Value {
    json!({
        "unit_id": unit,
        "kind": "pre_season",
        "performed_at": days_ago(days),
        "run_hours": 100.0,
        "readings": sound_readings(&two_stage_thrower()),
    })
}

/// The best answer to every check of a sheet.
pub fn sound_readings(sheet: &Sheet) -> Vec<Value> {
    let reading = |check: &rimeyard_rules::sheet::CheckSpec| match &check.reads {
        Reads::Measure(measure) => {
            let mut reading = json!({
                "check": check.check,
                "value": measure.limits.as_new.value,
                "unit": measure.unit.symbol(),
            });
            match &measure.derived {
                Some(Derived::Battery) => {
                    reading["temperature_c"] = json!(20.0);
                    reading["full_charge"] = json!(1.265);
                }
                Some(Derived::Tyre { at_c }) => reading["temperature_c"] = json!(at_c.value),
                _ => {}
            }
            reading
        }
        Reads::Grade(grades) => json!({"check": check.check, "grade": grades[0].grade}),
        Reads::Level(levels) => json!({"check": check.check, "level": levels[0].grade}),
        Reads::Function => json!({"check": check.check, "works": true}),
    };
    sheet.checks.iter().map(reading).collect()
}
