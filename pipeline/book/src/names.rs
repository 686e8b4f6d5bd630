//! Names of sheets and columns.

use std::collections::BTreeSet;

use evenstand_tables::Column;

/// Longest name of a sheet, in UTF-16 units (a limit of the file format).
const LONGEST: usize = 31;

/// Names of the two sheets that are no table.
pub(crate) const ABOUT: &str = "About";
/// See [`ABOUT`].
pub(crate) const CHARTS: &str = "Charts";

/// Names of sheets for these tables: at most 31 letters, none twice in whatever case, none taken by another sheet.
pub(crate) fn of_sheets<'a>(tables: impl Iterator<Item = &'a str>) -> Vec<String> {
    // "History" is a name that spreadsheets keep for themselves.
    let mut taken: BTreeSet<String> = [ABOUT, CHARTS, "History"].map(str::to_lowercase).into();
    tables
        .map(|table| {
            let plain: String =
                table.chars().map(|letter| if "[]:*?/\\'".contains(letter) { '_' } else { letter }).collect();
            let mut name = cut(&plain, LONGEST);
            let mut copy = 2;
            while name.is_empty() || !taken.insert(name.to_lowercase()) {
                let ending = format!(" ({copy})");
                name = cut(&plain, LONGEST - ending.len()) + &ending;
                copy += 1;
            }
            name
        })
        .collect()
}

/// The text cut to so many UTF-16 units, never inside a letter.
fn cut(text: &str, most: usize) -> String {
    let mut units = 0;
    text.chars()
        .take_while(|letter| {
            units += letter.len_utf16();
            units <= most
        })
        .collect()
}

/// What the columns of a table are called above their cells. Where a class and its number would be called the same, the number
/// is called a value.
pub(crate) fn of_columns(columns: &[Column]) -> Vec<String> {
    let mut taken = BTreeSet::new();
    columns
        .iter()
        .map(|column| {
            let name = of_column(column);
            if taken.insert(name.clone()) { name } else { format!("{name}, value") }
        })
        .collect()
}

/// What a column is called by itself: its title, else its name without the unit, in words.
fn of_column(column: &Column) -> String {
    if let Some(title) = &column.title {
        return title.clone();
    }
    let ending = match column.unit.as_deref() {
        Some("N") => "_n",
        Some("kPa") => "_kpa",
        Some("m") => "_m",
        Some("m/s") => "_m_s",
        Some("degC") => "_c",
        Some("degC d") => "_cd",
        Some("mm") => "_mm",
        Some("h") => "_h",
        Some("s") => "_s",
        _ => "",
    };
    let stem = column.name.strip_suffix(ending).unwrap_or(&column.name);
    let words: Vec<&str> = stem.split('_').collect();
    let words = match words.as_slice() {
        ["n", counted @ ..] => ["number", "of"].into_iter().chain(counted.iter().copied()).collect(),
        [named @ .., "id"] if !named.is_empty() => named.to_vec(),
        _ => words,
    };
    capitalised(&words.into_iter().map(spelled_out).collect::<Vec<_>>().join(" "))
}

/// A short word of the tables, spelled out.
fn spelled_out(word: &str) -> &str {
    match word {
        "se" => "standard error",
        "sd" => "standard deviation",
        "df" => "degrees of freedom",
        "prob" => "probability of",
        "vs" => "against",
        "fit" => "(fitted)",
        "lat" => "latitude",
        "lon" => "longitude",
        "aicc" => "AICc",
        _ => word,
    }
}

/// A name with spaces.
pub(crate) fn in_words(name: &str) -> String {
    name.replace('_', " ")
}

pub(crate) fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map(|first| first.to_uppercase().chain(letters).collect()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;
    use evenstand_tables::{Group, schemas};

    #[test]
    fn names_of_sheets_are_short_and_none_stands_twice() {
        let long = "a_table_whose_name_is_longer_than_a_sheet_may_have_it";
        let names =
            of_sheets(["curves", "Curves", long, long, "about", "x/y", "🌱🌱🌱🌱🌱🌱🌱🌱🌱🌱🌱🌱🌱🌱🌱🌱"].into_iter());
        assert_eq!(names[..2], ["curves", "Curves (2)"]);
        assert_eq!(names[2], "a_table_whose_name_is_longer_th");
        assert_eq!(names[3], "a_table_whose_name_is_longe (2)");
        assert_eq!(names[4..6], ["about (2)", "x_y"]);
        assert!(names.iter().all(|name| name.encode_utf16().count() <= LONGEST), "{names:?}");
    }

    #[test]
    fn short_words_are_spelled_out() {
        let schema = evenstand_tables::schema(Group::Results, "strips").unwrap();
        let of = |name: &str| of_column(schema.column(name).unwrap());
        assert_eq!(of("n_samples"), "Number of samples");
        assert_eq!(of("strip_id"), "Strip");
        assert_eq!(of("t50_fit_se_h"), "T50 (fitted) standard error");
        assert_eq!(of("on_time_share"), "On-time share");
    }

    #[test]
    fn no_two_columns_of_a_result_table_are_called_the_same() {
        for table in schemas().iter().filter(|table| table.group == Group::Results) {
            let names = of_columns(&table.columns);
            let different: BTreeSet<_> = names.iter().collect();
            assert_eq!(names.len(), different.len(), "{}: {names:?}", table.name);
        }
    }
}
