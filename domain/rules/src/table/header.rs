//! A header line: which separator a table uses, and what each of its columns is.

use serde::{Deserialize, Serialize};

use super::What;
use super::columns::ColumnSpec;
use super::units::Declared;
use crate::Invalid;
use crate::measure::{Quantity, Unit};

/// The most columns of a table.
pub const COLUMNS_MAX: usize = 100;
/// What is shown of a header that is not understood, in characters.
const SHOWN_MAX: usize = 60;

/// A column of a table as it was understood.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(utoipa::ToSchema), schema(as = TableColumn))]
pub struct Column {
    /// Its header, as sent.
    pub header: String,
    /// The column it is; null for one that is left out.
    pub column: Option<String>,
    /// The unit that its header declares.
    pub unit: Option<String>,
}

/// The separator of a table, told from its first line: of comma, semicolon and tab the one that stands there most
/// often outside quotes.
pub fn separator(line: &[u8]) -> u8 {
    let mut counts = [(b',', 0), (b';', 0), (b'\t', 0)];
    let mut quoted = false;
    for byte in line {
        if *byte == b'"' {
            quoted = !quoted;
        } else if !quoted && let Some((_, count)) = counts.iter_mut().find(|(it, _)| it == byte) {
            *count += 1;
        }
    }
    // Of equals the first: a table of one column has none, and a comma does no harm.
    let most = counts.iter().map(|(_, count)| *count).max().unwrap_or(0);
    let found = counts.into_iter().find(|(_, count)| *count == most);
    found.map_or(b',', |(separator, _)| separator)
}

/// What each column of a table is, from the cells of its header.
///
/// # Errors
/// Every fault, each named by the header it is about: one that is not known (unless `leave_out`: then that column is not
/// read), one given twice, a unit that is none of that column's, a unit that is missing, a column that is missing.
pub fn understand(
    what: What,
    cells: &[String],
    leave_out: bool,
) -> Result<Vec<Column>, Vec<Invalid>> {
    let mut faults = Vec::new();
    let mut columns: Vec<Column> = Vec::with_capacity(cells.len());
    for (place, cell) in cells.iter().enumerate() {
        let header: String = cell.trim().chars().take(SHOWN_MAX).collect();
        let shown = if header.is_empty() {
            format!("column {}", place + 1)
        } else {
            header.clone()
        };
        let known = find(what, cell.trim());
        let column = match known {
            None if header.is_empty() || leave_out => None,
            None => {
                let names: Vec<&str> = what.columns().iter().map(|column| column.name).collect();
                faults.push(Invalid::new(
                    shown,
                    format!(
                        "is no column of {}; known are: {}. Rename it, or say ignore_unknown=true to leave out what is not known",
                        what.word(),
                        names.join(", ")
                    ),
                ));
                None
            }
            Some((spec, unit)) => {
                if columns
                    .iter()
                    .any(|seen| seen.column.as_deref() == Some(spec.name))
                {
                    faults.push(Invalid::new(
                        shown.clone(),
                        format!("is a second column {}; leave one of them", spec.name),
                    ));
                }
                match unit_of(spec, unit) {
                    Ok(unit) => Some((spec, unit)),
                    Err(problem) => {
                        faults.push(Invalid::new(shown, problem));
                        Some((spec, None))
                    }
                }
            }
        };
        columns.push(Column {
            header,
            column: column.map(|(spec, _)| spec.name.to_owned()),
            unit: column
                .and_then(|(_, unit)| unit)
                .map(|unit| unit.symbol().to_owned()),
        });
    }
    for spec in what.columns().iter().filter(|spec| spec.required) {
        if !columns
            .iter()
            .any(|seen| seen.column.as_deref() == Some(spec.name))
        {
            faults.push(Invalid::new(
                spec.name,
                "is missing: the first line must name such a column",
            ));
        }
    }
    if faults.is_empty() {
        Ok(columns)
    } else {
        Err(faults)
    }
}

/// The unit that a column is in.
fn unit_of(spec: &ColumnSpec, declared: Option<&str>) -> Result<Option<Declared>, String> {
    let Some(text) = declared else {
        return match spec.quantity {
            // Running time is in hours wherever there is a meter.
            Some(Quantity::RunningTime) => Ok(Some(Declared::Of(Unit::Hour))),
            // And what is waited for or kept is counted in days.
            Some(Quantity::CalendarTime) => Ok(Some(Declared::Of(Unit::Day))),
            Some(quantity) => Err(format!(
                "must declare its unit, like `{} ({})`; it may be {}",
                spec.name,
                Declared::choices(quantity)
                    .split(',')
                    .next()
                    .unwrap_or_default(),
                Declared::choices(quantity)
            )),
            None => Ok(None),
        };
    };
    let unit = Declared::parse(text)
        .ok_or_else(|| format!("declares the unit {text:?}, which is not known"))?;
    match spec.quantity {
        // Of a reading's value each check says what it is.
        None if spec.name == "value" && unit != Declared::Centimetre => Ok(Some(unit)),
        None if spec.name == "value" => Err("is in cm; readings are in mm or in".to_owned()),
        None => Err(format!(
            "declares the unit {text:?}; {} has none",
            spec.name
        )),
        Some(quantity) if unit.quantity() == quantity => Ok(Some(unit)),
        Some(quantity) => Err(format!(
            "declares the unit {text:?}; it may be {}",
            Declared::choices(quantity)
        )),
    }
}

