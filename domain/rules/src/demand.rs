//! What a storm asks of a depot (section 8 of the computation): the rate of clearing at which every duty is clear in
//! time, cycle after cycle.

/// Ground to be cleared in one storm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DutyDemand {
    /// Area, m2, at least 0.
    pub area_m2: f64,
    /// Within how many hours of each cycle's snow it must be clear, over 0.
    pub clear_within_h: f64,
}

/// What a storm asks for.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Demand {
    /// Rate at which every duty is clear in time, m2/h.
    pub needed_rate: f64,
    /// How often everything is cleared.
    pub cycles: u32,
}

/// Cycles n = ceil(depth / re-clear depth): how often everything is cleared, at most `u32::MAX`.
pub fn cycles(depth_mm: f64, reclear_mm: f64) -> u32 {
    // Without the 1e-9, 150 / (3 x 50.000...01) would be a cycle more or less: 41 % wrong (tried).
    (depth_mm / reclear_mm - 1e-9).ceil().max(0.0) as u32
}

/// The rate a storm of `storm_hours` (over 0) with `depth_mm` (at least 0) asks for where snow is cleared again at
/// `reclear_mm` (over 0).
///
/// The processor-demand criterion (Baruah, Rosier & Howell 1990): work that appears at (j - 1) tau and is owed T later
/// can be done in time, first owed first, if and only if up to no instant more is owed than can be done. The largest of
/// owed work over time is at some cycle's end of a duty.
pub fn needed_rate(
    storm_hours: f64,
    depth_mm: f64,
    reclear_mm: f64,
    duties: &[DutyDemand],
) -> Demand {
    let cycles = cycles(depth_mm, reclear_mm);
    let between = storm_hours / f64::from(cycles.max(1));
    let mut owed: Vec<(f64, f64)> = by_deadline(duties)
        .iter()
        .flat_map(|(within, area)| {
            (0..cycles).map(move |cycle| (f64::from(cycle) * between + within, *area))
        })
        .collect();
    owed.sort_unstable_by(|left, right| left.0.total_cmp(&right.0));
    // What is owed a hair after an instant counts as owed at it, as the floor with 1e-9 has it.
    let hair = 1e-9 * between;
    let mut due = 0;
    let mut area = 0.0;
    let mut needed_rate: f64 = 0.0;
    for (instant, _) in &owed {
        while due < owed.len() && owed[due].0 <= instant + hair {
            area += owed[due].1;
            due += 1;
        }
        needed_rate = needed_rate.max(area / instant);
    }
    Demand {
        needed_rate,
        cycles,
    }
}

/// Deadlines and the area owed within each, so that many like duties cost as one.
pub(crate) fn by_deadline(duties: &[DutyDemand]) -> Vec<(f64, f64)> {
    let mut sorted: Vec<(f64, f64)> = duties
        .iter()
        .map(|duty| (duty.clear_within_h, duty.area_m2))
        .collect();
    sorted.sort_unstable_by(|left, right| left.0.total_cmp(&right.0));
    sorted.dedup_by(|next, kept| {
        let same = next.0 == kept.0;
        if same {
            kept.1 += next.1;
        }
        same
    });
    sorted
}
