//! Pages as the objects of a PDF: fonts with the letters in use, contents, and the tree of headings and paragraphs.
//!
//! Source of the format: ISO 32000-1:2008; 9.7 composite fonts, 9.10.3 ToUnicode, 14.7 and 14.8 structure and tags.

mod contents;
mod fonts;

use pdf_writer::types::StructRole;
use pdf_writer::writers::StructTreeRoot;
use pdf_writer::{Filter, Finish, Name, Pdf, Rect, Ref, TextStr};

use crate::document::contents::{Content, content};
use crate::document::fonts::Embedded;
use crate::flow::Pages;
use crate::font::Faces;
use crate::marks::Role;
use crate::{PaperAbout, PaperError, Sheet};

/// Numbers of the objects of a document, given out one after the other.
struct Numbers(i32);

impl Numbers {
    fn next(&mut self) -> Ref {
        self.0 += 1;
        Ref::new(self.0)
    }
}

/// Where the parts of an element stand: page and number within it.
type Places = Vec<(usize, i32)>;

/// The bytes of the document.
pub(crate) fn write(pages: &Pages, sheet: Sheet, faces: &Faces<'_>, about: &PaperAbout) -> Result<Vec<u8>, PaperError> {
    let mut pdf = Pdf::new();
    let mut numbers = Numbers(0);
    let [catalog, tree, root, document, info] = std::array::from_fn(|_| numbers.next());
    let fonts = Embedded::of(pages, faces)?;
    let font_objects = fonts.write(&mut pdf, &mut numbers);

    let page_objects: Vec<Ref> = pages.pages.iter().map(|_| numbers.next()).collect();
    let sections: Vec<Ref> = pages.sections.iter().map(|_| numbers.next()).collect();
    let elements: Vec<Vec<Ref>> =
        pages.sections.iter().map(|section| section.iter().map(|_| numbers.next()).collect()).collect();
    let mut places: Vec<Vec<Places>> =
        pages.sections.iter().map(|section| vec![Places::new(); section.len()]).collect();

    let (width, height) = sheet.size();
    let mut parent_tree: Vec<Vec<Ref>> = Vec::new();
    for (number, page) in pages.pages.iter().enumerate() {
        let Content { bytes, tagged } = content(page, height, &fonts);
        let of_page = |element: &usize| elements.get(page.section).and_then(|section| section.get(*element)).copied();
        parent_tree.push(tagged.iter().filter_map(of_page).collect());
        for (id, &element) in (0..).zip(&tagged) {
            if let Some(place) = places.get_mut(page.section).and_then(|section| section.get_mut(element)) {
                place.push((number, id));
            }
        }
        let contents = numbers.next();
        let packed = miniz_oxide::deflate::compress_to_vec_zlib(&bytes, 6);
        pdf.stream(contents, &packed).filter(Filter::FlateDecode);
        let Some(&object) = page_objects.get(number) else { continue };
        let mut written = pdf.page(object);
        written.parent(tree).media_box(Rect::new(0.0, 0.0, width, height)).contents(contents);
        written.struct_parents(count(number));
        let mut resources = written.resources();
        let mut named = resources.fonts();
        for (name, object) in &font_objects {
            named.pair(Name(name), *object);
        }
    }
    pdf.pages(tree).kids(page_objects.iter().copied()).count(count(page_objects.len()));

    // The tree of the document: a section a card, its headings, paragraphs and pictures in order of reading.
    pdf.struct_element(document).kind(StructRole::Document).parent(root).children().items(&sections);
    for (((section, roles), refs), places) in sections.iter().zip(&pages.sections).zip(&elements).zip(&places) {
        pdf.struct_element(*section).kind(StructRole::Sect).parent(document).children().items(refs);
        for ((role, id), places) in roles.iter().zip(refs).zip(places) {
            let mut element = pdf.struct_element(*id);
            element.kind(kind(role)).parent(*section);
            if let Role::Picture(words) = role {
                element.alt(TextStr(words));
            }
            let mut children = element.children();
            for (page, place) in places {
                if let Some(object) = page_objects.get(*page) {
                    children.marked_content_ref().page(*object).marked_content_id(*place);
                }
            }
        }
    }
    let lists: Vec<Ref> = parent_tree.iter().map(|_| numbers.next()).collect();
    for (list, parents) in lists.iter().zip(&parent_tree) {
        pdf.indirect(*list).array().items(parents);
    }
    let mut structure = pdf.indirect(root).start::<StructTreeRoot<'_>>();
    structure.child(document);
    let mut parents = structure.parent_tree();
    let mut numbered = parents.nums();
    for (key, list) in (0..).zip(&lists) {
        numbered.insert(key, *list);
    }
    numbered.finish();
    parents.finish();
    structure.parent_tree_next_key(count(lists.len()));
    structure.finish();

    pdf.document_info(info).title(TextStr(&about.title)).producer(TextStr("evenstand"));
    let mut written = pdf.catalog(catalog);
    written.pages(tree);
    if !about.language.is_empty() {
        written.lang(TextStr(&about.language));
    }
    written.mark_info().marked(true);
    written.viewer_preferences().display_doc_title(true);
    written.pair(Name(b"StructTreeRoot"), root);
    written.finish();
    Ok(pdf.finish())
}

/// A count as the format writes it.
fn count(number: usize) -> i32 {
    i32::try_from(number).unwrap_or(i32::MAX)
}

fn kind(role: &Role) -> StructRole {
    match role {
        Role::Title => StructRole::H1,
        Role::Heading => StructRole::H2,
        Role::Paragraph => StructRole::P,
        Role::Picture(_) => StructRole::Figure,
    }
}
