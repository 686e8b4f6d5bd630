//! Pieces onto pages: which size fits, where a page ends, what stands at its foot.

use crate::card_pieces::Setter;
use crate::font::{Faces, Weight};
use crate::marks::{Mark, Piece, Role};
use crate::wrap::{Wrapped, wrap};
use crate::{PaperAbout, PaperCard, Sheet};

/// Sizes of running text, in points.
const SIZES: [f32; 6] = [10.0, 9.5, 9.0, 8.5, 8.0, 7.5];
/// White on all sides: 15 mm.
const MARGIN: f32 = 42.52;
/// Size of the words at the foot, room above them, and most lines of them.
const FOOT_SIZE: f32 = 7.5;
const FOOT_GAP: f32 = 8.0;
const FOOT_LINES: usize = 6;
/// Room for the number of the page.
const NUMBER_WIDTH: f32 = 90.0;

const NO_CARDS: &str = "There are no cards to print: the review has no planter and no starting point.";

/// A page that is ready to be written.
#[derive(Debug, Clone, Default)]
pub(crate) struct Page {
    pub marks: Vec<Mark>,
    /// Which section its elements belong to.
    pub section: usize,
}

/// All pages, and for each card what its elements are.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pages {
    pub pages: Vec<Page>,
    /// One section a card: its elements in order.
    pub sections: Vec<Vec<Role>>,
}

/// Where the words of a page may stand.
struct Frame<'a> {
    faces: &'a Faces<'a>,
    width: f32,
    /// Lowest point of the words above the foot.
    bottom: f32,
    height: f32,
    foot: Vec<Wrapped>,
}

/// The pages of these cards.
pub(crate) fn pages(cards: &[PaperCard], sheet: Sheet, faces: &Faces<'_>, about: &PaperAbout) -> Pages {
    let frame = Frame::of(sheet, faces, about);
    let long_foot = frame.foot.is_empty().then_some(about.footer.as_str());
    let mut all = Pages::default();
    let sets: Vec<(Vec<Page>, Vec<Role>)> = if cards.is_empty() {
        let mut setter = frame.setter(SIZES[0]);
        let mut pieces = setter.plain(NO_CARDS);
        pieces.extend(long_foot.into_iter().flat_map(|foot| setter.plain(foot)));
        vec![(frame.flow(pieces, &setter.continued(&PaperCard::default())), setter.elements)]
    } else {
        cards.iter().map(|card| frame.card(card, long_foot)).collect()
    };
    for (section, (pages, elements)) in sets.into_iter().enumerate() {
        all.pages.extend(pages.into_iter().map(|page| Page { section, ..page }));
        all.sections.push(elements);
    }
    let count = all.pages.len();
    for (number, page) in all.pages.iter_mut().enumerate() {
        page.marks.extend(frame.foot_marks(number + 1, count));
    }
    all
}

impl<'a> Frame<'a> {
    fn of(sheet: Sheet, faces: &'a Faces<'a>, about: &PaperAbout) -> Self {
        let (sheet_width, height) = sheet.size();
        let width = sheet_width - 2.0 * MARGIN;
        let foot = wrap(&about.footer, faces.of(Weight::Regular), FOOT_SIZE, width - NUMBER_WIDTH);
        // Longer words are printed below the card, and the foot has the number alone.
        let foot = if foot.len() <= FOOT_LINES { foot } else { Vec::new() };
        let lines = foot.len().max(1) as f32;
        let bottom = height - MARGIN - lines * faces.line_height(FOOT_SIZE) - FOOT_GAP;
        Self { faces, width, bottom, height, foot }
    }

