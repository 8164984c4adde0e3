//! A wet lead-acid battery (section 1 of the computation): charge and freezing point from its acid's gravity.
//!
//! Freezing goes by gravity, never by per cent: a widely copied web table by per cent is 19 to 25 degF too hopeful.

/// Temperature that gravities are stated at: 80 degF, in degC.
const REFERENCE_C: f64 = 80.0 / 1.8 - 32.0 / 1.8;

/// Correction of gravity: 0.004 per 10 degF, a degC (TM 5-3820-256-24-4; its example 1.250 at 20 degF is 1.226).
const CORRECTION_PER_C: f64 = 0.000_72;

/// Gravity and freezing point, degF (U.S. Army: TM 5-3820-256-24-4, TM 5-1185, ordnance course OD1002); pure water
/// below, where acid ends.
const FREEZING_F: [(f64, f64); 10] = [
    (1.000, 32.0),
    (1.100, 19.0),
    (1.120, 15.0),
    (1.150, 5.0),
    (1.190, -15.0),
    (1.200, -16.0),
    (1.225, -35.0),
    (1.250, -62.0),
    (1.265, -75.0),
    (1.280, -90.0),
];

/// What the gravity of a fully charged battery is: it differs by climate and maker, and charge depends on it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FullCharge {
    /// 1.265 at 80 degF.
    Gravity1265,
    /// 1.280 at 80 degF.
    Gravity1280,
}

impl FullCharge {
    /// The basis of that gravity, if it is one of the two.
    pub fn from_gravity(gravity: f64) -> Option<Self> {
        if (gravity - 1.265).abs() < 1e-9 {
            Some(FullCharge::Gravity1265)
        } else if (gravity - 1.280).abs() < 1e-9 {
            Some(FullCharge::Gravity1280)
        } else {
            None
        }
    }

    /// Gravity and charge, flat to full: battery-trade figures in step with TM 5-3820-256-24-4 for 1.265, TM 5-1185
    /// for 1.280.
    fn charge(self) -> [(f64, f64); 5] {
        match self {
            FullCharge::Gravity1265 => [
                (1.120, 0.0),
                (1.155, 0.25),
                (1.190, 0.5),
                (1.225, 0.75),
                (1.265, 1.0),
            ],
            FullCharge::Gravity1280 => [
                (1.130, 0.0),
                (1.190, 0.25),
                (1.220, 0.5),
                (1.250, 0.75),
                (1.280, 1.0),
            ],
        }
    }

    /// Open-circuit volts at rest and gravity, flat to full: each basis with the volts published beside it
    /// (battery-trade figures for 1.265; TM 5-3805-262-20 for the Army's 1.280).
    fn volts(self) -> [(f64, f64); 5] {
        match self {
            FullCharge::Gravity1265 => [
                (11.89, 1.120),
                (12.06, 1.155),
                (12.24, 1.190),
                (12.45, 1.225),
                (12.65, 1.265),
            ],
            FullCharge::Gravity1280 => [
                (11.7, 1.130),
                (12.0, 1.190),
                (12.2, 1.220),
                (12.4, 1.250),
                (12.6, 1.280),
            ],
        }
    }
}

/// Gravity at 80 degF of a hydrometer's reading taken at `temperature_c`.
pub fn corrected_gravity(specific_gravity: f64, temperature_c: f64) -> f64 {
    specific_gravity + CORRECTION_PER_C * (temperature_c - REFERENCE_C)
}

/// Gravity of a 12 V battery that shows `volts` at rest, unloaded and without surface charge. Over full it is full;
/// under flat it falls on as it fell before, to water, since a dead battery freezes first.
pub fn gravity_from_volts(volts: f64, full: FullCharge) -> f64 {
    let table = full.volts();
    interpolate(&table, volts).clamp(1.0, table[4].1)
}

/// Charge, 0 to 1, of a battery of that corrected gravity.
pub fn charge(corrected_gravity: f64, full: FullCharge) -> f64 {
    interpolate(&full.charge(), corrected_gravity).clamp(0.0, 1.0)
}

/// Gravity that a battery of the 1.265 basis has at the same charge: limits are stated on that one.
pub fn on_the_1265_basis(corrected_gravity: f64, full: FullCharge) -> f64 {
    match full {
        FullCharge::Gravity1265 => corrected_gravity,
        FullCharge::Gravity1280 => {
            let [from, to] =
                [FullCharge::Gravity1280, FullCharge::Gravity1265].map(FullCharge::charge);
            let pairs: [(f64, f64); 5] = std::array::from_fn(|index| (from[index].0, to[index].0));
            interpolate(&pairs, corrected_gravity)
        }
    }
}

/// Where acid of that corrected gravity freezes, degC; over 1.280 as at 1.280, the last the tables say.
pub fn freezes_at_c(corrected_gravity: f64) -> f64 {
    (interpolate(&FREEZING_F, corrected_gravity.clamp(1.0, 1.280)) - 32.0) / 1.8
}

/// The line through the two neighbours of `x`, at either end drawn on.
fn interpolate(table: &[(f64, f64)], x: f64) -> f64 {
    let upper = table
        .iter()
        .position(|point| x < point.0)
        .unwrap_or(table.len() - 1)
        .max(1);
    let ((x0, y0), (x1, y1)) = (table[upper - 1], table[upper]);
    y0 + (y1 - y0) * (x - x0) / (x1 - x0)
}
