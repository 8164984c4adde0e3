//! /v1/models, their sheets and /v1/default-sheets

use reqwest::Method;
use rimeyard_harness::{Actor, Answer, TestServer};
use rimeyard_rules::sheet::two_stage_thrower;
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{Fleet, audited, entry, feed_is_sound, marks};
use super::refusals::{every_page, patch_refuses, post_refuses, with, without};

const KIND: &str = "two-stage thrower";

async fn checklist(administrator: &Actor, name: &str) -> String {
    let new = json!({"name": name, "kind": KIND});
    administrator
        .post("/v1/checklists", &new)
        .await
        .expect(201)
        .id()
}

/// What a new model needs.
async fn snowfall(administrator: &Actor) -> Value {
    let checklist = checklist(administrator, "Bottom-up").await;
    json!({"name": "Snowfall 28", "kind": KIND, "checklist_id": checklist})
}

/// The default sheet as it travels, with this at a path of it.
fn sheet_with(pointer: &str, value: Value) -> Value {
    let mut sheet = json!(two_stage_thrower());
    *sheet.pointer_mut(pointer).expect("a place on the sheet") = value;
    sheet
}

#[tokio::test]
async fn a_model_is_created_found_changed_and_published() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = snowfall(&administrator).await;
    let created = administrator.post("/v1/models", &new).await.expect(201);
    let id = created.id();
    let path = format!("/v1/models/{id}");
    assert_eq!(created.header("location"), path);
    let mut expected = with(
        &new,
        &json!({"id": id, "sheet_version": 1, "price": null, "rev": 1}),
    );
    assert_eq!(
        (created.json(), created.etag()),
        (expected.clone(), "\"1\"".to_owned())
    );
    let reader = server.depot_system().await;
    assert_eq!(reader.get(&path).await.expect(200).json(), expected);

    let other = checklist(&administrator, "Top-down").await;
    let change = json!({"name": "Snowfall 28 old", "checklist_id": other});
    let changed = administrator
        .patch(&path, "\"1\"", &change)
        .await
        .expect(200);
    expected = with(&with(&expected, &change), &json!({"rev": 2}));
    assert_eq!(
        (changed.json(), changed.etag()),
        (expected.clone(), "\"2\"".to_owned())
    );
    administrator
        .patch(&path, "\"1\"", &change)
        .await
        .problem(412);
    Answer::of(administrator.request(Method::PATCH, &path).json(&change))
        .await
        .problem(428);

    let scope = server.world.ours.org_id;
    let published = entry(&server, scope, "model", &id).await;
    assert_eq!((published.doc, published.rev), (expected, 2));
    let published = entry(&server, scope, "sheet", &id).await;
    let sheet = reader
        .get(&format!("{path}/sheets/1"))
        .await
        .expect(200)
        .json();
    assert_eq!((published.doc, published.rev), (sheet, 1));
    let actions: Vec<String> = audited(&server, &id)
        .await
        .into_iter()
        .map(|(action, _)| action)
        .collect();
    assert_eq!(actions, ["create", "create", "update"]);
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn a_model_without_a_sheet_starts_from_the_default_of_its_kind() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = snowfall(&administrator).await;
    let id = administrator
        .post("/v1/models", &new)
        .await
        .expect(201)
        .id();
    let version = administrator
        .get(&format!("/v1/models/{id}/sheets/1"))
        .await
        .expect(200);
    assert_eq!(version.etag(), "\"1\"");
    let default = administrator
        .get("/v1/default-sheets/two-stage%20thrower")
        .await
        .expect(200)
        .json();
    assert_eq!(
        default,
        json!(two_stage_thrower()),
        "nothing is lost on the way"
    );
    assert_eq!(version.json()["content"], default);
    administrator
        .get("/v1/default-sheets/bulldozer")
        .await
        .problem(404);
    let strange = with(&new, &json!({"name": "B", "kind": "bulldozer"}));
    assert_eq!(
        administrator
            .post("/v1/models", &strange)
            .await
            .problem(422),
        ["kind"]
    );
}