/// The column a header names, and the unit it declares: in brackets, or as its last word.
fn find(what: What, header: &str) -> Option<(&'static ColumnSpec, Option<&str>)> {
    let named = |name: &str| {
        let name = plain(name);
        what.columns()
            .iter()
            .find(|spec| plain(spec.name) == name || spec.also.contains(&name.as_str()))
    };
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let Some((name, unit)) = header
            .strip_suffix(close)
            .and_then(|rest| rest.rsplit_once(open))
        {
            return named(name).map(|spec| (spec, Some(unit.trim())));
        }
    }
    if let Some(spec) = named(header) {
        return Some((spec, None));
    }
    let (name, unit) = header.rsplit_once([' ', '_', '-'])?;
    let spec = named(name).filter(|spec| spec.quantity.is_some() || spec.name == "value")?;
    Declared::parse(unit).map(|_| (spec, Some(unit)))
}

/// A name without what people write in different ways: case, spaces, underscores, hyphens.
fn plain(name: &str) -> String {
    let words = name.split([' ', '_', '-', '\u{a0}', '\n', '\r', '\t']);
    let words: Vec<String> = words
        .filter(|word| !word.is_empty())
        .map(str::to_lowercase)
        .collect();
    words.join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn columns(what: What, header: &str) -> Result<Vec<Column>, Vec<Invalid>> {
        let cells: Vec<String> = header.split(',').map(str::to_owned).collect();
        understand(what, &cells, false)
    }

    fn names(what: What, header: &str) -> Vec<(Option<String>, Option<String>)> {
        let columns = columns(what, header).expect("understood");
        columns.into_iter().map(|it| (it.column, it.unit)).collect()
    }

    fn faults(what: What, header: &str) -> Vec<String> {
        let faults = columns(what, header).expect_err("faults");
        faults.into_iter().map(|fault| fault.field).collect()
    }

    #[test]
    fn names_are_known_however_they_are_written() {
        let some = |name: &str, unit: &str| {
            let unit = (!unit.is_empty()).then(|| unit.to_owned());
            (Some(name.to_owned()), unit)
        };
        for header in [
            "DAY,Depot,Snowfall (IN)",
            " on ,depot-name,snowfall_in",
            "Date,SITE,new  snow [inches]",
        ] {
            assert_eq!(
                names(What::Snowfall, header),
                [some("day", ""), some("depot", ""), some("snowfall", "in")],
                "{header}"
            );
        }
        assert_eq!(
            names(What::MeterReadings, "Machine,read at,Hours"),
            [some("tag", ""), some("read_at", ""), some("run_hours", "h")]
        );
        assert_eq!(
            names(What::MeterReadings, "tag,at,Running-Hours,")[3],
            (None, None)
        );
        assert_eq!(
            names(
                What::Inspections,
                "tag,at,kind,check,value (psi),temperature f"
            )[4..],
            [some("value", "psi"), some("temperature", "degF")]
        );
    }

    #[test]
    fn what_cannot_be_understood_is_named() {
        assert_eq!(faults(What::Snowfall, "day,depot,snowfall"), ["snowfall"]);
        assert_eq!(
            faults(What::Snowfall, "day,depot,snowfall (psi)"),
            ["snowfall (psi)"]
        );
        assert_eq!(faults(What::Snowfall, "day,snow (mm)"), ["depot"]);
        assert_eq!(
            faults(What::Snowfall, "day,date,depot,snow (mm),Colour"),
            ["date", "Colour"]
        );
        assert_eq!(faults(What::Units, "tag (mm),depot,model"), ["tag (mm)"]);
        let cells = ["tag", "depot", "model", "colour"].map(str::to_owned);
        let left_out = understand(What::Units, &cells, true).expect("understood");
        assert_eq!(left_out[3].column, None);
    }

    #[test]
    fn the_separator_is_what_stands_there_most() {
        for (line, separator_is) in [
            ("a,b;c,d", b','),
            ("a;b;\"c,d,e\"", b';'),
            ("a\tb", b'\t'),
            ("a", b','),
        ] {
            assert_eq!(separator(line.as_bytes()), separator_is, "{line}");
        }
    }
}
