//! Who and what there is at the start of every test: the template database.
//!
//! Two organisations, each with a person of every role and with two depots. In each, the technician, the operator, the
//! depot lead and the depot system are granted the first depot only.

use std::collections::BTreeSet;

use rimeyard_rules::facts::{DesignStorm, Duty, MonthDay, Operators};
use rimeyard_rules::sheet::Work;
use rimeyard_store::depot::{self, NewDepot, Season};
use rimeyard_store::person::{self, NewPerson};
use rimeyard_store::{Database, Role, Tenant, feed, organisation, password};
use uuid::Uuid;

/// Everyone's.
pub const PASSWORD: &str = "seven cold shovels";

/// What the template holds.
#[derive(Debug, Clone, Copy)]
pub struct World {
    /// The organisation of the actors.
    pub ours: Organisation,
    /// Another one, which must not be seen.
    pub theirs: Organisation,
}

/// An organisation.
#[derive(Debug, Clone, Copy)]
pub struct Organisation {
    /// Its id.
    pub org_id: Uuid,
    /// The depot that everyone in it is granted.
    pub home: Depot,
    /// The depot that only its district manager and administrator are granted.
    pub far: Depot,
}

/// A depot.
#[derive(Debug, Clone, Copy)]
pub struct Depot {
    /// Its id.
    pub id: Uuid,
}

/// The address that the person of this role signs in with.
pub fn email(organisation: &str, role: Role) -> String {
    format!("{}@{organisation}.example", role.as_str().replace(' ', "-"))
}

/// Fills an empty database.
pub async fn fill(database: &Database) -> World {
    World {
        ours: fill_organisation(database, "ours").await,
        theirs: fill_organisation(database, "theirs").await,
    }
}

async fn fill_organisation(database: &Database, name: &str) -> Organisation {
    let hashed = password::hash(PASSWORD).await.expect("a good password");
    let org_id = organisation::create(database, name, None)
        .await
        .expect("the organisation is made");
    let house = Tenant::system(org_id);
    feed::write(database, &house, &[org_id], async |tx| {
        let home = depot::create(tx, &new_depot("Home")).await?.id;
        let far = depot::create(tx, &new_depot("Far")).await?.id;
        for role in Role::ALL {
            let all_depots = matches!(role, Role::DistrictManager | Role::Administrator);
            let new = NewPerson {
                id: None,
                name: format!("The {role}"),
                role,
                all_depots,
                depots: if all_depots {
                    BTreeSet::new()
                } else {
                    BTreeSet::from([home])
                },
                email: Some(email(name, role)),
                password: None,
            };
            person::create(tx, &new, Some(&hashed)).await?;
        }
        Ok(Organisation {
            org_id,
            home: Depot { id: home },
            far: Depot { id: far },
        })
    })
    .await
    .expect("the organisation is filled")
}

fn new_depot(name: &str) -> NewDepot {
    let day = |text| MonthDay::parse(text).expect("a day of the year");
    NewDepot {
        id: None,
        name: name.to_owned(),
        zone: "America/Denver".to_owned(),
        latitude: 39.5,
        longitude: -106.0,
        season: Season {
            starts: day("11-01"),
            ends: day("04-20"),
        },
        typical_snow_days: 60,
        snow_day_mm: 25.0,
        design_storm: DesignStorm {
            hours: 24.0,
            depth_mm: 300.0,
            reclear_mm: 50.0,
            density_kg_m3: None,
            temperature_c: Some(-6.0),
            low_c: Some(-15.0),
        },
        duties: vec![Duty {
            name: "Platforms".to_owned(),
            work: Work::Clear,
            class: "first".to_owned(),
            area_m2: 4_000.0,
            clear_within_h: 4.0,
            narrowest_width_mm: None,
            dose_g_m2: None,
        }],
        operators: vec![Operators {
            work: Work::Clear,
            narrowest_width_mm: None,
            per_shift: 3,
        }],
    }
}
