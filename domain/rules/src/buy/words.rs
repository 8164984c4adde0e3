//! Why a line says what it says, for whoever keeps the store.

use jiff::civil::Date;

use super::level::Level;
use super::line::{SpareLine, years};
use super::shelf::OnHand;
use crate::because::{day, number, two_figures};
use crate::stock::quantity_of;

/// The reason of a line as of `today`.
pub(super) fn because(line: &SpareLine, level: &Level, on_hand: OnHand, today: Date) -> String {
    let mut said: Vec<String> = Vec::new();
    said.extend(by_chance(line, level));
    if level.sum.orders > 0 {
        let wanted = counted(line, level.sum.orders);
        said.push(format!("open orders want {wanted}"));
    }
    if level.in_kits > 0 {
        said.push(format!("{} in kits", counted(line, level.in_kits)));
    }
    said.push(shelf(line, on_hand));
    if line.level.on_order > 0 {
        said.push(format!("{} on order", counted(line, line.level.on_order)));
    }
    said.push(lead_time(line, today));
    format!("{}: {}", head(line), said.join("; "))
}

/// "Buy 10 (2 packs of 5)".
fn head(line: &SpareLine) -> String {
    let (order, pack) = (line.level.order, line.pack_size);
    if order == 0 {
        return "Nothing to buy".to_owned();
    }
    let quantity = counted(line, order);
    match order / pack {
        _ if pack == 1 => format!("Buy {quantity}"),
        1 => format!("Buy {quantity} (1 pack)"),
        packs => format!("Buy {quantity} ({packs} packs of {pack})"),
    }
}

/// What wears out and breaks: "of 60 fitted, 9 may not see the season out".
fn by_chance(line: &SpareLine, level: &Level) -> Option<String> {
    let sum = &level.sum;
    let may = level.by_chance;
    let until = day(line.until);
    let machines = match sum.breaking {
        1 => "1 machine".to_owned(),
        count => format!("{count} machines"),
    };
    let what = match (sum.fitted, sum.breaking) {
        (0, 0) => return None,
        (fitted, 0) => format!("of {fitted} fitted, {may} may not last to {until}"),
        (0, _) => format!("{machines} may break {may} by {until}"),
        (fitted, _) => {
            format!(
                "of {fitted} fitted and of breaks on {machines}, {may} may be needed by {until}"
            )
        }
    };
    let mean = said(level.chance_mean);
    // A winter is worth a word where it asks for more.
    let worst = level
        .chance_worst
        .map(|(winter, most)| (winter, said(most)));
    let worst = worst.filter(|(_, most)| *most != mean);
    let winter = worst.map_or(String::new(), |(winter, most)| {
        format!(", {most} in a winter like {}", years(winter))
    });
    let service = number(level.service_level * 100.0, 2);
    let stands = if line.stops {
        ", as a machine stands without it"
    } else {
        ""
    };
    let mut text = format!("{what} (mean {mean}{winter}; no more with {service} % chance{stands})");
    if sum.never_measured > 0 {
        text.push_str(&format!(
            "; {} of them never measured, so look first",
            sum.never_measured
        ));
    }
    Some(text)
}

/// "2 on hand, 1 of them past its date after 12 Jan 2026".
fn shelf(line: &SpareLine, on_hand: OnHand) -> String {
    let all = on_hand.good.saturating_add(on_hand.past);
    let there = match all {
        0 => "none on hand".to_owned(),
        all => format!("{} on hand", counted(line, all)),
    };
    let Some(from) = on_hand.past_from.map(day) else {
        return there;
    };
    match on_hand.past {
        1 if all == 1 => format!("{there}, past its date after {from}"),
        past if past == all => format!("{there}, all past their dates after {from}"),
        1 => format!("{there}, 1 of them past its date after {from}"),
        past => {
            let past = counted(line, past);
            format!("{there}, {past} of them past their dates after {from}")
        }
    }
}

/// "lead time 14 days, so order by 1 Nov 2025".
fn lead_time(line: &SpareLine, today: Date) -> String {
    let text = match line.lead_time_days {
        1 => "lead time 1 day".to_owned(),
        days => format!("lead time {days} days"),
    };
    match line.order_by.filter(|_| line.level.order > 0) {
        Some(by) if by < today => format!("{text}, so it comes after the season begins"),
        Some(by) => format!("{text}, so order by {}", day(by)),
        None => text,
    }
}

/// A mean to one decimal, or to two figures where it is under one.
fn said(mean: f64) -> String {
    if mean < 1.0 {
        two_figures(mean)
    } else {
        number(mean, 1)
    }
}

fn counted(line: &SpareLine, quantity: i64) -> String {
    quantity_of(&line.unit, quantity)
}
