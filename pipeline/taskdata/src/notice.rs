//! What was noticed while reading, and did not stop it.

use std::collections::BTreeMap;

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
    /// Number of each code in the list, and where its last one stands.
    of_code: BTreeMap<&'static str, (usize, usize)>,
}

/// Notices of one code that are kept one by one. Further ones are counted in one more.
const KEPT_PER_CODE: usize = 50;

impl Notices {
    pub fn add(&mut self, code: &'static str, place: impl Into<String>, message: String, remedy: &'static str) {
        self.push(Notice { code, place: place.into(), count: 1, message, remedy });
    }

    pub fn push(&mut self, mut notice: Notice) {
        let (kept, last) = self.of_code.entry(notice.code).or_default();
        if *kept > KEPT_PER_CODE {
            if let Some(further) = self.list.get_mut(*last) {
                further.count = further.count.saturating_add(notice.count);
            }
            return;
        }
        if *kept == KEPT_PER_CODE {
            notice.place = "elsewhere".to_owned();
            notice.message = "the same was found in further places".to_owned();
        }
        (*kept, *last) = (*kept + 1, self.list.len());
        self.list.push(notice);
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
            notices.add(if line == 7 { "rare" } else { "even" }, "here", "even".to_owned(), "look");
        }
        let list = notices.into_list();
        let of = |code: &'static str| list.iter().filter(move |notice| notice.code == code);
        assert_eq!(list.len(), 2 * (KEPT_PER_CODE + 1) + 1);
        assert_eq!(of("odd").map(|notice| notice.count).sum::<u64>(), 1000);
        assert_eq!(of("even").map(|notice| notice.count).sum::<u64>(), 999);
        assert_eq!(of("odd").next_back().unwrap().place, "elsewhere");
    }
}
