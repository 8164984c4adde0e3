//! Each fault is named by its row and its column, and one of them keeps all from being applied.

use rimeyard_harness::TestServer;
use serde_json::{Value, json};

use super::super::fleet::{Fleet, items, model};
use super::{apply, bring, faults, tag};

fn named(faults: &[(i64, &str)]) -> Vec<(i64, String)> {
    faults
        .iter()
        .map(|(row, field)| (*row, (*field).to_owned()))
        .collect()
}

#[tokio::test]
async fn one_fault_anywhere_and_nothing_is_applied() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let unit = Fleet::of(&server, "Home").await.unit;
    let tag = tag(&lead, &unit).await;
    let table = format!(
        "tag,read at,hours,started,estimated,note,meter replaced\n\
         {tag},2025-01-10,12,,,,\n\
         nobody,2025-01-10,12,,,,\n\
         {tag},03/04/2025,12,,,,\n\
         {tag},2025-01-10,\"12,5\",,,,\n\
         {tag},2025-01-11,-1,,,,\n\
         {tag},2025-01-12,,,,nothing said,\n\
         {tag},,x,perhaps,,,\n\
         {tag},2025-01-13,,yes,yes,,\n\
         {tag},2025-01-14,7,,,,,too many\n\
         {tag},1850-01-14,7,,,,\n\
         {tag},2025-01-10,12,,,,\n"
    );
    let import = bring(&server, &lead, "what=meter-readings&dry_run=false", &table).await;
    assert_eq!(import["state"], "refused");
    assert_eq!(
        faults(&import),
        named(&[
            (3, "tag"),
            (4, "read_at"),
            (5, "run_hours"),
            (6, "run_hours"),
            (7, "run_hours"),
            (8, "read_at"),
            (8, "run_hours"),
            (8, "started"),
            (9, "estimated"),
            (10, "cell 8"),
            (11, "read_at"),
        ])
    );
    let problem = import["first_faults"][1]["problem"].as_str().unwrap();
    assert!(problem.contains("dates=month-first"), "{problem}");
    assert_eq!(
        items(&lead, &format!("/v1/meter-readings?unit_id={unit}")).await,
        [] as [Value; 0]
    );
    let id = import["id"].as_str().unwrap();
    apply(&lead, id).await.problem(409);

    // Row by row, page by page, and as a table.
    let path = format!("/v1/imports/{id}/rows");
    let page = lead
        .get(&format!("{path}?faults=true&limit=4"))
        .await
        .expect(200)
        .json();
    assert_eq!(page["next_after"], 6);
    assert_eq!(page["items"][0]["row"], 3);
    assert_eq!(page["items"][0]["cells"][0], "nobody");
    assert_eq!(page["items"][0]["faults"][0]["field"], "tag");
    let page = lead
        .get(&format!("{path}?faults=true&limit=4&after=6"))
        .await
        .expect(200)
        .json();
    assert_eq!(
        page["items"][1]["faults"].as_array().unwrap().len(),
        3,
        "{page}"
    );
    let all = lead.get(&path).await.expect(200).json();
    assert_eq!(all["items"].as_array().unwrap().len(), 11);
    let download = lead
        .get(&format!("/v1/imports/{id}/faults"))
        .await
        .expect(200);
    assert!(download.header("content-type").starts_with("text/csv"));
    assert!(
        download
            .header("content-disposition")
            .contains("faults.csv")
    );
    assert!(
        download.body.starts_with("row,field,problem\r\n3,tag,"),
        "{}",
        download.body
    );
    assert_eq!(download.body.lines().count(), 12);
}