    fn setter(&self, size: f32) -> Setter<'a> {
        let room = self.bottom - MARGIN - Setter::continued_height(self.faces, size);
        Setter::new(self.faces, size, self.width, room)
    }

    /// The pages of a card in the largest size in which it fits on one; where none does, in the largest that needs no more
    /// pages than the smallest.
    fn card(&self, card: &PaperCard, long_foot: Option<&str>) -> (Vec<Page>, Vec<Role>) {
        let set = |size: f32| {
            let mut setter = self.setter(size);
            let mut pieces = setter.card(card);
            pieces.extend(long_foot.into_iter().flat_map(|foot| setter.plain(foot)));
            (self.flow(pieces, &setter.continued(card)), setter.elements)
        };
        let [largest, smallest] = [SIZES[0], SIZES[SIZES.len() - 1]];
        let whole = set(largest);
        if whole.0.len() == 1 {
            return whole;
        }
        let fewest = set(smallest).0.len();
        if whole.0.len() <= fewest {
            return whole;
        }
        SIZES.into_iter().skip(1).map(set).find(|(pages, _)| pages.len() <= fewest).unwrap_or(whole)
    }

    /// Pieces one below the other, from page to page.
    fn flow(&self, pieces: Vec<Piece>, continued: &Piece) -> Vec<Page> {
        let mut pages = vec![Page::default()];
        let mut top = MARGIN;
        let mut fresh = true;
        let mut pieces = pieces.into_iter().peekable();
        while pieces.peek().is_some() {
            let mut together = Vec::new();
            for piece in pieces.by_ref() {
                let goes_on = piece.with_next;
                together.push(piece);
                if !goes_on {
                    break;
                }
            }
            let height: f32 = together.iter().map(|piece| piece.height).sum();
            let fits_a_page = height <= self.bottom - MARGIN - continued.height;
            // What fits on no page is broken between its pieces, beginning here.
            let chunks =
                if fits_a_page { vec![together] } else { together.into_iter().map(|piece| vec![piece]).collect() };
            for chunk in chunks {
                let height: f32 = chunk.iter().map(|piece| piece.height).sum();
                let empty = chunk.iter().all(|piece| piece.marks.is_empty());
                if top + height > self.bottom && !fresh {
                    if empty {
                        // Room between two things is not carried over to the next page.
                        continue;
                    }
                    pages.push(Page::default());
                    top = MARGIN;
                    if let Some(page) = pages.last_mut() {
                        page.marks.extend(continued.clone().moved(MARGIN, top).marks);
                    }
                    top += continued.height;
                }
                for piece in chunk {
                    let height = piece.height;
                    fresh &= piece.marks.is_empty();
                    if let Some(page) = pages.last_mut() {
                        page.marks.extend(piece.moved(MARGIN, top).marks);
                    }
                    top += height;
                }
            }
        }
        pages
    }

    /// The words at the foot and the number of the page.
    fn foot_marks(&self, number: usize, count: usize) -> Vec<Mark> {
        let top = self.bottom + FOOT_GAP;
        let mut marks: Vec<Mark> = Piece::rule(self.width).moved(MARGIN, top - FOOT_GAP / 3.0).marks;
        let line = |text: String| Piece::line(text, Weight::Regular, FOOT_SIZE, self.faces, None);
        let foot = Piece::stacked(self.foot.iter().map(|part| line(part.text.clone())));
        marks.extend(foot.moved(MARGIN, top).marks);
        let text = format!("page {number} of {count}");
        let wide = self.faces.of(Weight::Regular).width(&text, FOOT_SIZE);
        marks.extend(line(text).moved(MARGIN + self.width - wide, top).marks);
        debug_assert!(top + self.faces.line_height(FOOT_SIZE) <= self.height);
        marks
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::marks::{Shape, TextLine, What};
    use crate::{Evidence, Fonts, PaperAnswer, PaperGauge, PaperLine};

    fn faces() -> Faces<'static> {
        Faces::read(Fonts {
            regular: include_bytes!("../../report/fonts/NotoSans-subset.ttf"),
            bold: include_bytes!("../../report/fonts/NotoSans-Bold-subset.ttf"),
        })
        .unwrap()
    }

    fn lines(page: &Page) -> Vec<&TextLine> {
        page.marks
            .iter()
            .filter_map(|mark| match &mark.what {
                What::Text(line) => Some(line),
                What::Shape(_) => None,
            })
            .collect()
    }

    /// Every corner and end of the shapes of a page.
    fn ends(page: &Page) -> Vec<(f32, f32)> {
        let of = |mark: &Mark| match &mark.what {
            What::Shape(Shape::Line { from, to, .. }) => vec![*from, *to],
            What::Shape(Shape::Area { corners, .. }) => corners.clone(),
            What::Shape(Shape::Circle { middle: (x, y), radius }) => {
                vec![(x - radius, y - radius), (x + radius, y + radius)]
            }
            What::Text(_) => Vec::new(),
        };
        page.marks.iter().flat_map(of).collect()
    }

    /// Whether a shape other than the box around a notice covers a line of text.
    fn covers(shape: &Shape, line: &TextLine) -> bool {
        let Shape::Area { corners, ink: crate::marks::Ink::Filled | crate::marks::Ink::Grey } = shape else {
            return false;
        };
        let xs = || corners.iter().map(|corner| corner.0);
        let ys = || corners.iter().map(|corner| corner.1);
        let (left, right) = (xs().fold(f32::MAX, f32::min), xs().fold(f32::MIN, f32::max));
        let (top, bottom) = (ys().fold(f32::MAX, f32::min), ys().fold(f32::MIN, f32::max));
        left < line.x + line.width - 0.01
            && right > line.x + 0.01
            && top < line.baseline
            && bottom > line.top + line.size * 0.3
    }

    fn check(cards: &[PaperCard], sheet: Sheet, about: &PaperAbout) {
        let faces = faces();
        let (width, height) = sheet.size();
        for page in pages(cards, sheet, &faces, about).pages {
            let lines = lines(&page);
            for (number, one) in lines.iter().enumerate() {
                assert!(one.size >= 7.5, "{one:?}");
                // The box holds the letters: as high as the font says, with their feet where it says.
                assert!(one.height >= faces.line_height(one.size) - 0.01, "{one:?}");
                assert!((one.baseline - one.top - faces.ascent(one.size)).abs() < 0.01, "{one:?}");
                assert!(
                    one.x >= MARGIN - 0.01 && one.x + one.width <= width - MARGIN + 0.01,
                    "beside the paper: {one:?}"
                );
                assert!(one.top >= MARGIN - 0.01 && one.top + one.height <= height - MARGIN + 0.01, "{one:?}");
                for other in &lines[number + 1..] {
                    let apart = one.x + one.width <= other.x + 0.01
                        || other.x + other.width <= one.x + 0.01
                        || one.top + one.height <= other.top + 0.01
                        || other.top + other.height <= one.top + 0.01;
                    assert!(apart, "{one:?}\n{other:?}");
                }
                for mark in &page.marks {
                    if let What::Shape(shape) = &mark.what {
                        assert!(!covers(shape, one), "{shape:?}\n{one:?}");
                    }
                }
            }
            for (x, y) in ends(&page) {
                assert!(
                    x >= MARGIN - 1.0 && x <= width - MARGIN + 1.0 && y >= MARGIN - 1.0 && y <= height - MARGIN,
                    "{x} {y}"
                );
            }
        }
    }

    fn text(longest: usize) -> impl Strategy<Value = String> {
        let word = prop_oneof![
            8 => "[a-zäß]{1,9}",
            1 => "[A-Z0-9]{20,120}",
            1 => "[\\u{300}-\\u{30f}北🌱\\u{ad}\\n\\t]{1,3}",
        ];
        proptest::collection::vec(word, 0..longest).prop_map(|words| words.join(" "))
    }

    fn maybe<T: std::fmt::Debug>(strategy: impl Strategy<Value = T>) -> impl Strategy<Value = Option<T>> {
        proptest::option::of(strategy)
    }

    fn number() -> impl Strategy<Value = f64> {
        prop_oneof![6 => 0.0..500.0, 1 => Just(f64::NAN), 1 => Just(f64::INFINITY), 1 => Just(-1e308), 1 => Just(100.0)]
    }

    fn gauge() -> impl Strategy<Value = PaperGauge> {
        let numbers = (number(), number(), maybe((number(), number())), maybe(number()), maybe(number()));
        (numbers, text(12), text(12), maybe(text(30)), maybe(text(6)), maybe(text(6))).prop_map(
            |(
                (low, high, as_good, start, default),
                low_label,
                high_label,
                as_good_label,
                start_label,
                default_label,
            )| {
                PaperGauge {
                    low,
                    high,
                    as_good,
                    start,
                    default,
                    low_label,
                    high_label,
                    as_good_label,
                    start_label,
                    default_label,
                }
            },
        )
    }

    fn answer() -> impl Strategy<Value = PaperAnswer> {
        let evidence = prop_oneof![Just(Evidence::Settled), Just(Evidence::Leaning), Just(Evidence::Open)];
        let line = (text(60), any::<bool>()).prop_map(|(text, bold)| PaperLine { text, bold });
        let words = proptest::collection::vec(line, 0..5);
        (text(8), evidence, text(4), maybe(text(5)), maybe(text(20)), words, maybe(gauge())).prop_map(
            |(condition, evidence, start_label, start, start_note, words, gauge)| PaperAnswer {
                condition,
                evidence,
                start_label,
                start,
                start_note,
                words,
                gauge,
            },
        )
    }

    fn card() -> impl Strategy<Value = PaperCard> {
        let list = |longest| proptest::collection::vec(text(longest), 0..6);
        let answers = proptest::collection::vec(answer(), 0..9);
        (text(3), text(200), list(40), maybe(text(400)), answers, list(80), list(80)).prop_map(
            |(kind, title, subtitle, notice, answers, check, cautions)| PaperCard {
                kind,
                title,
                subtitle,
                notice,
                answers,
                check,
                cautions,
            },
        )
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 60, failure_persistence: None, ..ProptestConfig::default() })]
        #[test]
        fn nothing_overlaps_and_nothing_leaves_the_paper(
            cards in proptest::collection::vec(card(), 0..3),
            letter in any::<bool>(),
            footer in text(300),
        ) {
            let about = PaperAbout { title: "t".into(), language: "en".into(), footer };
            check(&cards, if letter { Sheet::Letter } else { Sheet::A4 }, &about);
        }
    }

    #[test]
    fn an_answer_taller_than_a_page_is_broken_and_not_lost() {
        let long = PaperLine { text: "many words ".repeat(2_000), bold: false };
        let answer = PaperAnswer { condition: "dry".into(), words: vec![long], ..PaperAnswer::default() };
        let card = PaperCard { title: "north".into(), answers: vec![answer], ..PaperCard::default() };
        let about = PaperAbout::default();
        check(std::slice::from_ref(&card), Sheet::A4, &about);
        let faces = faces();
        let pages = pages(&[card], Sheet::A4, &faces, &about).pages;
        assert!(pages.len() > 1);
        let words = pages.iter().flat_map(lines).map(|line| line.text.matches("many").count()).sum::<usize>();
        assert_eq!(words, 2_000);
    }
}
