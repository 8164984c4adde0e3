//! What was learned stays: of machines that are gone, and while a sheet changes in words only.

use jiff::Timestamp;
use rimeyard_store::{Tenant, facts};

use super::*;

#[tokio::test]
async fn a_retired_machine_has_shown_what_it_has_shown() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let machines = Machines::make(&administrator, server.world.ours.home.id, 10).await;
    for (machine, unit) in machines.units.iter().enumerate() {
        for (days, hours) in [(60, 10.0), (40, 25.0), (20, 40.0)] {
            read_ring(&administrator, machine, unit, days, hours).await;
        }
    }
    assert!(learn(&server).await > 0);
    let before = learned(&administrator, &machines.model).await;
    assert_eq!(before["wear"]["friction_ring"]["from"], "fleet");
    for unit in &machines.units[..3] {
        let path = format!("/v1/units/{unit}");
        let etag = administrator.get(&path).await.expect(200).etag();
        let change = json!({"retired_at": days_ago(10)});
        administrator.patch(&path, &etag, &change).await.expect(200);
    }
    // Nothing that was known is forgotten, so nothing is due.
    assert_eq!(learn(&server).await, 0);
    for (machine, unit) in machines.units[3..].iter().enumerate() {
        read_ring(&administrator, machine + 3, unit, 5, 50.0).await;
    }
    assert!(learn(&server).await > 0);
    let after = learned(&administrator, &machines.model).await;
    let ring = &after["wear"]["friction_ring"];
    assert_eq!(
        (
            &after["machines"],
            &ring["parts"],
            &ring["readings"],
            &ring["from"]
        ),
        (&json!(10), &json!(10), &json!(37), &json!("fleet"))
    );
    assert_eq!(
        after["facts"].as_i64(),
        before["facts"].as_i64().map(|facts| facts + 7)
    );
    let histories = |version: &Value| -> Vec<Value> {
        let lives = version["lives"].as_object().expect("lives");
        lives
            .values()
            .map(|life| life["seen"]["histories"].clone())
            .collect()
    };
    assert_eq!(histories(&after), histories(&before));
    // They are not computed with: nobody asks whether they are ready.
    drained(&server).await;
    assert_stored_is_recomputed(&server, DEPOTS).await;
    let ours = &server.world.ours;
    let house = Tenant::system(ours.org_id);
    let depots = [ours.home.id];
    let loaded = server.database.read(&house, async |tx| {
        let computed = facts::load(tx, &depots, Timestamp::now()).await?;
        let (learned, retired) = facts::load_to_learn(tx, &depots, Timestamp::now()).await?;
        Ok((
            computed[0].units.len(),
            learned[0].units.len(),
            retired.len(),
        ))
    });
    assert_eq!(loaded.await.expect("loaded"), (7, 10, 3));
}

#[tokio::test]
async fn a_sheet_that_says_the_same_in_other_words_drops_nothing() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let machines = Machines::make(&administrator, server.world.ours.home.id, 10).await;
    for (machine, unit) in machines.units[..9].iter().enumerate() {
        for (days, hours) in [(60, 10.0), (40, 25.0), (20, 40.0)] {
            read_ring(&administrator, machine, unit, days, hours).await;
        }
    }
    let unread = &machines.units[9];
    let shoe = json!({"check": "skid_thickness", "value": 5.0, "unit": "mm"});
    read(&administrator, unread, 10, 20.0, shoe).await;
    drained(&server).await;
    let by_sheet = ring_hours(&administrator, unread).await;
    assert!(learn(&server).await > 0);
    drained(&server).await;
    let by_fleet = ring_hours(&administrator, unread).await;
    assert!(by_fleet < 0.7 * by_sheet, "{by_fleet} of {by_sheet}");

    let path = format!("/v1/models/{}/sheets", machines.model);
    let sheet = administrator.get(&format!("{path}/1")).await.expect(200);
    let mut sheet = sheet.json()["content"].clone();
    sheet["parts"][0]["title"] = json!("friction ring, the driven one");
    administrator.post(&path, &sheet).await.expect(201);
    drained(&server).await;
    assert_eq!(ring_hours(&administrator, unread).await, by_fleet);
    assert_stored_is_recomputed(&server, DEPOTS).await;

    // Another figure is another sheet; it stands by itself until it is learned on.
    let beta = sheet["start"]["beta"]["value"].as_f64().expect("a figure");
    sheet["start"]["beta"]["value"] = json!(beta + 1.0);
    administrator.post(&path, &sheet).await.expect(201);
    drained(&server).await;
    assert_eq!(ring_hours(&administrator, unread).await, by_sheet);
    assert!(learn(&server).await > 0);
    drained(&server).await;
    assert_eq!(ring_hours(&administrator, unread).await, by_fleet);
    assert_stored_is_recomputed(&server, DEPOTS).await;
}
