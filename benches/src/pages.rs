//! The pages that are made from `measured/whole.csv`: the table of the README, and the page on how time and memory grow, with its plot.

use std::collections::BTreeMap;
use std::fmt::Write;

/// One line of `measured/whole.csv`.
#[derive(Debug, Clone, PartialEq)]
pub struct Measured {
    /// Telemetry rows.
    pub rows: u64,
    /// Field-seasons.
    pub fields: u64,
    /// What was timed.
    pub stage: String,
    /// Median, fastest and slowest wall time, in seconds.
    pub seconds: [f64; 3],
    /// Runs behind them.
    pub runs: u64,
    /// Largest memory, in megabytes.
    pub peak_mb: u64,
}

/// Reads the lines.
///
/// # Errors
/// A line that is not of seven numbers and a word, with its number.
pub fn read(csv: &str) -> Result<Vec<Measured>, String> {
    csv.lines()
        .enumerate()
        .skip(1)
        .map(|(number, line)| parse(line).ok_or(format!("line {}: {line}", number + 1)))
        .collect()
}

fn parse(line: &str) -> Option<Measured> {
    let cells: Vec<&str> = line.split(',').collect();
    let [rows, fields, stage, median, fastest, slowest, runs, peak] = cells.as_slice() else { return None };
    Some(Measured {
        rows: rows.parse().ok()?,
        fields: fields.parse().ok()?,
        stage: (*stage).to_owned(),
        seconds: [median.parse().ok()?, fastest.parse().ok()?, slowest.parse().ok()?],
        runs: runs.parse().ok()?,
        peak_mb: peak.parse().ok()?,
    })
}

type Stages<'a> = BTreeMap<(u64, u64), BTreeMap<&'a str, &'a Measured>>;

fn by_size(measured: &[Measured]) -> Stages<'_> {
    let mut sizes = Stages::new();
    for line in measured.iter().filter(|line| line.fields > 0) {
        sizes.entry((line.rows, line.fields)).or_default().insert(&line.stage, line);
    }
    sizes
}

/// The stages of a whole run.
const WHOLE: [&str; 3] = ["ingest", "model", "report"];

/// Every size and stage: medians, largest memory, and R and the bare scan beside them.
pub fn table(measured: &[Measured]) -> String {
    let mut text = String::from(
        "| telemetry rows | field-seasons | ingest | model | link alone | report | whole run | largest memory | run again, nothing changed | bare scan | R without charts, with |\n\
         | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n",
    );
    for ((rows, fields), stages) in by_size(measured) {
        let time = |stage: &str| stages.get(stage).map(|line| line.seconds[0]);
        let shown = |stage: &str| time(stage).map_or("-".into(), seconds);
        let whole = WHOLE.map(time).into_iter().sum::<Option<f64>>();
        let _ = writeln!(
            text,
            "| {} | {fields} | {} | {} | {} | {} | {} | {} | {} | {} | {}, {} |",
            power(rows),
            shown("ingest"),
            shown("model"),
            shown("link"),
            shown("report"),
            whole.map_or("-".into(), seconds),
            peak(&stages).map_or("-".into(), |peak| format!("{peak} MB")),
            shown("unchanged"),
            shown("scan"),
            shown("usual_plain"),
            shown("usual"),
        );
    }
    text
}

/// Largest memory of a whole run, in megabytes.
fn peak(stages: &BTreeMap<&str, &Measured>) -> Option<u64> {
    WHOLE.iter().filter_map(|stage| Some(stages.get(stage)?.peak_mb)).max()
}

