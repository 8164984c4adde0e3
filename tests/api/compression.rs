//! What is compressed, for phones on a poor network, and its ETag.

use reqwest::Method;
use rimeyard_harness::{Answer, TestServer};
use serde_json::json;

#[tokio::test]
async fn whoever_takes_gzip_gets_it_with_an_etag_of_its_own() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let path = format!("/v1/depots/{}", server.world.ours.home.id);
    let ask = |coding: &'static str, known: &str| {
        let request = manager.request(Method::GET, &path);
        Answer::of(
            request
                .header("Accept-Encoding", coding)
                .header("If-None-Match", known),
        )
    };
    for coding in ["gzip", "zstd"] {
        let plain = ask("identity", "").await.expect(200);
        assert_eq!(plain.header("content-encoding"), "");
        let coded = ask(coding, "").await.expect(200);
        assert_eq!(coded.header("content-encoding"), coding);
        assert_eq!(
            coded.etag(),
            format!("{}-{coding}\"", plain.etag().strip_suffix('"').unwrap())
        );
        // Each knows the other's: nothing has changed.
        ask(coding, &coded.etag()).await.expect(304);
        ask(coding, &plain.etag()).await.expect(304);
        ask("identity", &coded.etag()).await.expect(304);
        // And a change may name it.
        manager
            .patch(
                &path,
                &coded.etag(),
                &json!({"name": format!("Home, {coding}")}),
            )
            .await
            .expect(200);
        manager
            .patch(&path, &coded.etag(), &json!({"name": "Late"}))
            .await
            .problem(412);
    }
    let pull = async |coding: &str| {
        let request = manager
            .request(Method::POST, "/v1/sync/pull")
            .header("Accept-Encoding", coding)
            .json(&json!({"scopes": []}));
        let answer = request.send().await.unwrap();
        assert_eq!(answer.status(), 200);
        answer.bytes().await.unwrap().len()
    };
    let (coded, plain) = (pull("gzip").await, pull("identity").await);
    assert!(coded * 2 < plain, "{coded} of {plain} bytes");
}
