//! What stands on a card, as pieces that stay whole on a page.

use crate::font::{Faces, Weight};
use crate::gauge;
use crate::marks::{Ink, Mark, Piece, Role, Shape, What};
use crate::wrap::{Wrapped, shortened, wrap};
use crate::{Evidence, PaperAnswer, PaperCard, PaperGauge};

/// Words that the cards bring along.
const CHECK: &str = "Check by digging";
const CAUTIONS: &str = "Before anything is adjusted";
const CONTINUED: &str = "(continued)";
/// Share of the width that the value of an answer takes, and room between the two columns, in points.
const VALUE_SHARE: f32 = 0.34;
const BETWEEN: f32 = 14.0;

/// Sets the words of one card at one size.
pub(crate) struct Setter<'a> {
    faces: &'a Faces<'a>,
    size: f32,
    width: f32,
    /// Height of an empty page: what is taller is broken.
    room: f32,
    /// What the elements made so far are.
    pub elements: Vec<Role>,
}

impl<'a> Setter<'a> {
    /// A setter for columns of this width, with pieces no taller than `room` where they can be broken.
    pub fn new(faces: &'a Faces<'a>, size: f32, width: f32, room: f32) -> Self {
        Self { faces, size, width, room, elements: Vec::new() }
    }

    /// All pieces of a card in order.
    pub fn card(&mut self, card: &PaperCard) -> Vec<Piece> {
        let size = self.size;
        let mut pieces = self.paragraph(&card.kind, Weight::Regular, size, self.width, Role::Paragraph);
        pieces.extend(self.paragraph(&card.title, Weight::Bold, title_size(size), self.width, Role::Title));
        for line in &card.subtitle {
            pieces.extend(self.paragraph(line, Weight::Regular, size, self.width, Role::Paragraph));
        }
        if let Some(notice) = &card.notice {
            pieces.extend(self.notice(notice));
        }
        pieces.push(Piece::gap(size * 0.6));
        for answer in &card.answers {
            pieces.extend(self.answer(answer));
        }
        pieces.extend(self.closing(card));
        pieces
    }

    /// The head of a page on which a card goes on. A long title is shortened here; it stands in full on the first page.
    pub fn continued(&self, card: &PaperCard) -> Piece {
        let size = self.size * 1.2;
        let face = self.faces.of(Weight::Bold);
        let text = format!("{} {CONTINUED}", card.title.split_whitespace().collect::<Vec<_>>().join(" "));
        let lines = wrap(&text, face, size, self.width);
        let lines = if lines.len() <= 2 {
            lines
        } else {
            // The word that says so must not be what is cut.
            let mark = face.width(&format!(" {CONTINUED}"), size);
            let mut lines = shortened(lines, 2, face, size, self.width - mark);
            if let Some(last) = lines.last_mut() {
                last.text = format!("{} {CONTINUED}", last.text);
            }
            lines
        };
        let lines = lines.into_iter().map(|line| Piece::line(line.text, Weight::Bold, size, self.faces, None));
        Piece::stacked(lines.chain([Piece::gap(self.size * 0.5)]))
    }

    /// Height that [`Setter::continued`] never exceeds.
    pub fn continued_height(faces: &Faces<'_>, size: f32) -> f32 {
        2.0 * faces.line_height(size * 1.2) + size * 0.5
    }

    /// Plain paragraphs, for a page without a card.
    pub fn plain(&mut self, text: &str) -> Vec<Piece> {
        self.paragraph(text, Weight::Regular, self.size, self.width, Role::Paragraph)
    }

    fn element(&mut self, role: Role) -> usize {
        self.elements.push(role);
        self.elements.len() - 1
    }

    /// A paragraph, one piece a line. Its lines are one element of the document.
    fn paragraph(&mut self, text: &str, weight: Weight, size: f32, width: f32, role: Role) -> Vec<Piece> {
        let lines = wrap(text, self.faces.of(weight), size, width);
        if lines.is_empty() {
            return Vec::new();
        }
        let heading = role == Role::Heading;
        let element = Some(self.element(role));
        let last = lines.len() - 1;
        let piece = |(position, line): (usize, Wrapped)| {
            let piece = Piece::line(line.text, weight, size, self.faces, element);
            if position == last || line.inside_word { piece } else { piece.spaced() }
        };
        let mut pieces: Vec<Piece> = lines.into_iter().enumerate().map(piece).collect();
        for (position, piece) in pieces.iter_mut().enumerate() {
            // A heading stays with what it heads; a paragraph leaves no line of two alone.
            piece.with_next = heading || (last == 1 && position == 0);
        }
        pieces
    }

