//! Small tables from bytes: every byte is a choice, so that damage to an input is another table and never a refusal.

/// Hands out choices; when the bytes are used up, always the first.
pub struct Choices<'a> {
    bytes: std::slice::Iter<'a, u8>,
}

/// Numbers that arithmetic stumbles over.
const ODD: [f64; 20] = [
    0.0,
    -0.0,
    1.0,
    -1.0,
    0.5,
    1e9,
    -1e9,
    1e150,
    -1e150,
    1e-150,
    f64::MAX,
    f64::MIN_POSITIVE,
    f64::EPSILON,
    1e300,
    -1e300,
    5e-324,
    f64::NAN,
    f64::INFINITY,
    f64::NEG_INFINITY,
    1e16,
];

impl<'a> Choices<'a> {
    pub fn of(bytes: &'a [u8]) -> Self {
        Self { bytes: bytes.iter() }
    }

    pub fn is_over(&self) -> bool {
        self.bytes.len() == 0
    }

    pub fn byte(&mut self) -> u8 {
        self.bytes.next().copied().unwrap_or(0)
    }

    /// A number below `limit`.
    pub fn below(&mut self, limit: usize) -> usize {
        usize::from(self.byte()) % limit.max(1)
    }

    /// One of several names.
    pub fn name(&mut self, names: &[&str]) -> String {
        names[self.below(names.len())].to_owned()
    }

    /// One of several names, or nothing for one choice in eight.
    pub fn name_or_none(&mut self, names: &[&str]) -> Option<String> {
        let choice = self.byte();
        (choice % 8 != 7).then(|| names[usize::from(choice / 8) % names.len()].to_owned())
    }

    /// Mostly a number from 0 to `most`; one in sixteen is missing, one in sixteen an odd one.
    pub fn number(&mut self, most: f64) -> Option<f64> {
        match self.byte() {
            choice if choice < 16 => None,
            choice if choice < 32 => Some(ODD[self.below(ODD.len())]),
            _ => Some(most * f64::from(self.byte()) / 255.0),
        }
    }
}
