//! Phones: enrolled with a code, known by their key, shut out when lost, and what they had not sent kept for a person.

use rimeyard_harness::{Actor, TestServer, email, eventually};
use rimeyard_store::Role;
use serde_json::{Value, json};
use uuid::Uuid;

use super::fleet::Fleet;
use super::phone::{Phone, code};

pub async fn person(server: &TestServer, role: Role) -> String {
    let path = format!("/v1/people?email={}", email("ours", role));
    let people = server.administrator().await.get(&path).await;
    let people = people.expect(200).json();
    people["items"][0]["id"].as_str().expect("an id").to_owned()
}

pub fn bearer(anyone: &Actor, tokens: &Value) -> Actor {
    anyone.with_token(tokens["access_token"].as_str().expect("a token"))
}

#[tokio::test]
async fn a_phone_is_enrolled_with_a_code_once_and_goes_on_with_its_key_only() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let technician = person(&server, Role::Technician).await;
    let made = lead
        .post("/v1/device-codes", &json!({"person_id": technician}))
        .await
        .expect(201);
    assert_eq!(made.header("cache-control"), "no-store");
    let made = made.json();
    let letters = made["code"].as_str().expect("letters");
    let link = made["link"].as_str().expect("a link");
    assert!(link.ends_with(&format!("/#enrol={letters}")), "{link}");
    assert!(
        made["qr_svg"]
            .as_str()
            .is_some_and(|svg| svg.contains("<svg"))
    );

    let phone = Phone::new();
    // As it is typed with gloves on.
    let typed = letters.replace('-', " ").to_lowercase().replace('0', "o");
    let enrolled = phone.enrol(&anyone, &typed).await.expect(201).json();
    assert_eq!(enrolled["device"]["thumbprint"], phone.thumbprint());
    assert_eq!(enrolled["device"]["person_id"], technician);
    let me = bearer(&anyone, &enrolled["tokens"]).get("/v1/me").await;
    assert_eq!(me.expect(200).json()["person_id"], technician);
    // The answer was lost: the same phone asks again. Another is too late.
    let again = phone.enrol(&anyone, letters).await.expect(201).json();
    assert_eq!(again["device"]["id"], enrolled["device"]["id"]);
    Phone::new().enrol(&anyone, letters).await.problem(401);
    phone.enrol(&anyone, "0000-0000").await.problem(401);

    let tokens = &again["tokens"];
    let stolen = json!({"refresh_token": tokens["refresh_token"]});
    anyone
        .post("/v1/sign-in/refresh", &stolen)
        .await
        .problem(401);
    let other = Phone::new().refresh(&anyone, tokens, None).await;
    other.problem(401);
    // Neither has harmed the phone.
    let next = phone
        .refresh(&anyone, tokens, None)
        .await
        .expect(200)
        .json();
    bearer(&anyone, &next).get("/v1/me").await.expect(200);

    let listed = lead
        .get("/v1/devices?welcome=true")
        .await
        .expect(200)
        .json();
    assert_eq!(listed["items"][0]["id"], enrolled["device"]["id"]);
    let letters = code(&lead, json!({"person_id": technician})).await;
    phone.enrol(&anyone, &letters).await.problem(409);
}

#[tokio::test]
async fn operators_share_a_phone_and_each_acts_by_name_and_there_only() {
    let server = TestServer::start().await;
    let home = server.world.ours.home.id;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let operator = person(&server, Role::Operator).await;
    let phone = Phone::new();
    let letters = code(&lead, json!({"depot_id": home})).await;
    let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
    let itself = bearer(&anyone, &enrolled["tokens"]);
    let me = itself.get("/v1/me").await.expect(200).json();
    assert_eq!(
        (&me["role"], &me["name"]),
        (&json!("operator"), &json!("Yellow phone"))
    );

    let administrator = server.administrator().await;
    let Fleet { unit, .. } = Fleet::at(&administrator, &server.world.ours.home).await;
    let picked = phone
        .refresh(&anyone, &enrolled["tokens"], Some(&operator))
        .await;
    let picked = picked.expect(200).json();
    let acting = bearer(&anyone, &picked);
    let started = json!({"unit_id": unit, "read_at": jiff::Timestamp::now(), "started": true});
    let noted = acting
        .post("/v1/meter-readings", &started)
        .await
        .expect(201)
        .json();
    assert_eq!(noted["read_by"], operator);

    // Nobody but operators of this depot: the phone is told which name is wrong, and goes on.
    let elsewhere =
        json!({"name": "Of elsewhere", "role": "operator", "depots": [server.world.ours.far.id]});
    let elsewhere = administrator
        .post("/v1/people", &elsewhere)
        .await
        .expect(201)
        .id();
    let technician = person(&server, Role::Technician).await;
    for other in [&elsewhere, &technician, &Uuid::now_v7().to_string()] {
        let refused = phone.refresh(&anyone, &picked, Some(other)).await;
        assert_eq!(refused.problem(422), ["operator_id"]);
    }
    let back = phone
        .refresh(&anyone, &picked, None)
        .await
        .expect(200)
        .json();
    let me = bearer(&anyone, &back)
        .get("/v1/me")
        .await
        .expect(200)
        .json();
    assert_eq!(me["name"], "Yellow phone");

    // An operator who works at two depots is at one of them on it.
    let path = format!("/v1/people/{operator}");
    let rev = administrator.get(&path).await.expect(200).etag();
    let both = json!({"depots": [home, server.world.ours.far.id]});
    administrator.patch(&path, &rev, &both).await.expect(200);
    let acting = phone
        .refresh(&anyone, &back, Some(&operator))
        .await
        .expect(200)
        .json();
    let me = bearer(&anyone, &acting)
        .get("/v1/me")
        .await
        .expect(200)
        .json();
    assert_eq!(me["depots"], json!([home]));
    // A person's own phone is nobody else's.
    let own = Phone::new();
    let enrolled = own
        .enrol(
            &anyone,
            &code(&lead, json!({"person_id": technician})).await,
        )
        .await;
    let tokens = enrolled.expect(201).json()["tokens"].clone();
    let refused = own.refresh(&anyone, &tokens, Some(&operator)).await;
    assert_eq!(refused.problem(422), ["operator_id"]);
}

