//! After whatever was written, in whatever order, with workers at it all the while: what is stored is what is computed
//! from it, and the feed's digests are those of its documents.

use rand::rngs::SmallRng;
use rand::{RngExt, SeedableRng};
use rimeyard_harness::machines::{Machines, days_ago, sound_readings};
use rimeyard_harness::{Actor, TestServer};
use rimeyard_rules::sheet::{Sheet, two_stage_thrower};
use serde_json::{Value, json};

use super::{Running, assert_stored_is_recomputed, drained, owner, settings};

/// Writes of one series.
const WRITES: usize = 60;

#[tokio::test]
async fn after_a_random_series_of_writes_stored_is_recomputed() {
    for seed in [1, 2] {
        let server = TestServer::start().await;
        let mut series = Series::new(&server, seed).await;
        let workers = [(); 2].map(|()| Running::start(&server.database, settings()));
        for _ in 0..WRITES {
            series.write().await;
        }
        for worker in workers {
            worker.stop().await;
        }
        drained(&server).await;
        assert_stored_is_recomputed(&server, 4).await;
        assert_digests(&server).await;
        assert!(
            series.refused * 2 < WRITES,
            "seed {seed}: {} writes were refused",
            series.refused
        );
    }
}

/// Writes at random through the API, as an administrator.
struct Series {
    administrator: Actor,
    random: SmallRng,
    sheet: Sheet,
    model: String,
    units: Vec<String>,
    depots: [String; 2],
    inspections: Vec<(String, String)>,
    /// The tags that somebody hung, with the machines that they hang on.
    holds: Vec<(String, String)>,
    storms: Vec<String>,
    /// Writes that contradicted what was stored: a retired unit, a hold lifted already.
    refused: usize,
}

impl Series {
    async fn new(server: &TestServer, seed: u64) -> Self {
        let administrator = server.administrator().await;
        let ours = server.world.ours;
        let machines = Machines::make_sound(&administrator, ours.home.id, 4, 20).await;
        Self {
            administrator,
            random: SmallRng::seed_from_u64(seed),
            sheet: two_stage_thrower(),
            model: machines.model,
            units: machines.units,
            depots: [ours.home.id.to_string(), ours.far.id.to_string()],
            inspections: Vec::new(),
            holds: Vec::new(),
            storms: Vec::new(),
            refused: 0,
        }
    }

    async fn write(&mut self) {
        let unit = self.units[self.random.random_range(0..self.units.len())].clone();
        match self.random.random_range(0..100) {
            0..35 => self.inspect(unit, None).await,
            35..40 => {
                if let Some((id, unit)) = self.inspections.pop() {
                    self.inspect(unit, Some(id)).await;
                }
            }
            40..55 => {
                let reading = json!({
                    "unit_id": unit,
                    "read_at": days_ago(self.random.random_range(0..30)),
                    "run_hours": self.random.random_range(90.0..130.0_f64).round(),
                    "started": self.random.random_bool(0.8),
                });
                self.post("/v1/meter-readings", reading).await;
            }
            55..65 => {
                let hold = self
                    .post(
                        &format!("/v1/units/{unit}/holds"),
                        json!({"reason": "a bent chute"}),
                    )
                    .await;
                self.holds.extend(hold.map(|hold| (hold, unit)));
            }
            65..70 => {
                if let Some((hold, unit)) = self.holds.pop() {
                    let inspection = json!({
                        "unit_id": unit, "kind": "after_repair", "performed_at": days_ago(0),
                        "readings": sound_readings(&self.sheet),
                    });
                    let proof = self.post("/v1/inspections", inspection).await;
                    let lift = json!({"inspection_id": proof});
                    self.post(&format!("/v1/holds/{hold}/lift"), lift).await;
                }
            }
            70..80 => {
                let change = match self.random.random_range(0..4) {
                    0 => json!({"away": "the workshop"}),
                    1 => json!({"away": null}),
                    2 => json!({"depot_id": self.depots[self.random.random_range(0..2)]}),
                    _ => json!({"tag": format!("T-{}", self.random.random_range(0..1_000_000))}),
                };
                self.patch(&format!("/v1/units/{unit}"), change).await;
            }
            80..88 => {
                let starts = self.random.random_range(1..72);
                let at = |hours: i64| {
                    (jiff::Timestamp::now() + jiff::SignedDuration::from_hours(hours)).to_string()
                };
                let storm = json!({
                    "name": format!("storm {}", self.storms.len()), "starts_at": at(starts), "ends_at": at(starts + 18),
                    "depth_mm": self.random.random_range(50.0..600.0), "reclear_mm": 50.0, "depots": self.depots,
                });
                let storm = self.post("/v1/storms", storm).await;
                self.storms.extend(storm);
            }
            88..92 => {
                if let Some(storm) = self.storms.pop() {
                    self.patch(&format!("/v1/storms/{storm}"), json!({"cancelled": true}))
                        .await;
                }
            }
            92..96 => {
                let change = json!({"typical_snow_days": self.random.random_range(20..90)});
                self.patch(&format!("/v1/depots/{}", self.depots[0]), change)
                    .await;
            }
            96..98 => {
                self.sheet.usage.prior_hours_per_day.value = self.random.random_range(1.0..4.0);
                let sheet = serde_json::to_value(&self.sheet).expect("a sheet");
                self.post(&format!("/v1/models/{}/sheets", self.model), sheet)
                    .await;
            }
            _ if self.units.len() > 2 => {
                self.patch(
                    &format!("/v1/units/{unit}"),
                    json!({"retired_at": days_ago(0)}),
                )
                .await;
                self.units.retain(|kept| *kept != unit);
            }
            _ => {}
        }
    }

