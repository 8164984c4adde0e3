//! /v1/due, /v1/tasks-done, /v1/deferrals and /v1/alerts: what is asked for wrongly, and who sees what. What falls due as
//! time passes is under tests/worker.

use jiff::{ToSpan, Zoned};
use rimeyard_harness::machines::Machines;
use rimeyard_harness::{Actor, TestServer, eventually};
use serde_json::{Value, json};

use super::fleet::{Fleet, audited, days_ago, entry, feed_is_sound, fleet, items, marks};

/// A server with a worker and machines of which everything is known.
async fn machines(count: usize) -> (TestServer, Vec<String>) {
    let server = TestServer::start_with_worker().await;
    let administrator = server.administrator().await;
    let home = server.world.ours.home.id;
    let units = Machines::make_sound(&administrator, home, count, 1)
        .await
        .units;
    eventually(20.0, "tasks are computed", async || {
        let page = administrator
            .get("/v1/due?limit=200")
            .await
            .expect(200)
            .json();
        let of: std::collections::BTreeSet<&str> = page["items"]
            .as_array()
            .into_iter()
            .flatten()
            .filter_map(|task| task["unit_id"].as_str())
            .collect();
        of.len() == count
    })
    .await;
    (server, units)
}

async fn pages(actor: &Actor, query: &str) -> Vec<Value> {
    let mut all = Vec::new();
    let mut cursor = String::new();
    loop {
        let page = actor
            .get(&format!("/v1/due?{query}{cursor}"))
            .await
            .expect(200)
            .json();
        all.extend(page["items"].as_array().expect("a list").clone());
        match page["next_cursor"].as_str() {
            Some(next) => cursor = format!("&cursor={next}"),
            None => return all,
        }
    }
}

#[tokio::test]
async fn the_list_goes_by_date_page_by_page_and_each_filter_narrows_it() {
    let (server, units) = machines(3).await;
    let technician = server.technician().await;
    let all = pages(&technician, "limit=200").await;
    assert_eq!(all.len() % 3, 0, "three of a kind");
    assert_eq!(
        pages(&technician, "limit=7").await,
        all,
        "in pages of seven"
    );
    let dates: Vec<String> = all
        .iter()
        .map(|task| task["on"].as_str().unwrap_or("9999").to_owned())
        .collect();
    assert!(dates.is_sorted(), "{dates:?}");
    assert!(
        all.iter()
            .all(|task| task["tag"].is_string() && task["as_of"].is_string())
    );

    let of_one = pages(&technician, &format!("limit=5&unit_id={}", units[0])).await;
    assert_eq!(of_one.len() * 3, all.len());
    for state in [
        "not due",
        "deferred",
        "coming",
        "due",
        "overdue",
        "long overdue",
    ] {
        let so = pages(
            &technician,
            &format!("limit=200&state={}", state.replace(' ', "%20")),
        )
        .await;
        let expected: Vec<&Value> = all.iter().filter(|task| task["state"] == state).collect();
        assert_eq!(so.iter().collect::<Vec<_>>(), expected, "{state}");
    }
    let until = Zoned::now().date().saturating_add(70.days());
    let soon = pages(&technician, &format!("limit=200&until={until}")).await;
    let expected = all.iter().filter(|task| {
        let on = task["on"].as_str();
        on.is_some_and(|on| on <= until.to_string().as_str())
    });
    assert_eq!(
        soon.iter().collect::<Vec<_>>(),
        expected.collect::<Vec<_>>()
    );
    assert!(!soon.is_empty() && soon.len() < all.len());

    // Of another depot, for whom that is granted; of our own, for nobody of another organisation.
    let far = server.world.ours.far.id;
    assert_eq!(
        pages(&technician, &format!("depot_id={far}")).await,
        [] as [Value; 0]
    );
    let foreigner = server.foreign_administrator().await;
    let theirs = pages(&foreigner, &format!("unit_id={}", units[0])).await;
    assert_eq!(theirs, [] as [Value; 0]);
    // What the unit's own readiness says is the same.
    let path = format!("/v1/readiness/units/{}", units[0]);
    let shown = technician.get(&path).await.expect(200).json();
    let mut tasks = shown["tasks"].as_array().expect("tasks").clone();
    tasks.sort_by_key(|task| {
        (
            task["on"].as_str().unwrap_or("9999").to_owned(),
            task["task"].to_string(),
        )
    });
    let names = |tasks: &[Value]| {
        tasks
            .iter()
            .map(|task| task["text"].clone())
            .collect::<Vec<_>>()
    };
    assert_eq!(names(&of_one), names(&tasks));
}

