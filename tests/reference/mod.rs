//! Checks against the world outside: what scipy and numpy answer (`expected.json`, made by `make.py` with the versions
//! pinned beside it), and published tables and worked examples, each with its source.

mod against_scipy;
mod battery_tables;
mod knapsacks;
mod processor_demand;
#[cfg(feature = "python")]
mod remade;
mod trade_limits;
mod weather_and_tyres;
