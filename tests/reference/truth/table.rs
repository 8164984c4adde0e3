//! A case as a table: what was foretold and what happened.

use rimeyard_rules::unit::parts::Advice;

use super::bands::{self, Coverage};
use super::depot::Case;
use super::judge::{Advised, Judged, Kind, Quantile};
use super::spares::{LEVELS, Stocked};

/// How to read it.
pub const LEGEND: &str = "\
Of each tenth of forecast chance: the mean foretold > the share that happened; ! where that is outside the 99.9 % band.
`one a depot`: one forecast by lot of each depot and its winter, binomial bands. `whole fleets`: all forecasts, bootstrap
over depots. Skill: Brier, over who foretells the same of all; `populations`: who has seen what the model has and knows
what is drawn from, `rates`: who knows each fleet's own rates too.";

pub fn print(case: &Case, judged: &Judged) {
    let depots = judged
        .forecasts
        .iter()
        .filter(|one| one.alone && one.kind == Kind::Depot);
    println!("\n=== {} ({} depots)", case.name, depots.count());
    for kind in Kind::ALL {
        print_kind(judged, kind);
    }
    print_quantiles(judged);
    print_stocks(judged);
    print_advice(judged, false);
    print_advice(judged, true);
    print_bends(judged);
}

fn mark(holds: bool) -> &'static str {
    if holds { "" } else { "!" }
}

fn percent(share: f64) -> f64 {
    100.0 * share
}

fn print_kind(judged: &Judged, kind: Kind) {
    let skill = bands::skill(judged, kind);
    println!("{}: {} forecasts", kind.title(), skill.count);
    let tenths = bands::tenths(judged, kind).into_iter().map(|tenth| {
        format!(
            "{:.2}>{:.2}{}",
            tenth.foretold,
            tenth.share(),
            mark(tenth.holds())
        )
    });
    println!(
        "    one a depot   {}",
        tenths.collect::<Vec<_>>().join("  ")
    );
    let wholes = bands::wholes(judged, kind).into_iter().map(|whole| {
        format!(
            "{:.2}>{:.2}{}",
            whole.foretold,
            whole.foretold + whole.off,
            mark(whole.holds())
        )
    });
    println!(
        "    whole fleets  {}",
        wholes.collect::<Vec<_>>().join("  ")
    );
    print!("    skill {:.3}", skill.own);
    if skill.populations.is_finite() {
        print!(
            "; populations {:.3}, of which {:.1} %",
            skill.populations,
            percent(skill.share())
        );
    }
    if skill.rates.is_finite() {
        print!("; rates {:.3}", skill.rates);
    }
    println!();
}

fn print_quantiles(judged: &Judged) {
    for of in Quantile::ALL {
        let coverage = bands::coverage(judged, of);
        let under = Coverage::CHANCES
            .into_iter()
            .zip(coverage.under)
            .zip(coverage.of_all);
        let under = under.map(|((chance, under), of_all)| {
            let share = f64::from(under as u32) / coverage.count as f64;
            format!(
                "p{:.0} {:.1} ({:.1})",
                percent(chance),
                percent(share),
                percent(of_all)
            )
        });
        println!(
            "{}: at or under {} %{}, one a depot (all)",
            of.title(),
            under.collect::<Vec<_>>().join(", "),
            mark(coverage.holds())
        );
    }
}

fn print_stocks(judged: &Judged) {
    for (fasteners, title) in [(false, "friction rings"), (true, "shear fasteners")] {
        let levels = LEVELS.into_iter().enumerate().map(|(level, service)| {
            let stocks = judged.stocked.iter();
            let of = stocks.filter(|one| one.fasteners == fasteners && one.level == level);
            let share = |enough: fn(&&Stocked) -> bool| {
                percent(of.clone().filter(enough).count() as f64 / of.clone().count() as f64)
            };
            format!(
                "{:.0} %: {:.1}, one fewer {:.1}, winters apart {:.1}",
                percent(service),
                share(|one| one.enough),
                share(|one| one.less_enough),
                share(|one| one.enough_apart)
            )
        });
        println!(
            "stock of {title} enough, asked for {}",
            levels.collect::<Vec<_>>().join("; ")
        );
    }
}

fn print_advice(judged: &Judged, bad: bool) {
    let of: Vec<&Advised> = judged.advised.iter().filter(|one| one.bad == bad).collect();
    if of.is_empty() {
        return;
    }
    println!(
        "advice{}: share of the parts; of these lasted the storm, this season, the next",
        if bad { " in the bad depots" } else { "" }
    );
    for advice in [
        Advice::RenewNow,
        Advice::OrderThePart,
        Advice::RenewAfterTheSeason,
        Advice::Leave,
    ] {
        let advised: Vec<&&Advised> = of.iter().filter(|one| one.advice == advice).collect();
        let share = |lasted: fn(&&&&Advised) -> bool| {
            percent(advised.iter().filter(lasted).count() as f64 / advised.len() as f64)
        };
        println!(
            "    {:<24} {:>5.1} %: {:.1}, {:.1}, {:.1} %",
            advice.words(),
            percent(advised.len() as f64 / of.len() as f64),
            share(|one| one.lasted.storm),
            share(|one| one.lasted.season),
            share(|one| one.lasted.next_season)
        );
    }
}

fn print_bends(judged: &Judged) {
    let bends = bands::bends(judged);
    println!(
        "readings said to bend: {:.2} % of the {:.0} % of parts read at four ages or more; of the parts that gave up this \
         season against a chance of 0.8 or more to last it, {:.0} % were",
        percent(bends.flagged),
        percent(bends.readable),
        percent(bends.of_surprises)
    );
}
