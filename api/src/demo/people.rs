//! Who works at the invented agency. All names are made up. What they sign in with is for whoever loads the demo to
//! give them, last of all.

use jiff::{SignedDuration, Timestamp};
use rimeyard_store::Role;

use super::draw::Draw;
use super::plan::Person;

const ALL: &[usize] = &[];

/// Name, role and depots (from 0; none named: all).
const PEOPLE: [(&str, Role, &[usize]); 15] = [
    ("Ilva Marrendale", Role::Technician, ALL),
    ("Tobin Askerholt", Role::Technician, ALL),
    ("Perrin Quillfeather", Role::Technician, ALL),
    ("Sunniva Oakenrow", Role::Technician, ALL),
    ("Marit Lowenstair", Role::DistrictManager, ALL),
    ("Corvin Halebrook", Role::DepotLead, &[0, 1, 2, 3]),
    ("Dagny Thornwether", Role::DepotLead, &[4, 5, 6, 7]),
    ("Ruben Vastergale", Role::DepotLead, &[8, 9, 10, 11]),
    ("Nell Fennimoor", Role::Operator, &[0, 1, 2]),
    ("Oswin Pikestead", Role::Operator, &[3, 4, 5]),
    ("Tamsel Grindlow", Role::Operator, &[6, 7, 8]),
    ("Juna Whitterby", Role::Operator, &[9, 10, 11]),
    (
        "Boards of the mountain side",
        Role::DepotSystem,
        &[0, 1, 2, 3, 4, 5, 6, 7],
    ),
    (
        "Boards of the lake side",
        Role::DepotSystem,
        &[8, 9, 10, 11],
    ),
    ("Hollis Brackwater", Role::Administrator, ALL),
];

/// The people, with ids of that instant and after, so that they come in this order everywhere.
pub fn people(draw: &mut Draw, at: Timestamp) -> Vec<Person> {
    let instants = (0..).map(|index| at + SignedDuration::from_millis(index));
    let people = PEOPLE.into_iter().zip(instants);
    people
        .map(|((name, role, depots), at)| Person {
            id: draw.id(at),
            name,
            role,
            depots: (!depots.is_empty()).then(|| depots.to_vec()),
        })
        .collect()
}

/// The people of that role who are granted the depot: places in [`PEOPLE`].
pub fn of_role(people: &[Person], role: Role, depot: usize) -> Vec<usize> {
    let granted = |person: &Person| {
        person.role == role
            && person
                .depots
                .as_ref()
                .is_none_or(|depots| depots.contains(&depot))
    };
    (0..people.len())
        .filter(|index| granted(&people[*index]))
        .collect()
}
