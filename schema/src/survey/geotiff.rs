//! GeoTIFF (OGC 19-008r4): one band of numbers, the grid that they lie on, the frame that it names.
//!
//! The first image of the file is read, in strips or tiles, plain or packed by LZW or Deflate. Cells
//! with the number that stands for no data, and those without a finite one, are empty. A frame is
//! named by its EPSG code; one that the file defines itself has no name. Not read: colours, grids that
//! are tied to the ground by scattered points, heights.

use super::{Content, Format, Geometry, Grid, Refusal, Shape, StatedFrame};
use std::io::Cursor;
use tiff::decoder::{Decoder, DecodingResult, Limits};
use tiff::tags::Tag;
use tiff::{ColorType, TiffError};

/// Most cells that are read: 200 ha in cells of 0.7 m.
const MOST_CELLS: u64 = 4 << 20;

/// Whether a file begins as TIFF does, of either order of bytes, small or big.
pub fn is_raster(start: &[u8]) -> bool {
    [b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"].iter().any(|magic| start.starts_with(*magic))
}

/// Reads a raster.
pub fn read(bytes: &[u8]) -> Result<Content, Refusal> {
    let mut limits = Limits::default();
    limits.decoding_buffer_size = MOST_CELLS as usize * size_of::<f64>();
    limits.intermediate_buffer_size = limits.decoding_buffer_size;
    let mut file = Decoder::new(Cursor::new(bytes)).map_err(damaged)?.with_limits(limits);
    let (columns, rows) = file.dimensions().map_err(damaged)?;
    let cells = u64::from(columns) * u64::from(rows);
    if !(1..=MOST_CELLS).contains(&cells) {
        return Err(Refusal::new(format!(
            "is a raster of {columns} by {rows} cells; at most {MOST_CELLS} are read"
        ))
        .hint("cut it to the field, or take larger cells"));
    }
    tell_bands(file.colortype().map_err(damaged)?)?;
    let keys = Keys::of(&mut file)?;
    let corner = if keys.number(RASTER_TYPE) == Some(PIXEL_IS_POINT) { 0.5 } else { 0.0 };
    let ground = ground(&mut file, corner)?;
    let empty = nothing(&mut file)?;
    let numbers = numbers(file.read_image().map_err(damaged)?);
    let cells: Vec<Option<f64>> =
        numbers.into_iter().map(|n| Some(n).filter(|n| n.is_finite() && Some(*n) != empty)).collect();
    if cells.iter().all(Option::is_none) {
        return Err(Refusal::new("is a raster without data in any cell")
            .hint("check which of its numbers stands for no data"));
    }
    let grid = Grid { columns: columns as usize, ground, cells };
    Ok(Content {
        format: Format::GeoTiff,
        frame: keys.frame(),
        shapes: vec![Shape { attributes: vec![], geometry: Geometry::Grid(grid) }],
        oddities: vec![],
    })
}

#[expect(clippy::needless_pass_by_value, reason = "handed to `map_err`")]
fn damaged(error: TiffError) -> Refusal {
    Refusal::new(format!("is no TIFF file that can be read: {error}"))
        .hint("write it anew as a GeoTIFF of one band, plain or packed by LZW or Deflate")
}

fn tell_bands(colours: ColorType) -> Result<(), Refusal> {
    let bands = match colours {
        ColorType::Gray(bits) if bits >= 8 => return Ok(()),
        ColorType::Gray(bits) => {
            return Err(Refusal::new(format!("is a raster of {bits} bits a cell"))
                .hint("write it with a whole byte a cell, or more"));
        }
        ColorType::GrayA(_) => 2,
        ColorType::Multiband { num_samples, .. } => num_samples,
        _ => return Err(Refusal::new("is a picture in colours, whose cells hold no number").hint(ONE_BAND)),
    };
    Err(Refusal::new(format!("is a raster of {bands} bands, of which nothing says which is meant"))
        .hint(ONE_BAND))
}

const ONE_BAND: &str = "write the one band that holds the numbers to a GeoTIFF of its own";

/// `GTRasterTypeGeoKey`, and its value where a tie point lies in the middle of a cell.
const RASTER_TYPE: u16 = 1025;
const PIXEL_IS_POINT: u16 = 2;
/// `GeodeticCRSGeoKey` and `ProjectedCRSGeoKey`.
const GEODETIC: u16 = 2048;
const PROJECTED: u16 = 3072;
/// What a key holds where the file defines the frame itself.
const USER_DEFINED: u16 = 32767;

/// The geo keys: entries of four numbers behind a head of as many.
struct Keys(Vec<u16>);

impl Keys {
    fn of(file: &mut File<'_>) -> Result<Self, Refusal> {
        let numbers = file.find_tag_unsigned_vec(Tag::GeoKeyDirectoryTag).map_err(damaged)?;
        Ok(Self(numbers.unwrap_or_default()))
    }

    fn number(&self, key: u16) -> Option<u16> {
        let mut entries = self.0.chunks_exact(4).skip(1);
        entries.find(|entry| entry[0] == key && entry[1] == 0).map(|entry| entry[3])
    }

    fn frame(&self) -> StatedFrame {
        match self.number(PROJECTED).or_else(|| self.number(GEODETIC)) {
            None | Some(0) => StatedFrame::Unnamed,
            Some(USER_DEFINED) => StatedFrame::Named("user-defined, without an EPSG code".to_owned()),
            Some(code) => StatedFrame::Named(format!("EPSG:{code}")),
        }
    }
}

type File<'b> = Decoder<Cursor<&'b [u8]>>;

/// The way from columns and rows to the ground. `corner` is where in a cell, in cells, the file's own
/// counting has its whole numbers.
fn ground(file: &mut File<'_>, corner: f64) -> Result<[[f64; 3]; 2], Refusal> {
    let mut read = |tag| Ok(numbers_of(file, tag)?.unwrap_or_default());
    let (whole, scale, ties) =
        (read(Tag::ModelTransformationTag)?, read(Tag::ModelPixelScaleTag)?, read(Tag::ModelTiepointTag)?);
    let by_file = match (whole.as_slice(), scale.as_slice(), ties.as_slice()) {
        (&[a, b, _, c, d, e, _, f, ..], ..) => [[c, a, b], [f, d, e]],
        (_, &[wide, high, ..], &[column, row, _, x, y, _]) => {
            [[x - column * wide, wide, 0.0], [y + row * high, 0.0, -high]]
        }
        (_, _, &[_, _, _, _, _, _, _, ..]) => {
            return Err(Refusal::new("is a raster that scattered points tie to the ground")
                .hint("warp it to a straight grid in a named frame"));
        }
        _ => {
            return Err(Refusal::new("is a raster that does not say where on the ground it lies").hint(
                "write it as a GeoTIFF, with the grid's origin and the size of its cells in the file itself",
            ));
        }
    };
    let [across, down] = by_file.map(|[at, column, row]| [at - corner * (column + row), column, row]);
    let cell = across[1] * down[2] - across[2] * down[1];
    if !cell.is_finite() || cell == 0.0 || !across[0].is_finite() || !down[0].is_finite() {
        return Err(
            Refusal::new("is a raster whose cells cover no ground").hint("check the size of its cells")
        );
    }
    Ok([across, down])
}

fn numbers_of(file: &mut File<'_>, tag: Tag) -> Result<Option<Vec<f64>>, Refusal> {
    let value = file.find_tag(tag).map_err(damaged)?;
    value.map(tiff::decoder::ifd::Value::into_f64_vec).transpose().map_err(damaged)
}

/// The number that stands for no data: text, by a convention that GIS programs share.
fn nothing(file: &mut File<'_>) -> Result<Option<f64>, Refusal> {
    let Some(value) = file.find_tag(Tag::GdalNodata).map_err(damaged)? else { return Ok(None) };
    let text = value.into_string().map_err(damaged)?;
    Ok(text.trim_matches(['\0', ' ']).parse().ok())
}

fn numbers(image: DecodingResult) -> Vec<f64> {
    fn wide<T: Into<f64>>(narrow: Vec<T>) -> Vec<f64> {
        narrow.into_iter().map(Into::into).collect()
    }
    match image {
        DecodingResult::U8(cells) => wide(cells),
        DecodingResult::U16(cells) => wide(cells),
        DecodingResult::U32(cells) => wide(cells),
        DecodingResult::U64(cells) => cells.into_iter().map(|number| number as f64).collect(),
        DecodingResult::I8(cells) => wide(cells),
        DecodingResult::I16(cells) => wide(cells),
        DecodingResult::I32(cells) => wide(cells),
        DecodingResult::I64(cells) => cells.into_iter().map(|number| number as f64).collect(),
        DecodingResult::F16(cells) => wide(cells),
        DecodingResult::F32(cells) => wide(cells),
        DecodingResult::F64(cells) => cells,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use tiff::encoder::TiffEncoder;
    use tiff::encoder::colortype::{Gray8, Gray16, Gray32Float, RGB8};

    const SCALE: [f64; 3] = [10.0, 5.0, 0.0];
    const TIE: [f64; 6] = [0.0, 0.0, 0.0, 500_000.0, 5_700_000.0, 0.0];
    /// Projected, in EPSG:25832, whole numbers at the corners of cells.
    const KEYS: [u16; 16] = [1, 1, 0, 3, 1024, 0, 1, 1, RASTER_TYPE, 0, 1, 1, PROJECTED, 0, 1, 25832];

    /// What a raster says of itself.
    struct Written<'w> {
        scale: &'w [f64],
        tie: &'w [f64],
        whole: &'w [f64],
        keys: &'w [u16],
        nothing: &'w str,
    }

    const PLAIN: Written = Written { scale: &SCALE, tie: &TIE, whole: &[], keys: &KEYS, nothing: "" };

    macro_rules! raster {
        ($kind:ty, $columns:expr, $cells:expr, $of:expr) => {{
            let (mut bytes, of, cells): (_, Written, &[_]) = (Vec::new(), $of, $cells);
            let mut encoder = TiffEncoder::new(Cursor::new(&mut bytes)).unwrap();
            let samples = cells.len() / <$kind as tiff::encoder::colortype::ColorType>::BITS_PER_SAMPLE.len();
            let rows = samples as u32 / $columns;
            let mut image = encoder.new_image::<$kind>($columns, rows).unwrap();
            let tags = image.encoder();
            let numbers = [
                (Tag::ModelPixelScaleTag, of.scale),
                (Tag::ModelTiepointTag, of.tie),
                (Tag::ModelTransformationTag, of.whole),
            ];
            for (tag, numbers) in numbers.into_iter().filter(|(_, numbers)| !numbers.is_empty()) {
                tags.write_tag(tag, numbers).unwrap();
            }
            if !of.keys.is_empty() {
                tags.write_tag(Tag::GeoKeyDirectoryTag, of.keys).unwrap();
            }
            if !of.nothing.is_empty() {
                tags.write_tag(Tag::GdalNodata, of.nothing).unwrap();
            }
            image.write_data(cells).unwrap();
            bytes
        }};
    }

    fn grid(bytes: &[u8]) -> (Grid, StatedFrame) {
        let mut content = read(bytes).map_err(|refusal| refusal.message).unwrap();
        let Geometry::Grid(grid) = content.shapes.remove(0).geometry else { panic!() };
        (grid, content.frame)
    }

    fn refused(bytes: &[u8]) -> String {
        read(bytes).err().expect("a refusal").message
    }

    #[test]
    fn numbers_lie_on_their_grid() {
        let (grid, frame) = grid(&raster!(Gray16, 3, &[80, 80, 120, 80, 255, 120], PLAIN));
        assert_eq!(frame, StatedFrame::Named("EPSG:25832".into()));
        assert_eq!(grid.columns, 3);
        assert_eq!(grid.ground, [[500_000.0, 10.0, 0.0], [5_700_000.0, 0.0, -5.0]]);
        assert_eq!(grid.cells, [80, 80, 120, 80, 255, 120].map(|n| Some(f64::from(n))));
    }

    #[test]
    fn what_stands_for_no_data_is_empty() {
        let written = Written { nothing: "-9999", ..PLAIN };
        let (found, _) = grid(&raster!(Gray32Float, 2, &[0.5, -9999.0, f32::NAN, f32::INFINITY], written));
        assert_eq!(found.cells, [Some(0.5), None, None, None]);
        let all = Written { nothing: "7", ..PLAIN };
        assert!(refused(&raster!(Gray8, 2, &[7, 7], all)).contains("without data in any cell"));
    }

    /// A tie in the middle of the first cell puts its corner half a cell up and to the left, along the
    /// turned axes of a whole transformation too.
    #[test]
    fn ties_of_corners_and_of_middles_give_corners() {
        let keys: Vec<u16> = KEYS
            .chunks(4)
            .flat_map(|k| {
                if k[0] == RASTER_TYPE {
                    [RASTER_TYPE, 0, 1, PIXEL_IS_POINT]
                } else {
                    [k[0], k[1], k[2], k[3]]
                }
            })
            .collect();
        let (found, _) = grid(&raster!(Gray8, 2, &[1, 2], Written { keys: &keys, ..PLAIN }));
        assert_eq!(found.ground, [[499_995.0, 10.0, 0.0], [5_700_002.5, 0.0, -5.0]]);
        let whole = [8.0, 6.0, 0.0, 100.0, 6.0, -8.0, 0.0, 200.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0];
        let turned = Written { whole: &whole, scale: &[], tie: &[], keys: &keys, ..PLAIN };
        let (found, _) = grid(&raster!(Gray8, 2, &[1, 2], turned));
        assert_eq!(found.ground, [[93.0, 8.0, 6.0], [201.0, 6.0, -8.0]]);
    }

    #[test]
    fn frames_are_named_by_their_code_alone() {
        let geographic = [1, 1, 0, 2, 1024, 0, 1, 2, GEODETIC, 0, 1, 4258];
        let own = [1, 1, 0, 2, 1024, 0, 1, 1, PROJECTED, 0, 1, USER_DEFINED];
        let frame = |keys: &[u16]| grid(&raster!(Gray8, 2, &[1, 2], Written { keys, ..PLAIN })).1;
        assert_eq!(frame(&geographic), StatedFrame::Named("EPSG:4258".into()));
        assert_eq!(frame(&own), StatedFrame::Named("user-defined, without an EPSG code".into()));
        assert_eq!(frame(&[]), StatedFrame::Unnamed);
    }

    #[test]
    fn rasters_that_tell_no_one_number_a_place_are_refused() {
        let bare = Written { scale: &[], tie: &[], ..PLAIN };
        assert!(refused(&raster!(Gray8, 2, &[1, 2], bare)).contains("does not say where"));
        let ties = [TIE, TIE, TIE].concat();
        let scattered = Written { scale: &[], tie: &ties, ..PLAIN };
        assert!(refused(&raster!(Gray8, 2, &[1, 2], scattered)).contains("scattered points"));
        let flat = Written { scale: &[0.0, 5.0, 0.0], ..PLAIN };
        assert!(refused(&raster!(Gray8, 2, &[1, 2], flat)).contains("cover no ground"));
        assert!(refused(&raster!(RGB8, 2, &[1, 2, 3, 4, 5, 6], PLAIN)).contains("picture in colours"));
    }

    /// Eight thousand million cells in a file of some hundred bytes.
    #[test]
    fn a_size_that_no_field_has_is_refused_before_anything_is_unpacked() {
        let mut bytes = raster!(Gray8, 2, &[1, 2], PLAIN);
        let (low, high) = (u32::MAX / 2 + 1, 4_u32);
        for (tag, size) in [(256_u16, low), (257, high)] {
            let entry = [&tag.to_le_bytes()[..], &4_u16.to_le_bytes(), &1_u32.to_le_bytes()].concat();
            let at = bytes.windows(8).position(|window| window == entry).expect("the tag");
            bytes[at + 8..at + 12].copy_from_slice(&size.to_le_bytes());
        }
        let why = refused(&bytes);
        assert!(why.contains("2147483648 by 4 cells"), "{why}");
    }

    proptest! {
        /// Whatever becomes of its bytes, a file is read or refused.
        #[test]
        fn any_bytes_are_answered(at in 0..600_usize, with in any::<[u8; 2]>(), cut in 8..700_usize) {
            let mut bytes = raster!(Gray16, 3, &[80, 80, 120, 80, 255, 120], PLAIN);
            let at = at % (bytes.len() - 1);
            bytes[at..at + 2].copy_from_slice(&with);
            let _ = read(&bytes);
            let _ = read(&bytes[..cut.min(bytes.len())]);
        }
    }
}
