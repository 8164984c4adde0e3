//! What is applied is what the ordinary routes would have written.

use rimeyard_harness::TestServer;
use serde_json::{Value, json};

use super::super::fleet::{Fleet, audited, feed_is_sound, items, marks, model, owner};
use super::{apply, bring, seen, tag, worked_off};

#[tokio::test]
async fn meter_readings_are_checked_first_and_then_applied_in_the_order_of_time() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let unit = Fleet::of(&server, "Home").await.unit;
    let tag = tag(&lead, &unit).await;
    let marked = marks(&server, &server.world.ours.home).await;
    // Home's clocks are seven hours behind UTC in winter. The later reading comes first.
    let table = format!(
        "Hours;Machine;READ-AT;Started;notes\r\n130.5;{tag};2025-01-20 14:30;yes;\"cold; windy\"\r\n120;{tag};2025-01-10T08:00:00Z;;\r\n"
    );
    let import = bring(&server, &lead, "what=meter-readings", &table).await;
    assert_eq!(
        (
            &import["state"],
            &import["rows"],
            &import["rows_checked"],
            &import["rows_applied"]
        ),
        (&json!("checked"), &json!(2), &json!(2), &json!(0)),
        "{import}"
    );
    let path = format!("/v1/meter-readings?unit_id={unit}");
    assert_eq!(
        items(&lead, &path).await,
        [] as [Value; 0],
        "a dry run writes nothing"
    );
    assert_eq!(marks(&server, &server.world.ours.home).await, marked);

    let id = import["id"].as_str().unwrap();
    assert_eq!(
        apply(&lead, id).await.expect(202).json()["state"],
        "applying"
    );
    worked_off(&server).await;
    let import = seen(&lead, id).await;
    assert_eq!(
        (&import["state"], &import["rows_applied"]),
        (&json!("applied"), &json!(2))
    );
    apply(&lead, id).await.problem(409);
    let readings = items(&lead, &path).await;
    assert_eq!(readings.len(), 2);
    // Ids are in the order of rows; what they say in the order of time contradicts nothing.
    assert_eq!(readings[0]["run_hours"], 130.5);
    assert_eq!(readings[0]["read_at"], "2025-01-20T21:30:00Z");
    assert_eq!(readings[0]["note"], "cold; windy");
    assert_eq!(readings[0]["started"], true);
    assert_eq!(readings[1]["started"], Value::Null);
    assert!(
        readings.iter().all(|reading| reading["flags"] == json!([])),
        "{readings:?}"
    );
    let me = lead.get("/v1/me").await.expect(200).json();
    assert_eq!(readings[0]["read_by"], me["person_id"]);
    let first = readings[0]["id"].as_str().unwrap();
    assert_eq!(audited(&server, first).await[0].0, "record");
    assert!(marks(&server, &server.world.ours.home).await > marked);
    feed_is_sound(&server).await;

    // The same again is on record.
    let again = bring(&server, &lead, "what=meter-readings", &table).await;
    assert_eq!(again["state"], "refused");
    assert_eq!(
        super::faults(&again),
        [(2, "read_at".to_owned()), (3, "read_at".to_owned())]
    );
}

