//! /v1/checklists and their versions

use reqwest::Method;
use rimeyard_harness::{Answer, TestServer};
use rimeyard_rules::sheet::two_stage_thrower_checklist;
use serde_json::{Value, json};

use super::fleet::{audited, entry, feed_is_sound};
use super::refusals::{every_page, patch_refuses, post_refuses, with, without};

/// What a checklist for brooms says.
fn broom() -> Value {
    json!({
        "kind": "broom",
        "preconditions": ["Engine stopped, key out."],
        "cautions": ["Follow the maker's manual and local rules."],
        "steps": [
            {"check": "bristles", "how": "The shortest.", "tools": ["steel rule"]},
            {"check": "belt", "preconditions": ["Plug lead off."], "cautions": ["Belts pinch."]},
        ],
        "source": "common practice",
    })
}

#[tokio::test]
async fn a_checklist_is_created_found_renamed_and_published() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = json!({"name": "Brooms", "kind": "broom", "content": broom()});
    let created = administrator.post("/v1/checklists", &new).await.expect(201);
    let id = created.id();
    let path = format!("/v1/checklists/{id}");
    assert_eq!(created.header("location"), path);
    let mut expected = with(&new, &json!({"id": id, "version": 1, "rev": 1}));
    // Steps come back in working order, with what belongs to them.
    assert_eq!(
        (created.json(), created.etag()),
        (expected.clone(), "\"1\"".to_owned())
    );
    let operator = server.operator().await;
    assert_eq!(operator.get(&path).await.expect(200).json(), expected);
    let listed = operator
        .get("/v1/checklists?name=Brooms&kind=broom")
        .await
        .expect(200)
        .json();
    assert_eq!(listed["items"], json!([without(&expected, "content")]));

    let change = json!({"name": "Brooms and brushes"});
    let changed = administrator
        .patch(&path, "\"1\"", &change)
        .await
        .expect(200);
    expected = with(&with(&expected, &change), &json!({"rev": 2}));
    assert_eq!(changed.json(), expected);
    administrator
        .patch(&path, "\"1\"", &change)
        .await
        .problem(412);
    Answer::of(administrator.request(Method::PATCH, &path).json(&change))
        .await
        .problem(428);
    let published = entry(&server, server.world.ours.org_id, "checklist", &id).await;
    assert_eq!((published.doc, published.rev), (expected, 2));
    let actions: Vec<String> = audited(&server, &id)
        .await
        .into_iter()
        .map(|(action, _)| action)
        .collect();
    assert_eq!(actions, ["create", "update"]);
}

#[tokio::test]
async fn a_checklist_without_content_starts_from_the_default_of_its_kind() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = json!({"name": "Bottom-up", "kind": "two-stage thrower"});
    let created = administrator.post("/v1/checklists", &new).await.expect(201);
    assert_eq!(
        created.json()["content"],
        json!(two_stage_thrower_checklist())
    );
    let strange = json!({"name": "B", "kind": "bulldozer"});
    let answer = administrator.post("/v1/checklists", &strange).await;
    assert_eq!(answer.problem(422), ["kind"]);
}

#[tokio::test]
async fn every_version_stays_readable() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = json!({"name": "Brooms", "kind": "broom", "content": broom()});
    let id = administrator
        .post("/v1/checklists", &new)
        .await
        .expect(201)
        .id();
    let path = format!("/v1/checklists/{id}");
    let versions = format!("{path}/versions");
    let mut turned = broom();
    turned["steps"].as_array_mut().unwrap().reverse();
    let created = administrator.post(&versions, &turned).await.expect(201);
    assert_eq!(created.header("location"), format!("{versions}/2"));
    assert_eq!(created.json()["content"], turned);
    let now = administrator.get(&path).await.expect(200);
    assert_eq!(now.etag(), "\"2\"");
    assert_eq!(
        (&now.json()["version"], &now.json()["content"]),
        (&json!(2), &turned)
    );
    let published = entry(&server, server.world.ours.org_id, "checklist", &id).await;
    assert_eq!(published.doc, now.json());

    let technician = server.technician().await;
    let first = technician
        .get(&format!("{versions}/1"))
        .await
        .expect(200)
        .json();
    assert_eq!(
        (&first["checklist_id"], &first["version"], &first["content"]),
        (&json!(id), &json!(1), &broom())
    );
    technician.get(&format!("{versions}/3")).await.problem(404);
    for _ in 0..2 {
        administrator.post(&versions, &turned).await.expect(201);
    }
    assert_eq!(
        every_page(&technician, &versions, 3, "version").await,
        ["1", "2", "3", "4"]
    );
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn what_no_checklist_can_be_is_named() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let good = json!({"name": "Brooms", "kind": "broom", "content": broom()});
    let path = format!(
        "/v1/checklists/{}",
        administrator
            .post("/v1/checklists", &good)
            .await
            .expect(201)
            .id()
    );
    let other = with(&good, &json!({"name": "Another"}));
    let both = [
        (json!({"name": ""}), "name"),
        (json!({"name": "x".repeat(201)}), "name"),
        (json!({"name": "a\0b"}), "name"),
        (json!({"name": 7}), "name"),
        (json!({"colour": "red"}), "colour"),
    ];
    post_refuses(
        &administrator,
        "/v1/checklists",
        &other,
        &["name", "kind"],
        &both,
    )
    .await;
    patch_refuses(&administrator, &path, "\"1\"", &both).await;
    let only_new = [
        (json!({"kind": "x".repeat(61)}), "kind"),
        (json!({"id": "7a0c8d0e-6f55-4e7a-8a53-000000000000"}), "id"),
        (json!({"kind": "mower"}), "content.kind"),
        (json!({"content": {}}), "content.kind"),
    ];
    post_refuses(&administrator, "/v1/checklists", &other, &[], &only_new).await;
    let answer = administrator.post("/v1/checklists", &good).await;
    assert_eq!(answer.problem(409), ["name"]);

    let step = |change: Value| json!({"steps": [with(&json!({"check": "bristles"}), &change)]});
    let contents = [
        (json!({"kind": "mower"}), "kind"),
        (json!({"steps": []}), "steps"),
        (
            json!({"steps": (0..501).map(|n| json!({"check": format!("c{n}")})).collect::<Vec<_>>()}),
            "steps",
        ),
        (
            json!({"steps": [{"check": "belt"}, {"check": "belt"}]}),
            "steps[1].check",
        ),
        (step(json!({"check": ""})), "steps[0].check"),
        (step(json!({"check": "x".repeat(61)})), "steps[0].check"),
        (step(json!({"how": "x".repeat(301)})), "steps[0].how"),
        (step(json!({"how": "a\0b"})), "steps[0].how"),
        (step(json!({"tools": vec!["rule"; 31]})), "steps[0].tools"),
        (step(json!({"tools": [5]})), "steps[0].tools[0]"),
        (step(json!({"cautions": [""]})), "steps[0].cautions[0]"),
        (step(json!({"limit": 3})), "steps[0].limit"),
        (json!({"source": " "}), "source"),
        (
            json!({"preconditions": ["x".repeat(301)]}),
            "preconditions[0]",
        ),
        (json!({"cautions": "none"}), "cautions"),
        (json!({"colour": "red"}), "colour"),
    ];
    let versions = format!("{path}/versions");
    post_refuses(
        &administrator,
        &versions,
        &broom(),
        &["kind", "steps", "source"],
        &contents,
    )
    .await;
    assert_eq!(administrator.get(&path).await.etag(), "\"1\"");
    assert_eq!(
        every_page(&administrator, "/v1/checklists", 9, "name").await,
        ["Brooms"]
    );
}
