//! Breaks of shear fasteners are learned from what depots book of the part that their machines' sheets name.

use super::*;

struct Yard {
    server: TestServer,
    administrator: Actor,
    home: Machines,
    far: Machines,
    /// What their sheets call "shear fastener set".
    set: String,
    belt: String,
}

async fn part(administrator: &Actor, number: &str, name: &str) -> String {
    let part = json!({"number": number, "name": name, "lead_time_days": 7});
    administrator
        .post("/v1/parts", &part)
        .await
        .expect(201)
        .id()
}

/// Two machines at Home and two of another model at Far, each run 15 hours in 20 days and kept for 60 days.
async fn yard() -> Yard {
    let server = TestServer::start().await;
    let administrator = server.administrator().await;
    let ours = &server.world.ours;
    let home = Machines::make(&administrator, ours.home.id, 2).await;
    let far = Machines::make(&administrator, ours.far.id, 2).await;
    for unit in home.units.iter().chain(&far.units) {
        for (days, hours) in [(60, 10.0), (40, 25.0), (20, 40.0)] {
            read_ring(&administrator, 0, unit, days, hours).await;
        }
    }
    // A name is the same in whatever letters, and the sheet's number is the maker's, not the list's.
    let set = part(&administrator, "Q-7", "Shear Fastener Set").await;
    let belt = part(&administrator, "Q-8", "belt").await;
    Yard {
        server,
        administrator,
        home,
        far,
        set,
        belt,
    }
}

impl Yard {
    async fn book(&self, depot: uuid::Uuid, what: &str, part: &str, quantity: i64, days: i64) {
        let booked = json!({
            "move": what, "part_id": part, "quantity": quantity, "happened_at": days_ago(days),
        });
        let path = format!("/v1/depots/{depot}/stock/moves");
        self.administrator.post(&path, &booked).await.expect(201);
    }

    /// What is learned when there is more to learn from.
    async fn breaks(&self, of: &Machines, hours: f64) -> Value {
        for unit in self.home.units.iter().chain(&self.far.units) {
            read_ring(&self.administrator, 0, unit, 1, hours).await;
        }
        assert!(learn(&self.server).await > 0);
        learned(&self.administrator, &of.model).await["breaks"].clone()
    }
}

fn seen(breaks: &Value) -> (u64, f64) {
    let hours = breaks["hours"].as_f64().expect("hours");
    (breaks["breaks"].as_u64().expect("breaks"), hours)
}

#[tokio::test]
async fn what_is_used_is_learned_with_the_hours_of_the_depots_that_book_it() {
    let yard = yard().await;
    let (home, far) = (
        yard.server.world.ours.home.id,
        yard.server.world.ours.far.id,
    );
    // Far has the part on its shelf, and books nothing that it uses.
    yard.book(far, "received", &yard.set, 20, 55).await;
    yard.book(home, "received", &yard.set, 20, 50).await;
    let none = yard.breaks(&yard.home, 40.0).await;
    assert_eq!(
        none["because"],
        "the sheet's figures: no running hours since their use is booked"
    );
    // Home books what it uses since 50 days ago; what began that is not counted.
    yard.book(home, "used", &yard.belt, 1, 50).await;
    yard.book(home, "used", &yard.set, 3, 45).await;
    yard.book(home, "used", &yard.set, 2, 20).await;
    let first = yard.breaks(&yard.home, 40.0).await;
    let (breaks, hours) = seen(&first);
    assert_eq!((breaks, &first["from"]), (5, &json!("fleet")), "{first}");
    // Two machines, each from 17.5 hours to 40.
    assert!((44.0..=47.0).contains(&hours), "{first}");
    // A fastener is one, on whatever model.
    let other = learned(&yard.administrator, &yard.far.model).await;
    assert_eq!(other["breaks"], first);

    // Far begins: with it come its hours since, and the breaks after the one that it began with.
    yard.book(far, "used", &yard.set, 1, 40).await;
    yard.book(far, "used", &yard.set, 1, 30).await;
    let (both, more) = seen(&yard.breaks(&yard.home, 40.0).await);
    assert_eq!(both, 6);
    assert!((hours + 29.0..=hours + 31.0).contains(&more), "{more}");

    // A slip taken back counts no longer.
    let path = format!("/v1/depots/{far}/stock/moves?part_id={}", yard.set);
    let moves = yard.administrator.get(&path).await.expect(200).json();
    let moves = moves["items"].as_array().expect("moves");
    let slip = moves.iter().find(|one| one["happened_at"] == days_ago(30));
    let slip = slip.or_else(|| moves.iter().rev().find(|one| one["move"] == "used"));
    let back = json!({
        "move": "used", "part_id": yard.set, "quantity": 0, "happened_at": days_ago(30),
        "corrects": slip.expect("it")["id"],
    });
    let path = format!("/v1/depots/{far}/stock/moves");
    yard.administrator.post(&path, &back).await.expect(201);
    assert_eq!(seen(&yard.breaks(&yard.home, 40.0).await).0, 5);
}

/// A kit is taken for a task; what a machine lacked when it was first looked at broke before, if at all.
#[tokio::test]
async fn what_comes_out_of_a_kit_or_stocks_a_machine_at_first_is_no_break() {
    let yard = yard().await;
    let home = yard.server.world.ours.home.id;
    let administrator = &yard.administrator;
    yard.book(home, "received", &yard.set, 40, 90).await;
    yard.book(home, "used", &yard.belt, 1, 90).await;
    let kit = json!({
        "number": "K-1", "name": "season kit", "lead_time_days": 7, "kit": [{"part_id": yard.set, "quantity": 4}],
    });
    let kit = administrator.post("/v1/parts", &kit).await.expect(201).id();
    yard.book(home, "used", &kit, 1, 15).await;
    let short = async |unit: &str, days: i64| {
        let spares = json!({"check": "shear_spares", "value": 0.0, "unit": "count"});
        read(administrator, unit, days, 40.0, spares).await;
        let path = format!("/v1/work-orders?unit_id={unit}&open=true");
        let orders = administrator.get(&path).await.expect(200).json();
        let id = orders["items"][0]["id"].as_str().expect("an order");
        let path = format!("/v1/work-orders/{id}");
        let etag = administrator.get(&path).await.expect(200).etag();
        let uses =
            json!({"uses": [{"part_id": yard.set, "quantity": 4, "happened_at": days_ago(days)}]});
        administrator.patch(&path, &etag, &uses).await.expect(200);
    };
    // The first look at a new machine, and the fourth at one that is known.
    let new = Machines::make(administrator, home, 1).await.units.remove(0);
    short(&new, 12).await;
    let before = yard.breaks(&yard.home, 41.0).await;
    assert_eq!((seen(&before).0, &before["from"]), (0, &json!("fleet")));
    short(&yard.home.units[0], 10).await;
    let after = yard.breaks(&yard.home, 41.0).await;
    assert_eq!(seen(&after).0, 4, "{after}");
}
