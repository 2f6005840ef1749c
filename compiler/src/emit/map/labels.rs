//! Words on the map that do not lie on one another.
//!
//! In: texts and where they would like to stand. Out: those that found room, in millimetres.
//! Widths are estimated from the letters' count; no font is read.

use super::paper::number;
use serde::Serialize;

/// Height of the letters.
const LETTER_MM: f64 = 2.6;

/// A text that found its place; `x` is its middle, `y` its base line.
#[derive(Serialize)]
pub struct Label {
    text: String,
    x: String,
    y: String,
    class: &'static str,
}

/// The texts of one map.
pub struct Labels {
    /// Those placed so far.
    pub placed: Vec<Label>,
    boxes: Vec<[f64; 4]>,
    size: (f64, f64),
}

impl Labels {
    /// No text yet on a map of this size.
    pub const fn within(width_mm: f64, height_mm: f64) -> Self {
        Self { placed: Vec::new(), boxes: Vec::new(), size: (width_mm, height_mm) }
    }

    /// Places a text on a point, if there is room.
    pub fn place_centred(&mut self, text: String, at: (f64, f64), class: &'static str) {
        self.place(text, &[at], class);
    }

    /// Places a text right, left, above or below a point, at a distance from it.
    pub fn place_beside(&mut self, text: String, (x, y): (f64, f64), gap_mm: f64, class: &'static str) {
        let (aside, above) = (gap_mm + width_mm(&text) / 2.0, gap_mm + LETTER_MM / 2.0);
        self.place(text, &[(x + aside, y), (x - aside, y), (x, y - above), (x, y + above)], class);
    }

    fn place(&mut self, text: String, wishes: &[(f64, f64)], class: &'static str) {
        let half_width = width_mm(&text) / 2.0;
        let room = |&(x, y): &(f64, f64)| {
            let area = [x - half_width, y - LETTER_MM / 2.0, x + half_width, y + LETTER_MM / 2.0];
            let inside = area[0] >= 0.0 && area[1] >= 0.0 && area[2] <= self.size.0 && area[3] <= self.size.1;
            (inside && self.boxes.iter().all(|other| !overlap(*other, area))).then_some((x, y, area))
        };
        if let Some((x, y, area)) = wishes.iter().find_map(room) {
            self.boxes.push(area);
            let base = y + LETTER_MM * 0.36;
            self.placed.push(Label { text, x: number(x), y: number(base), class });
        }
    }
}

/// About how wide a text is, on the side of too wide: bold letters are two thirds of their height.
pub fn width_mm(text: &str) -> f64 {
    text.chars().count() as f64 * LETTER_MM * 0.66
}

fn overlap(a: [f64; 4], b: [f64; 4]) -> bool {
    a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_text_moves_aside_or_stays_away() {
        let mut labels = Labels::within(40.0, 20.0);
        labels.place_centred("pond".into(), (20.0, 10.0), "place");
        labels.place_centred("pond".into(), (20.5, 10.5), "place");
        assert_eq!(labels.placed.len(), 1, "no two on one another");
        labels.place_beside("pole".into(), (38.0, 10.0), 1.0, "place");
        assert!(labels.placed[1].x.parse::<f64>().unwrap() < 38.0, "to the left where the right is cut off");
    }
}
