//! Many at once.

use rimeyard_harness::TestServer;
use rimeyard_store::inspection::{self as inspections, NewInspection, Recorded};
use rimeyard_store::{Database, Depots, Error, Role, Tenant, feed};
use serde_json::{Value, json};
use uuid::Uuid;

use super::{auger_stops, inspection, items, skid, with};
use crate::api::fleet::{fleet, owner};

/// The technician, as the store knows them.
async fn technician_at_home(server: &TestServer) -> Tenant {
    let owner = owner(server).await;
    let org_id = server.world.ours.org_id;
    let sql = "select id from person where org_id = $1 and role = 'technician'";
    let person_id: Uuid = owner.query_one(sql, &[&org_id]).await.unwrap().get(0);
    let depots = Depots::Some([server.world.ours.home.id].into());
    Tenant {
        org_id,
        person_id: Some(person_id),
        role: Role::Technician,
        depots,
        request_id: None,
        session: None,
    }
}

async fn record(
    database: &Database,
    tenant: &Tenant,
    new: &[NewInspection],
) -> Result<Vec<Recorded>, Error> {
    let scopes = database
        .read(tenant, async |tx| inspections::scopes(tx, new).await)
        .await?;
    feed::write(database, tenant, &scopes, async |tx| {
        inspections::record_many(tx, new).await
    })
    .await
}

#[tokio::test]
async fn many_at_once_end_as_one_by_one() {
    let server = TestServer::start().await;
    let tenant = technician_at_home(&server).await;
    let technician = server.technician().await;
    let history = |unit: &str| -> Vec<NewInspection> {
        let belt = |ride: f64, take_up: f64| {
            json!([
                {"check": "auger_take_up", "value": take_up, "unit": "%"},
                {"check": "auger_belt_ride", "value": ride, "unit": "mm"},
            ])
        };
        let take_up = json!([{"check": "auger_take_up", "value": 0, "unit": "%"}]);
        let all = [
            (50, 10.0, skid(1.0)),
            (40, 20.0, skid(5.0)),
            (39, 19.0, auger_stops(false)),
            (30, 30.0, belt(-5.0, 0.0)),
            (29, 31.0, take_up.clone()),
            (20, 40.0, belt(0.5, 80.0)),
            (19, 39.5, auger_stops(true)),
            (10, 50.0, auger_stops(false)),
            (9, 51.0, take_up),
        ];
        let new = all.map(|(days, hours, readings)| {
            with(
                inspection(unit, days, readings),
                json!({"run_hours": hours}),
            )
        });
        new.into_iter()
            .map(|new| serde_json::from_value(new).unwrap())
            .collect()
    };
    let (first, second, third) = (
        fleet(&server).await.unit,
        fleet(&server).await.unit,
        fleet(&server).await.unit,
    );
    for new in history(&first) {
        record(&server.database, &tenant, &[new]).await.unwrap();
    }
    // Newest first, two machines' mixed.
    let mut both: Vec<NewInspection> = history(&second)
        .into_iter()
        .zip(history(&third))
        .flat_map(|(a, b)| [a, b])
        .collect();
    both.reverse();
    let recorded = record(&server.database, &tenant, &both).await.unwrap();
    assert_eq!(recorded.len(), 18);

    // Everything there is to say of a unit, but for ids and when it was received.
    let told = async |unit: &str| -> Vec<Value> {
        let mut told = Vec::new();
        let mut inspections = items(&technician, &format!("/v1/inspections?unit_id={unit}")).await;
        inspections
            .sort_by_key(|inspection| inspection["performed_at"].as_str().unwrap().to_owned());
        let place = |id: &Value| {
            inspections
                .iter()
                .position(|inspection| &inspection["id"] == id)
        };
        let mut findings = items(&technician, &format!("/v1/findings?unit_id={unit}")).await;
        findings.sort_by_key(|finding| {
            (
                finding["opened_at"].as_str().unwrap().to_owned(),
                finding["check"].to_string(),
            )
        });
        for finding in &findings {
            let (opened, closed) = (
                place(&finding["inspection_id"]),
                place(&finding["closed_by"]),
            );
            told.push(json!([
                finding["check"],
                finding["effect"],
                finding["text"],
                opened,
                closed
            ]));
        }
        let mut holds = items(&technician, &format!("/v1/holds?unit_id={unit}")).await;
        holds.sort_by_key(|hold| hold["placed_at"].as_str().unwrap().to_owned());
        told.extend(holds.iter().map(|hold| hold["reason"].clone()));
        for inspection in &inspections {
            let path = format!("/v1/inspections/{}", inspection["id"].as_str().unwrap());
            let whole = technician.get(&path).await.expect(200).json();
            for reading in whole["readings"].as_array().unwrap() {
                told.push(json!([
                    reading["check"],
                    reading["verdict"],
                    reading["flags"],
                    reading["inputs"]
                ]));
            }
            told.push(inspection["flags"].clone());
        }
        told
    };
    let one_by_one = told(&first).await;
    assert!(
        one_by_one.contains(&json!(["suspect", "hours run backwards"])),
        "{one_by_one:?}"
    );
    assert_eq!(one_by_one, told(&second).await);
    assert_eq!(one_by_one, told(&third).await);

    // Nothing of a batch is stored when one of it cannot be, and that one is named.
    let mut bad = history(&first);
    bad[3].readings[1].unit = Some("psi".to_owned());
    match record(&server.database, &tenant, &bad).await {
        Err(Error::Invalid { field, .. }) => assert_eq!(field, "[3].readings[1].unit"),
        other => panic!("{other:?}"),
    }
    assert_eq!(one_by_one, told(&first).await);
}
