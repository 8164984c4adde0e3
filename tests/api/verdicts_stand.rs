//! What somebody has found stands: nobody alters it, a correction is added to it, and a hold tag is lifted only by those
//! who may, with the proof.

use reqwest::Method;
use rimeyard_harness::machines::sound_inspection;
use rimeyard_harness::{Actor, Answer, PASSWORD, TestServer, email};
use rimeyard_store::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use super::audit::person_of;
use super::fleet::{Fleet, days_ago, fleet, owner, posted};
use super::refusals::without;

/// A technician who is granted Far and nothing else.
async fn technician_at_far(server: &TestServer) -> Actor {
    let email = "far@ours.example";
    let new = json!({"name": "Far", "role": "technician", "depots": [server.world.ours.far.id], "email": email, "password": PASSWORD});
    posted(&server.administrator().await, "/v1/people", &new).await;
    server.anonymous().signed_in(email).await
}

/// An inspection after a repair in which nothing failed.
async fn repaired(actor: &Actor, unit: &str) -> String {
    let mut body = sound_inspection(unit, 0);
    body["kind"] = json!("after_repair");
    body["performed_at"] = json!(days_ago(0));
    posted(actor, "/v1/inspections", &body).await
}

#[tokio::test]
async fn a_hold_tag_is_lifted_by_those_who_may_and_with_its_proof_alone() {
    let server = TestServer::start().await;
    let Fleet { unit } = fleet(&server).await;
    let technician = server.technician().await;
    let administrator = server.administrator().await;
    let elsewhere = technician_at_far(&server).await;
    let foreign = server.foreign_administrator().await;
    let of_another = repaired(&administrator, &Fleet::of(&server, "Far").await.unit).await;
    let of_others = repaired(&foreign, &Fleet::of(&server, "theirs").await.unit).await;
    for role in Role::ALL {
        let reason = json!({"reason": "smells of fuel"});
        let hold = posted(
            &server.operator().await,
            &format!("/v1/units/{unit}/holds"),
            &reason,
        )
        .await;
        let (path, lift) = (
            format!("/v1/holds/{hold}"),
            format!("/v1/holds/{hold}/lift"),
        );
        let proof = json!({"inspection_id": repaired(&technician, &unit).await});
        let hung = technician.get(&path).await.expect(200).json();
        assert_eq!(hung["lifted_at"], Value::Null);
        // Who is granted another depot, and who belongs to another organisation, does not even see it.
        for stranger in [&elsewhere, &foreign] {
            stranger.post(&lift, &proof).await.problem(404);
        }
        let actor = server.of_role(role).await;
        let may = matches!(
            role,
            Role::Technician | Role::DepotLead | Role::DistrictManager | Role::Administrator
        );
        if !may {
            actor.post(&lift, &proof).await.problem(403);
            assert_eq!(technician.get(&path).await.expect(200).json(), hung);
            continue;
        }
        // An inspection that is hidden proves as much as none: nothing, and not that it is there.
        let nothing = actor
            .post(&lift, &json!({"inspection_id": Uuid::now_v7()}))
            .await;
        assert_eq!(nothing.problem(422), ["inspection_id"]);
        for other in [&of_another, &of_others] {
            let answer = actor.post(&lift, &json!({"inspection_id": other})).await;
            assert_eq!(answer.problem(422), ["inspection_id"]);
        }
        let hidden = actor
            .post(&lift, &json!({"inspection_id": of_others}))
            .await;
        assert_eq!(hidden.body, nothing.body);
        assert_eq!(technician.get(&path).await.expect(200).json(), hung);

        let lifted = actor.post(&lift, &proof).await.expect(200).json();
        assert_eq!(lifted["lifted_by"], json!(person_of(&actor)), "{role}");
        assert_eq!(lifted["lifted_inspection"], proof["inspection_id"]);
        // Once lifted it is nobody else's to lift.
        administrator.post(&lift, &proof).await.problem(409);
        assert_eq!(technician.get(&path).await.expect(200).json(), lifted);
    }
}

