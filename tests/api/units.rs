//! /v1/units

use reqwest::Method;
use rimeyard_harness::{Answer, Depot, TestServer};
use rimeyard_rules::sheet::two_stage_thrower;
use rimeyard_store::unit::{self as units, NewUnit};
use rimeyard_store::{Depots, Error, Role, Tenant, feed};
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::{audited, days_ago, entry, feed_is_sound, items, marks, model, owner, posted};
use super::refusals::{every_page, patch_refuses, post_refuses, with};

fn thrower(depot: &Depot, model: &str) -> Value {
    json!({"tag": "B-17", "depot_id": depot.id, "model_id": model})
}

#[tokio::test]
async fn a_unit_is_created_with_its_parts_found_changed_and_published() {
    let server = TestServer::start().await;
    let model = model(&server.administrator().await).await;
    let lead = server.depot_lead().await;
    let home = server.world.ours.home;
    let before = marks(&server, &home).await;
    let new = with(
        &thrower(&home, &model),
        &json!({"acquired_on": "2023-10-01"}),
    );
    let came_new = with(&new, &json!({"came_new": true}));
    let created = lead.post("/v1/units", &came_new).await.expect(201);
    let id = created.id();
    let path = format!("/v1/units/{id}");
    assert_eq!(created.header("location"), path);
    let mut expected = with(
        &new,
        &json!({"id": id, "rigging": "clear", "away": null, "retired_at": null, "rev": 1}),
    );
    assert_eq!(
        (created.json(), created.etag()),
        (expected.clone(), "\"1\"".to_owned())
    );
    assert_eq!(marks(&server, &home).await, before + 1);
    let operator = server.operator().await;
    assert_eq!(operator.get(&path).await.expect(200).json(), expected);

    // One path of wear for each part of the sheet, from the start of that day in Denver, UTC-6 (IANA zone database).
    let parts = items(&operator, &format!("{path}/parts")).await;
    let names: Vec<&str> = parts
        .iter()
        .map(|part| part["part"].as_str().unwrap())
        .collect();
    let sheet = two_stage_thrower();
    let of_sheet: Vec<&str> = sheet.parts.iter().map(|part| part.part.as_str()).collect();
    assert_eq!(names, of_sheet);
    for part in &parts {
        assert_eq!(
            (&part["how"], &part["fitted_at"], &part["removed_at"]),
            (
                &json!("as delivered"),
                &json!("2023-10-01T06:00:00Z"),
                &Value::Null
            )
        );
        assert_eq!(part["fitted_hours"], 0.0);
        let published = entry(
            &server,
            home.id,
            "fitted-part",
            part["id"].as_str().unwrap(),
        )
        .await;
        assert_eq!((&published.doc, published.rev), (part, 1));
    }

    let technician = server.technician().await;
    let change = json!({"tag": "B-18", "away": "engine shop"});
    let changed = technician.patch(&path, "\"1\"", &change).await.expect(200);
    expected = with(&with(&expected, &change), &json!({"rev": 2}));
    assert_eq!(
        (changed.json(), changed.etag()),
        (expected.clone(), "\"2\"".to_owned())
    );
    technician.patch(&path, "\"1\"", &change).await.problem(412);
    Answer::of(technician.request(Method::PATCH, &path).json(&change))
        .await
        .problem(428);
    let back = json!({"away": null, "retired_at": "2024-05-01T12:00:00Z"});
    let changed = technician.patch(&path, "\"2\"", &back).await.expect(200);
    expected = with(&with(&expected, &back), &json!({"rev": 3}));
    assert_eq!(changed.json(), expected);

    let published = entry(&server, home.id, "unit", &id).await;
    assert_eq!((published.doc, published.rev), (expected, 3));
    assert_eq!(marks(&server, &home).await, before + 3);
    let audited = audited(&server, &id).await;
    assert_eq!(audited.len(), 3);
    assert_eq!(audited[1].1["tag"], json!({"from": "B-17", "to": "B-18"}));
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn of_a_machine_that_is_not_known_to_have_come_new_no_part_has_a_date() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let good = thrower(&server.world.ours.home, &model(&administrator).await);
    // The day an agency bought a used machine says nothing of its parts.
    let known = [
        json!({"tag": "B-1"}),
        json!({"tag": "B-2", "acquired_on": "2023-10-01"}),
        json!({"tag": "B-3", "acquired_on": "2023-10-01", "came_new": false}),
    ];
    for known in &known {
        let unit = posted(&administrator, "/v1/units", &with(&good, known)).await;
        for part in items(&administrator, &format!("/v1/units/{unit}/parts")).await {
            let dated = (&part["fitted_at"], &part["fitted_hours"]);
            assert_eq!(dated, (&Value::Null, &Value::Null), "{known}");
        }
    }
}

