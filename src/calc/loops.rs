//! Loops and leads: compliance, copper, wire tables, marking codes.

use super::{CalcError, Calculated, finite, positive};

/// Largest loop resistance, ohm, for a supply, the device's least voltage (V) and the largest current (mA).
///
/// # Errors
/// If the current is not above zero.
pub fn loop_max_resistance(v_supply: f64, v_min_device: f64, i_max_ma: f64) -> Calculated<f64> {
    Ok((v_supply - v_min_device) / (positive("i_max_mA", i_max_ma)? / 1000.0))
}

/// Voltage left at the device, V.
#[must_use]
pub fn loop_terminal_voltage(v_supply: f64, i_ma: f64, r_loop: f64) -> f64 {
    v_supply - i_ma / 1000.0 * r_loop
}

/// Voltage that a source must drive, V.
#[must_use]
pub fn source_output_voltage_needed(i_ma: f64, r_input: f64, r_leads: f64) -> f64 {
    i_ma / 1000.0 * (r_input + r_leads)
}

/// Resistance of copper leads, ohm, at a temperature; `conductors` counts there and back.
///
/// Source: temperature coefficient of annealed copper 0.00393 per K at 20 °C, IEC 60028.
///
/// # Errors
/// If an input is below zero.
pub fn copper_lead_resistance(
    ohm_per_km_20c: f64,
    length_m: f64,
    temp_c: f64,
    conductors: f64,
) -> Calculated<f64> {
    let k = super::not_negative("ohm_per_km_20C", ohm_per_km_20c)?;
    let length = super::not_negative("length_m", length_m)?;
    let n = super::not_negative("conductors", conductors)?;
    finite(
        "resistance",
        k * length / 1000.0 * n * (1.0 + 0.00393 * (temp_c - 20.0)),
    )
}

/// Largest resistance of plain annealed copper conductors, classes 1 and 2, ohm/km at 20 °C.
///
/// Source: IEC 60228, tables 1 and 2.
const CLASS_1_2: [(f64, f64); 17] = [
    (0.5, 36.0),
    (0.75, 24.5),
    (1.0, 18.1),
    (1.5, 12.1),
    (2.5, 7.41),
    (4.0, 4.61),
    (6.0, 3.08),
    (10.0, 1.83),
    (16.0, 1.15),
    (25.0, 0.727),
    (35.0, 0.524),
    (50.0, 0.387),
    (70.0, 0.268),
    (95.0, 0.193),
    (120.0, 0.153),
    (150.0, 0.124),
    (185.0, 0.0991),
];

/// The same for class 5 (flexible), plain copper. Source: IEC 60228, table 3.
const CLASS_5: [(f64, f64); 17] = [
    (0.5, 39.0),
    (0.75, 26.0),
    (1.0, 19.5),
    (1.5, 13.3),
    (2.5, 7.98),
    (4.0, 4.95),
    (6.0, 3.30),
    (10.0, 1.91),
    (16.0, 1.21),
    (25.0, 0.780),
    (35.0, 0.554),
    (50.0, 0.386),
    (70.0, 0.272),
    (95.0, 0.206),
    (120.0, 0.161),
    (150.0, 0.129),
    (185.0, 0.106),
];

fn look_up(
    table: &[(f64, f64)],
    name: &'static str,
    key: f64,
    fix: &'static str,
) -> Calculated<f64> {
    table
        .iter()
        .find(|(size, _)| (size - key).abs() < 1e-9)
        .map(|(_, value)| *value)
        .ok_or(CalcError::OutOfRange {
            name,
            found: key.to_string(),
            fix,
        })
}

/// Largest resistance of a class 1 or 2 conductor, ohm/km at 20 °C, by nominal area in mm².
///
/// # Errors
/// If the area is not in the table.
pub fn iec60228_class1_2_ohm_per_km(area_mm2: f64) -> Calculated<f64> {
    look_up(
        &CLASS_1_2,
        "mm2",
        area_mm2,
        "the table has 0.5 to 185 mm2 in the preferred sizes",
    )
}

/// Largest resistance of a class 5 conductor, ohm/km at 20 °C, by nominal area in mm².
///
/// # Errors
/// If the area is not in the table.
pub fn iec60228_class5_ohm_per_km(area_mm2: f64) -> Calculated<f64> {
    look_up(
        &CLASS_5,
        "mm2",
        area_mm2,
        "the table has 0.5 to 185 mm2 in the preferred sizes",
    )
}

