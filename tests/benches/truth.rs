//! Whether forecasts go with what happens: fleets drawn from a known truth, also from truths that the model does not know.
//!
//! `cargo bench -p rimeyard-tests --bench truth` plays every case and prints its table, a few minutes in all; after `--` so many
//! depots a case, and a word of the names of the cases wanted: `-- 20000 batches`.

#[path = "../reference/truth/mod.rs"]
mod truth;

use truth::judge::{Play, play};
use truth::oracle::Knows;
use truth::{as_entered, cases, of_the_fleet, table};

fn main() {
    // Cargo says `--bench`, too.
    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with('-'))
        .collect();
    let depots = asked
        .iter()
        .find_map(|word| word.parse().ok())
        .unwrap_or(4000);
    let wanted = asked.iter().find(|word| word.parse::<u64>().is_err());
    println!("{}", table::LEGEND);
    for case in cases::all() {
        if wanted.is_some_and(|word| !case.name.contains(word.as_str())) {
            continue;
        }
        let print = |learn| {
            let play_of = Play {
                seed: 1,
                fleets: case.fleets(depots),
                learn,
                ask: &[Knows::Populations, Knows::Rates],
            };
            table::print(&case, &play(&case, play_of));
        };
        print(as_entered);
        if case.depots > 1 {
            println!("\nThe same fleets, what their depots teach together learned:");
            print(of_the_fleet);
        }
    }
}