#[tokio::test]
async fn units_are_listed_and_found_where_they_are_granted() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let (model, other) = (model(&administrator).await, model(&administrator).await);
    let (home, far) = (server.world.ours.home, server.world.ours.far);
    let mut tags = Vec::new();
    for (number, (depot, model)) in [(home, &model), (far, &model), (home, &other)]
        .into_iter()
        .cycle()
        .take(6)
        .enumerate()
    {
        let tag = format!("T-{number}");
        let new = with(&thrower(&depot, model), &json!({"tag": tag}));
        posted(&administrator, "/v1/units", &new).await;
        tags.push(tag);
    }
    assert_eq!(
        every_page(&administrator, "/v1/units", 4, "tag").await,
        tags
    );
    let (home, far) = (home.id, far.id);
    let technician = server.technician().await;
    for (filter, found) in [
        (String::new(), vec!["T-0", "T-2", "T-3", "T-5"]),
        (
            format!("?depot_id={home}"),
            vec!["T-0", "T-2", "T-3", "T-5"],
        ),
        (
            format!("?depot_id={home}&model_id={other}"),
            vec!["T-2", "T-5"],
        ),
        ("?tag=T-3".to_owned(), vec!["T-3"]),
        ("?tag=t-3".to_owned(), vec!["T-3"]),
        ("?tag=T-1".to_owned(), vec![]),
        (format!("?depot_id={far}"), vec![]),
        (format!("?depot_id={}", Uuid::now_v7()), vec![]),
    ] {
        let path = format!("/v1/units{filter}");
        assert_eq!(
            every_page(&technician, &path, 3, "tag").await,
            found,
            "{path}"
        );
    }
    for (wrong, parameter) in [
        ("status=ready", "status"),
        ("depot_id=home", "depot_id"),
        ("tag=a%00b", "tag"),
        ("limit=1000", "limit"),
        ("cursor=!", "cursor"),
    ] {
        let answer = technician.get(&format!("/v1/units?{wrong}")).await;
        assert_eq!(answer.problem(400), [parameter]);
    }
    let theirs = server.foreign_administrator().await;
    assert_eq!(every_page(&theirs, "/v1/units", 9, "tag").await, [""; 0]);
}

#[tokio::test]
async fn what_no_unit_can_be_is_named() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let lead = server.depot_lead().await;
    let (ours, theirs) = (server.world.ours, server.world.theirs);
    let model_id = model(&administrator).await;
    let foreign_model = model(&server.foreign_administrator().await).await;
    let good = thrower(&ours.home, &model_id);
    let path = format!("/v1/units/{}", posted(&lead, "/v1/units", &good).await);
    let nobodys = Uuid::now_v7();
    let other = with(&good, &json!({"tag": "B-99"}));
    let both = [
        (json!({"tag": ""}), "tag"),
        (json!({"tag": "x".repeat(41)}), "tag"),
        (json!({"tag": "a\0b"}), "tag"),
        (json!({"tag": 17}), "tag"),
        (json!({"tag": null}), "tag"),
        (json!({"depot_id": "home"}), "depot_id"),
        (json!({"depot_id": nobodys}), "depot_id"),
        (json!({"depot_id": ours.far.id}), "depot_id"),
        (json!({"depot_id": theirs.home.id}), "depot_id"),
        (json!({"rigging": "dig"}), "rigging"),
        (json!({"rigging": 5}), "rigging"),
        (json!({"rigging": "spread"}), "rigging"),
        (json!({"away": ""}), "away"),
        (json!({"away": "x".repeat(201)}), "away"),
        (json!({"away": "a\0b"}), "away"),
        (json!({"colour": "red"}), "colour"),
    ];
    let required = ["tag", "depot_id", "model_id"];
    post_refuses(&lead, "/v1/units", &other, &required, &both).await;
    patch_refuses(&lead, &path, "\"1\"", &both).await;
    let only_new = [
        (json!({"id": "7a0c8d0e-6f55-4e7a-8a53-000000000000"}), "id"),
        (json!({"model_id": nobodys}), "model_id"),
        (json!({"model_id": foreign_model}), "model_id"),
        (json!({"acquired_on": "2023-02-30"}), "acquired_on"),
        (json!({"acquired_on": "yesterday"}), "acquired_on"),
        (json!({"acquired_on": "1850-01-01"}), "acquired_on"),
        (json!({"acquired_on": "9999-12-31"}), "acquired_on"),
        (json!({"acquired_on": "-009999-01-01"}), "acquired_on"),
        (json!({"came_new": true}), "came_new"),
        (
            json!({"came_new": "yes", "acquired_on": "2023-10-01"}),
            "came_new",
        ),
        (json!({"rev": 4}), "rev"),
    ];
    post_refuses(&lead, "/v1/units", &other, &[], &only_new).await;
    let only_changes = [
        (json!({"model_id": model_id}), "model_id"),
        (json!({"retired_at": days_ago(-1)}), "retired_at"),
        (json!({"retired_at": "soon"}), "retired_at"),
        (
            json!({"retired_at": "-009000-01-01T00:00:00Z"}),
            "retired_at",
        ),
        (json!({"depot_id": null}), "depot_id"),
    ];
    patch_refuses(&lead, &path, "\"1\"", &only_changes).await;
    // A depot that is not granted, one of another organisation and one that never was are told in the same words.
    let depots = [nobodys, ours.far.id, theirs.home.id];
    let (mut posts, mut patches) = (Vec::new(), Vec::new());
    for depot in depots {
        let change = json!({"depot_id": depot});
        posts.push(lead.post("/v1/units", &with(&other, &change)).await.body);
        patches.push(lead.patch(&path, "\"1\"", &change).await.body);
    }
    assert!(posts.iter().chain(&patches).all(|body| *body == posts[0]));
    let twice = lead.post("/v1/units", &good).await;
    assert_eq!(twice.problem(409), ["tag"]);
    let second = posted(&lead, "/v1/units", &other).await;
    let taken = lead
        .patch(
            &format!("/v1/units/{second}"),
            "\"1\"",
            &json!({"tag": "B-17"}),
        )
        .await;
    assert_eq!(taken.problem(409), ["tag"]);
    assert_eq!(
        every_page(&lead, "/v1/units", 9, "tag").await,
        ["B-17", "B-99"]
    );
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn a_repeat_under_the_same_key_creates_one_unit() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let new = thrower(&server.world.ours.home, &model(&administrator).await);
    let send = || {
        let request = administrator
            .request(Method::POST, "/v1/units")
            .header("Idempotency-Key", "one unit")
            .json(&new);
        Answer::of(request)
    };
    let answers = futures::future::join_all((0..6).map(|_| send())).await;
    for answer in &answers {
        assert_eq!((answer.status, &answer.body), (201, &answers[0].body));
    }
    assert_eq!(
        every_page(&administrator, "/v1/units", 9, "tag").await,
        ["B-17"]
    );
}

