//! Licence expressions (SPDX): which licences a crate is taken under, when the ones in a list may be.

/// An expression, read.
#[derive(Debug, PartialEq, Eq)]
enum Expression {
    /// One licence, with its exception.
    One(String),
    /// All of them hold at once.
    All(Vec<Expression>),
    /// Any one of them may be chosen.
    Any(Vec<Expression>),
}

/// The licences that hold where every choice falls on the first of `allowed` that it can; none where no choice stays inside the list.
pub fn chosen(expression: &str, allowed: &[String]) -> Option<Vec<String>> {
    let mut licences = choose(&read(expression)?, allowed)?;
    licences.sort_by_key(|licence| place(licence, allowed));
    licences.dedup();
    Some(licences)
}

fn place(licence: &str, allowed: &[String]) -> Option<usize> {
    allowed.iter().position(|other| other == licence)
}

fn choose(expression: &Expression, allowed: &[String]) -> Option<Vec<String>> {
    match expression {
        Expression::One(licence) => place(licence, allowed).map(|_| vec![licence.clone()]),
        Expression::All(parts) => {
            let parts: Option<Vec<_>> = parts.iter().map(|part| choose(part, allowed)).collect();
            parts.map(|parts| parts.concat())
        }
        // The choice whose last licence in the list comes first.
        Expression::Any(parts) => parts
            .iter()
            .filter_map(|part| choose(part, allowed))
            .min_by_key(|licences| licences.iter().map(|licence| place(licence, allowed)).max()),
    }
}

/// Reads `A OR (B AND C)`; older crates write `/` for OR. None where it is no such expression.
fn read(text: &str) -> Option<Expression> {
    let text = text.replace('/', " OR ").replace('(', " ( ").replace(')', " ) ");
    let mut words = text.split_whitespace().peekable();
    let expression = any(&mut words)?;
    words.next().is_none().then_some(expression)
}

type Words<'a> = std::iter::Peekable<std::str::SplitWhitespace<'a>>;

fn any(words: &mut Words<'_>) -> Option<Expression> {
    let mut parts = vec![all(words)?];
    while words.next_if_eq(&"OR").is_some() {
        parts.push(all(words)?);
    }
    Some(if parts.len() == 1 { parts.remove(0) } else { Expression::Any(parts) })
}

fn all(words: &mut Words<'_>) -> Option<Expression> {
    let mut parts = vec![one(words)?];
    while words.next_if_eq(&"AND").is_some() {
        parts.push(one(words)?);
    }
    Some(if parts.len() == 1 { parts.remove(0) } else { Expression::All(parts) })
}

fn one(words: &mut Words<'_>) -> Option<Expression> {
    match words.next()? {
        "(" => {
            let inside = any(words)?;
            (words.next()? == ")").then_some(inside)
        }
        ")" | "AND" | "OR" | "WITH" => None,
        licence => Some(Expression::One(match words.next_if_eq(&"WITH") {
            Some(_) => format!("{licence} WITH {}", words.next()?),
            None => licence.to_owned(),
        })),
    }
}

#[test]
fn a_choice_falls_on_the_first_that_may_be_and_what_holds_together_is_all_named() {
    let allowed = ["Apache-2.0", "MIT", "BSD-3-Clause", "Zlib"].map(str::to_owned);
    let chosen = |text: &str| chosen(text, &allowed).map(|licences| licences.join("+"));
    assert_eq!(chosen("MIT/Apache-2.0").as_deref(), Some("Apache-2.0"));
    assert_eq!(chosen("Unlicense OR MIT").as_deref(), Some("MIT"));
    assert_eq!(chosen("(MIT OR Apache-2.0) AND BSD-3-Clause").as_deref(), Some("Apache-2.0+BSD-3-Clause"));
    assert_eq!(chosen("MIT OR Apache-2.0 AND Zlib").as_deref(), Some("MIT"));
    assert_eq!(chosen("Apache-2.0 WITH LLVM-exception OR MIT").as_deref(), Some("MIT"));
    for refused in
        ["GPL-3.0-only", "MIT AND GPL-2.0-only", "Apache-2.0 WITH LLVM-exception", "MIT OR", "(MIT", "MIT Zlib", ""]
    {
        assert_eq!(chosen(refused), None, "{refused}");
    }
}
