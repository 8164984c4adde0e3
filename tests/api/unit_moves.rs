//! PATCH /v1/units/{unit_id} with another depot_id

use rimeyard_harness::{Actor, Depot, TestServer};
use rimeyard_worker::{Settings, drain};
use serde_json::json;

use super::fleet::{Fleet, days_ago, entry, feed_is_sound, items, marks, posted};

/// What stands against a unit: an open finding, a hold tag, a limited use and a task put off, each as its GET shows it.
async fn burdens(administrator: &Actor, unit: &str) -> [(&'static str, String); 4] {
    let readings = json!([{"check": "skid_thickness", "value": 1, "unit": "mm"}]);
    let inspection = json!({"unit_id": unit, "kind": "in_season", "performed_at": days_ago(1), "readings": readings});
    let found = administrator
        .post("/v1/inspections", &inspection)
        .await
        .expect(201)
        .json();
    let finding = found["findings"][0]["id"].as_str().unwrap().to_owned();
    let path = format!("/v1/units/{unit}/holds");
    let hold = posted(administrator, &path, &json!({"reason": "smells of fuel"})).await;
    let path = format!("/v1/units/{unit}/limited-use");
    let new = json!({"reason": "day only", "starts_at": days_ago(1), "ends_at": days_ago(-9)});
    let limited = posted(administrator, &path, &new).await;
    let path = format!("/v1/units/{unit}/deferrals");
    let until = jiff::Zoned::now()
        .date()
        .saturating_add(jiff::Span::new().days(9));
    let new = json!({"task": "fuel", "until": until, "reason": "stabiliser on order"});
    let put_off = posted(administrator, &path, &new).await;
    [
        ("finding", finding),
        ("hold", hold),
        ("limited-use", limited),
        ("deferral", put_off),
    ]
}

#[tokio::test]
async fn a_unit_that_moves_takes_along_what_is_true_of_it_now() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home, server.world.ours.far);
    let unit = Fleet::at(&administrator, &home).await.unit;
    let burdens = burdens(&administrator, &unit).await;
    let inspection = items(&administrator, &format!("/v1/inspections?unit_id={unit}")).await;
    let belt = json!({"part": "auger_belt", "how": "renewed", "fitted_at": days_ago(1)});
    posted(&administrator, &format!("/v1/units/{unit}/parts"), &belt).await;
    drain(&server.database, &Settings::default())
        .await
        .expect("computed");
    let technician = server.technician().await;
    let readiness = format!("/v1/readiness/units/{unit}");
    technician.get(&readiness).await.expect(200);
    let marked = (marks(&server, &home).await, marks(&server, &far).await);

    let path = format!("/v1/units/{unit}");
    let moved = administrator
        .patch(&path, "\"1\"", &json!({"depot_id": far.id}))
        .await
        .expect(200);
    assert_eq!(moved.json()["depot_id"], json!(far.id));
    assert_eq!(
        (marks(&server, &home).await, marks(&server, &far).await),
        (marked.0 + 1, marked.1 + 1)
    );
    feed_is_sound(&server).await;

    // Readers of the old depot are told that it went, and not where to; readers of the new one have it whole.
    let mut current = vec![("unit", unit.clone()), ("unit-state", unit.clone())];
    current.extend(burdens.clone());
    for part in items(&administrator, &format!("{path}/parts?fitted=true")).await {
        current.push(("fitted-part", part["id"].as_str().unwrap().to_owned()));
    }
    for (kind, id) in &current {
        let old = entry(&server, home.id, kind, id).await;
        assert_eq!(
            (old.deleted, old.doc),
            (true, json!({"moved": true})),
            "{kind}"
        );
        let new = entry(&server, far.id, kind, id).await;
        assert!(!new.deleted && new.rev == old.rev, "{kind}");
        let depot = new.doc.get("depot_id");
        assert!(depot.is_none_or(|depot| *depot == json!(far.id)), "{kind}");
        if let Some(rev) = new.doc.get("rev") {
            assert_eq!(*rev, json!(new.rev), "{kind}");
        }
        let path = match *kind {
            "unit-state" => continue,
            "unit" => path.clone(),
            "fitted-part" => format!("{path}/parts/{id}"),
            "finding" => format!("/v1/findings/{id}"),
            "hold" => format!("/v1/holds/{id}"),
            "deferral" => format!("/v1/deferrals/{id}"),
            _ => format!("/v1/limited-use/{id}"),
        };
        assert_eq!(administrator.get(&path).await.expect(200).json(), new.doc);
        technician.get(&path).await.problem(404);
    }
    // Its history was made at the old depot and stays there.
    let seen = entry(
        &server,
        home.id,
        "inspection",
        inspection[0]["id"].as_str().unwrap(),
    )
    .await;
    assert!(!seen.deleted);

    // Once computed, both depots say so.
    drain(&server.database, &Settings::default())
        .await
        .expect("computed");
    let state = administrator.get(&readiness).await.expect(200).json();
    assert_eq!(
        (&state["depot_id"], &state["status"]),
        (&json!(far.id), &json!("held"))
    );
    technician.get(&readiness).await.problem(404);
    let machines = |depot: Depot| {
        let administrator = administrator.clone();
        async move {
            let path = format!("/v1/readiness/depots/{}", depot.id);
            let depot = administrator.get(&path).await.expect(200).json();
            depot["machines"].as_array().unwrap().len()
        }
    };
    assert_eq!((machines(home).await, machines(far).await), (0, 1));

    // And back again.
    let back = administrator
        .patch(&path, &moved.etag(), &json!({"depot_id": home.id}))
        .await
        .expect(200);
    for (kind, id) in &current {
        let published = entry(&server, home.id, kind, id).await;
        assert!(!published.deleted, "{kind}");
    }
    let published = entry(&server, home.id, "unit", &unit).await;
    assert_eq!(published.doc, back.json());
    technician.get(&path).await.expect(200);
    feed_is_sound(&server).await;
}