#[tokio::test]
async fn machines_come_with_the_parts_of_their_sheet() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let model = model(&administrator).await;
    let name = administrator
        .get(&format!("/v1/models/{model}"))
        .await
        .expect(200)
        .json()["name"]
        .clone();
    let name = name.as_str().unwrap();
    let far = server.world.ours.far.id;
    let mut table = format!(
        "depot,Model,tag,acquired on,came new\nHome,{name},T-1,10/31/2023,yes\n{far},{name},T-2,,\n"
    );
    for number in 3..60 {
        table += &format!("Home,{name},T-{number}\n");
    }
    let import = bring(&server, &administrator, "what=units&dry_run=false", &table).await;
    assert_eq!(import["state"], "applied", "{import}");
    assert_eq!(import["rows_applied"], 59);
    let one = items(&administrator, "/v1/units?tag=T-1").await.remove(0);
    assert_eq!(
        (&one["acquired_on"], &one["depot_id"]),
        (&json!("2023-10-31"), &json!(server.world.ours.home.id))
    );
    assert_eq!(one["rigging"], "clear");
    let parts = items(
        &administrator,
        &format!("/v1/units/{}/parts", one["id"].as_str().unwrap()),
    )
    .await;
    assert!(
        parts.len() > 5 && parts[0]["fitted_hours"] == 0.0,
        "{parts:?}"
    );
    let two = items(&administrator, "/v1/units?tag=T-2").await.remove(0);
    assert_eq!(two["depot_id"], json!(far));
    assert_eq!(items(&administrator, "/v1/units?limit=200").await.len(), 59);
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn rows_of_one_machine_time_and_kind_are_one_inspection_and_follow_as_recorded() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let unit = Fleet::of(&server, "Home").await.unit;
    let tag = tag(&lead, &unit).await;
    // By code and by title, a measure in inches, a function and a grade; the shoe is worn through.
    let checklist = lead
        .get(&format!("/v1/units/{unit}/checklist"))
        .await
        .expect(200)
        .json();
    let steps = checklist["steps"].as_array().unwrap();
    let of_kind = |kind: &str| steps.iter().find(|step| step["kind"] == kind).unwrap();
    let (grade, function) = (of_kind("grade"), of_kind("function"));
    let table = format!(
        "tag,performed at,kind,run hours,check,value (in),note\n\
         {tag},2025-01-10 09:00,In season,101,skid_thickness,0.04,=worn\n\
         {tag},2025-01-12 09:00,after-storm,,skid_thickness,0.04,\n\
         {tag},2025-01-10 09:00,in_season,,\"{}\",{},\n\
         {tag},2025-01-10 09:00,in_season,,{},No,\n",
        grade["title"].as_str().unwrap(),
        grade["grades"][0]["grade"]
            .as_str()
            .or(grade["grades"][0].as_str())
            .unwrap()
            .to_uppercase(),
        function["check"].as_str().unwrap(),
    );
    let import = bring(&server, &lead, "what=inspections&dry_run=false", &table).await;
    assert_eq!(import["state"], "applied", "{import}");
    let inspections = items(&lead, &format!("/v1/inspections?unit_id={unit}")).await;
    assert_eq!(inspections.len(), 2);
    let first = &inspections[0];
    assert_eq!(
        (&first["run_hours"], &first["kind"]),
        (&json!(101.0), &json!("in_season"))
    );
    let readings = first["readings"].as_array().unwrap();
    assert_eq!(readings.len(), 3);
    let skid = readings
        .iter()
        .find(|reading| reading["check"] == "skid_thickness")
        .unwrap();
    assert_eq!(
        (&skid["value"], &skid["unit"], &skid["note"]),
        (&json!(0.04), &json!("in"), &json!("=worn"))
    );
    assert!((skid["value_si"].as_f64().unwrap() - 1.016).abs() < 1e-12);
    assert_eq!(skid["verdict"], "unserviceable");
    let findings = items(&lead, &format!("/v1/findings?unit_id={unit}")).await;
    assert!(
        findings
            .iter()
            .any(|finding| finding["check"] == "skid_thickness"),
        "{findings:?}"
    );
    feed_is_sound(&server).await;
}

#[tokio::test]
async fn snow_is_kept_in_mm_and_as_it_was_entered() {
    let server = TestServer::start().await;
    let manager = server.district_manager().await;
    let table = "Day\tSnowfall [inches]\tDepot\n2024-12-01\t2.5\tHome\n2024-12-02\t0\tHome\n2024-12-01\t4\tFar\n";
    let import = bring(&server, &manager, "what=snowfall&dry_run=false", table).await;
    assert_eq!(import["state"], "applied", "{import}");
    let home = server.world.ours.home.id;
    let days = items(&manager, &format!("/v1/depots/{home}/snowfall")).await;
    assert_eq!(
        days,
        [
            json!({"on": "2024-12-01", "snowfall_mm": 63.5}),
            json!({"on": "2024-12-02", "snowfall_mm": 0.0})
        ]
    );
    let kept = owner(&server).await;
    let kept = kept
        .query_one(
            "select entered, unit from snowfall where snowfall_mm = 63.5",
            &[],
        )
        .await
        .unwrap();
    assert_eq!(
        (kept.get::<_, f64>(0), kept.get::<_, String>(1)),
        (2.5, "in".to_owned())
    );
}