/// Factor that refers a resistance to 20 °C: 250/(230 + t). Source: IEC 60228, annex.
///
/// # Errors
/// If the temperature gives no factor.
pub fn iec60228_kt(temp_c: f64) -> Calculated<f64> {
    finite("factor", 1.0 / (1.0 + 0.004 * (temp_c - 20.0)))
}

/// Solid annealed copper at 20 °C, ohm for 1000 ft, by AWG number. Source: printed wire tables (from memory but for 24 to 12).
const AWG: [(f64, f64); 19] = [
    (10.0, 0.9989),
    (11.0, 1.260),
    (12.0, 1.588),
    (13.0, 2.003),
    (14.0, 2.525),
    (15.0, 3.184),
    (16.0, 4.016),
    (17.0, 5.064),
    (18.0, 6.385),
    (19.0, 8.051),
    (20.0, 10.15),
    (21.0, 12.80),
    (22.0, 16.14),
    (23.0, 20.36),
    (24.0, 25.67),
    (25.0, 32.37),
    (26.0, 40.81),
    (27.0, 51.47),
    (28.0, 64.90),
];

/// Resistance of a solid annealed copper wire, ohm for 1000 ft at 20 °C.
///
/// # Errors
/// If the number is not in the table.
pub fn awg_ohm_per_kft_solid_20c(awg: f64) -> Calculated<f64> {
    look_up(&AWG, "awg", awg, "the table has 10 to 28")
}

/// Diameter in mm. Source: ASTM B258.
///
/// # Errors
/// If the number gives no finite diameter.
pub fn awg_diameter_mm(awg: f64) -> Calculated<f64> {
    finite("diameter", 0.127 * 92.0_f64.powf((36.0 - awg) / 39.0))
}

/// Resistance in ohm/km from the diameter and 0.0172414 ohm mm²/m (IEC 60028).
///
/// # Errors
/// If the number gives no finite diameter.
pub fn awg_ohm_per_km_from_formula(awg: f64) -> Calculated<f64> {
    let diameter = awg_diameter_mm(awg)?;
    finite(
        "resistance",
        1000.0 * 0.017_241_4 / (std::f64::consts::PI * diameter * diameter / 4.0),
    )
}

/// Preferred numbers E6. Source: IEC 60063.
pub const E6: [f64; 6] = [1.0, 1.5, 2.2, 3.3, 4.7, 6.8];
/// Preferred numbers E12. Source: IEC 60063.
pub const E12: [f64; 12] = [1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2];

/// Symmetrical tolerance in % for a letter. Source: IEC 60062 (from memory).
///
/// # Errors
/// If the letter has none.
pub fn iec60062_tolerance_letter(letter: &str) -> Calculated<f64> {
    Ok(match letter {
        "E" => 0.005,
        "L" => 0.01,
        "P" => 0.02,
        "W" => 0.05,
        "B" => 0.1,
        "C" => 0.25,
        "D" => 0.5,
        "F" => 1.0,
        "G" => 2.0,
        "H" => 3.0,
        "J" => 5.0,
        "K" => 10.0,
        "M" => 20.0,
        "N" => 30.0,
        other => {
            return Err(CalcError::OutOfRange {
                name: "letter",
                found: other.to_owned(),
                fix: "the letters are E L P W B C D F G H J K M N",
            });
        }
    })
}

/// Resistance in ohm of a marking in which a letter stands for the point. Source: IEC 60062.
///
/// # Errors
/// If the marking is not of that form.
pub fn rkm_code(text: &str) -> Calculated<f64> {
    let wrong = || CalcError::OutOfRange {
        name: "text",
        found: text.to_owned(),
        fix: "one letter of L R K M G T stands for the point, as in 4K7, R47, 135R",
    };
    let at = text
        .find(|c: char| c.is_ascii_alphabetic())
        .ok_or_else(wrong)?;
    // Powers of ten as divisors where below one, so that R47 is 0.47 to the last bit.
    let (whole, fraction) = (&text[..at], &text[at + 1..]);
    let power = match text.as_bytes()[at] {
        b'L' => -3,
        b'R' => 0,
        b'K' | b'k' => 3,
        b'M' => 6,
        b'G' => 9,
        b'T' => 12,
        _ => return Err(wrong()),
    };
    let digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    if (whole.is_empty() && fraction.is_empty()) || !digits(whole) || !digits(fraction) {
        return Err(wrong());
    }
    format!(
        "{}.{}e{power}",
        if whole.is_empty() { "0" } else { whole },
        if fraction.is_empty() { "0" } else { fraction }
    )
    .parse()
    .map_err(|_| wrong())
}