    /// A notice in a box; a long one without.
    fn notice(&mut self, notice: &str) -> Vec<Piece> {
        let size = self.size;
        let inset = size * 0.6;
        let lines = self.paragraph(notice, Weight::Bold, size, self.width - 2.0 * inset, Role::Paragraph);
        if lines.is_empty() {
            return Vec::new();
        }
        let inside = Piece::stacked(lines.iter().cloned());
        let height = inside.height + inset;
        if height > self.room / 2.0 {
            return lines;
        }
        let corners = vec![(0.0, 0.0), (self.width, 0.0), (self.width, height), (0.0, height)];
        let edge = Mark { what: What::Shape(Shape::Area { corners, ink: Ink::Edge }), element: None };
        let inside = inside.moved(inset, inset / 2.0);
        let marks = [edge].into_iter().chain(inside.marks).collect();
        vec![Piece::gap(size * 0.4), Piece { height, marks, with_next: false }]
    }

    /// An answer: the value on the left, words and scale on the right; one below the other where it is taller than a page.
    fn answer(&mut self, answer: &PaperAnswer) -> Vec<Piece> {
        let size = self.size;
        let made = self.elements.len();
        let left_width = (self.width - BETWEEN) * VALUE_SHARE;
        let right_width = self.width - BETWEEN - left_width;
        let left = Piece::stacked(self.value(answer, left_width));
        let right = Piece::stacked(self.reasons(answer, right_width));
        let row = Piece::beside(left, right, left_width + BETWEEN);
        let rule = [Piece::rule(self.width), Piece { with_next: true, ..Piece::gap(size * 0.35) }];
        let gap = Piece::gap(size * 0.6);
        if row.height + size <= self.room {
            return rule.into_iter().chain([row, gap]).collect();
        }
        self.elements.truncate(made);
        let mut pieces: Vec<Piece> = rule.into();
        pieces.extend(self.value(answer, self.width));
        pieces.extend(self.reasons(answer, self.width));
        pieces.push(gap);
        pieces
    }

    /// Condition, how sure, and the value.
    fn value(&mut self, answer: &PaperAnswer, width: f32) -> Vec<Piece> {
        let size = self.size;
        let mut pieces = self.paragraph(&answer.condition, Weight::Bold, size * 1.15, width, Role::Heading);
        pieces.push(self.evidence(answer.evidence));
        if let Some(start) = &answer.start {
            pieces.push(Piece::gap(size * 0.2));
            pieces.extend(self.paragraph(&answer.start_label, Weight::Regular, size, width, Role::Paragraph));
            pieces.extend(self.paragraph(start, Weight::Bold, size * 2.2, width, Role::Paragraph));
        }
        if let Some(note) = &answer.start_note {
            pieces.extend(self.paragraph(note, Weight::Regular, size, width, Role::Paragraph));
        }
        pieces
    }

    /// The word for how sure it is, behind its shape.
    fn evidence(&mut self, evidence: Evidence) -> Piece {
        let size = self.size;
        let element = Some(self.element(Role::Paragraph));
        let line = Piece::line(evidence.word().to_owned(), Weight::Bold, size, self.faces, element);
        let (height, radius) = (line.height, size * 0.38);
        let middle = (radius + 0.5, self.faces.ascent(size) - size * 0.34);
        let shapes = shapes(evidence, middle, radius).into_iter();
        let shapes = shapes.map(|shape| Mark { what: What::Shape(shape), element: None });
        let marks = shapes.chain(line.moved(size * 1.2, 0.0).marks).collect();
        Piece { height, marks, with_next: false }
    }

    /// Sentences and scale.
    fn reasons(&mut self, answer: &PaperAnswer, width: f32) -> Vec<Piece> {
        let size = self.size;
        let mut pieces = Vec::new();
        for line in &answer.words {
            let weight = if line.bold { Weight::Bold } else { Weight::Regular };
            let lines = self.paragraph(&line.text, weight, size, width, Role::Paragraph);
            if !lines.is_empty() {
                pieces.extend(lines);
                pieces.push(Piece::gap(size * 0.25));
            }
        }
        if let Some(gauge) = &answer.gauge {
            pieces.push(Piece::gap(size * 0.2));
            pieces.extend(self.scale(gauge, width));
        }
        pieces
    }

