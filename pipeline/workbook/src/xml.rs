//! Small helps over XML events.

use std::borrow::Cow;

use quick_xml::XmlVersion;
use quick_xml::events::{BytesRef, BytesStart};

/// Bytes of a part as text: UTF-8, or UTF-16 where a byte order mark says so. What is neither becomes U+FFFD rather
/// than losing the sheet for one letter.
pub(crate) fn decode(bytes: Vec<u8>) -> String {
    let utf16 = |rest: &[u8], unit: fn([u8; 2]) -> u16| {
        let (pairs, _) = rest.as_chunks::<2>();
        String::from_utf16_lossy(&pairs.iter().map(|pair| unit(*pair)).collect::<Vec<u16>>())
    };
    match bytes.as_slice() {
        [0xFF, 0xFE, rest @ ..] => utf16(rest, u16::from_le_bytes),
        [0xFE, 0xFF, rest @ ..] => utf16(rest, u16::from_be_bytes),
        [0xEF, 0xBB, 0xBF, rest @ ..] => String::from_utf8_lossy(rest).into_owned(),
        _ => String::from_utf8(bytes).unwrap_or_else(|error| String::from_utf8_lossy(error.as_bytes()).into_owned()),
    }
}

/// A reader of XML events in which an empty element comes as a start and an end.
pub(crate) fn reader(text: &str) -> quick_xml::Reader<&[u8]> {
    let mut reader = quick_xml::Reader::from_str(text);
    reader.config_mut().expand_empty_elements = true;
    reader
}

/// Local name of an element.
pub(crate) fn name<'a>(element: &'a BytesStart<'_>) -> &'a str {
    element.local_name().into_inner()
}

/// Attributes by local name, entities replaced. Malformed ones are left out.
pub(crate) fn attributes<'a>(element: &'a BytesStart<'_>) -> impl Iterator<Item = (&'a str, Cow<'a, str>)> {
    let mut attributes = element.attributes();
    attributes.with_checks(false);
    attributes.flatten().map(|attribute| {
        let value = attribute.normalized_value(XmlVersion::Implicit1_0).unwrap_or_else(|_| attribute.value.clone());
        (attribute.key.local_name().into_inner(), value)
    })
}

/// One attribute by local name.
pub(crate) fn attribute(element: &BytesStart<'_>, wanted: &str) -> Option<String> {
    attributes(element).find_map(|(name, value)| (name == wanted).then(|| value.into_owned()))
}

/// Appends what `&name;` stands for. Only the five predefined entities and numbered letters are known: an entity that
/// the file defines itself stays as it is written, so it cannot grow.
pub(crate) fn push_entity(entity: &BytesRef<'_>, text: &mut String) {
    let name = entity.xml10_content();
    match (entity.resolve_char_ref(), quick_xml::escape::resolve_predefined_entity(&name)) {
        (Ok(Some(letter)), _) => text.push(letter),
        (_, Some(known)) => text.push_str(known),
        _ => {
            text.push('&');
            text.push_str(&name);
            text.push(';');
        }
    }
}
