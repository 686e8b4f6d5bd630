//! What one setting gains over another in each field-season, in a typical one, and in one not yet seen: the rows of a forest.

use evenstand_tables::rows::FieldEffectRow;

use crate::curve::CurveModel;
use crate::curve_tables::of_field_seasons;
use crate::draws::{Field, GroupDraws};
use crate::groups::GroupKey;
use crate::summary::{limits, mean};

/// Settings nearer than this share of the tested range are the same.
const SAME: f64 = 0.02;

/// Two settings held against each other.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Contrast {
    name: &'static str,
    to_n: f64,
    from_n: f64,
}

impl Contrast {
    /// The best against the default; the heaviest against the lightest where the default is the best, is not known, or was not tried.
    pub fn of(best_n: f64, default_n: Option<f64>, tested: (f64, f64)) -> Self {
        let (lightest, heaviest) = tested;
        let apart = SAME * (heaviest - lightest);
        let tried = |force: &f64| (lightest..=heaviest).contains(force);
        match default_n.filter(tried) {
            Some(default) if (best_n - default).abs() > apart => {
                Self { name: "best_default", to_n: best_n, from_n: default }
            }
            _ => Self { name: "heaviest_lightest", to_n: heaviest, from_n: lightest },
        }
    }

    /// Whether settings between `low` and `high` tell the difference, up to a tenth of it at either end.
    fn covered_by(&self, (low, high): (f64, f64)) -> bool {
        let (from, to) = (self.from_n.min(self.to_n), self.from_n.max(self.to_n));
        let slack = 0.1 * (to - from);
        low <= from + slack && high >= to - slack
    }
}

/// Rows of one group: its field-seasons in their order, then the typical one, then one not yet seen. Means and 90 % intervals of the draws.
pub(crate) fn field_effect_rows(
    key: &GroupKey,
    model: &CurveModel,
    group: usize,
    draws: &GroupDraws,
    contrast: Contrast,
) -> Vec<FieldEffectRow> {
    let row = |scope: &str, differences: &[f64]| {
        let (low, high) = limits(differences);
        FieldEffectRow {
            condition: key.condition.clone(),
            closer: key.closer.clone(),
            planter_id: key.planter(),
            response: model.response.name.clone(),
            scope: scope.to_owned(),
            contrast: contrast.name.to_owned(),
            to_n: Some(contrast.to_n),
            from_n: Some(contrast.from_n),
            difference: Some(mean(differences)),
            low: Some(low),
            high: Some(high),
            ..FieldEffectRow::default()
        }
    };
    let mut rows: Vec<FieldEffectRow> = of_field_seasons(model, group, |curve| {
        let (to, from) = (curve.at(model, contrast.to_n), curve.at(model, contrast.from_n));
        let differences: Vec<f64> = to.iter().zip(from).map(|(to, from)| to - from).collect();
        let (field_id, season) = model.observations.field_seasons[curve.field_season];
        FieldEffectRow {
            field_id: Some(field_id.to_owned()),
            season: Some(season),
            n_strips: Some(curve.strips as i64),
            covers: Some(contrast.covered_by(curve.tested)),
            ..row("field", &differences)
        }
    });
    for (scope, field) in [("typical", Field::Typical), ("new_field", Field::Unseen)] {
        let differences: Vec<f64> = (0..draws.len())
            .map(|draw| draws.response(draw, contrast.to_n, field) - draws.response(draw, contrast.from_n, field))
            .collect();
        rows.push(row(scope, &differences));
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_best_is_held_against_the_default_where_the_two_differ_and_both_were_tried() {
        let tested = (100.0, 300.0);
        assert_eq!(Contrast::of(250.0, Some(200.0), tested).name, "best_default");
        for (best, default) in [(201.0, Some(200.0)), (250.0, None), (250.0, Some(350.0))] {
            let contrast = Contrast::of(best, default, tested);
            assert_eq!((contrast.name, contrast.to_n, contrast.from_n), ("heaviest_lightest", 300.0, 100.0));
        }
    }

    #[test]
    fn a_field_season_tells_a_difference_only_where_it_tried_both_ends() {
        let contrast = Contrast::of(250.0, Some(150.0), (100.0, 300.0));
        assert!(contrast.covered_by((150.0, 250.0)) && contrast.covered_by((158.0, 241.0)));
        assert!(!contrast.covered_by((150.0, 230.0)) && !contrast.covered_by((200.0, 300.0)));
    }
}
