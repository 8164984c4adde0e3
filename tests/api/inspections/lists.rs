//! Lists of them.

use rimeyard_harness::{Actor, TestServer};
use serde_json::json;
use uuid::Uuid;

use super::{inspection, items, post, skid, with};
use crate::api::fleet::{Fleet, days_ago, fleet};

#[tokio::test]
async fn a_list_is_narrowed_by_what_is_asked_and_what_is_granted() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let far = Fleet::of(&server, "Far").await.unit;
    let (technician, administrator) = (server.technician().await, server.administrator().await);
    let mut ids = Vec::new();
    for (unit, days, kind) in [
        (&unit, 9, "pre_season"),
        (&unit, 5, "in_season"),
        (&far, 3, "in_season"),
        (&unit, 1, "storage"),
    ] {
        let body = with(inspection(unit, days, skid(4.0)), json!({"kind": kind}));
        ids.push(
            post(&administrator, body).await["id"]
                .as_str()
                .unwrap()
                .to_owned(),
        );
    }
    let seen = async |actor: &Actor, query: &str| -> Vec<usize> {
        let items = items(actor, &format!("/v1/inspections{query}")).await;
        items
            .iter()
            .map(|item| ids.iter().position(|id| item["id"] == json!(id)).unwrap())
            .collect()
    };
    let (home, far_depot) = (server.world.ours.home.id, server.world.ours.far.id);
    let time = |days: i64| days_ago(days).replace('+', "%2B");
    assert_eq!(seen(&administrator, "").await, [0, 1, 2, 3]);
    assert_eq!(seen(&technician, "").await, [0, 1, 3]);
    assert_eq!(seen(&administrator, &format!("?unit_id={far}")).await, [2]);
    assert_eq!(
        seen(&technician, &format!("?unit_id={far}")).await,
        [0usize; 0]
    );
    assert_eq!(
        seen(&administrator, &format!("?depot_id={far_depot}")).await,
        [2]
    );
    assert_eq!(
        seen(&technician, &format!("?depot_id={far_depot}")).await,
        [0usize; 0]
    );
    assert_eq!(
        seen(&administrator, &format!("?depot_id={home}&kind=in_season")).await,
        [1]
    );
    assert_eq!(
        seen(
            &administrator,
            &format!("?performed_from={}&performed_to={}", time(6), time(2))
        )
        .await,
        [1, 2]
    );
    assert_eq!(
        seen(&server.foreign_administrator().await, "").await,
        [0usize; 0]
    );
    let first = administrator
        .get("/v1/inspections?limit=3")
        .await
        .expect(200)
        .json();
    let cursor = first["next_cursor"].as_str().unwrap();
    assert_eq!(
        seen(&administrator, &format!("?limit=3&cursor={cursor}")).await,
        [3]
    );
    for (query, field) in [
        ("kind=now", "kind"),
        ("performed_from=x", "performed_from"),
        ("open=true", "open"),
        ("unit_id=7", "unit_id"),
    ] {
        assert_eq!(
            technician
                .get(&format!("/v1/inspections?{query}"))
                .await
                .problem(400),
            [field]
        );
    }
    let hidden = technician.get(&format!("/v1/inspections/{}", ids[2])).await;
    assert_eq!(
        (hidden.status, &hidden.body),
        (
            404,
            &technician
                .get(&format!("/v1/inspections/{}", Uuid::now_v7()))
                .await
                .body
        )
    );
}
