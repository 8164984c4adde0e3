//! Reasons in words: short sentences in the trade's terms, with the numbers a technician can check. Dates rather than
//! "days ago", so that a text changes only when the facts do.

/// A number for reading: at most so many decimals, no trailing zeros, no negative zero.
pub fn number(value: f64, decimals: usize) -> String {
    let mut text = format!("{value:.decimals$}");
    if text.contains('.') {
        let kept = text.trim_end_matches('0').trim_end_matches('.').len();
        text.truncate(kept);
    }
    if text == "-0" { "0".to_owned() } else { text }
}
