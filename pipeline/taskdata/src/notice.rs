//! What was noticed while reading, and did not stop it.

/// One thing that a person should know about files that were read all the same.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Notice {
    /// Short name in snake case, the same for the same kind of thing.
    pub code: &'static str,
    /// File, and line or record where there is one.
    pub place: String,
    /// How many times.
    pub count: u64,
    /// What was found and what became of it. No full stop at the end.
    pub message: String,
    /// What to do. An imperative without a full stop.
    pub remedy: &'static str,
}

/// Notices, at most so many of one code that a damaged file cannot fill the memory with them.
#[derive(Debug, Default)]
pub(crate) struct Notices {
    list: Vec<Notice>,
}

/// Notices of one code that are kept one by one. Further ones are counted in the last.
const KEPT_PER_CODE: usize = 50;

impl Notices {
    pub fn add(&mut self, code: &'static str, place: impl Into<String>, message: String, remedy: &'static str) {
        self.push(Notice { code, place: place.into(), count: 1, message, remedy });
    }

    pub fn push(&mut self, notice: Notice) {
        // Codes are few and each is kept 50 times at most, so the list stays short and may be walked.
        let same = self.list.iter().filter(|old| old.code == notice.code).count();
        match self.list.iter_mut().rev().find(|old| old.code == notice.code) {
            Some(last) if same >= KEPT_PER_CODE => {
                if same == KEPT_PER_CODE && last.place != "elsewhere" {
                    let message = "the same was found in further places".to_owned();
                    self.list.push(Notice { place: "elsewhere".to_owned(), message, ..notice });
                } else {
                    last.count = last.count.saturating_add(notice.count);
                }
            }
            _ => self.list.push(notice),
        }
    }

    pub fn into_list(self) -> Vec<Notice> {
        self.list
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn however_many_notices_of_one_code_come_the_list_stays_short_and_counts_them_all() {
        let mut notices = Notices::default();
        for line in 0..1000 {
            notices.add("odd", format!("line {line}"), "odd".to_owned(), "look");
        }
        let list = notices.into_list();
        assert_eq!(list.len(), KEPT_PER_CODE + 1);
        assert_eq!(list.iter().map(|notice| notice.count).sum::<u64>(), 1000);
    }
}
