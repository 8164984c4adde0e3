//! A depot as its agency enters it: its season, the ground it owes and its crews.

use rimeyard_rules::facts::{DesignStorm, Duty, MonthDay, Operators};
use rimeyard_rules::sheet::Work;
use rimeyard_store::depot::{NewDepot, Season};
use uuid::Uuid;

use super::fleet::DepotPlan;

/// What the agency puts on its ramps, g/m2.
const DOSE_G_M2: f64 = 25.0;

/// The depot of that plan.
pub fn new_depot(id: Uuid, plan: &DepotPlan) -> NewDepot {
    let day = |text: &str| MonthDay::parse(text).expect("a constant of the demo");
    let duty = |name: &str, work, class: &str, area_m2: f64, clear_within_h: f64| Duty {
        name: name.to_owned(),
        work,
        class: class.to_owned(),
        area_m2,
        clear_within_h,
        narrowest_width_mm: None,
        dose_g_m2: (work == Work::Spread).then_some(DOSE_G_M2),
    };
    // Platforms and ramps are owed first, stops next, footpaths last. With these shares the third and fourth hour
    // after the ground is deep enough are the tightest, and `owes_m2_per_h` is what they ask for.
    let owed = plan.owes_m2_per_h;
    let [_, tractors, brooms, spreaders, sprayers, blowers] = plan.others;
    let salted_m2 = 1_100.0 * f64::from(spreaders + sprayers);
    let blown_m2 = 200.0 * f64::from(tractors + brooms + blowers);
    let mut duties = vec![
        duty("platforms", Work::Clear, "first", owed, 2.0),
        duty(
            "ramps and stairs' feet",
            Work::Clear,
            "first",
            0.6 * owed,
            2.0,
        ),
        duty("stops", Work::Clear, "second", 1.4 * owed, 3.0),
        duty("footpaths", Work::Clear, "third", owed, 4.0),
        duty("ramps, salted", Work::Spread, "first", salted_m2, 2.0),
        duty(
            "platform edges and shelters",
            Work::Blow,
            "first",
            blown_m2,
            2.0,
        ),
    ];
    let crew = |work, narrowest_width_mm, per_shift| Operators {
        work,
        narrowest_width_mm,
        per_shift,
    };
    let mut operators = vec![
        crew(Work::Clear, None, plan.operators),
        crew(Work::Spread, None, 2),
        crew(Work::Blow, None, 2),
    ];
    if let Some((name, area_m2, hours, width_mm)) = plan.narrow {
        let ground = duty(name, Work::Clear, "second", area_m2, hours);
        duties.push(Duty {
            narrowest_width_mm: Some(width_mm),
            ..ground
        });
        operators.push(crew(Work::Clear, Some(width_mm), 1));
    }
    NewDepot {
        id: Some(id),
        name: plan.name.to_owned(),
        zone: plan.zone.to_owned(),
        latitude: plan.at.0,
        longitude: plan.at.1,
        season: Season {
            starts: day(plan.season.0),
            ends: day(plan.season.1),
        },
        typical_snow_days: plan.snow_days,
        snow_day_mm: 25.0,
        design_storm: DesignStorm {
            hours: 12.0,
            depth_mm: 250.0,
            reclear_mm: 100.0,
            density_kg_m3: None,
            temperature_c: Some(-6.0),
            low_c: Some(-18.0),
        },
        duties,
        operators,
    }
}
