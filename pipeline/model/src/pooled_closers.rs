//! Closers under one curve, where the settings say so and nowhere else.

use std::collections::BTreeSet;

use evenstand_tables::Finding;
use evenstand_tables::rows::StripRow;

/// What pooled closers are called.
pub(crate) const ALL_CLOSERS: &str = "all";

/// The strips with one closer; `None` where they have one already.
pub(crate) fn pooled(strips: &[StripRow]) -> Option<(Vec<StripRow>, Finding)> {
    let closers: BTreeSet<&str> = strips.iter().filter_map(|strip| strip.closer.as_deref()).collect();
    if closers.len() < 2 {
        return None;
    }
    let names = closers.iter().map(|closer| closer.replace('_', " ")).collect::<Vec<_>>().join(", ");
    let finding = Finding::warning(
        "closers_pooled",
        format!("closers are pooled under one curve because the settings say so: {names}; what they do differently is in the scatter, or in the settings where these went with the closer"),
    )
    .remedy("take pool_closers out of evenstand.toml to have a curve a closer");
    let strips =
        strips.iter().map(|strip| StripRow { closer: Some(ALL_CLOSERS.to_owned()), ..strip.clone() }).collect();
    Some((strips, finding))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn strip(closer: &str) -> StripRow {
        StripRow { closer: Some(closer.into()), ..StripRow::default() }
    }

    #[test]
    fn several_closers_become_one_with_a_warning_and_one_stays_itself() {
        let (strips, finding) = pooled(&[strip("single_wheel"), strip("other")]).unwrap();
        assert!(strips.iter().all(|strip| strip.closer.as_deref() == Some(ALL_CLOSERS)));
        assert!(finding.message.contains("single wheel") && finding.message.contains("other"));
        assert!(pooled(&[strip("other"), strip("other")]).is_none());
    }
}