#[tokio::test]
async fn wrong_names_are_counted_and_end_no_session() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let operator = person(&server, Role::Operator).await;
    let technician = person(&server, Role::Technician).await;
    let (phone, other) = (Phone::new(), Phone::new());
    let mut tokens = Vec::new();
    for phone in [&phone, &other] {
        let letters = code(&lead, json!({"depot_id": server.world.ours.home.id})).await;
        let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
        tokens.push(enrolled["tokens"].clone());
    }
    for _ in 0..20 {
        let refused = phone.refresh(&anyone, &tokens[0], Some(&technician)).await;
        assert_eq!(refused.problem(422), ["operator_id"]);
    }
    // Not even the right one is looked at any more; the phone itself goes on, and so do others.
    for name in [&technician, &operator] {
        let refused = phone.refresh(&anyone, &tokens[0], Some(name)).await;
        refused.problem(429);
        let wait_s: u64 = refused.header("retry-after").parse().expect("seconds");
        assert!((1..=300).contains(&wait_s));
    }
    let next = phone.refresh(&anyone, &tokens[0], None).await.expect(200);
    bearer(&anyone, &next.json())
        .get("/v1/me")
        .await
        .expect(200);
    // Right names are not counted.
    let mut tokens = tokens.remove(1);
    for _ in 0..25 {
        let picked = other.refresh(&anyone, &tokens, Some(&operator)).await;
        tokens = picked.expect(200).json();
    }
    // Whoever has the token and not the key is told nothing of names.
    let stranger = Phone::new();
    let refused = stranger.refresh(&anyone, &tokens, Some(&technician)).await;
    refused.problem(401);
}

#[tokio::test]
async fn codes_are_made_for_whom_one_answers_and_for_no_others() {
    let server = TestServer::start().await;
    let (home, far) = (server.world.ours.home.id, server.world.ours.far.id);
    let roles = [
        Role::Technician,
        Role::Operator,
        Role::DepotLead,
        Role::DistrictManager,
        Role::DepotSystem,
        Role::Administrator,
    ];
    for (who, whom) in [
        (Role::DepotLead, &roles[..3]),
        (Role::DistrictManager, &roles[..4]),
        (
            Role::Administrator,
            &[
                Role::Technician,
                Role::Operator,
                Role::DepotLead,
                Role::DistrictManager,
                Role::Administrator,
            ][..],
        ),
    ] {
        let actor = server.of_role(who).await;
        for role in roles {
            let of = json!({"person_id": person(&server, role).await});
            let answer = actor.post("/v1/device-codes", &of).await;
            if whom.contains(&role) {
                answer.expect(201);
            } else {
                assert_eq!(answer.problem(422), ["person_id"], "{who} for {role}");
            }
        }
    }
    let lead = server.depot_lead().await;
    // Who works elsewhere too would bring more than the lead may see.
    let administrator = server.administrator().await;
    for depots in [json!([home, far]), json!([])] {
        let more = json!({"name": "Of both", "role": "technician", "depots": depots});
        let more = administrator
            .post("/v1/people", &more)
            .await
            .expect(201)
            .id();
        let refused = lead
            .post("/v1/device-codes", &json!({"person_id": more}))
            .await;
        assert_eq!(refused.problem(422), ["person_id"]);
    }
    for (of, field) in [
        (json!({"depot_id": far}), "depot_id"),
        (json!({"depot_id": Uuid::now_v7()}), "depot_id"),
        (json!({}), "person_id"),
        (
            json!({"person_id": person(&server, Role::Operator).await, "depot_id": home}),
            "person_id",
        ),
        (json!({"depot_id": home, "colour": "red"}), "colour"),
    ] {
        assert_eq!(
            lead.post("/v1/device-codes", &of).await.problem(422),
            [field],
            "{of}"
        );
    }
    for role in [Role::Technician, Role::Operator] {
        let own = json!({"person_id": person(&server, role).await});
        server
            .of_role(role)
            .await
            .post("/v1/device-codes", &own)
            .await
            .problem(403);
    }
}