#[tokio::test]
async fn a_new_sheet_is_a_version_of_its_own_and_has_its_depots_computed_anew() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let unit = Fleet::of(&server, "Home").await.unit;
    let model = administrator.get(&format!("/v1/units/{unit}")).await.json()["model_id"].clone();
    let path = format!("/v1/models/{}", model.as_str().unwrap());
    let old = administrator
        .get(&format!("{path}/sheets/1"))
        .await
        .expect(200)
        .json();
    let (home, far) = (server.world.ours.home, server.world.ours.far);
    let (at_home, at_far) = (marks(&server, &home).await, marks(&server, &far).await);

    let wide = sheet_with("/rate/width_mm/value", json!(813.0));
    let created = administrator
        .post(&format!("{path}/sheets"), &wide)
        .await
        .expect(201);
    assert_eq!(created.header("location"), format!("{path}/sheets/2"));
    assert_eq!(created.json()["version"], 2);
    assert_eq!(created.json()["content"], wide);
    let model = administrator.get(&path).await.expect(200);
    assert_eq!(model.json()["sheet_version"], 2);
    assert_eq!(
        model.etag(),
        "\"2\"",
        "a change meant for the old sheet is stale"
    );
    assert_eq!(marks(&server, &home).await, at_home + 1);
    assert_eq!(marks(&server, &far).await, at_far, "no such unit there");
    let id = path.rsplit('/').next().unwrap();
    let published = entry(&server, server.world.ours.org_id, "sheet", id).await;
    assert_eq!((published.doc, published.rev), (created.json(), 2));

    // What was is still there to be read, by its number.
    assert_eq!(
        administrator.get(&format!("{path}/sheets/1")).await.json(),
        old
    );
    administrator
        .get(&format!("{path}/sheets/3"))
        .await
        .problem(404);
    for _ in 0..3 {
        administrator
            .post(&format!("{path}/sheets"), &wide)
            .await
            .expect(201);
    }
    let versions = every_page(&administrator, &format!("{path}/sheets"), 2, "version").await;
    assert_eq!(versions, ["1", "2", "3", "4", "5"]);
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn two_sheets_at_the_same_moment_become_two_versions() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = snowfall(&administrator).await;
    let id = administrator
        .post("/v1/models", &new)
        .await
        .expect(201)
        .id();
    let path = format!("/v1/models/{id}/sheets");
    let sheet = json!(two_stage_thrower());
    let answers =
        futures::future::join_all((0..4).map(|_| administrator.post(&path, &sheet))).await;
    let mut versions: Vec<i64> = answers
        .iter()
        .map(|answer| answer.json()["version"].as_i64().unwrap())
        .collect();
    versions.sort_unstable();
    assert_eq!(versions, [2, 3, 4, 5]);
}

#[tokio::test]
async fn models_are_listed_and_found() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = snowfall(&administrator).await;
    let mut names = Vec::new();
    for number in 0..5 {
        let name = format!("Snowfall {number}");
        let new = with(&new, &json!({"name": name}));
        administrator.post("/v1/models", &new).await.expect(201);
        names.push(name);
    }
    let operator = server.operator().await;
    assert_eq!(every_page(&operator, "/v1/models", 2, "name").await, names);
    let path = "/v1/models?name=Snowfall%203&kind=two-stage%20thrower";
    assert_eq!(every_page(&operator, path, 2, "name").await, ["Snowfall 3"]);
    let none = every_page(&operator, "/v1/models?kind=broom", 2, "name").await;
    assert_eq!(none, [""; 0]);
    for wrong in [
        "limit=0",
        "limit=201",
        "cursor=x",
        "colour=red",
        "name=a%00",
    ] {
        operator
            .get(&format!("/v1/models?{wrong}"))
            .await
            .problem(400);
    }
    let theirs = server.foreign_administrator().await;
    assert_eq!(every_page(&theirs, "/v1/models", 2, "name").await, [""; 0]);
}