/// Found wrong and right again at Home; at Far it turns out that it never was right.
#[tokio::test]
async fn a_finding_that_opens_again_opens_where_the_unit_is() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home, server.world.ours.far);
    let unit = Fleet::at(&administrator, &home).await.unit;
    let inspect = async |days: i64, stops: bool, corrects: Option<&str>| {
        let readings = json!([{"check": "auger_stops", "works": stops}]);
        let inspection = json!({
            "unit_id": unit, "kind": "after_repair", "performed_at": days_ago(days), "readings": readings, "corrects": corrects
        });
        administrator
            .post("/v1/inspections", &inspection)
            .await
            .expect(201)
            .json()
    };
    let wrong = inspect(3, false, None).await;
    let finding = wrong["findings"][0]["id"].as_str().unwrap();
    let tag = wrong["holds"][0]["id"].as_str().unwrap();
    let right = inspect(2, true, None).await;
    let right = right["id"].as_str().unwrap();
    administrator
        .post(
            &format!("/v1/holds/{tag}/lift"),
            &json!({"inspection_id": right}),
        )
        .await
        .expect(200);
    administrator
        .patch(
            &format!("/v1/units/{unit}"),
            "\"1\"",
            &json!({"depot_id": far.id}),
        )
        .await
        .expect(200);
    let closed = entry(&server, home.id, "finding", finding).await;
    assert!(!closed.deleted, "what is closed is history and stays");

    let again = inspect(2, false, Some(right)).await;
    assert_eq!(
        again["findings"][0]["id"],
        json!(finding),
        "the same, open again"
    );
    let there = entry(&server, far.id, "finding", finding).await;
    assert!(!there.deleted);
    assert_eq!(
        (&there.doc["depot_id"], &there.doc["closed_at"]),
        (&json!(far.id), &json!(null))
    );
    let gone = entry(&server, home.id, "finding", finding).await;
    assert_eq!((gone.deleted, gone.doc), (true, json!({"moved": true})));
    let path = format!("/v1/findings/{finding}");
    assert_eq!(administrator.get(&path).await.expect(200).json(), there.doc);
    let tag = again["holds"][0]["id"].as_str().unwrap();
    let tag = entry(&server, far.id, "hold", tag).await;
    assert_eq!(
        tag.doc["depot_id"],
        json!(far.id),
        "whoever works at Far sees the tag"
    );
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn units_that_pass_each_other_on_the_road_both_arrive() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let (home, far) = (server.world.ours.home, server.world.ours.far);
    let mut moves = Vec::new();
    for (from, to) in [(home, far), (far, home)].into_iter().cycle().take(8) {
        let unit = Fleet::at(&administrator, &from).await.unit;
        moves.push((unit, to));
    }
    let answers = futures::future::join_all(moves.iter().map(|(unit, to)| {
        let (administrator, path) = (administrator.clone(), format!("/v1/units/{unit}"));
        let change = json!({"depot_id": to.id});
        async move { administrator.patch(&path, "\"1\"", &change).await }
    }))
    .await;
    for (answer, (_, to)) in answers.into_iter().zip(&moves) {
        assert_eq!(answer.expect(200).json()["depot_id"], json!(to.id));
    }
    feed_is_sound(&server).await;
}
