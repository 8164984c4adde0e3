//! How much is computed for one answer, and how much of it is in memory at a time: for lists of spares, and for whatever else
//! takes whole depots.

use std::collections::BTreeSet;

use rimeyard_rules::Invalid;
use rimeyard_store::{Error, spares};
use uuid::Uuid;

use crate::problem::Problem;
use crate::signed::Signed;

/// So many machines are computed at most for one answer.
const MACHINES_MAX: i64 = 2_000;
/// Depots are loaded together up to so many machines.
const MACHINES_AT_A_TIME: i64 = 200;

/// Where several depots are named.
pub const DEPOT_IDS: &str = "depot_ids";

/// 400: a parameter asks for what cannot be answered.
pub fn wrong(field: &str, problem: String) -> Problem {
    Problem::malformed(vec![Invalid::new(field, problem)])
}

/// These depots, or all that are granted, with how many machines each has. `field` is where the asker names them.
///
/// # Errors
/// 404 for the depot of a path that may not be seen; 400 for one of several, and for too many machines.
pub async fn depots(
    who: &Signed,
    named: Option<&BTreeSet<Uuid>>,
    field: &'static str,
) -> Result<Vec<(Uuid, i64)>, Problem> {
    let depots = who
        .read(async |tx| match spares::machines(tx, named).await {
            // The depot of a path is there or it is not; one among many is a wrong value.
            Err(Error::NotFound { .. }) if field == DEPOT_IDS => Ok(None),
            depots => depots.map(Some),
        })
        .await?
        .ok_or_else(|| wrong(field, "names a depot that you may not see".to_owned()))?;
    let machines: i64 = depots.iter().map(|(_, machines)| machines).sum();
    if machines > MACHINES_MAX {
        let problem = format!(
            "asks for {machines} machines; at most {MACHINES_MAX} are computed at once, so name fewer depots"
        );
        return Err(wrong(field, problem));
    }
    Ok(depots)
}

/// Depots that are loaded together.
pub fn pieces(depots: &[(Uuid, i64)]) -> Vec<Vec<Uuid>> {
    let mut pieces: Vec<Vec<Uuid>> = Vec::new();
    let mut room = 0;
    for (depot_id, machines) in depots {
        match pieces.last_mut().filter(|_| *machines <= room) {
            Some(piece) => piece.push(*depot_id),
            None => {
                pieces.push(vec![*depot_id]);
                room = MACHINES_AT_A_TIME;
            }
        }
        // An empty depot has facts, too.
        room -= machines.max(&1);
    }
    pieces
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn depots_are_loaded_together_up_to_some_machines() {
        let id = Uuid::from_u128;
        let depots = [
            (1, 150),
            (2, 50),
            (3, 1),
            (4, 900),
            (5, 0),
            (6, 199),
            (7, 1),
        ];
        let depots = depots.map(|(depot, machines)| (id(depot), machines));
        let expected = [vec![1, 2], vec![3], vec![4], vec![5, 6], vec![7]];
        let expected =
            expected.map(|piece: Vec<u128>| piece.into_iter().map(id).collect::<Vec<_>>());
        assert_eq!(pieces(&depots), expected);
        assert!(pieces(&[]).is_empty());
    }
}