#[tokio::test]
async fn what_no_model_can_be_is_named() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let good = snowfall(&administrator).await;
    let model = administrator.post("/v1/models", &good).await.expect(201);
    let path = format!("/v1/models/{}", model.id());
    let theirs = checklist(&server.foreign_administrator().await, "Theirs").await;
    let nobodys = Uuid::now_v7().to_string();
    let other = with(&good, &json!({"name": "Another"}));
    let both = [
        (json!({"name": ""}), "name"),
        (json!({"name": "x".repeat(201)}), "name"),
        (json!({"name": "a\0b"}), "name"),
        (json!({"name": null}), "name"),
        (json!({"checklist_id": 5}), "checklist_id"),
        (json!({"checklist_id": nobodys}), "checklist_id"),
        (json!({"checklist_id": theirs}), "checklist_id"),
        (json!({"colour": "red"}), "colour"),
    ];
    let required = ["name", "kind", "checklist_id"];
    post_refuses(&administrator, "/v1/models", &other, &required, &both).await;
    patch_refuses(&administrator, &path, "\"1\"", &both).await;
    patch_refuses(
        &administrator,
        &path,
        "\"1\"",
        &[(json!({"kind": KIND}), "kind")],
    )
    .await;
    let only_new = [
        (json!({"id": "7a0c8d0e-6f55-4e7a-8a53-000000000000"}), "id"),
        (json!({"kind": ""}), "kind"),
        (
            json!({"kind": "x".repeat(61), "sheet": two_stage_thrower()}),
            "kind",
        ),
        (json!({"sheet": {}}), "sheet.kind"),
        (json!({"sheet": []}), "sheet"),
        (
            json!({"sheet": sheet_with("/rate/overlap/value", json!(1))}),
            "sheet.rate.overlap.value",
        ),
        (
            json!({"sheet": sheet_with("/parts/0/title", json!("a\0b"))}),
            "sheet.parts[0].title",
        ),
    ];
    post_refuses(&administrator, "/v1/models", &other, &[], &only_new).await;
    let told = |checklist: String| {
        let (administrator, new) = (
            administrator.clone(),
            with(&other, &json!({"checklist_id": checklist})),
        );
        async move { administrator.post("/v1/models", &new).await.body }
    };
    assert_eq!(told(theirs).await, told(nobodys).await);
    let answer = administrator.post("/v1/models", &good).await;
    assert_eq!(answer.problem(409), ["name"]);
    // A checklist for another kind of machine does not fit.
    let broom = json!({"name": "Brooms", "kind": "broom", "content": {
        "kind": "broom", "steps": [{"check": "bristles"}], "source": "common practice"}});
    let broom = administrator
        .post("/v1/checklists", &broom)
        .await
        .expect(201)
        .id();
    let change = json!({"checklist_id": broom});
    patch_refuses(&administrator, &path, "\"1\"", &[(change, "checklist_id")]).await;
    assert_eq!(
        every_page(&administrator, "/v1/models", 9, "name").await,
        ["Snowfall 28"]
    );
}

#[tokio::test]
async fn every_fault_of_a_sheet_is_named_at_once() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = snowfall(&administrator).await;
    let id = administrator
        .post("/v1/models", &new)
        .await
        .expect(201)
        .id();
    let path = format!("/v1/models/{id}/sheets");
    let mut sheet = sheet_with("/rate/efficiency/value", json!(0));
    sheet["checks"][3]["check"] = sheet["checks"][1]["check"].clone();
    sheet["usage"]["shape"]["source"] = json!("");
    let mut fields = administrator.post(&path, &sheet).await.problem(422);
    // What names the check that is no more is at fault too.
    let naming = ["start.", "shear_fasteners.", "tasks["];
    fields.retain(|field| !naming.iter().any(|naming| field.starts_with(naming)));
    assert_eq!(
        fields,
        [
            "usage.shape.source",
            "rate.efficiency.value",
            "checks[3].check"
        ]
    );
    for (wrong, field) in [
        (sheet_with("/kind", json!("broom")), "kind"),
        (sheet_with("/works", json!([])), "works"),
        (sheet_with("/works/0", json!("dig")), "works[0]"),
        (
            sheet_with("/rate/width_mm/value", json!("wide")),
            "rate.width_mm.value",
        ),
        (sheet_with("/rate/width_mm", json!(711)), "rate.width_mm"),
        (sheet_with("/parts", json!({})), "parts"),
        (without(&json!(two_stage_thrower()), "start"), "start"),
        (
            with(&json!(two_stage_thrower()), &json!({"colour": "red"})),
            "colour",
        ),
    ] {
        assert_eq!(
            administrator.post(&path, &wrong).await.problem(422),
            [field]
        );
    }
    assert_eq!(every_page(&administrator, &path, 9, "version").await, ["1"]);
}

#[tokio::test]
async fn a_model_has_a_price_or_none() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let price = json!({"amount_minor": 289_900, "currency": "USD"});
    let new = with(&snowfall(&administrator).await, &json!({"price": price}));
    let created = administrator.post("/v1/models", &new).await.expect(201);
    assert_eq!(created.json()["price"], price);
    let path = format!("/v1/models/{}", created.id());
    for (price, field) in [
        (
            json!({"amount_minor": 0, "currency": "USD"}),
            "price.amount_minor",
        ),
        (
            json!({"amount_minor": 1_000_000_001, "currency": "USD"}),
            "price.amount_minor",
        ),
        (
            json!({"amount_minor": 1, "currency": "usd"}),
            "price.currency",
        ),
        (json!({"amount_minor": 1}), "price.currency"),
    ] {
        let change = json!({"price": price});
        let refused = administrator.patch(&path, "\"1\"", &change).await;
        assert_eq!(refused.problem(422), [field]);
    }
    // What is absent stays; null is that nobody knows.
    let named = administrator
        .patch(&path, "\"1\"", &json!({"name": "Renamed"}))
        .await;
    assert_eq!(named.expect(200).json()["price"], price);
    let unknown = administrator
        .patch(&path, "\"2\"", &json!({"price": null}))
        .await;
    assert_eq!(unknown.expect(200).json()["price"], Value::Null);
}
