//! What no part of the list may be.

use std::collections::BTreeSet;

use diesel::pg::Pg;
use diesel::prelude::*;
use diesel::sql_types::{Array, Bool, Nullable, Text, Uuid as SqlUuid};
use diesel_async::RunQueryDsl;
use uuid::Uuid;

use super::{KIT_MAX, Part, Price, QUANTITY_MAX};
use crate::schema::stock_level;
use crate::{Error, Result, Tx, fields, prepared};

/// What no part may be.
pub(super) fn check(part: &Part) -> Result<()> {
    fields::line("number", &part.number, 1..=60)?;
    fields::line("name", &part.name, 1..=200)?;
    fields::line("title", &part.title, 1..=200)?;
    fields::line("unit", &part.unit, 1..=20)?;
    fields::number("pack_size", part.pack_size.into(), 1.0..=1_000_000.0)?;
    fields::number("lead_time_days", part.lead_time_days.into(), 0.0..=1_000.0)?;
    fields::optional_number(
        "shelf_life_days",
        part.shelf_life_days.map(f64::from),
        1.0..=36_500.0,
    )?;
    if let Some(price) = &part.price {
        check_price(price, 0)?;
    }
    let Some(kit) = &part.kit else { return Ok(()) };
    fields::count("kit", kit, KIT_MAX)?;
    if kit.is_empty() {
        return Err(Error::invalid(
            "kit",
            "is empty; name what is in it, or leave it out for what is no kit",
        ));
    }
    let mut seen = BTreeSet::new();
    for (index, content) in kit.iter().enumerate() {
        quantity(&format!("kit[{index}].quantity"), content.quantity)?;
        if content.part_id == part.id || !seen.insert(content.part_id) {
            return Err(Error::invalid(
                format!("kit[{index}].part_id"),
                "is the kit itself, or named twice; name each part once",
            ));
        }
    }
    Ok(())
}

/// A price of at least so much.
pub(crate) fn check_price(price: &Price, least: i64) -> Result<()> {
    if !(least..=1_000_000_000).contains(&price.amount_minor) {
        return Err(Error::invalid(
            "price.amount_minor",
            format!(
                "must be from {least} to 1000000000; it is {}",
                price.amount_minor
            ),
        ));
    }
    let letters = price.currency.bytes().all(|byte| byte.is_ascii_uppercase());
    if price.currency.len() != 3 || !letters {
        return Err(Error::invalid(
            "price.currency",
            "must be three capital letters, as in ISO 4217: USD",
        ));
    }
    Ok(())
}

/// A quantity of at least one, in whole units of count.
pub(crate) fn quantity(field: &str, quantity: i64) -> Result<()> {
    if (1..=QUANTITY_MAX).contains(&quantity) {
        return Ok(());
    }
    Err(Error::invalid(
        field,
        format!("must be from 1 to {QUANTITY_MAX}; it is {quantity}"),
    ))
}

#[derive(QueryableByName)]
#[diesel(check_for_backend(Pg))]
struct Content {
    #[diesel(sql_type = SqlUuid)]
    id: Uuid,
    #[diesel(sql_type = Bool)]
    is_kit: bool,
    #[diesel(sql_type = Nullable<Text>)]
    within: Option<String>,
}

/// That there are the contents of these kits and that none is a kit, nor any of these in a kit. The error tells the
/// place in the list.
pub(super) async fn check_kits(
    tx: &Tx<'_>,
    parts: &[Part],
) -> std::result::Result<(), (usize, Error)> {
    let kits = || {
        parts
            .iter()
            .enumerate()
            .filter(|(_, part)| part.kit.is_some())
    };
    let contents = || kits().flat_map(|(_, part)| part.kit.iter().flatten());
    let asked: Vec<Uuid> = contents()
        .map(|content| content.part_id)
        .chain(kits().map(|(_, part)| part.id))
        .collect();
    if asked.is_empty() {
        return Ok(());
    }
    let known: Vec<Content> = prepared(
        diesel::sql_query(
            "select p.id, p.kit is not null as is_kit,
                    (select k.number from part k
                     where k.org_id = $1 and k.kit @> jsonb_build_array(jsonb_build_object('part_id', p.id))
                     limit 1) as within
             from part p where p.org_id = $1 and p.id = any($2)",
        )
        .bind::<SqlUuid, _>(tx.org_id())
        .bind::<Array<SqlUuid>, _>(&asked),
    )
    .load(&mut tx.connection())
    .await
    .map_err(|error| (0, Error::from(error)))?;
    for (place, part) in kits() {
        let itself = known.iter().find(|known| known.id == part.id);
        if let Some(kit) = itself.and_then(|known| known.within.as_ref()) {
            let problem =
                format!("cannot be given to what is in kit {kit}: no kit goes into a kit");
            return Err((place, Error::conflict("kit", problem)));
        }
        for (index, content) in part.kit.iter().flatten().enumerate() {
            let field = format!("kit[{index}].part_id");
            match known.iter().find(|known| known.id == content.part_id) {
                None => return Err((place, Error::no_such(field))),
                Some(known) if known.is_kit => {
                    let problem = "is a kit, and no kit goes into a kit; name its contents";
                    return Err((place, Error::invalid(field, problem)));
                }
                Some(_) => {}
            }
        }
    }
    Ok(())
}

/// That none of a part is on any shelf.
pub(super) async fn is_on_no_shelf(tx: &Tx<'_>, id: Uuid) -> Result<()> {
    let kept: i64 = stock_level::table
        .filter(stock_level::org_id.eq(tx.org_id()))
        .filter(stock_level::part_id.eq(id))
        .filter(stock_level::quantity.ne(0))
        .count()
        .get_result(&mut tx.connection())
        .await?;
    if kept == 0 {
        return Ok(());
    }
    Err(Error::conflict(
        "kit",
        "cannot be given to what is on a shelf: a kit is kept as its contents; count it to nothing first",
    ))
}