/// What the README quotes: whole runs, and how they compare with R's smaller job and with a bare scan.
pub fn ratios(measured: &[Measured]) -> String {
    let mut text = String::from(
        "| telemetry rows | field-seasons | whole run | memory | R, a smaller job | whole run to R | ingest to a bare scan | run again, nothing changed |\n\
         | ---: | ---: | ---: | ---: | ---: | ---: | ---: | ---: |\n",
    );
    for ((rows, fields), stages) in by_size(measured) {
        let time = |stage: &str| stages.get(stage).map(|line| line.seconds[0]);
        let Some(whole) = WHOLE.map(time).into_iter().sum::<Option<f64>>() else { continue };
        let shown = |time: Option<f64>| time.map_or("-".into(), seconds);
        let ratio = |of: f64, to: Option<f64>| to.map_or("-".into(), |to| format!("{:.1}", of / to));
        let _ = writeln!(
            text,
            "| {} | {fields} | {} | {} MB | {} | {} | {} | {} |",
            power(rows),
            seconds(whole),
            peak(&stages).unwrap_or_default(),
            shown(time("usual")),
            ratio(whole, time("usual")),
            ratio(time("ingest").unwrap_or_default(), time("scan")),
            shown(time("unchanged")),
        );
    }
    text
}

/// Three digits, in milliseconds below a second.
fn seconds(value: f64) -> String {
    match value {
        ..1.0 => format!("{:.0} ms", value * 1e3),
        ..10.0 => format!("{value:.2} s"),
        ..100.0 => format!("{value:.1} s"),
        _ => format!("{value:.0} s"),
    }
}

fn power(rows: u64) -> String {
    let exponent = rows.checked_ilog10().unwrap_or(0);
    if 10_u64.pow(exponent) == rows { format!("10^{exponent}") } else { rows.to_string() }
}

/// Lines of the plot: stage, mark.
const LINES: [(&str, &str); 4] = [("ingest", "disc"), ("link", "ring"), ("model", "square"), ("report", "cross")];

/// Time over rows at one number of fields, and time over fields at one number of rows, both on logarithmic scales, as SVG.
pub fn plot(measured: &[Measured]) -> String {
    let sizes = by_size(measured);
    let panel = |left: f64, title: &str, points: &dyn Fn(&str) -> Vec<(f64, f64)>| {
        let (width, height, top) = (300.0, 260.0, 40.0);
        let all: Vec<(f64, f64)> = LINES.iter().flat_map(|(stage, _)| points(stage)).collect();
        let range = |pick: fn(&(f64, f64)) -> f64| {
            let low = all.iter().map(pick).fold(f64::MAX, f64::min).log10().floor();
            let high = all.iter().map(pick).fold(f64::MIN, f64::max).log10().ceil();
            (low, high.max(low + 1.0))
        };
        let ((x0, x1), (y0, y1)) = (range(|point| point.0), range(|point| point.1));
        let x = |value: f64| left + width * (value.log10() - x0) / (x1 - x0);
        let y = |value: f64| top + height * (1.0 - (value.log10() - y0) / (y1 - y0));
        let mut svg = format!("<text x=\"{}\" y=\"20\" text-anchor=\"middle\">{title}</text>\n", left + width / 2.0);
        for decade in x0 as i32..=x1 as i32 {
            let at = x(10_f64.powi(decade));
            let _ = writeln!(
                svg,
                "<path d=\"M{at:.1} {top}V{}\" stroke=\"#ccc\"/><text x=\"{at:.1}\" y=\"{}\" text-anchor=\"middle\">10<tspan dy=\"-5\" font-size=\"9\">{decade}</tspan></text>",
                top + height,
                top + height + 18.0
            );
        }
        for decade in y0 as i32..=y1 as i32 {
            let at = y(10_f64.powi(decade));
            let label = if decade < 0 {
                format!("{} ms", 10_i64.pow((decade + 3).max(0) as u32))
            } else {
                format!("{} s", 10_i64.pow(decade as u32))
            };
            let _ = writeln!(
                svg,
                "<path d=\"M{left} {at:.1}H{}\" stroke=\"#ccc\"/><text x=\"{}\" y=\"{:.1}\" text-anchor=\"end\">{label}</text>",
                left + width,
                left - 6.0,
                at + 4.0
            );
        }
        for (stage, mark) in LINES {
            let points = points(stage);
            let path: Vec<String> =
                points.iter().map(|(at, value)| format!("{:.1},{:.1}", x(*at), y(*value))).collect();
            if path.is_empty() {
                continue;
            }
            let _ = writeln!(svg, "<polyline points=\"{}\" fill=\"none\" stroke=\"black\"/>", path.join(" "));
            points.iter().for_each(|(at, value)| svg.push_str(&marker(mark, x(*at), y(*value))));
        }
        svg
    };
    let most = |pick: fn(&(u64, u64)) -> u64, of: fn(&(u64, u64)) -> u64| {
        // The number that most sizes share, the larger one of equals.
        let mut counts: BTreeMap<u64, usize> = BTreeMap::new();
        sizes.keys().for_each(|size| *counts.entry(pick(size)).or_default() += 1);
        let common = counts.iter().max_by_key(|(value, count)| (**count, **value)).map_or(0, |(value, _)| *value);
        let same: Vec<(u64, u64)> = sizes.keys().filter(|size| pick(size) == common).copied().collect();
        (common, same.into_iter().map(|size| (of(&size) as f64, size)).collect::<Vec<_>>())
    };
    let (fields, over_rows) = most(|size| size.1, |size| size.0);
    let (rows, over_fields) = most(|size| size.0, |size| size.1);
    let line = |along: &[(f64, (u64, u64))], stage: &str| -> Vec<(f64, f64)> {
        along.iter().filter_map(|(at, size)| Some((*at, sizes[size].get(stage)?.seconds[0].max(1e-3)))).collect()
    };
    let mut svg = String::from(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 780 370\" font-family=\"sans-serif\" font-size=\"12\">\n<rect width=\"780\" height=\"370\" fill=\"white\"/>\n",
    );
    svg.push_str(&panel(70.0, &format!("over telemetry rows, {fields} field-seasons"), &|stage| {
        line(&over_rows, stage)
    }));
    svg.push_str(&panel(455.0, &format!("over field-seasons, {} rows", power(rows)), &|stage| {
        line(&over_fields, stage)
    }));
    for (number, (stage, mark)) in LINES.into_iter().enumerate() {
        let x = 200.0 + 110.0 * number as f64;
        svg.push_str(&marker(mark, x, 350.0));
        let _ = writeln!(svg, "<text x=\"{}\" y=\"354\">{stage}</text>", x + 10.0);
    }
    svg + "</svg>\n"
}

