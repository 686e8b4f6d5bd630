//! Pixels as a PNG file: packed with a palette, because a chart has few inks.

use tiny_skia::{Pixmap, PremultipliedColorU8};

use crate::charts::sketch::Ink;

/// Upper bits of each channel in which colours of a place of the palette agree: edges are blends, and no eye tells them closer. With the
/// first most charts fit a palette, with the second nearly all.
const KEPT_BITS: [u32; 2] = [5, 4];
/// Of colours that were not met yet.
const NO_PLACE: u16 = u16::MAX;

/// Opaque pixels as a PNG file.
pub(crate) fn encoded(pixels: &Pixmap) -> Result<Vec<u8>, png::EncodingError> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, pixels.width(), pixels.height());
    encoder.set_depth(png::BitDepth::Eight);
    // Flat colours pack best without a filter; higher levels save a fifth and take twice the time.
    encoder.set_filter(png::Filter::NoFilter);
    encoder.set_deflate_compression(png::DeflateCompression::Level(1));
    match KEPT_BITS.iter().find_map(|&bits| indexed(pixels, bits)) {
        Some((palette, indices)) => {
            encoder.set_color(png::ColorType::Indexed);
            encoder.set_palette(palette.concat());
            write(encoder, &indices)?;
        }
        None => {
            encoder.set_color(png::ColorType::Rgb);
            write(encoder, pixels.pixels().iter().copied().map(rgb).collect::<Vec<_>>().as_flattened())?;
        }
    }
    Ok(file)
}

fn write(encoder: png::Encoder<&mut Vec<u8>>, data: &[u8]) -> Result<(), png::EncodingError> {
    let mut writer = encoder.write_header()?;
    writer.write_image_data(data)?;
    writer.finish()
}

fn rgb(pixel: PremultipliedColorU8) -> [u8; 3] {
    [pixel.red(), pixel.green(), pixel.blue()]
}

/// The pixels as places in a palette; `None` where there are more colours than a palette holds. The inks come first, as they are.
fn indexed(pixels: &Pixmap, bits: u32) -> Option<(Vec<[u8; 3]>, Vec<u8>)> {
    let mut places: Vec<u16> = vec![NO_PLACE; 1 << (3 * bits)];
    let mut palette: Vec<[u8; 3]> = Vec::new();
    for ink in Ink::ALL {
        let (red, green, blue) = ink.rgb();
        let place = &mut places[bucket([red, green, blue], bits)];
        if *place == NO_PLACE {
            *place = palette.len() as u16;
            palette.push([red, green, blue]);
        }
    }
    let mut indices = Vec::with_capacity(pixels.pixels().len());
    let width = pixels.width() as usize;
    let mut above: &[u8] = &[];
    for row in pixels.data().chunks(4 * width) {
        // Most rows are as the one above them, and most pixels as the one before them.
        if row == above {
            indices.extend_from_within(indices.len() - width..);
            continue;
        }
        above = row;
        let from = indices.len();
        indices.resize(from + width, 0);
        let row = row.as_chunks::<4>().0;
        let mut at = 0;
        while let Some(&pixel) = row.get(at) {
            let [red, green, blue, _] = pixel;
            let place = &mut places[bucket([red, green, blue], bits)];
            if *place == NO_PLACE {
                if palette.len() > usize::from(u8::MAX) {
                    return None;
                }
                *place = palette.len() as u16;
                palette.push([red, green, blue]);
            }
            let indices = &mut indices[from..];
            indices[at] = *place as u8;
            at += 1;
            // Edges are runs of one pixel.
            if row.get(at) == Some(&pixel) {
                let end = at + alike(&row[at..], pixel);
                indices[at..end].fill(*place as u8);
                at = end;
            }
        }
    }
    Some((palette, indices))
}

/// How many pixels are alike from the first one on, which is `pixel`.
fn alike(row: &[[u8; 4]], pixel: [u8; 4]) -> usize {
    // Eight at a time, as one comparison.
    let mut eight = [0; 32];
    eight.as_chunks_mut::<4>().0.fill(pixel);
    let (groups, _) = row.as_flattened().as_chunks::<32>();
    let groups = groups.iter().take_while(|group| **group == eight).count();
    8 * groups + row[8 * groups..].iter().take_while(|next| **next == pixel).count()
}

/// The place of a colour among those that agree in their upper bits.
fn bucket(colour: [u8; 3], bits: u32) -> usize {
    colour.iter().fold(0, |place, channel| (place << bits) | usize::from(channel >> (8 - bits)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use tiny_skia::ColorU8;

    fn pixels(width: u32, height: u32, colour: impl Fn(u32, u32) -> [u8; 3]) -> Pixmap {
        let mut pixels = Pixmap::new(width, height).expect("a size");
        for (place, pixel) in (0..).zip(pixels.pixels_mut()) {
            let [red, green, blue] = colour(place % width, place / width);
            *pixel = ColorU8::from_rgba(red, green, blue, 255).premultiply();
        }
        pixels
    }

    fn decoded(file: Vec<u8>) -> Vec<u8> {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(file));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().expect("a PNG file");
        let mut pixels = vec![0; reader.output_buffer_size().expect("it fits memory")];
        reader.next_frame(&mut pixels).expect("its pixels");
        pixels
    }

    fn exact(pixels: &Pixmap) -> Vec<u8> {
        pixels.pixels().iter().copied().flat_map(rgb).collect()
    }

    #[test]
    fn a_palette_keeps_inks_as_they_are_and_blends_nearly() {
        let (red, green, blue) = Ink::Rust.rgb();
        let edge = |share: f64| [red, green, blue].map(|ink| (255.0 - share * (255.0 - f64::from(ink))) as u8);
        let drawn = pixels(40, 4, |column, _| edge(f64::from(column) / 39.0));
        let read = decoded(encoded(&drawn).expect("it packs"));
        let exact = exact(&drawn);
        assert_eq!(read.len(), exact.len());
        assert!(read.iter().zip(&exact).all(|(read, exact)| read.abs_diff(*exact) < 8));
        assert_eq!((&read[..3], &read[39 * 3..40 * 3]), (&[255; 3][..], &[red, green, blue][..]));
    }

    #[test]
    fn more_colours_than_a_palette_holds_are_told_less_finely_and_then_written_as_they_are() {
        let some = pixels(64, 64, |column, row| [(column * 4) as u8, (row * 4) as u8, 0]);
        assert!(indexed(&some, KEPT_BITS[0]).is_none());
        let read = decoded(encoded(&some).expect("it packs"));
        assert!(read.iter().zip(&exact(&some)).all(|(read, exact)| read.abs_diff(*exact) < 16));
        let many = pixels(64, 64, |column, row| [(column * 4) as u8, (row * 4) as u8, (column % 7 * 30) as u8]);
        assert_eq!(decoded(encoded(&many).expect("it packs")), exact(&many));
    }
}
