//! What a spade showed behind the planter: was the trench shut, and was it pressed too hard.

/// How far the trench was shut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum TrenchShut {
    /// Shut all along.
    Yes,
    /// Shut in places, or at the top only.
    Partly,
    /// Open.
    No,
}

impl TrenchShut {
    /// `yes`, `partly` or `no`.
    pub fn name(self) -> &'static str {
        match self {
            TrenchShut::Yes => "yes",
            TrenchShut::Partly => "partly",
            TrenchShut::No => "no",
        }
    }

    /// The answer that a text gives, whatever its letter case: yes, partly, no, or any way to say yes and no.
    pub fn parse(text: &str) -> Option<TrenchShut> {
        match text.trim().to_lowercase().as_str() {
            "yes" | "y" | "true" | "1" => Some(TrenchShut::Yes),
            "partly" | "partially" | "part" => Some(TrenchShut::Partly),
            "no" | "n" | "false" | "0" => Some(TrenchShut::No),
            _ => None,
        }
    }
}

/// How hard it was to open the row by hand: 1 falls open, 5 needs a tool.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct DigEffort(u8);

impl DigEffort {
    /// The effort of that grade, 1 to 5; `None` outside it.
    pub fn new(grade: u8) -> Option<DigEffort> {
        (1..=5).contains(&grade).then_some(DigEffort(grade))
    }

    /// The effort that a text gives; a spreadsheet's `4.0` is 4, and 4.5 is none.
    pub fn parse(text: &str) -> Option<DigEffort> {
        let value: f64 = text.trim().parse().ok()?;
        (1..=5_u8).find(|&grade| f64::from(grade) == value).map(DigEffort)
    }

    /// The grade, 1 to 5.
    pub fn grade(self) -> u8 {
        self.0
    }

    /// Grade 4 or 5: the row had to be forced open.
    pub fn is_hard(self) -> bool {
        self.0 >= 4
    }
}

/// One dig; what was not looked at is `None`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct DigCheck {
    /// Whether the trench was shut.
    pub trench_shut: Option<TrenchShut>,
    /// Daylight reached the seed.
    pub light_at_seed: Option<bool>,
    /// Air was left around the seed.
    pub air_gap: Option<bool>,
    /// How hard the row was to open.
    pub dig_effort: Option<DigEffort>,
}

impl DigCheck {
    /// Too little force: the trench was not wholly shut, or light reached the seed, or air was left around it.
    ///
    /// Any one of the three is enough. Without a sign of it the answer is no only where `trench_shut` says yes: a blank
    /// beside it means that nothing was seen. `None` where the trench was not judged and nothing else told against it.
    pub fn not_shut(&self) -> Option<bool> {
        let gap_seen = self.light_at_seed == Some(true) || self.air_gap == Some(true);
        match self.trench_shut {
            Some(TrenchShut::Partly | TrenchShut::No) => Some(true),
            _ if gap_seen => Some(true),
            Some(TrenchShut::Yes) => Some(false),
            None => None,
        }
    }

    /// Too much force: the row was hard to open (4 or 5) with the trench shut.
    ///
    /// No where either of the two is known to be otherwise; `None` where what is known does not decide it. A trench that
    /// is open in hard ground is not pressed too hard: the ground is hard.
    pub fn too_firm(&self) -> Option<bool> {
        match (self.dig_effort.map(DigEffort::is_hard), self.not_shut()) {
            (Some(false), _) | (_, Some(true)) => Some(false),
            (Some(true), Some(false)) => Some(true),
            (None, _) | (_, None) => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn dig(trench: Option<TrenchShut>, light: Option<bool>, air: Option<bool>, effort: Option<u8>) -> DigCheck {
        DigCheck {
            trench_shut: trench,
            light_at_seed: light,
            air_gap: air,
            dig_effort: effort.and_then(DigEffort::new),
        }
    }

    #[test]
    fn any_one_sign_says_that_it_was_not_shut() {
        let yes = Some(TrenchShut::Yes);
        assert_eq!(dig(yes, None, None, None).not_shut(), Some(false));
        assert_eq!(dig(yes, Some(false), Some(false), None).not_shut(), Some(false));
        assert_eq!(dig(yes, Some(true), None, None).not_shut(), Some(true));
        assert_eq!(dig(yes, None, Some(true), None).not_shut(), Some(true));
        assert_eq!(dig(Some(TrenchShut::Partly), None, None, None).not_shut(), Some(true));
        assert_eq!(dig(Some(TrenchShut::No), Some(false), Some(false), None).not_shut(), Some(true));
        assert_eq!(dig(None, Some(true), None, None).not_shut(), Some(true));
        assert_eq!(dig(None, Some(false), Some(false), None).not_shut(), None);
        assert_eq!(DigCheck::default().not_shut(), None);
    }

    #[test]
    fn hard_to_open_is_too_firm_only_where_the_trench_was_shut() {
        let yes = Some(TrenchShut::Yes);
        assert_eq!(dig(yes, None, None, Some(3)).too_firm(), Some(false));
        assert_eq!(dig(yes, None, None, Some(4)).too_firm(), Some(true));
        assert_eq!(dig(yes, None, None, Some(5)).too_firm(), Some(true));
        assert_eq!(dig(yes, Some(true), None, Some(5)).too_firm(), Some(false));
        assert_eq!(dig(Some(TrenchShut::No), None, None, Some(5)).too_firm(), Some(false));
        assert_eq!(dig(Some(TrenchShut::No), None, None, None).too_firm(), Some(false));
        assert_eq!(dig(None, None, None, Some(2)).too_firm(), Some(false));
        assert_eq!(dig(None, None, None, Some(5)).too_firm(), None);
        assert_eq!(dig(yes, None, None, None).too_firm(), None);
    }

    #[test]
    fn answers_are_read_as_people_write_them() {
        assert_eq!(TrenchShut::parse(" Yes "), Some(TrenchShut::Yes));
        assert_eq!(TrenchShut::parse("0"), Some(TrenchShut::No));
        assert_eq!(TrenchShut::parse("PARTLY"), Some(TrenchShut::Partly));
        assert_eq!(TrenchShut::parse("maybe"), None);
        for answer in [TrenchShut::Yes, TrenchShut::Partly, TrenchShut::No] {
            assert_eq!(TrenchShut::parse(answer.name()), Some(answer));
        }
    }

    #[test]
    fn effort_is_a_grade_from_one_to_five() {
        assert_eq!(DigEffort::parse("4").map(DigEffort::grade), Some(4));
        assert_eq!(DigEffort::parse(" 4.0 ").map(DigEffort::grade), Some(4));
        for bad in ["0", "6", "4.5", "-1", "NaN", "hard", ""] {
            assert_eq!(DigEffort::parse(bad), None, "{bad}");
        }
        assert_eq!(DigEffort::new(0), None);
        assert_eq!(DigEffort::new(6), None);
    }
}