    fn scale(&mut self, scale: &PaperGauge, width: f32) -> Vec<Piece> {
        let made = self.elements.len();
        let (faces, size, room) = (self.faces, self.size, self.room);
        let piece = gauge::piece(scale, faces, size, width, &mut |role| self.element(role));
        match piece.filter(|piece| piece.height <= room / 2.0) {
            Some(piece) => vec![piece],
            None => {
                self.elements.truncate(made);
                let labels = gauge::labels(scale);
                let lines = labels
                    .iter()
                    .flat_map(|label| self.paragraph(label, Weight::Regular, size, width, Role::Paragraph));
                lines.collect()
            }
        }
    }

    /// What to check and what to mind, side by side where it fits.
    fn closing(&mut self, card: &PaperCard) -> Vec<Piece> {
        let made = self.elements.len();
        let rule = [Piece::rule(self.width), Piece { with_next: true, ..Piece::gap(self.size * 0.35) }];
        let both = !card.check.is_empty() && !card.cautions.is_empty();
        let half = (self.width - BETWEEN) / 2.0;
        if both {
            let check = Piece::stacked(self.list(CHECK, &card.check, true, half));
            let cautions = Piece::stacked(self.list(CAUTIONS, &card.cautions, false, half));
            let row = Piece::beside(check, cautions, half + BETWEEN);
            if row.height + self.size <= self.room {
                return rule.into_iter().chain([row]).collect();
            }
            self.elements.truncate(made);
        }
        let mut pieces = Vec::new();
        for (heading, items, ticked) in [(CHECK, &card.check, true), (CAUTIONS, &card.cautions, false)] {
            if !items.is_empty() {
                pieces.extend(rule.clone());
                pieces.extend(self.list(heading, items, ticked, self.width));
                pieces.push(Piece::gap(self.size * 0.5));
            }
        }
        pieces
    }

    /// A heading and items, each behind a box to tick or a dot.
    fn list(&mut self, heading: &str, items: &[String], ticked: bool, width: f32) -> Vec<Piece> {
        let size = self.size;
        let mut pieces = self.paragraph(heading, Weight::Bold, size, width, Role::Heading);
        let indent = size * 1.3;
        for item in items {
            let mut lines = self.paragraph(item, Weight::Regular, size, width - indent, Role::Paragraph);
            let down = self.faces.ascent(size) - size * 0.36;
            if let Some(first) = lines.first_mut() {
                let half = if ticked { size * 0.34 } else { size * 0.12 };
                let middle = half + 0.5;
                let corners = vec![
                    (middle - half - indent, down - half),
                    (middle + half - indent, down - half),
                    (middle + half - indent, down + half),
                    (middle - half - indent, down + half),
                ];
                let ink = if ticked { Ink::Edge } else { Ink::Filled };
                first.marks.insert(0, Mark { what: What::Shape(Shape::Area { corners, ink }), element: None });
            }
            pieces.extend(lines.into_iter().map(|line| line.moved(indent, 0.0)));
        }
        pieces
    }
}

/// Size of a title beside running text.
fn title_size(size: f32) -> f32 {
    size * 1.9
}

/// The shape of how sure an answer is, told apart without colour.
fn shapes(evidence: Evidence, (x, y): (f32, f32), radius: f32) -> Vec<Shape> {
    let area = |corners: Vec<(f32, f32)>, ink| Shape::Area { corners, ink };
    match evidence {
        Evidence::Settled => {
            let half = radius * 0.9;
            let corners = vec![(x - half, y - half), (x + half, y - half), (x + half, y + half), (x - half, y + half)];
            vec![area(corners, Ink::Filled)]
        }
        Evidence::Leaning => {
            let (top, bottom) = ((x, y - radius), (x, y + radius));
            let left = vec![top, (x - radius, y), bottom];
            let whole = vec![top, (x + radius, y), bottom, (x - radius, y)];
            vec![area(left, Ink::Filled), area(whole, Ink::Edge)]
        }
        Evidence::Open => vec![Shape::Circle { middle: (x, y), radius }],
    }
}
