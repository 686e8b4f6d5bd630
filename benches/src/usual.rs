//! What R takes for the same work on the machine of the tables: `measured/usual.csv`, written by `benches/compare.sh --usual` (`usual/fits.R`).

/// Measured: case, strips, software, seconds.
const MEASURED: &str = include_str!("../measured/usual.csv");

/// One measurement of another environment.
#[derive(Debug, Clone, PartialEq)]
pub struct Usual {
    /// Software and call.
    pub software: String,
    /// Seconds.
    pub seconds: f64,
}

/// What was measured of a case at a number of strips; empty where nothing was.
pub fn of(case: &str, strips: usize) -> Vec<Usual> {
    let line = |line: &str| {
        let cells: Vec<&str> = line.split(',').collect();
        let [of_case, of_strips, software, seconds] = cells.as_slice() else { return None };
        (*of_case == case && of_strips.parse() == Ok(strips))
            .then_some(Usual { software: (*software).to_owned(), seconds: seconds.parse().ok()? })
    };
    MEASURED.lines().filter_map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_case_was_measured_at_two_sizes_and_the_fit_at_three() {
        for case in ["fit", "satterthwaite", "kenward_roger", "refits", "binomial"] {
            for strips in [240, 2400] {
                let usual = of(case, strips);
                assert!(!usual.is_empty() && usual.iter().all(|usual| usual.seconds > 0.0), "{case}, {strips} strips");
            }
        }
        assert_eq!(of("fit", 24000).len(), 1);
        assert_eq!(of("fit", 1), []);
    }
}
