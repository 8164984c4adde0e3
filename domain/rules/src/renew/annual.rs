//! Money at different times as one equal sum a year. Costs fall at each year's end, what is paid first at the beginning
//! (end-of-period convention).

/// What repays 1 borrowed now in equal sums at the ends of so many years: i (1+i)^n / ((1+i)^n - 1), the capital recovery
/// factor (A/P, i, n). Without interest 1/n. A loan over no years is repaid at once: infinite.
pub fn capital_recovery(rate: f64, years: u32) -> f64 {
    let years = f64::from(years);
    if rate == 0.0 {
        return 1.0 / years;
    }
    rate / -f64::exp_m1(-years * rate.ln_1p())
}

/// What 1 at the end of so many years is worth now: (1+i)^-n, the present worth factor (P/F, i, n).
pub fn present_worth(rate: f64, years: u32) -> f64 {
    (-f64::from(years) * rate.ln_1p()).exp()
}

/// The equivalent annual cost of each life from 1 year to as many as there are `costs`: of what is paid `first`, the costs
/// of the years, and what is got back at the end.
pub fn annual_costs(
    first: f64,
    costs: &[f64],
    got_back: impl Fn(u32) -> f64,
    rate: f64,
) -> Vec<f64> {
    let mut spent = first;
    let lives = (1..).zip(costs).map(|(years, cost)| {
        let worth = present_worth(rate, years);
        spent += cost * worth;
        (spent - got_back(years) * worth) * capital_recovery(rate, years)
    });
    lives.collect()
}

/// The life with the least annual cost, and that cost: the economic life. The shortest of equals; `None` of none.
pub fn best(annual_costs: &[f64]) -> Option<(u32, f64)> {
    let lives = (1..).zip(annual_costs.iter().copied());
    lives.min_by(|(_, a), (_, b)| a.total_cmp(b))
}

/// What one more year costs: its costs, the interest on what the machine would have fetched before it, and what it loses.
pub fn marginal_cost(worth_before: f64, worth_after: f64, cost: f64, rate: f64) -> f64 {
    worth_before * (1.0 + rate) - worth_after + cost
}