    /// An inspection of some of the checks: most sound, some worn or broken.
    async fn inspect(&mut self, unit: String, corrects: Option<String>) {
        let mut readings = sound_readings(&self.sheet);
        readings.retain(|_| self.random.random_bool(0.5));
        for reading in &mut readings {
            if self.random.random_bool(0.15) {
                self.worsen(reading);
            }
        }
        let inspection = json!({
            "unit_id": unit,
            "kind": if self.random.random_bool(0.5) { "in_season" } else { "after_repair" },
            "performed_at": days_ago(self.random.random_range(0..15)),
            "run_hours": self.random.random_range(100.0..140.0_f64).round(),
            "readings": readings,
            "corrects": corrects,
        });
        if let Some(id) = self.post("/v1/inspections", inspection).await {
            self.inspections.push((id, unit));
        }
    }

    fn worsen(&mut self, reading: &mut Value) {
        let check = self
            .sheet
            .check_spec(reading["check"].as_str().expect("a check"))
            .expect("on the sheet");
        if let Some(works) = reading.get_mut("works") {
            *works = json!(false);
        } else if let Some(value) = reading.get_mut("value") {
            let limits = &check.measure().expect("a measure").limits;
            let side = limits
                .low
                .as_ref()
                .or(limits.high.as_ref())
                .expect("a side");
            *value = json!(side.unserviceable_at.value);
        } else if let Some(grades) = check.grades() {
            let worst = json!(grades.last().expect("grades").grade);
            let answer = if reading.get("grade").is_some() {
                "grade"
            } else {
                "level"
            };
            reading[answer] = worst;
        }
    }

    /// The new object's id; `None` where it was refused as it should be.
    async fn post(&mut self, path: &str, body: Value) -> Option<String> {
        let answer = self.administrator.post(path, &body).await;
        match answer.status {
            200 | 201 => answer.json()["id"].as_str().map(str::to_owned),
            409 | 422 => {
                self.refused += 1;
                None
            }
            status => panic!("{status} to POST {path} {body}: {}", answer.body),
        }
    }

    async fn patch(&mut self, path: &str, change: Value) {
        let etag = self.administrator.get(path).await.expect(200).etag();
        let answer = self.administrator.patch(path, &etag, &change).await;
        match answer.status {
            200 => {}
            409 | 422 => self.refused += 1,
            status => panic!("{status} to PATCH {path} {change}: {}", answer.body),
        }
    }
}

/// Each scope's digest, kept by difference, is the XOR of the checks of its live documents, computed here from their
/// text.
async fn assert_digests(server: &TestServer) {
    let owner = owner(server).await;
    let scopes = owner
        .query("select scope_id, digest from feed_scope", &[])
        .await
        .expect("scopes");
    assert!(scopes.len() >= 4);
    for scope in scopes {
        let scope_id: uuid::Uuid = scope.get(0);
        let entries =
            "select kind, object_id, rev, doc from feed_entry where scope_id = $1 and not deleted";
        let entries = owner.query(entries, &[&scope_id]).await.expect("entries");
        let digest = entries.iter().fold(0, |digest, entry| {
            let (kind, id, rev, doc): (String, uuid::Uuid, i64, String) =
                (entry.get(0), entry.get(1), entry.get(2), entry.get(3));
            digest ^ rimeyard_store::feed::check(&kind, id, rev, &doc)
        });
        assert_eq!(scope.get::<_, i64>(1), digest, "scope {scope_id}");
    }
}
