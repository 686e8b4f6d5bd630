//! Plants of a strip by the interval between two inspections in which they came up.

/// Counts of one place: hours from planting, cumulative plants, seeds where they are known.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Place {
    pub hours: Vec<f64>,
    pub plants: Vec<i64>,
    pub seeds: Option<f64>,
}

/// Individuals that came up in `(left, right]`, hours from planting; `right` is infinite for seeds not up at the last inspection.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Came {
    pub left: f64,
    pub right: f64,
    pub count: u64,
}

/// What all places of a strip showed.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct CourseCounts {
    /// Rows of each place, in order of time.
    pub places: Vec<Vec<Came>>,
    /// The rows of all places; intervals that several places share are one row, which changes no likelihood and is quicker.
    pub pooled: Vec<Came>,
    /// Whether the seeds of every place are known.
    pub seeds_known: bool,
}

impl CourseCounts {
    /// Reads the counts of all places. Where the seeds of a place are not known, only the plants that came up are used.
    ///
    /// # Errors
    /// In words: a count that is negative, falls, or was taken before planting.
    pub fn new(places: &[Place]) -> Result<Self, &'static str> {
        let seeds_known = places.iter().all(|place| place.seeds.is_some());
        let places = places.iter().map(|place| rows(place, seeds_known)).collect::<Result<Vec<_>, _>>()?;
        let mut all: Vec<Came> = places.iter().flatten().copied().collect();
        all.sort_by(|a, b| a.left.total_cmp(&b.left).then(a.right.total_cmp(&b.right)));
        let mut pooled: Vec<Came> = Vec::new();
        for row in all {
            match pooled.last_mut() {
                Some(last) if last.left == row.left && last.right == row.right => last.count += row.count,
                _ => pooled.push(row),
            }
        }
        Ok(Self { places, pooled, seeds_known })
    }

    /// Hours from planting at which the first plants were seen.
    pub fn first_seen_h(&self) -> Option<f64> {
        let seen = self.pooled.iter().filter(|row| row.count > 0 && row.right.is_finite());
        seen.map(|row| row.right).min_by(f64::total_cmp)
    }

    /// Left ends, right ends and counts on a clock that starts `lag` hours after planting; rows that then say nothing are left out.
    /// None where plants had come up before the clock starts.
    pub fn after(&self, lag: f64) -> Option<(Vec<f64>, Vec<f64>, Vec<u64>)> {
        let (mut left, mut right, mut counts) = (Vec::new(), Vec::new(), Vec::new());
        for row in &self.pooled {
            if row.right <= lag {
                if row.count > 0 {
                    return None;
                }
            } else if row.left > lag || row.right.is_finite() {
                left.push((row.left - lag).max(0.0));
                right.push(row.right - lag);
                counts.push(row.count);
            }
        }
        Some((left, right, counts))
    }
}

fn rows(place: &Place, seeds_known: bool) -> Result<Vec<Came>, &'static str> {
    let plants = place.plants.iter().map(|count| u64::try_from(*count).ok()).collect::<Option<Vec<_>>>();
    let plants = plants.ok_or("a count is negative")?;
    let most = plants.iter().copied().max().unwrap_or(0);
    // Seeds are rate × length, so a place may show a plant more than that.
    let seeds = place.seeds.filter(|_| seeds_known).map_or(most, |seeds| most.max(seeds.round() as u64));
    let mut rows = Vec::new();
    let mut before = (0.0, 0);
    for (&hours, &count) in place.hours.iter().zip(&plants) {
        if count < before.1 {
            return Err("a count falls from one inspection to the next");
        }
        if hours <= before.0 {
            if count > 0 {
                return Err("plants were counted before planting");
            }
            continue;
        }
        rows.push(Came { left: before.0, right: hours, count: count - before.1 });
        before = (hours, count);
    }
    if before.0 > 0.0 && seeds > before.1 {
        rows.push(Came { left: before.0, right: f64::INFINITY, count: seeds - before.1 });
    }
    Ok(rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(hours: &[f64], plants: &[i64], seeds: Option<f64>) -> Place {
        Place { hours: hours.to_vec(), plants: plants.to_vec(), seeds }
    }

    fn came(left: f64, right: f64, count: u64) -> Came {
        Came { left, right, count }
    }

    #[test]
    fn intervals_that_places_share_are_one_row_and_others_stay_apart() {
        let counts = CourseCounts::new(&[
            place(&[10.0, 20.0], &[1, 5], Some(8.0)),
            place(&[10.0, 20.0], &[0, 3], Some(3.0)),
            place(&[10.0, 15.0], &[2, 2], Some(2.0)),
        ]);
        let counts = counts.unwrap();
        let last = came(20.0, f64::INFINITY, 3);
        assert_eq!(counts.pooled, [came(0.0, 10.0, 3), came(10.0, 15.0, 0), came(10.0, 20.0, 7), last]);
        assert_eq!(counts.first_seen_h(), Some(10.0));
        assert!(counts.seeds_known);
    }

    #[test]
    fn a_later_clock_shortens_the_interval_it_starts_in_and_never_leaves_out_a_plant() {
        let counts = CourseCounts::new(&[place(&[10.0, 20.0, 30.0], &[0, 4, 6], Some(9.0))]).unwrap();
        let (left, right, plants) = counts.after(12.0).unwrap();
        assert_eq!((left, right), (vec![0.0, 8.0, 18.0], vec![8.0, 18.0, f64::INFINITY]));
        assert_eq!(plants, [4, 2, 3]);
        assert_eq!(counts.after(20.0), None);
        // Seeds last looked at before the clock starts say nothing.
        let early = place(&[5.0], &[0], Some(7.0));
        let counts = CourseCounts::new(&[place(&[10.0, 20.0], &[0, 4], Some(4.0)), early]).unwrap();
        assert_eq!(counts.after(12.0).unwrap().2, [4]);
    }

    #[test]
    fn counts_that_cannot_be_are_refused_in_words() {
        let why = |hours: &[f64], plants: &[i64]| CourseCounts::new(&[place(hours, plants, None)]).unwrap_err();
        assert_eq!(why(&[10.0, 20.0], &[5, 4]), "a count falls from one inspection to the next");
        assert_eq!(why(&[10.0], &[-1]), "a count is negative");
        assert_eq!(why(&[-3.0, 20.0], &[2, 4]), "plants were counted before planting");
        assert!(CourseCounts::new(&[place(&[-3.0, 20.0], &[0, 4], None)]).is_ok());
    }
}