#[tokio::test]
async fn a_table_sent_again_under_its_key_is_the_same_import() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let send = async |table: &str| {
        let request = lead
            .request(reqwest::Method::POST, "/v1/imports?what=snowfall")
            .header("Content-Type", "text/csv")
            .header("Idempotency-Key", "a table of snow")
            .body(table.to_owned());
        rimeyard_harness::Answer::of(request).await
    };
    let table = "day,depot,snow (mm)\n2024-12-01,Home,3\n";
    let first = send(table).await.expect(202);
    let again = send(table).await.expect(202);
    assert_eq!((first.id(), &first.body), (again.id(), &again.body));
    send("day,depot,snow (mm)\n2024-12-01,Home,4\n")
        .await
        .problem(422);
    let all = items(&lead, "/v1/imports").await;
    let under_way: Vec<&Value> = all
        .iter()
        .filter(|import| import["state"] == "checking")
        .collect();
    assert_eq!(under_way.len(), 1);
}

#[tokio::test]
async fn parts_are_listed_and_shelves_counted_and_booked() {
    let server = TestServer::start().await;
    let manager = server.administrator().await;
    let parts = "Part number,Part,lead time days,pack,price_minor,currency,shelf life (days)\n\
                 SB-1,shear bolt,5,10,125,USD,\nBE-7,auger belt,21,,,,2190\n";
    let import = bring(&server, &manager, "what=parts&dry_run=false", parts).await;
    assert_eq!(import["state"], "applied", "{import}");
    let listed = items(&manager, "/v1/parts").await;
    assert_eq!(
        (&listed[0]["number"], &listed[0]["pack_size"]),
        (&json!("SB-1"), &json!(10))
    );
    assert_eq!(
        listed[0]["price"],
        json!({"amount_minor": 125, "currency": "USD"})
    );
    assert_eq!(
        (&listed[1]["lead_time_days"], &listed[1]["shelf_life_days"]),
        (&json!(21), &json!(2190))
    );
    let again = bring(
        &server,
        &manager,
        "what=parts",
        &parts
            .replace("SB-1", "SB-2")
            .replace("BE-7,auger", "BE-8,AUGER"),
    )
    .await;
    assert_eq!(
        super::faults(&again),
        [(2, "name".to_owned()), (3, "name".to_owned())]
    );
    let twice = "number,name,lead time\nX-1,chain,5\nX-2,Chain,5\nX-1,belt,5\n";
    let twice = bring(&server, &manager, "what=parts", twice).await;
    assert_eq!(
        super::faults(&twice),
        [(3, "name".to_owned()), (4, "number".to_owned())]
    );

    let stock = "Site,Part,On hand,Date,Move,to,Lot,made on,Reason\n\
                 Home,shear bolt,40,2025-01-10,,,,,\nFar,SB-1,7,2025-01-09,received,,,,\n\
                 Home,BE-7,3,2025-01-10,Received,,L-9,2024-06-01,\nHome,SB-1,4,2025-01-11,moved,Far,,,\n\
                 Home,SB-1,1,2025-01-12,lost,,,,=dropped\n";
    let import = bring(&server, &manager, "what=stock&dry_run=false", stock).await;
    assert_eq!(import["state"], "applied", "{import}");
    let shelf = async |depot: uuid::Uuid| {
        let shelf = items(&manager, &format!("/v1/depots/{depot}/stock")).await;
        let level = |number: &str| {
            let id = &listed.iter().find(|part| part["number"] == number).unwrap()["id"];
            shelf
                .iter()
                .find(|part| part["part_id"] == *id)
                .map(|part| part["quantity"].clone())
        };
        (level("SB-1"), level("BE-7"))
    };
    assert_eq!(
        shelf(server.world.ours.home.id).await,
        (Some(json!(35)), Some(json!(3)))
    );
    assert_eq!(shelf(server.world.ours.far.id).await.0, Some(json!(11)));
    let faulty = "depot,part,quantity,at,move,to depot,reason\nHome,SB-1,0,2025-01-10,used,,\nHome,none,1,2025-01-10,,,\n\
                  Home,SB-1,1,2025-01-10,moved,Home,\nHome,SB-1,1,2025-01-10,lost,,\nNo,SB-1,1.5,x,gone,,\n";
    let faulty = bring(&server, &manager, "what=stock&dry_run=false", faulty).await;
    let named = [
        (2, "quantity"),
        (3, "part"),
        (4, "to_depot"),
        (5, "reason"),
        (6, "depot"),
        (6, "move"),
        (6, "quantity"),
        (6, "happened_at"),
    ];
    assert_eq!(
        super::faults(&faulty),
        named.map(|(row, field)| (row, field.to_owned()))
    );
    feed_is_sound(&server).await;
}