#[tokio::test]
async fn rows_that_contradict_each_other_are_found_wherever_they_stand() {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let unit = Fleet::of(&server, "Home").await.unit;
    let tag = tag(&administrator, &unit).await;
    let snow = "day,depot,snow (cm)\n2024-12-01,Home,3\n2024-12-02,Home,3\n2024-12-01,Home,4\n";
    let import = bring(&server, &administrator, "what=snowfall&dry_run=false", snow).await;
    assert_eq!(faults(&import), named(&[(4, "day")]));
    let model = model(&administrator).await;
    let name = administrator
        .get(&format!("/v1/models/{model}"))
        .await
        .expect(200)
        .json()["name"]
        .clone();
    let name = name.as_str().unwrap();
    let units = format!(
        "tag,depot,model\nT-1,Home,{name}\nT-1,Far,{name}\n{tag},Home,{name}\nT-2,Nowhere,{name}\nT-3,Home,none\n"
    );
    let import = bring(&server, &administrator, "what=units", &units).await;
    assert_eq!(
        faults(&import),
        named(&[(4, "tag"), (5, "depot"), (6, "model")])
    );
    let import = bring(
        &server,
        &administrator,
        "what=units",
        &units[..units.find(&tag).unwrap()],
    )
    .await;
    assert_eq!(faults(&import), named(&[(3, "tag")]));
    let readings = |rows: &str| {
        format!(
            "tag,date,kind,hours,check,value,unit\n{}",
            rows.replace("TAG", &tag)
        )
    };
    let twice = readings(
        "TAG,2025-01-10,storage,,skid_thickness,4,mm\nTAG,2025-01-10,storage,,Skid_Thickness,5,mm\n",
    );
    let import = bring(&server, &administrator, "what=inspections", &twice).await;
    assert_eq!(faults(&import), named(&[(3, "check")]));
    let hours = readings(
        "TAG,2025-01-10,storage,10,skid_thickness,4,mm\nTAG,2025-01-10,storage,11,auger_turns,yes,\n",
    );
    let import = bring(&server, &administrator, "what=inspections", &hours).await;
    assert!(
        faults(&import).contains(&(3, "run_hours".to_owned()))
            || faults(&import) == named(&[(3, "check")]),
        "{import}"
    );
    assert_eq!(
        items(&administrator, &format!("/v1/inspections?unit_id={unit}")).await,
        [] as [Value; 0]
    );
}

#[tokio::test]
async fn each_reading_is_held_against_the_sheet_before_anything_is_applied() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let unit = Fleet::of(&server, "Home").await.unit;
    let tag = tag(&lead, &unit).await;
    let table = format!(
        "tag,date,kind,check,value,unit,grade,temperature (f),repeats,note\n\
         {tag},2025-01-10,storage,skid_thickness,4,psi,,,,\n\
         {tag},2025-01-10,storage,no_such_check,4,mm,,,,\n\
         {tag},2025-01-10,storage,skid_thickness,4,furlong,,,,\n\
         {tag},2025-01-10,storage,skid_thickness,thick,mm,,,,\n\
         {tag},2025-01-10,storage,skid_thickness,4,mm,worn,,,\n\
         {tag},2025-01-10,storage,skid_thickness,4,mm,,40,,\n\
         {tag},2025-01-10,storage,skid_thickness,4,mm,,,1.5,\n\
         {tag},2025-01-10,spring,skid_thickness,4,mm,,,,\n\
         {tag},2025-01-10,storage,,4,mm,,,,\n\
         {tag},2025-01-10,storage,skid_thickness,4,,,,,\n"
    );
    let import = bring(&server, &lead, "what=inspections&dry_run=false", &table).await;
    assert_eq!(
        faults(&import),
        named(&[
            (2, "unit"),
            (3, "check"),
            (4, "unit"),
            (5, "value"),
            (6, "grade"),
            (7, "temperature"),
            (8, "repeats"),
            (9, "kind"),
            (10, "check"),
            (11, "unit"),
        ]),
        "{import}"
    );
}

#[tokio::test]
async fn numbers_with_a_comma_and_dates_either_way_are_taken_where_that_is_said() {
    let server = TestServer::start().await;
    let lead = server.depot_lead().await;
    let home = server.world.ours.home.id;
    let table = "day;depot;snow (cm)\n03/04/2024;Home;2,5\n";
    for (query, day) in [("day-first", "2024-04-03"), ("month-first", "2024-03-04")] {
        let query = format!("what=snowfall&dry_run=false&decimal=comma&dates={query}");
        let import = bring(&server, &lead, &query, table).await;
        assert_eq!(import["state"], "applied", "{import}");
        let days = items(&lead, &format!("/v1/depots/{home}/snowfall")).await;
        assert!(
            days.contains(&json!({"on": day, "snowfall_mm": 25.0})),
            "{days:?}"
        );
    }
}
