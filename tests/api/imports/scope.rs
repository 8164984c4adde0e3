//! Whose tables, and about which machines.

use rimeyard_harness::TestServer;
use serde_json::{Value, json};

use super::super::fleet::{Fleet, items};
use super::{apply, bring, faults, seen, tag};

#[tokio::test]
async fn a_depot_lead_writes_about_their_own_depots_only() {
    let server = TestServer::start().await;
    let (lead, administrator) = (server.depot_lead().await, server.administrator().await);
    let mut tags = Vec::new();
    for place in ["Home", "Far", "theirs"] {
        let unit = Fleet::of(&server, place).await.unit;
        let actor = if place == "theirs" {
            server.foreign_administrator().await
        } else {
            administrator.clone()
        };
        tags.push(tag(&actor, &unit).await);
    }
    let rows: String = tags
        .iter()
        .map(|tag| format!("{tag},2025-01-10,10\n"))
        .collect();
    let table = format!("tag,at,hours\n{rows}nowhere,2025-01-10,10\n");
    let import = bring(&server, &lead, "what=meter-readings&dry_run=false", &table).await;
    assert_eq!(
        faults(&import),
        [3, 4, 5].map(|row| (row, "tag".to_owned()))
    );
    // What is hidden is refused in the words of what does not exist.
    let words = |index: usize, tag: &str| {
        let problem = import["first_faults"][index]["problem"].as_str().unwrap();
        problem.replace(tag, "TAG")
    };
    assert_eq!(words(0, &tags[1]), words(2, "nowhere"));
    assert_eq!(words(1, &tags[2]), words(2, "nowhere"));
    for what in ["snowfall", "units"] {
        let table = match what {
            "snowfall" => "depot,day,snow (mm)\nFar,2024-12-01,2\n".to_owned(),
            _ => "tag,depot,model\nT-1,Far,none\n".to_owned(),
        };
        let import = bring(
            &server,
            &lead,
            &format!("what={what}&dry_run=false"),
            &table,
        )
        .await;
        assert!(
            faults(&import).contains(&(2, "depot".to_owned())),
            "{import}"
        );
    }
    assert_eq!(
        items(&administrator, "/v1/meter-readings").await,
        [] as [Value; 0]
    );
}

#[tokio::test]
async fn an_import_is_seen_by_who_brought_it_and_by_who_is_granted_what_it_is_about() {
    let server = TestServer::start().await;
    let (lead, administrator) = (server.depot_lead().await, server.administrator().await);
    let foreigner = server.foreign_administrator().await;
    let snow = |depot: &str| format!("depot,day,snow (mm)\n{depot},2024-12-01,2\n");
    let ours = bring(&server, &lead, "what=snowfall", &snow("Home")).await;
    let far = bring(&server, &administrator, "what=snowfall", &snow("Far")).await;
    let home = bring(&server, &administrator, "what=snowfall", &snow("Home")).await;
    let refused = bring(
        &server,
        &administrator,
        "what=snowfall",
        "depot,day,snow (mm)\nHome,2024-12-01,2\nNo,2024-12-01,2\n",
    )
    .await;
    let ids = async |actor: &rimeyard_harness::Actor| {
        let listed = items(actor, "/v1/imports").await;
        listed
            .iter()
            .map(|import| import["id"].clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(
        ids(&administrator).await,
        [&ours, &far, &home, &refused].map(|import| import["id"].clone())
    );
    assert_eq!(
        ids(&lead).await,
        [&ours, &home].map(|import| import["id"].clone())
    );
    assert_eq!(ids(&foreigner).await, [] as [Value; 0]);
    let absent = foreigner
        .get("/v1/imports/0198c0de-0000-7000-8000-000000000000")
        .await
        .expect(404)
        .body;
    for import in [&ours, &far, &refused] {
        let id = import["id"].as_str().unwrap();
        for path in ["", "/rows", "/faults"] {
            let answer = foreigner
                .get(&format!("/v1/imports/{id}{path}"))
                .await
                .expect(404);
            assert_eq!(answer.body, absent);
        }
        apply(&foreigner, id).await.problem(404);
    }
    // Applied by another: in their name.
    let id = ours["id"].as_str().unwrap();
    apply(&administrator, id).await.expect(202);
    super::worked_off(&server).await;
    let applied = seen(&lead, id).await;
    let me = administrator.get("/v1/me").await.expect(200).json();
    assert_eq!(
        (&applied["state"], &applied["applied_by"]),
        (&json!("applied"), &me["person_id"])
    );
}

#[tokio::test]
async fn who_may_no_longer_bring_tables_has_none_applied() {
    let server = TestServer::start().await;
    let (lead, administrator) = (server.depot_lead().await, server.administrator().await);
    let me = lead.get("/v1/me").await.expect(200).json();
    let id = lead
        .post_table(
            "/v1/imports?what=snowfall&dry_run=false",
            "depot,day,snow (mm)\nHome,2024-12-01,2\n",
        )
        .await
        .expect(202)
        .id();
    let person = format!("/v1/people/{}", me["person_id"].as_str().unwrap());
    let etag = administrator.get(&person).await.expect(200).etag();
    administrator
        .patch(&person, &etag, &json!({"role": "operator"}))
        .await
        .expect(200);
    super::worked_off(&server).await;
    let halted = seen(&administrator, &id).await;
    assert_eq!(
        (&halted["state"], &halted["rows_applied"]),
        (&json!("halted"), &json!(0))
    );
    // Somebody else goes on with it: it is checked first.
    apply(&administrator, &id).await.expect(202);
    super::worked_off(&server).await;
    assert_eq!(seen(&administrator, &id).await["state"], "applied");
}
