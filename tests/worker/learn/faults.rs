//! What cannot be learned keeps nobody from learning of the rest.

use rimeyard_rules::sheet::{PartSpec, Sheet, two_stage_thrower};

use super::*;
use crate::worker::owner;

#[tokio::test]
async fn an_organisation_at_fault_stops_no_other() {
    let server = TestServer::start().await;
    let (ours, theirs) = (
        server.administrator().await,
        server.foreign_administrator().await,
    );
    let world = &server.world;
    let mut models = Vec::new();
    for (administrator, organisation) in [(&ours, &world.ours), (&theirs, &world.theirs)] {
        let machines = Machines::make_sound(administrator, organisation.home.id, 1, 3).await;
        models.push((organisation.org_id, administrator, machines.model));
    }
    // The one whose turn is first has a sheet that no write could have stored.
    models.sort_by_key(|(org_id, _, _)| *org_id);
    let spoil = "update sheet set content = '{}' where model_id = $1";
    let spoilt: uuid::Uuid = models[0].2.parse().expect("an id");
    let owner = owner(&server).await;
    owner.execute(spoil, &[&spoilt]).await.expect("spoilt");
    assert_eq!(learn(&server).await, 1);
    let (_, administrator, model) = &models[1];
    assert_eq!(learned(administrator, model).await["version"], 1);
}

#[tokio::test]
async fn a_model_at_fault_stops_no_other() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let mut models = Vec::new();
    for _ in 0..2 {
        models.push(Machines::make_sound(&administrator, home, 1, 3).await);
    }
    assert_eq!(learn(&server).await, 2);
    let owner = owner(&server).await;
    let refused = &models[0].model;
    let refuse = format!("alter table learned add check (version < 2 or model_id <> '{refused}')");
    owner.batch_execute(&refuse).await.expect("refused");
    let shoe = json!({"check": "skid_thickness", "value": 5.0, "unit": "mm"});
    for machines in &models {
        read(&administrator, &machines.units[0], 1, 101.0, shoe.clone()).await;
    }
    assert_eq!(learn(&server).await, 1);
    let other = learned(&administrator, &models[1].model).await;
    assert_eq!(other["version"], 2);
}

/// As many parts with a life as 64 KiB of a sheet hold.
fn long() -> Sheet {
    let mut sheet = two_stage_thrower();
    sheet.tasks.clear();
    sheet.shear_fasteners = None;
    sheet.start.factors.clear();
    let start = sheet.start.check.clone();
    sheet.checks.retain(|check| check.check == start);
    let lived = sheet.parts.iter().find(|part| part.life.is_some());
    let mut part = lived.expect("a part with a life").clone();
    (part.job, part.title) = (None, "x".to_owned());
    let life = part.life.as_mut().expect("a life");
    for figure in [
        &mut life.shape,
        &mut life.prior_scale,
        &mut life.prior_weight,
    ] {
        figure.source = "x".to_owned();
    }
    sheet.parts = (0..270)
        .map(|number| PartSpec {
            part: format!("p{number}"),
            ..part.clone()
        })
        .collect();
    sheet
}

#[tokio::test]
async fn what_was_learned_of_the_longest_sheet_is_published() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let machines = Machines::make(&administrator, server.world.ours.home.id, 1).await;
    let path = format!("/v1/models/{}/sheets", machines.model);
    let sheet = serde_json::to_value(long()).expect("a sheet");
    administrator.post(&path, &sheet).await.expect(201);
    let proof = json!({"check": long().start.check, "works": true});
    read(&administrator, &machines.units[0], 1, 100.0, proof).await;
    assert_eq!(learn(&server).await, 1);
    let told = learned(&administrator, &machines.model).await;
    let long = told.to_string().len();
    assert!(long > 64 * 1024, "{long} would fit the feed whole");
    let owner = owner(&server).await;
    let org_id = server.world.ours.org_id;
    let query = "select doc::text from feed_entry where org_id = $1 and kind = 'learned'";
    let row = owner.query_one(query, &[&org_id]).await.expect("an entry");
    let published: Value = serde_json::from_str(row.get(0)).expect("a document");
    assert_eq!(published["version"], 1);
    for (part, life) in told["lives"].as_object().expect("lives") {
        assert_eq!(published["lives"][part], life["life"]);
    }
}
