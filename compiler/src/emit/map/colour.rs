//! The colours of driving order: a sequential scale from light straw to deep blue.
//!
//! It runs along the blue–yellow axis, which red–green colour blindness leaves apart, and its
//! luminance falls all the way, so that a grey print keeps the order.

/// Red, green, blue at even steps, first to last.
const SCALE: [[f64; 3]; 5] = [
    [240.0, 222.0, 140.0],
    [196.0, 189.0, 142.0],
    [129.0, 147.0, 150.0],
    [62.0, 96.0, 136.0],
    [16.0, 44.0, 92.0],
];

/// The share of the scale from which dark ink no longer shows.
const DARK_FROM: f64 = 0.55;

/// The colour at a share of the scale, `#rrggbb`.
pub fn of_order(share: f64) -> String {
    let [red, green, blue] = mixed(share);
    format!("#{red:02x}{green:02x}{blue:02x}")
}

/// Soil that is not sown.
pub const UNSOWN: &str = "#ffffff";
/// Red, green, blue of soil that is sown most widely and most closely.
const RATES: [[f64; 3]; 2] = [[232.0, 240.0, 214.0], [66.0, 122.0, 72.0]];

/// The colour of a rate, from the widest to the closest.
pub fn of_rate(share: f64) -> String {
    let share = share.clamp(0.0, 1.0);
    let [red, green, blue] =
        std::array::from_fn(|i| (RATES[0][i] + (RATES[1][i] - RATES[0][i]) * share).round() as u8);
    format!("#{red:02x}{green:02x}{blue:02x}")
}

/// Ink that shows on that colour.
pub fn ink_on(share: f64) -> &'static str {
    if share < DARK_FROM { "#111111" } else { "#ffffff" }
}

fn mixed(share: f64) -> [u8; 3] {
    let steps = SCALE.len() - 1;
    let along = share.clamp(0.0, 1.0) * steps as f64;
    let step = (along as usize).min(steps - 1);
    let part = along - step as f64;
    std::array::from_fn(|i| (SCALE[step][i] + (SCALE[step + 1][i] - SCALE[step][i]) * part).round() as u8)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Source: W3C, Web Content Accessibility Guidelines 2.1, definition of relative luminance.
    fn luminance(rgb: [u8; 3]) -> f64 {
        let linear = rgb.map(|channel| {
            let c = f64::from(channel) / 255.0;
            if c <= 0.039_28 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
        });
        0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    }

    #[test]
    fn luminance_falls_from_first_to_last() {
        let scale: Vec<f64> = (0..=100).map(|i| luminance(mixed(f64::from(i) / 100.0))).collect();
        assert!(scale.is_sorted_by(|a, b| a > b));
        assert!(scale[0] / scale[100] > 10.0);
    }

    /// Source: the same guidelines, success criterion 1.4.11: 3 to 1 for graphical objects.
    #[test]
    fn ink_stands_out_everywhere() {
        for i in 0..=100 {
            let share = f64::from(i) / 100.0;
            let paper = luminance(mixed(share));
            let ink = if ink_on(share) == "#ffffff" { 1.0 } else { luminance([0x11; 3]) };
            let contrast = (paper.max(ink) + 0.05) / (paper.min(ink) + 0.05);
            assert!(contrast >= 3.0, "{contrast} at {share}");
        }
    }
}