#[tokio::test]
async fn many_units_are_created_by_the_same_path_in_one_commit() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let model = model(&administrator).await.parse().unwrap();
    let ours = server.world.ours;
    let me = administrator.get("/v1/me").await.expect(200).json();
    let tenant = Tenant {
        org_id: ours.org_id,
        person_id: me["person_id"].as_str().map(|id| id.parse().unwrap()),
        role: Role::Administrator,
        depots: Depots::All,
        request_id: None,
        session: None,
    };
    let new = |number: usize| NewUnit {
        id: None,
        tag: format!("M-{number:02}"),
        depot_id: if number.is_multiple_of(2) {
            ours.home.id
        } else {
            ours.far.id
        },
        model_id: model,
        rigging: None,
        away: (number == 3).then(|| "on loan".to_owned()),
        acquired_on: number
            .is_multiple_of(3)
            .then(|| "2021-11-05".parse().unwrap()),
        came_new: false,
    };
    let write = async |news: Vec<NewUnit>| {
        let scopes = [ours.home.id, ours.far.id];
        feed::write(&server.database, &tenant, &scopes, async |tx| {
            units::create_many(tx, &news).await
        })
        .await
    };
    let made = write((0..20).map(new).collect()).await.expect("written");
    assert_eq!(made.len(), 20);
    let tags = every_page(&administrator, "/v1/units", 7, "tag").await;
    assert_eq!(
        tags,
        (0..20)
            .map(|number| format!("M-{number:02}"))
            .collect::<Vec<_>>()
    );
    for unit in &made {
        let found = administrator.get(&format!("/v1/units/{}", unit.id)).await;
        assert_eq!(found.expect(200).json(), json!(unit));
        let path = format!("/v1/units/{}/parts", unit.id);
        let parts = items(&administrator, &path).await;
        assert_eq!(parts.len(), two_stage_thrower().parts.len());
    }
    let sequences = owner(&server)
        .await
        .query(
            "select distinct scope_id, seq from feed_entry where org_id = $1 and kind in ('unit', 'fitted-part')",
            &[&ours.org_id],
        )
        .await
        .unwrap();
    assert_eq!(sequences.len(), 2, "one commit is one step of each scope");
    feed_is_sound(&server).await;

    // One that is wrong, and none is stored; too many at once are refused whole.
    let mut news: Vec<NewUnit> = (20..24).map(new).collect();
    news[2].tag = String::new();
    assert!(matches!(write(news).await, Err(Error::Invalid { field, .. }) if field == "tag"));
    let many = write((100..200).map(new).collect()).await;
    assert!(matches!(many, Err(Error::Invalid { .. })), "{many:?}");
    assert_eq!(
        every_page(&administrator, "/v1/units", 200, "tag")
            .await
            .len(),
        20
    );
}
