//! One metre of row to scale, as SVG: rows, plants, what stays clear, what the tools work.
//!
//! In: the section of a pass. Out: a drawing that stands alone, driving direction to the right, a
//! millimetre on the ground being a unit of the drawing.

use super::super::words;
use crate::seeds::members;
use crate::weeding::{BladeMotion, Section};
use lanewright_schema::quantity::Length;
use std::fmt::Write;

/// How much of a row is drawn, mm.
const LENGTH_MM: f64 = 1000.0;
/// Below the soil, for the scale, mm.
const FOOT_MM: f64 = 60.0;
/// Round the drawing, so that no line is cut, mm.
const MARGIN_MM: f64 = 8.0;

const SOIL: &str = "#efe6d8";
const WORKED: &str = "#b98a55";
const BLADE: &str = "#8a5a2b";
const CLEAR: &str = "#cfe8cf";
const LEAF: &str = "#3f8f46";
const INK: &str = "#222222";

/// The drawing: two rows with the gap between them and half a gap to each side.
pub fn svg(section: &Section) -> String {
    let spacing = section.row_spacing.to_mm();
    let (width, soil) = (LENGTH_MM, 2.0 * spacing);
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"{} {} {} {}\" font-family=\"DejaVu Sans, Arial, sans-serif\" font-size=\"22\" role=\"img\">\n",
        -MARGIN_MM,
        -MARGIN_MM,
        width + 2.0 * MARGIN_MM,
        soil + FOOT_MM + 2.0 * MARGIN_MM
    );
    rectangle(&mut out, 0.0, 0.0, width, soil, SOIL);
    let half = section.between_rows.to_mm() / 2.0;
    for middle in [0.0, spacing, 2.0 * spacing] {
        let (from, to) = ((middle - half).max(0.0), (middle + half).min(soil));
        if to > from {
            rectangle(&mut out, 0.0, from, width, to - from, WORKED);
        }
    }
    for row in [0.5 * spacing, 1.5 * spacing] {
        draw_row(&mut out, section, row);
    }
    let _ = writeln!(
        out,
        "<rect x=\"0\" y=\"0\" width=\"{width}\" height=\"{}\" fill=\"none\" stroke=\"{INK}\" stroke-width=\"1.5\"/>",
        number(soil)
    );
    scale(&mut out, soil);
    out.push_str("</svg>");
    out
}

fn draw_row(out: &mut String, section: &Section, row: f64) {
    let spacing = section.plant_spacing.to_mm();
    let count = (LENGTH_MM / spacing + 0.5).ceil() as u32;
    let hill = section.pattern.length().to_mm();
    let places: Vec<f64> = (0..count)
        .map(|i| spacing * (f64::from(i) + 0.5) - hill / 2.0)
        .filter(|&x| x + hill < LENGTH_MM)
        .collect();
    let members: Vec<f64> = members(section.pattern).map(|metres| 1000.0 * metres).collect();
    let plants: Vec<f64> = places.iter().flat_map(|place| members.iter().map(move |m| place + m)).collect();
    let clear = section.clear.to_mm();
    if clear > 0.0 && section.in_row.is_none() {
        rectangle(out, 0.0, row - clear, LENGTH_MM, 2.0 * clear, CLEAR);
    }
    for &x in &plants {
        if section.in_row.is_some() {
            circle(out, x, row, clear, CLEAR);
        }
    }
    if let Some(motion) = &section.in_row {
        for pair in places.windows(2) {
            trapezoid(out, motion, row, pair[0] + hill, pair[1]);
        }
    }
    for &x in &plants {
        if section.plant_radius > Length::ZERO {
            circle(out, x, row, section.plant_radius.to_mm(), LEAF);
        }
    }
    for &x in &plants {
        circle(out, x, row, 3.0, INK);
    }
}

/// What the blade sweeps between two plants; it comes from the right of travel.
fn trapezoid(out: &mut String, motion: &BladeMotion, row: f64, passed: f64, ahead: f64) {
    let mm = |metres: f64| 1000.0 * metres;
    let (half, clear) = (mm(motion.half_band_m), mm(motion.clear_m));
    let (near, far) = (row + half, row - half);
    let (from, to) = (passed + clear, ahead - clear);
    let _ = writeln!(
        out,
        "<polygon points=\"{},{} {},{} {},{} {},{}\" fill=\"{BLADE}\" fill-opacity=\"0.85\"/>",
        number(from),
        number(near),
        number(from + mm(motion.in_m)),
        number(far),
        number(to - mm(motion.out_m)),
        number(far),
        number(to),
        number(near)
    );
}

/// Ten centimetres, and the driving direction.
fn scale(out: &mut String, soil: f64) {
    let y = soil + 22.0;
    let _ = writeln!(
        out,
        "<path d=\"M0 {0}h100M0 {1}v12M100 {1}v12\" stroke=\"{INK}\" stroke-width=\"2\" fill=\"none\"/>\n\
         <text x=\"112\" y=\"{2}\" fill=\"{INK}\">10 cm</text>\n\
         <path d=\"M860 {0}h110m-16 -8l16 8l-16 8\" stroke=\"{INK}\" stroke-width=\"2\" fill=\"none\"/>\n\
         <text x=\"845\" y=\"{2}\" fill=\"{INK}\" text-anchor=\"end\">driving direction</text>",
        number(y),
        number(y - 6.0),
        number(y + 8.0)
    );
}

fn rectangle(out: &mut String, x: f64, y: f64, width: f64, height: f64, fill: &str) {
    let _ = writeln!(
        out,
        "<rect x=\"{}\" y=\"{}\" width=\"{}\" height=\"{}\" fill=\"{fill}\"/>",
        number(x),
        number(y),
        number(width),
        number(height)
    );
}

fn circle(out: &mut String, x: f64, y: f64, radius: f64, fill: &str) {
    let _ = writeln!(
        out,
        "<circle cx=\"{}\" cy=\"{}\" r=\"{}\" fill=\"{fill}\"/>",
        number(x),
        number(y),
        number(radius)
    );
}

/// To a hundredth of a millimetre, without the marks that people like in large numbers.
fn number(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

/// What the drawing shows, in words.
pub fn caption(section: &Section) -> String {
    let which = if section.plant_share < 1.0 {
        format!(" as {} of the plants stand", words::percent(section.plant_share))
    } else {
        String::new()
    };
    let mut parts =
        vec![format!("One metre of two rows{which} from above, to scale. Dots: places of the seed map")];
    if section.plant_radius > Length::ZERO {
        parts.push(format!("dark green: leaves, {} from the middle", words::measure(section.plant_radius)));
    }
    if section.clear > Length::ZERO {
        parts.push(format!("light green: kept clear, {}", words::measure(section.clear)));
    }
    if section.between_rows > Length::ZERO {
        parts.push(format!("brown: worked, {}", words::measure(section.between_rows)));
    }
    if section.in_row.is_some() {
        parts.push("brown: swept by the blade on its way in, through and out".to_owned());
    }
    parts.join("; ") + "."
}