#[tokio::test]
async fn a_hold_tag_that_names_somebody_is_lifted_by_nobody_else() {
    let server = TestServer::start().await;
    let Fleet { unit } = fleet(&server).await;
    let (technician, lead) = (server.technician().await, server.depot_lead().await);
    let named = person_of(&technician);
    let place = format!("/v1/units/{unit}/holds");
    let whom = |person: Uuid| json!({"reason": "smells of fuel", "to_be_lifted_by": person});

    // Whom it names must be able to lift it: people who work on machines, and at its depot.
    let elsewhere = person_of(&technician_at_far(&server).await);
    let foreign = person_of(&server.foreign_administrator().await);
    let operator = person_of(&server.operator().await);
    let program = server.anonymous();
    let program = person_of(&program.signed_in(&email("ours", Role::DepotSystem)).await);
    for stranger in [elsewhere, foreign, operator, program, Uuid::now_v7()] {
        let answer = lead.post(&place, &whom(stranger)).await;
        assert_eq!(answer.problem(422), ["to_be_lifted_by"], "{stranger}");
    }
    let hold = posted(&server.operator().await, &place, &whom(named)).await;
    let (path, lift) = (
        format!("/v1/holds/{hold}"),
        format!("/v1/holds/{hold}/lift"),
    );
    let naming = format!("{path}/name");
    let hung = lead.get(&path).await.expect(200).json();
    assert_eq!(hung["to_be_lifted_by"], json!(named));
    let proof = json!({"inspection_id": repaired(&technician, &unit).await});
    for other in [&lead, &server.administrator().await] {
        other.post(&lift, &proof).await.problem(409);
    }
    // Whoever is named does not name another, and neither does an operator.
    let lead_alone = json!({"to_be_lifted_by": person_of(&lead)});
    for actor in [&technician, &server.operator().await] {
        actor.post(&naming, &lead_alone).await.problem(403);
    }
    for (body, field) in [
        (json!({}), "to_be_lifted_by"),
        (json!({"to_be_lifted_by": "me"}), "to_be_lifted_by"),
        (json!({"to_be_lifted_by": operator}), "to_be_lifted_by"),
        (
            json!({"to_be_lifted_by": null, "because": "away"}),
            "because",
        ),
    ] {
        assert_eq!(lead.post(&naming, &body).await.problem(422), [field]);
    }
    assert_eq!(lead.get(&path).await.expect(200).json(), hung);

    let renamed = lead.post(&naming, &lead_alone).await.expect(200).json();
    assert_eq!(renamed["to_be_lifted_by"], lead_alone["to_be_lifted_by"]);
    technician.post(&lift, &proof).await.problem(409);
    // To nobody in particular, and then to whoever works on machines.
    let anybody = json!({"to_be_lifted_by": null});
    lead.post(&naming, &anybody).await.expect(200);
    technician.post(&lift, &proof).await.expect(200);
    lead.post(&naming, &lead_alone).await.problem(409);
}

#[tokio::test]
async fn a_correction_leaves_a_tag_that_names_somebody_else() {
    let server = TestServer::start().await;
    let Fleet { unit } = fleet(&server).await;
    let (technician, lead) = (server.technician().await, server.depot_lead().await);
    let stops = |works: bool| json!([{"check": "auger_stops", "works": works}]);
    let body = |works: bool, days: i64, kind: &str| json!({"unit_id": unit, "kind": kind, "performed_at": days_ago(days), "readings": stops(works)});
    let slip = technician
        .post("/v1/inspections", &body(false, 2, "in_season"))
        .await
        .expect(201)
        .json();
    let path = format!("/v1/holds/{}", slip["holds"][0]["id"].as_str().unwrap());
    let named = json!({"to_be_lifted_by": person_of(&lead)});
    lead.post(&format!("{path}/name"), &named).await.expect(200);
    let mut correction = body(true, 2, "in_season");
    correction["corrects"] = slip["id"].clone();
    technician
        .post("/v1/inspections", &correction)
        .await
        .expect(201);
    let hangs = lead.get(&path).await.expect(200).json();
    assert_eq!(hangs["lifted_at"], Value::Null);
    let proof = json!({"inspection_id": posted(&technician, "/v1/inspections", &body(true, 0, "after_repair")).await});
    let lift = format!("{path}/lift");
    technician.post(&lift, &proof).await.problem(409);
    lead.post(&lift, &proof).await.expect(200);
}

