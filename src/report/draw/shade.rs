//! Colours of numbers: one perceptually even ramp, light for little and dark for much, so that grey print keeps the order.

/// Anchors of the ramp in CIELAB-even steps of lightness, pale yellow over green to dark blue.
const RAMP: [[f64; 3]; 9] = [
    [255.0, 255.0, 217.0],
    [236.0, 247.0, 177.0],
    [198.0, 232.0, 180.0],
    [126.0, 205.0, 187.0],
    [64.0, 181.0, 195.0],
    [29.0, 144.0, 191.0],
    [34.0, 94.0, 168.0],
    [37.0, 52.0, 148.0],
    [8.0, 29.0, 88.0],
];

/// A colour as red, green, blue.
pub type Rgb = [u8; 3];

/// The colour of a share of the range, 0 to 1.
pub fn ramp(share: f64) -> Rgb {
    let t = share.clamp(0.0, 1.0) * (RAMP.len() - 1) as f64;
    let k = (libm::floor(t) as usize).min(RAMP.len() - 2);
    let f = t - k as f64;
    std::array::from_fn(|c| libm::round(RAMP[k][c] + (RAMP[k + 1][c] - RAMP[k][c]) * f) as u8)
}

/// A colour as SVG and CSS write it.
pub fn hex(colour: Rgb) -> String {
    format!("#{:02x}{:02x}{:02x}", colour[0], colour[1], colour[2])
}