#[tokio::test]
async fn a_query_that_cannot_be_read_is_refused_by_its_parameter() {
    let server = TestServer::start().await;
    let technician = server.technician().await;
    for (query, field) in [
        ("state=soon", "state"),
        ("until=2027-02-29", "until"),
        ("until=tomorrow", "until"),
        ("until=-009999-01-01", "until"),
        ("cursor=MjAyNg", "cursor"),
        ("depot_id=home", "depot_id"),
        ("task=fuel", "task"),
        ("limit=0", "limit"),
    ] {
        let answer = technician.get(&format!("/v1/due?{query}")).await;
        assert_eq!(answer.problem(400), [field], "{query}");
    }
    for (path, field) in [
        ("/v1/alerts?kind=noise", "kind"),
        ("/v1/alerts?open=maybe", "open"),
        ("/v1/deferrals?open=1", "open"),
        ("/v1/tasks-done?colour=red", "colour"),
        (
            &format!(
                "/v1/depots/{}/snowfall?after=-009999-01-01",
                server.world.ours.home.id
            ),
            "after",
        ),
    ] {
        assert_eq!(technician.get(path).await.problem(400), [field], "{path}");
    }
}

#[tokio::test]
async fn a_task_is_noted_as_done_once_and_corrected_once() {
    let server = TestServer::start().await;
    let Fleet { unit } = fleet(&server).await;
    let home = &server.world.ours.home;
    let technician = server.technician().await;
    let path = format!("/v1/units/{unit}/tasks-done");
    let before = marks(&server, home).await;
    for (body, field) in [
        (json!({"task": "polish", "done_at": days_ago(1)}), "task"),
        (
            json!({"task": "fuel", "done_at": days_ago(1), "done": false}),
            "done",
        ),
        (
            json!({"task": "fuel", "done_at": days_ago(1), "run_hours": -1}),
            "run_hours",
        ),
        (
            json!({"task": "fuel", "done_at": days_ago(1), "note": "a\u{0}b"}),
            "note",
        ),
        (
            json!({"task": "fuel", "done_at": days_ago(1), "note": "x".repeat(2_001)}),
            "note",
        ),
        (
            json!({"task": "fuel", "done_at": days_ago(1), "corrects": unit}),
            "corrects",
        ),
        (
            json!({"task": "fuel", "done_at": "1890-01-01T00:00:00Z"}),
            "done_at",
        ),
    ] {
        assert_eq!(
            technician.post(&path, &body).await.problem(422),
            [field],
            "{body}"
        );
    }
    assert_eq!(marks(&server, home).await, before, "nothing was written");
    server
        .operator()
        .await
        .post(&path, &json!({"task": "fuel", "done_at": days_ago(1)}))
        .await
        .problem(403);

    let new = json!({"task": "fuel", "done_at": days_ago(1), "note": "drained"});
    let done = technician.post(&path, &new).await.expect(201);
    assert_eq!(done.json()["done"], true);
    assert_eq!(
        done.header("location"),
        format!("/v1/tasks-done/{}", done.id())
    );
    assert!(marks(&server, home).await > before);
    assert_eq!(
        entry(&server, home.id, "task-done", &done.id()).await.doc,
        done.json()
    );

    let correction = |task: &str| json!({"task": task, "done_at": days_ago(1), "done": false, "corrects": done.id()});
    assert_eq!(
        technician
            .post(&path, &correction("tyres"))
            .await
            .problem(422),
        ["task"]
    );
    let corrected = technician
        .post(&path, &correction("fuel"))
        .await
        .expect(201);
    technician
        .post(&path, &correction("fuel"))
        .await
        .problem(409);
    let old = technician
        .get(&format!("/v1/tasks-done/{}", done.id()))
        .await
        .expect(200)
        .json();
    assert_eq!(
        (&old["corrected_by"], &old["rev"]),
        (&json!(corrected.id()), &json!(2))
    );
    let listed = items(
        &technician,
        &format!("/v1/tasks-done?unit_id={unit}&task=fuel"),
    )
    .await;
    assert_eq!(listed, [old, corrected.json()]);
    assert_eq!(audited(&server, &done.id()).await[0].0, "record");
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn a_task_is_put_off_by_a_lead_until_a_day_that_can_be() {
    let server = TestServer::start().await;
    let Fleet { unit } = fleet(&server).await;
    let home = server.world.ours.home.id;
    let lead = server.depot_lead().await;
    let path = format!("/v1/units/{unit}/deferrals");
    let today = Zoned::now().date();
    let until = |days: i32| today.saturating_add(days.days());
    for (body, field) in [
        (
            json!({"task": "fuel", "until": until(-2), "reason": "later"}),
            "until",
        ),
        (
            json!({"task": "fuel", "until": until(368), "reason": "later"}),
            "until",
        ),
        (
            json!({"task": "fuel", "until": until(9), "reason": ""}),
            "reason",
        ),
        (
            json!({"task": "polish", "until": until(9), "reason": "later"}),
            "task",
        ),
    ] {
        assert_eq!(
            lead.post(&path, &body).await.problem(422),
            [field],
            "{body}"
        );
    }
    let unread = json!({"task": "fuel", "until": "2027-02-29", "reason": "later"});
    assert_eq!(lead.post(&path, &unread).await.problem(422), ["until"]);

    let new = json!({"task": "fuel", "until": until(9), "reason": "stabiliser on order"});
    server
        .technician()
        .await
        .post(&path, &new)
        .await
        .problem(403);
    let put_off = lead.post(&path, &new).await.expect(201);
    assert_eq!(
        entry(&server, home, "deferral", &put_off.id()).await.doc,
        put_off.json()
    );
    let end = format!("/v1/deferrals/{}/end", put_off.id());
    assert!(lead.post(&end, &json!({})).await.expect(200).json()["ended_at"].is_string());
    lead.post(&end, &json!({})).await.problem(409);
    assert_eq!(
        items(&lead, "/v1/deferrals?open=true").await,
        [] as [Value; 0]
    );
    let ended = items(&lead, &format!("/v1/deferrals?open=false&depot_id={home}")).await;
    assert_eq!(ended.len(), 1);
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn a_unit_s_tasks_come_with_what_they_are_worked_out_from() {
    let (server, units) = machines(1).await;
    let operator = server.operator().await;
    let path = format!("/v1/units/{}/due", units[0]);
    let owed = operator.get(&path).await.expect(200).json();
    let stored = operator
        .get(&format!("/v1/readiness/units/{}", units[0]))
        .await
        .expect(200)
        .json();
    let tasks = owed["tasks"].as_array().expect("tasks");
    assert!(tasks.len() > 5, "{owed}");
    let mut dated_by_hours = 0;
    for (task, stored) in tasks.iter().zip(stored["tasks"].as_array().expect("tasks")) {
        for field in ["task", "state", "on", "early", "late", "text"] {
            assert_eq!(task[field], stored[field], "{}", task["task"]);
        }
        let mut input = task["inputs"].clone();
        input["hours_ahead"] = owed["hours_ahead"].clone();
        let again = operator
            .post("/v1/calculations/due", &input)
            .await
            .expect(200)
            .json();
        assert_eq!(again["state"], task["state"]);
        assert_eq!(again["on"], task["on"], "{again} {task}");
        if let Some(decides) = again["decides"].as_u64() {
            let decides = &again["triggers"][decides as usize];
            assert_eq!(
                (&decides["early"], &decides["late"]),
                (&task["early"], &task["late"])
            );
            dated_by_hours += usize::from(!decides["at_hours"].is_null());
        }
    }
    assert!(dated_by_hours > 0, "{owed}");
    let stranger = server.foreign_administrator().await;
    stranger.get(&path).await.problem(404);
}