#[tokio::test]
async fn nobody_alters_what_somebody_has_found() {
    let server = TestServer::start().await;
    let Fleet { unit } = fleet(&server).await;
    let (technician, lead) = (server.technician().await, server.depot_lead().await);
    let administrator = server.administrator().await;
    let recorded = |value: f64| {
        let reading = json!({"check": "skid_thickness", "value": value, "unit": "mm"});
        json!({"unit_id": unit, "kind": "in_season", "performed_at": days_ago(1), "readings": [reading]})
    };
    let found = technician
        .post("/v1/inspections", &recorded(1.0))
        .await
        .expect(201)
        .json();
    let id = found["id"].as_str().expect("an id");
    let path = format!("/v1/inspections/{id}");
    let finding = found["findings"][0]["id"].as_str().expect("a finding");
    let read = json!({"unit_id": unit, "read_at": days_ago(1), "run_hours": 10});
    let reading = posted(&technician, "/v1/meter-readings", &read).await;
    let reason = json!({"reason": "smells of fuel"});
    let hold = posted(&technician, &format!("/v1/units/{unit}/holds"), &reason).await;
    let done = json!({"task": "fuel", "done_at": days_ago(1)});
    let done = posted(&technician, &format!("/v1/units/{unit}/tasks-done"), &done).await;

    // There is no way to change or to take away what was found, for anybody.
    for path in [
        path.clone(),
        format!("/v1/findings/{finding}"),
        format!("/v1/meter-readings/{reading}"),
        format!("/v1/holds/{hold}"),
        format!("/v1/tasks-done/{done}"),
    ] {
        let before = administrator.get(&path).await.expect(200).body;
        for method in [Method::PUT, Method::PATCH, Method::DELETE, Method::POST] {
            let request = administrator
                .request(method, &path)
                .header("If-Match", "\"1\"")
                .json(&json!({}));
            Answer::of(request).await.problem(405);
        }
        assert_eq!(administrator.get(&path).await.expect(200).body, before);
    }

    // Under its id no other can be put.
    let mut same = recorded(9.0);
    same["id"] = json!(id);
    lead.post("/v1/inspections", &same).await.problem(409);

    // What is stored of it stays as it is, down to the row, when somebody else corrects it.
    let owner = owner(&server).await;
    let uuid: Uuid = id.parse().expect("an id");
    let rows = async || {
        let row = owner
            .query_one(
                "select (select i::text from inspection i where id = $1),
                        (select string_agg(r::text, ' ' order by check_code) from reading r where inspection_id = $1)",
                &[&uuid],
            )
            .await
            .expect("its rows");
        (row.get::<_, String>(0), row.get::<_, String>(1))
    };
    let (before, stored) = (technician.get(&path).await.expect(200).json(), rows().await);
    let mut correction = recorded(9.0);
    correction["corrects"] = json!(id);
    // Only by who inspects, and sees it.
    server
        .operator()
        .await
        .post("/v1/inspections", &correction)
        .await
        .problem(403);
    technician_at_far(&server)
        .await
        .post("/v1/inspections", &correction)
        .await
        .problem(422);
    let corrected = lead
        .post("/v1/inspections", &correction)
        .await
        .expect(201)
        .json();
    assert_eq!(corrected["performed_by"], json!(person_of(&lead)));
    assert_ne!(
        corrected["readings"][0]["verdict"],
        found["readings"][0]["verdict"]
    );
    let after = technician.get(&path).await.expect(200).json();
    assert_eq!(
        (&after["corrected_by"], &after["performed_by"]),
        (&corrected["id"], &json!(person_of(&technician)))
    );
    let but = |object: &Value| without(&without(object, "corrected_by"), "rev");
    assert_eq!(but(&after), but(&before));
    assert_eq!(rows().await, stored);
    // Who corrected it is in the audit, beside who found it.
    let people = owner
        .query("select person_id from audit where object_id = any($1) and object_kind = 'inspection' order by id", &[&vec![
            uuid,
            corrected["id"].as_str().and_then(|id| id.parse().ok()).expect("an id"),
        ]])
        .await
        .expect("the audit");
    let people: Vec<Uuid> = people.iter().map(|row| row.get(0)).collect();
    assert_eq!(people, [person_of(&technician), person_of(&lead)]);

    // Nor does another sheet give an old reading another verdict.
    let model = administrator
        .get(&format!("/v1/units/{unit}"))
        .await
        .expect(200)
        .json();
    let sheets = format!(
        "/v1/models/{}/sheets",
        model["model_id"].as_str().expect("a model")
    );
    let sheet = rimeyard_rules::sheet::two_stage_thrower();
    administrator.post(&sheets, &json!(sheet)).await.expect(201);
    assert_eq!(technician.get(&path).await.expect(200).json(), after);
    assert_eq!(rows().await, stored);
}
