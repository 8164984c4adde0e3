//! The columns of each table: what they are called, also called, and measured in.

use super::What;
use crate::measure::Quantity;

/// One column.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ColumnSpec {
    /// Its name; exports write it so.
    pub name: &'static str,
    /// What people also call it.
    pub also: &'static [&'static str],
    /// What it measures, where it does.
    pub quantity: Option<Quantity>,
    /// Whether a table must have it.
    pub required: bool,
}

const fn column(name: &'static str, also: &'static [&'static str]) -> ColumnSpec {
    ColumnSpec {
        name,
        also,
        quantity: None,
        required: false,
    }
}

const fn required(name: &'static str, also: &'static [&'static str]) -> ColumnSpec {
    ColumnSpec {
        required: true,
        ..column(name, also)
    }
}

const fn measured(
    name: &'static str,
    also: &'static [&'static str],
    quantity: Quantity,
) -> ColumnSpec {
    ColumnSpec {
        quantity: Some(quantity),
        ..column(name, also)
    }
}

const TAG: ColumnSpec = required("tag", &["machine", "machine tag", "unit tag"]);
const DEPOT: ColumnSpec = required("depot", &["site", "depot name", "depot id"]);
const RUN_HOURS: ColumnSpec = measured(
    "run_hours",
    &["hours", "running hours", "hour meter"],
    Quantity::RunningTime,
);
const NOTE: ColumnSpec = column("note", &["notes", "remark", "remarks"]);

const UNITS: &[ColumnSpec] = &[
    TAG,
    DEPOT,
    required("model", &["model name"]),
    column("rigging", &["rigged for"]),
    column("away", &["away at"]),
    column("acquired_on", &["acquired"]),
    column("came_new", &["new"]),
];

const INSPECTIONS: &[ColumnSpec] = &[
    TAG,
    required(
        "performed_at",
        &["performed", "inspected", "inspected at", "at", "date"],
    ),
    required("kind", &[]),
    RUN_HOURS,
    required("check", &["check title"]),
    column("value", &["reading"]),
    column("unit", &["units", "unit of measure"]),
    column("grade", &[]),
    column("works", &[]),
    column("level", &[]),
    measured("temperature", &["temp"], Quantity::Temperature),
    column("full_charge", &[]),
    column("repeats", &[]),
    NOTE,
    column("inspection_note", &["inspection notes"]),
];

const METER_READINGS: &[ColumnSpec] = &[
    TAG,
    required("read_at", &["read", "at", "date"]),
    RUN_HOURS,
    column("estimated", &["estimate"]),
    column("meter_replaced", &["replaced"]),
    column("started", &["start", "starts"]),
    NOTE,
];

const SNOWFALL: &[ColumnSpec] = &[
    DEPOT,
    required("day", &["on", "date"]),
    ColumnSpec {
        required: true,
        ..measured("snowfall", &["new snow", "snow"], Quantity::Length)
    },
];

const PARTS: &[ColumnSpec] = &[
    required("number", &["part number"]),
    required("name", &["part", "part name"]),
    column("title", &["description"]),
    column("unit", &["counted in", "unit of count"]),
    column("pack_size", &["pack"]),
    ColumnSpec {
        required: true,
        ..measured("lead_time", &[], Quantity::CalendarTime)
    },
    column("price_minor", &[]),
    column("currency", &[]),
    measured("shelf_life", &[], Quantity::CalendarTime),
];

const STOCK: &[ColumnSpec] = &[
    DEPOT,
    required("part", &["part number", "number", "part name"]),
    column("move", &["movement"]),
    required("quantity", &["qty", "count", "on hand"]),
    column("lot", &["lot code"]),
    column("made_on", &["made"]),
    required("happened_at", &["at", "date", "counted at"]),
    column("to_depot", &["to"]),
    column("reason", &["note", "notes", "remark", "remarks"]),
];

impl What {
    /// The columns such a table may have, in the order of exports.
    pub fn columns(self) -> &'static [ColumnSpec] {
        match self {
            What::Units => UNITS,
            What::Inspections => INSPECTIONS,
            What::MeterReadings => METER_READINGS,
            What::Snowfall => SNOWFALL,
            What::Parts => PARTS,
            What::Stock => STOCK,
        }
    }
}