#[tokio::test]
async fn a_lost_phone_is_shut_out_and_what_it_had_not_sent_waits_for_a_person() {
    let server = TestServer::start().await;
    let (anyone, lead) = (server.anonymous(), server.depot_lead().await);
    let technician = person(&server, Role::Technician).await;
    let phone = Phone::new();
    let letters = code(&lead, json!({"person_id": technician})).await;
    let enrolled = phone.enrol(&anyone, &letters).await.expect(201).json();
    let device = enrolled["device"]["id"].as_str().expect("an id").to_owned();
    let holds = bearer(&anyone, &enrolled["tokens"]);
    holds.get("/v1/me").await.expect(200);

    let administrator = server.administrator().await;
    let Fleet { unit, .. } = Fleet::at(&administrator, &server.world.ours.home).await;
    let entry = |body: Value| json!({"id": Uuid::now_v7(), "what": "meter-readings", "body": body});
    let reading =
        entry(json!({"unit_id": unit, "read_at": "2026-01-01T05:00:00Z", "run_hours": 41.5}));
    let outbox = json!({"entries": [reading, entry(json!({"unit_id": "of old"}))]});
    // While it is welcome it writes as everyone does.
    phone
        .post(&anyone, "/v1/devices/unsent", &outbox)
        .await
        .problem(401);

    let path = format!("/v1/devices/{device}/revoke");
    assert_eq!(
        lead.post(&path, &json!({"because": ""})).await.problem(422),
        ["because"]
    );
    let lost = json!({"because": "fell off the blower"});
    let shut = lead.post(&path, &lost).await.expect(200).json();
    assert_eq!(shut["revoked_because"], "fell off the blower");
    lead.post(&path, &lost).await.problem(409);
    eventually(5.0, "shut out", async || {
        holds.get("/v1/me").await.status == 401
    })
    .await;
    phone
        .refresh(&anyone, &enrolled["tokens"], None)
        .await
        .problem(401);
    phone.enrol(&anyone, &letters).await.problem(401);

    let kept = phone.post(&anyone, "/v1/devices/unsent", &outbox).await;
    assert_eq!(kept.expect(200).json(), json!({"kept": 2, "known": 0}));
    let again = phone.post(&anyone, "/v1/devices/unsent", &outbox).await;
    assert_eq!(again.expect(200).json(), json!({"kept": 0, "known": 2}));
    Phone::new()
        .post(&anyone, "/v1/devices/unsent", &outbox)
        .await
        .problem(401);
    for (bad, field) in [
        (json!({"entries": []}), "entries"),
        (
            json!({"entries": [{"id": Uuid::nil(), "what": "x", "body": {}}]}),
            "entries[0].id",
        ),
        (
            json!({"entries": [{"id": Uuid::now_v7(), "what": "", "body": {}}]}),
            "entries[0].what",
        ),
        (
            json!({"entries": [{"id": Uuid::now_v7(), "what": "x", "body": []}]}),
            "entries[0].body",
        ),
        (
            json!({"entries": [{"id": Uuid::now_v7(), "what": "x", "body": {"a": "\u{0}"}}]}),
            "entries[0].body.a",
        ),
    ] {
        let answer = phone.post(&anyone, "/v1/devices/unsent", &bad).await;
        assert_eq!(answer.problem(422), [field]);
    }

    // The lead sees what is of their depot; what names no machine is for those who see all.
    let waiting = lead
        .get("/v1/unsent?settled=false")
        .await
        .expect(200)
        .json();
    assert_eq!(waiting["items"].as_array().map(Vec::len), Some(1));
    let district = server.district_manager().await;
    let all = district
        .get(&format!("/v1/unsent?device_id={device}"))
        .await;
    assert_eq!(
        all.expect(200).json()["items"].as_array().map(Vec::len),
        Some(2)
    );
    let one = &waiting["items"][0];
    assert_eq!(
        (&one["body"], &one["what"]),
        (&reading["body"], &json!("meter-readings"))
    );
    // Nothing was applied; the lead enters it by the ordinary way.
    let readings = format!("/v1/meter-readings?unit_id={unit}");
    assert_eq!(
        lead.get(&readings).await.expect(200).json()["items"],
        json!([])
    );
    lead.post("/v1/meter-readings", &one["body"])
        .await
        .expect(201);
    let path = format!("/v1/unsent/{}/settle", one["id"].as_str().expect("an id"));
    let settled = json!({"outcome": "entered", "word": "asked him: right"});
    let settled = lead.post(&path, &settled).await.expect(200).json();
    assert!(settled["settled_by"].is_string());
    lead.post(&path, &json!({"outcome": "set aside", "word": "no"}))
        .await
        .problem(409);
}
