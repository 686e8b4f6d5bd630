//! A painted canvas as a PNG file: averaged down, and packed with a palette, because a chart has few inks.

use crate::charts::sketch::Ink;

/// Pixels of the canvas that are averaged into one, along each side.
pub(crate) const AVERAGED: usize = 2;
/// Bytes of so many pixels of the image in a row of the canvas; paper is passed over in such steps.
const STEP: usize = 16 * AVERAGED * 3;
/// Colours that agree in the upper bits of each channel share a place of the palette: edges are blends, and no eye tells them closer.
const KEPT_BITS: u32 = 5;
/// Of colours that were not met yet.
const NO_PLACE: u16 = u16::MAX;

/// The canvas (red, green, blue; `width` pixels a row) as a PNG file of `columns` by `rows` pixels.
pub(crate) fn encoded(canvas: &[u8], width: usize, columns: usize, rows: usize) -> Result<Vec<u8>, png::EncodingError> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, columns as u32, rows as u32);
    encoder.set_depth(png::BitDepth::Eight);
    // Flat colours pack best without a filter; higher levels save a fifth and take twice the time.
    encoder.set_filter(png::Filter::NoFilter);
    encoder.set_deflate_compression(png::DeflateCompression::Level(1));
    match indexed(canvas, width, columns, rows) {
        Some((palette, indices)) => {
            encoder.set_color(png::ColorType::Indexed);
            encoder.set_palette(palette.concat());
            write(encoder, &indices)?;
        }
        None => {
            encoder.set_color(png::ColorType::Rgb);
            write(encoder, &averaged(canvas, width, columns, rows))?;
        }
    }
    Ok(file)
}

fn write(encoder: png::Encoder<&mut Vec<u8>>, data: &[u8]) -> Result<(), png::EncodingError> {
    let mut writer = encoder.write_header()?;
    writer.write_image_data(data)?;
    writer.finish()
}

/// The image as places in a palette; `None` where it has more colours than a palette holds. The inks come first, as they are.
fn indexed(canvas: &[u8], width: usize, columns: usize, rows: usize) -> Option<(Vec<[u8; 3]>, Vec<u8>)> {
    let mut places: Vec<u16> = vec![NO_PLACE; 1 << (3 * KEPT_BITS)];
    let mut palette: Vec<[u8; 3]> = Vec::new();
    for ink in Ink::ALL {
        let (red, green, blue) = ink.rgb();
        let colour = [red, green, blue];
        if places[bucket(colour)] == NO_PLACE {
            places[bucket(colour)] = palette.len() as u16;
            palette.push(colour);
        }
    }
    let paper = vec![255; width * 3];
    // Paper is the first place, so what is passed over is paper.
    let mut indices = vec![0; columns * rows];
    for (band, indices) in canvas.chunks_exact(width * 3 * AVERAGED).zip(indices.chunks_exact_mut(columns)) {
        let (above, below) = band.split_at(width * 3);
        if above == paper && below == paper {
            continue;
        }
        let steps = above.chunks(STEP).zip(below.chunks(STEP)).zip(indices.chunks_mut(STEP / 3 / AVERAGED));
        for ((above, below), indices) in steps {
            if above == &paper[..above.len()] && below == &paper[..below.len()] {
                continue;
            }
            let squares = above.chunks_exact(3 * AVERAGED).zip(below.chunks_exact(3 * AVERAGED));
            for ((above, below), index) in squares.zip(indices) {
                let colour = mean(above, below);
                let place = &mut places[bucket(colour)];
                if *place == NO_PLACE {
                    if palette.len() > usize::from(u8::MAX) {
                        return None;
                    }
                    *place = palette.len() as u16;
                    palette.push(colour);
                }
                *index = *place as u8;
            }
        }
    }
    Some((palette, indices))
}

/// The image as colours.
fn averaged(canvas: &[u8], width: usize, columns: usize, rows: usize) -> Vec<u8> {
    let mut averaged = Vec::with_capacity(columns * rows * 3);
    for band in canvas.chunks_exact(width * 3 * AVERAGED).take(rows) {
        let (above, below) = band.split_at(width * 3);
        for (above, below) in above.chunks_exact(3 * AVERAGED).zip(below.chunks_exact(3 * AVERAGED)) {
            averaged.extend(mean(above, below));
        }
    }
    averaged
}

/// The mean of two pixels above and the two below them. Written out, because it runs for every pixel of every chart.
#[inline(always)]
fn mean(above: &[u8], below: &[u8]) -> [u8; 3] {
    let sum = |channel: usize| {
        let upper = u16::from(above[channel]) + u16::from(above[channel + 3]);
        let lower = u16::from(below[channel]) + u16::from(below[channel + 3]);
        ((upper + lower) / 4) as u8
    };
    [sum(0), sum(1), sum(2)]
}

/// The place of a colour among those that agree in their upper bits.
#[inline(always)]
fn bucket(colour: [u8; 3]) -> usize {
    let kept = |channel: u8| usize::from(channel >> (8 - KEPT_BITS));
    (kept(colour[0]) << (2 * KEPT_BITS)) | (kept(colour[1]) << KEPT_BITS) | kept(colour[2])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(file: Vec<u8>) -> Vec<u8> {
        let mut decoder = png::Decoder::new(std::io::Cursor::new(file));
        decoder.set_transformations(png::Transformations::EXPAND);
        let mut reader = decoder.read_info().expect("a PNG file");
        let mut pixels = vec![0; reader.output_buffer_size().expect("it fits memory")];
        reader.next_frame(&mut pixels).expect("its pixels");
        pixels
    }

    #[test]
    fn a_palette_keeps_paper_and_inks_as_they_are_and_blends_nearly() {
        let (width, height) = (48, 8);
        let (red, green, blue) = Ink::Rust.rgb();
        let mut canvas = vec![255; width * height * 3];
        for row in 0..height {
            for column in 8..19 {
                canvas[(row * width + column) * 3..][..3].copy_from_slice(&[red, green, blue]);
            }
        }
        let pixels = decoded(encoded(&canvas, width, width / 2, height / 2).expect("it packs"));
        let exact = averaged(&canvas, width, width / 2, height / 2);
        assert_eq!(pixels.len(), exact.len());
        assert!(pixels.iter().zip(&exact).all(|(a, b)| a.abs_diff(*b) < 8));
        assert_eq!(pixels[..3], [255; 3]);
        assert_eq!(pixels[5 * 3..6 * 3], [red, green, blue]);
    }

    #[test]
    fn more_colours_than_a_palette_holds_are_written_as_they_are() {
        let (width, height) = (64, 64);
        let canvas: Vec<u8> = (0..width * height)
            .flat_map(|pixel| [(pixel % width * 4) as u8, (pixel / width * 4) as u8, (pixel % 7 * 30) as u8])
            .collect();
        let pixels = decoded(encoded(&canvas, width, width / 2, height / 2).expect("it packs"));
        assert_eq!(pixels, averaged(&canvas, width, width / 2, height / 2));
    }
}