fn marker(mark: &str, x: f64, y: f64) -> String {
    match mark {
        "disc" => format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\"/>\n"),
        "ring" => format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"white\" stroke=\"black\"/>\n"),
        "square" => format!("<rect x=\"{:.1}\" y=\"{:.1}\" width=\"8\" height=\"8\"/>\n", x - 4.0, y - 4.0),
        _ => {
            format!("<path d=\"M{:.1} {:.1}l8 8m0 -8l-8 8\" stroke=\"black\" stroke-width=\"2\"/>\n", x - 4.0, y - 4.0)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_line_is_read_and_a_wrong_one_named() {
        let csv = "rows,fields,stage,median_s,fastest_s,slowest_s,runs,peak_mb\n1000000,10,ingest,1.5,1.25,2.0,5,140\n";
        let read = read(csv).expect("a line that is right");
        assert_eq!((read[0].rows, read[0].seconds, read[0].peak_mb), (1_000_000, [1.5, 1.25, 2.0], 140));
        assert!(table(&read).contains("| 10^6 | 10 | 1.50 s | - | - |"), "{}", table(&read));
        assert_eq!(ratios(&read).lines().count(), 2, "a run that lacks stages is not quoted");
        let whole = super::read(&format!(
            "{csv}1000000,10,model,2,2,2,5,90\n1000000,10,report,0.5,0.5,0.5,5,150\n1000000,10,usual,8,8,8,3,300\n"
        ));
        let ratios = ratios(&whole.expect("lines that are right"));
        assert!(ratios.contains("| 10^6 | 10 | 4.00 s | 150 MB | 8.00 s | 0.5 | - | - |"), "{ratios}");
        assert_eq!(super::read(&format!("{csv}1,2\n")), Err("line 3: 1,2".into()));
    }
}
