//! The computation behind both: bounded in machines, a few depots in memory at a time, off the threads that answer.

use std::collections::BTreeSet;

use actix_web::web;
use jiff::Timestamp;
use jiff::civil::Date;
use rimeyard_rules::first::{Asked, FixFirst, OpenWork, Shelves, fix_first, open_work};
use rimeyard_store::{labour, spares, stock};
use serde::de::Error;
use serde::{Deserialize, Deserializer};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::problem::Problem;
use crate::routes::spares::compute::{asked_for, wrong};
use crate::signed::Signed;

/// Minutes of labour: 0 to 1,000,000.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = f64, minimum = 0, maximum = 1_000_000)]
pub struct Minutes(f64);

impl<'de> Deserialize<'de> for Minutes {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match f64::deserialize(deserializer) {
            Ok(minutes) if (0.0..=1e6).contains(&minutes) => Ok(Self(minutes)),
            _ => Err(D::Error::custom("must be minutes from 0 to 1000000")),
        }
    }
}

/// A day from 2000 to 2199.
#[derive(Debug, Clone, Copy, ToSchema)]
#[schema(value_type = String, format = Date)]
pub struct Until(Date);

impl<'de> Deserialize<'de> for Until {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        match String::deserialize(deserializer)?.parse::<Date>() {
            Ok(day) if (2000..2200).contains(&day.year()) => Ok(Self(day)),
            _ => Err(D::Error::custom(
                "must be a date like 2026-11-15, from 2000 to 2199",
            )),
        }
    }
}

/// The plan for these depots, or for all that are granted. `field` is where the asker names them.
pub async fn compute(
    who: &Signed,
    named: Option<BTreeSet<Uuid>>,
    until: Option<Until>,
    minutes: Option<Minutes>,
    field: &'static str,
) -> Result<FixFirst, Problem> {
    let pieces = asked_for(who, named, field).await?;
    // Who asks waits for the others: a plan takes a processor for a second or so.
    let turn = who.state.lists.acquire().await;
    let _turn = turn.map_err(Problem::internal)?;
    let as_of = Timestamp::now();
    let mut shelves = Shelves::default();
    let mut depots: Vec<OpenWork> = Vec::new();
    for ids in pieces {
        let (facts, parts, mut labours) = who
            .read(async |tx| {
                let (facts, parts) = spares::supply(tx, &ids, as_of).await?;
                Ok((facts, parts, labour::of_depots(tx, &ids).await?))
            })
            .await?;
        let computed = web::block(move || {
            let of = |facts: &rimeyard_rules::facts::DepotFacts| {
                let labour = labours.remove(&facts.id).unwrap_or_default();
                open_work(facts, labour, as_of)
            };
            facts.iter().map(of).collect::<Vec<_>>()
        });
        depots.extend(computed.await.map_err(Problem::internal)?);
        shelves.catalogue.extend(parts);
    }
    let part_ids: Vec<Uuid> = shelves.catalogue.parts.keys().copied().collect();
    shelves.on_hand = who
        .read(async |tx| stock::on_hand(tx, &part_ids).await)
        .await?;
    let asked = Asked {
        until: until.map(|Until(day)| day),
        minutes: minutes.map(|Minutes(minutes)| minutes),
    };
    let plan = web::block(move || fix_first(&depots, &shelves, asked, as_of));
    let plan = plan.await.map_err(Problem::internal)?;
    plan.map_err(|fault| wrong(field, format!("asks for too much: {}", fault.problem)))
}
