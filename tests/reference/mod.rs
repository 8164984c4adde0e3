//! Checks against the world outside: what scipy, numpy and statsmodels answer (`expected.json`, made by `make.py` with
//! the versions pinned beside it), and published tables and worked examples, each with its source; and against fleets whose
//! truth is known because it was drawn ([`truth`]).

mod against_scipy;
mod battery_tables;
mod crew_tables;
mod drawn_fleets;
mod knapsacks;
mod lives;
mod mixed_models;
mod processor_demand;
mod real_winters;
#[cfg(feature = "python")]
mod remade;
mod stock_levels;
mod trade_limits;
mod truth;
mod weather_and_tyres;
