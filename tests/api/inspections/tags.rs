//! A safety check that fails, and the tag it hangs.

use rimeyard_harness::TestServer;
use serde_json::{Value, json};
use uuid::Uuid;

use super::{auger_stops, hanging, inspection, open_findings, post, skid, with};
use crate::api::fleet::{Fleet, fleet};

#[tokio::test]
async fn a_safety_check_that_fails_hangs_one_tag_which_a_proven_repair_lifts() {
    let server = TestServer::start().await;
    let Fleet { unit, .. } = fleet(&server).await;
    let technician = server.technician().await;
    let failed = post(&technician, inspection(&unit, 9, auger_stops(false))).await;
    assert_eq!(failed["findings"][0]["effect"], "hold");
    let hold = failed["holds"][0].clone();
    assert_eq!(
        (&hold["finding_id"], &hold["lifted_at"]),
        (&failed["findings"][0]["id"], &Value::Null)
    );
    // Found again: the same finding, the same tag.
    let again = post(&technician, inspection(&unit, 8, auger_stops(false))).await;
    assert_eq!(
        (&again["findings"], &again["holds"]),
        (&json!([]), &json!([]))
    );
    assert_eq!(
        again["proposed_work_orders"][0]["finding_id"],
        failed["findings"][0]["id"]
    );
    assert_eq!(
        (
            open_findings(&technician, &unit).await.len(),
            hanging(&technician, &unit).await.len()
        ),
        (1, 1)
    );

    let lift = format!("/v1/holds/{}/lift", hold["id"].as_str().unwrap());
    let by = async |inspection: &Value| {
        technician
            .post(&lift, &json!({"inspection_id": inspection["id"]}))
            .await
    };
    assert_eq!(
        by(&failed).await.problem(422),
        ["inspection_id"],
        "it is what hung the tag"
    );
    assert_eq!(
        by(&again).await.problem(422),
        ["inspection_id"],
        "the check still fails"
    );
    let other_check = post(&technician, inspection(&unit, 7, skid(5.0))).await;
    assert_eq!(
        by(&other_check).await.problem(422),
        ["inspection_id"],
        "it has no reading of the check"
    );
    let other_unit = Fleet::of(&server, "Home").await.unit;
    let of_another = post(&technician, inspection(&other_unit, 6, auger_stops(true))).await;
    assert_eq!(
        by(&of_another).await.problem(422),
        ["inspection_id"],
        "it is of another unit"
    );
    assert_eq!(
        by(&json!({"id": Uuid::now_v7()})).await.problem(422),
        ["inspection_id"],
        "there is no such inspection"
    );
    let before = post(&technician, inspection(&unit, 20, auger_stops(true))).await;
    assert_eq!(
        by(&before).await.problem(422),
        ["inspection_id"],
        "it was made before the tag was hung"
    );

    let repaired = post(
        &technician,
        with(
            inspection(&unit, 5, auger_stops(true)),
            json!({"kind": "after_repair"}),
        ),
    )
    .await;
    assert_eq!(repaired["findings"][0]["closed_by"], repaired["id"]);
    assert_eq!(open_findings(&technician, &unit).await.len(), 0);
    assert_eq!(
        hanging(&technician, &unit).await.len(),
        1,
        "a person lifts it, not the inspection"
    );
    let lifted = by(&repaired).await.expect(200);
    assert_eq!(lifted.json()["lifted_inspection"], repaired["id"]);
    assert_eq!(lifted.etag(), "\"2\"");
    assert_eq!(hanging(&technician, &unit).await.len(), 0);
    by(&repaired).await.problem(409);
    let failed_again = post(&technician, inspection(&unit, 4, auger_stops(false))).await;
    assert_eq!(
        (
            failed_again["findings"].as_array().unwrap().len(),
            failed_again["holds"].as_array().unwrap().len()
        ),
        (1, 1)
    );
}
