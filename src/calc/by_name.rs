//! Calculations by name, with JSON inputs: one table row a function.

use serde_json::{Map, Value, json};

use super::signal::Action;
use super::{
    CalcError, Calculated, curves, decision, diagnosis, history, loops, meter, potentiometer,
    published,
};
use super::{rounding, signal, travel};
use crate::spelling::distance;

/// A calculation that can be called by name.
pub struct Function {
    /// Its name.
    pub name: &'static str,
    /// Its inputs, in words: name and unit; those after `[` may be left out.
    pub inputs: &'static str,
    call: fn(&Inputs) -> Calculated<Value>,
}

impl Function {
    /// The inputs in words.
    #[must_use]
    pub fn inputs_text(&self) -> &'static str {
        self.inputs
    }

    fn knows(&self, input: &str) -> bool {
        self.inputs
            .split([',', '[', ']'])
            .filter_map(|part| part.split_whitespace().next())
            .any(|known| known == input)
            // Labels that a table may carry along.
            || matches!(input, "unit" | "run" | "note")
    }
}

/// Calls a calculation by name.
///
/// # Errors
/// If there is none of that name, or an input is missing, unknown, of the wrong kind, or out of range.
pub fn evaluate(name: &str, inputs: &Value) -> Calculated<Value> {
    let function = FUNCTIONS
        .iter()
        .find(|function| function.name == name)
        .ok_or_else(|| CalcError::UnknownFunction {
            name: name.to_owned(),
            hint: nearest(name),
        })?;
    let Value::Object(map) = inputs else {
        return Err(CalcError::NotAnObject {
            found: shown(inputs),
        });
    };
    if let Some(unknown) = map.keys().find(|key| !function.knows(key)) {
        return Err(CalcError::Unknown {
            name: unknown.clone(),
            known: function.inputs.to_owned(),
        });
    }
    let result = (function.call)(&Inputs(map))?;
    if is_finite(&result) {
        Ok(result)
    } else {
        Err(CalcError::NotFinite { what: "result" })
    }
}

/// JSON has no NaN or infinity: serde writes null for them.
fn is_finite(value: &Value) -> bool {
    match value {
        Value::Null => false,
        Value::Array(list) => list.iter().all(is_finite),
        _ => true,
    }
}

fn nearest(name: &str) -> Option<String> {
    FUNCTIONS
        .iter()
        .map(|function| (distance(name, function.name), function.name))
        .min()
        .filter(|(distance, _)| *distance <= 3.max(name.len() / 4))
        .map(|(_, name)| name.to_owned())
}

fn shown(value: &Value) -> String {
    let text = value.to_string();
    if text.chars().count() > 60 {
        format!("{}…", text.chars().take(60).collect::<String>())
    } else {
        text
    }
}

/// The inputs of one call.
struct Inputs<'a>(&'a Map<String, Value>);

impl Inputs<'_> {
    fn wrong(name: &str, value: &Value, wanted: &'static str) -> CalcError {
        CalcError::WrongKind {
            name: name.to_owned(),
            found: shown(value),
            wanted,
        }
    }

    fn get(&self, name: &str, wanted: &'static str) -> Calculated<&Value> {
        self.0.get(name).ok_or_else(|| CalcError::Missing {
            name: name.to_owned(),
            wanted,
        })
    }

    fn number_of(name: &str, value: &Value) -> Calculated<f64> {
        value
            .as_f64()
            .filter(|number| number.is_finite())
            .ok_or_else(|| Self::wrong(name, value, "a finite number"))
    }

    fn num(&self, name: &str) -> Calculated<f64> {
        Self::number_of(name, self.get(name, "a number")?)
    }

    fn num_or(&self, name: &str, default: f64) -> Calculated<f64> {
        self.0
            .get(name)
            .map_or(Ok(default), |value| Self::number_of(name, value))
    }

    fn has(&self, name: &str) -> bool {
        self.0.contains_key(name)
    }

    fn text(&self, name: &str) -> Calculated<&str> {
        let value = self.get(name, "a text")?;
        value
            .as_str()
            .ok_or_else(|| Self::wrong(name, value, "a text in quotes"))
    }

    fn yes(&self, name: &str) -> Calculated<bool> {
        let value = self.get(name, "true or false")?;
        value
            .as_bool()
            .ok_or_else(|| Self::wrong(name, value, "true or false"))
    }

    fn list_of(name: &str, value: &Value) -> Calculated<Vec<f64>> {
        let list = value
            .as_array()
            .ok_or_else(|| Self::wrong(name, value, "a list of numbers"))?;
        list.iter()
            .map(|number| Self::number_of(name, number))
            .collect()
    }

    fn list(&self, name: &str) -> Calculated<Vec<f64>> {
        Self::list_of(name, self.get(name, "a list of numbers")?)
    }

    fn lists(&self, name: &str) -> Calculated<Vec<Vec<f64>>> {
        let value = self.get(name, "a list of lists of numbers")?;
        let list = value
            .as_array()
            .ok_or_else(|| Self::wrong(name, value, "a list of lists of numbers"))?;
        list.iter()
            .map(|inner| Self::list_of(name, inner))
            .collect()
    }

    fn pair(&self, name: &str, default: (f64, f64)) -> Calculated<(f64, f64)> {
        if !self.has(name) {
            return Ok(default);
        }
        match self.list(name)?.as_slice() {
            [low, high] => Ok((*low, *high)),
            _ => Err(Self::wrong(name, &self.0[name], "a list of two numbers")),
        }
    }

    fn action(&self) -> Calculated<Action> {
        let word = if self.has("action") {
            self.text("action")?
        } else {
            "direct"
        };
        Action::named(word)
            .ok_or_else(|| Self::wrong("action", &json!(word), "\"direct\" or \"reverse\""))
    }

    /// A resistance, or the word for over limit.
    fn ohms(&self, name: &str) -> Calculated<diagnosis::Ohms> {
        let value = self.get(name, "a resistance in ohm, or \"OL\"")?;
        match value.as_str() {
            Some("OL" | "OPEN" | "open" | "inf") => Ok(diagnosis::Ohms::OverLimit),
            Some(_) => Err(Self::wrong(name, value, "a resistance in ohm, or \"OL\"")),
            None => Self::number_of(name, value).map(diagnosis::Ohms::Value),
        }
    }

    fn run(&self) -> Calculated<curves::UpDown> {
        curves::UpDown::new(&self.list("x")?, &self.list("up")?, &self.list("down")?)
    }

    fn norris(&self) -> Calculated<published::Line> {
        // A table may say "as in the row before" instead of repeating the published data.
        let published = |name: &str| self.0.get(name).is_none_or(Value::is_string);
        if published("x") && published("y") {
            let (x, y): (Vec<f64>, Vec<f64>) = published::NORRIS.iter().copied().unzip();
            return published::line(&x, &y);
        }
        published::line(&self.list("x")?, &self.list("y")?)
    }

    fn thermometer(&self) -> Calculated<published::Line> {
        let t0 = self.num("t0")?;
        let t: Vec<f64> = self.list("t")?.iter().map(|t| t - t0).collect();
        published::line(&t, &self.list("b")?)
    }

    fn tolerance(&self) -> Calculated<(f64, f64)> {
        Ok((self.num("tol_lo")?, self.num("tol_hi")?))
    }
}

fn pass(ok: bool) -> &'static str {
    if ok { "pass" } else { "fail" }
}

/// A small whole number; the caller has checked that it is one.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
fn whole(number: f64) -> u32 {
    number as u32
}

macro_rules! functions {
    ($($name:literal, $inputs:literal, |$i:ident| $body:expr;)*) => {
        /// All calculations that can be called by name.
        pub static FUNCTIONS: &[Function] = &[
            $(Function { name: $name, inputs: $inputs, call: |$i: &Inputs| Ok(json!($body)) },)*
        ];
    };
}

functions! {
    "signal_to_percent", "signal, lo, hi, [action]", |i| signal::signal_to_percent(i.num("signal")?, i.num("lo")?, i.num("hi")?, i.action()?)?;
    "percent_to_signal", "percent, lo, hi, [action]", |i| signal::percent_to_signal(i.num("percent")?, i.num("lo")?, i.num("hi")?, i.action()?)?;
    "deviation_pct_span", "measured, expected, lo, hi", |i| signal::deviation_pct_span(i.num("measured")?, i.num("expected")?, i.num("lo")?, i.num("hi")?)?;
    "clamp_travel_pct", "percent %", |i| signal::clamp_travel_pct(i.num("percent")?);
    "eq_percent", "rangeability, x", |i| signal::eq_percent(i.num("rangeability")?, i.num("x")?)?;
    "eq_percent_zero_based", "rangeability, x", |i| signal::eq_percent_zero_based(i.num("rangeability")?, i.num("x")?)?;
    "square_root_char", "x", |i| signal::square_root_char(i.num("x")?)?;
    "square_char", "x", |i| i.num("x")?.powi(2);
    "ne43_classify", "mA", |i| signal::ne43_classify(i.num("mA")?);
    "mA_through_250ohm_to_V", "mA, ohm", |i| signal::current_through_resistor_volts(i.num("mA")?, i.num("ohm")?);
    "shunt_pct_error", "shunt_ohm, nominal ohm", |i| signal::shunt_pct_error(i.num("shunt_ohm")?, i.num("nominal")?)?;
    "action_detect", "command_pct, feedback_mA", |i| signal::action_detect(&i.list("command_pct")?, &i.list("feedback_mA")?)?;

    "pot_total_tolerance", "r_total ohm, nominal ohm, tol_pct", |i| {
        let (deviation, ok) = potentiometer::total_tolerance(i.num("r_total")?, i.num("nominal")?, i.num("tol_pct")?)?;
        (deviation, pass(ok))
    };
    "pot_centring_error_pct", "r_wiper_end ohm, r_total ohm", |i| potentiometer::centring_error_pct(i.num("r_wiper_end")?, i.num("r_total")?)?;
    "pot_fraction_from_pair", "r_aw ohm, r_wb ohm", |i| potentiometer::fraction_from_pair(i.num("r_aw")?, i.num("r_wb")?)?;
    "pot_predict_ends", "r_mid ohm, r_total ohm, travel_deg, gear_ratio, electrical_angle_deg", |i| {
        let (total, gear, angle) = (super::positive("r_total", i.num("r_total")?)?, i.num("gear_ratio")?, i.num("electrical_angle_deg")?);
        let ends = potentiometer::predict_ends(i.num("r_mid")? / total, i.num("travel_deg")?, gear, angle)?;
        [total * ends.low, total * ends.high, ends.margin * angle, ends.margin * total, ends.margin * angle / gear]
    };
    "pot_end_angles", "r_mid ohm, r_total ohm, travel_deg, gear_ratio, electrical_angle_deg", |i| {
        let total = super::positive("r_total", i.num("r_total")?)?;
        let angle = i.num("electrical_angle_deg")?;
        let ends = potentiometer::predict_ends(i.num("r_mid")? / total, i.num("travel_deg")?, i.num("gear_ratio")?, angle)?;
        [ends.low * angle, ends.high * angle]
    };
    "pot_predict_ends_off_mid", "m, f, h, rises_toward_open", |i| potentiometer::predict_ends_off_mid(i.num("m")?, i.num("f")?, i.num("h")?, i.yes("rises_toward_open")?)?;
    "pot_turn_to_centre", "r_mid ohm, r_total ohm, electrical_angle_deg, gear_ratio", |i| potentiometer::turn_to_centre(i.num("r_mid")?, i.num("r_total")?, i.num("electrical_angle_deg")?, i.num("gear_ratio")?)?;
    "ohms_per_output_degree", "r_total ohm, electrical_angle_deg, gear_ratio", |i| potentiometer::ohms_per_output_degree(i.num("r_total")?, i.num("electrical_angle_deg")?, i.num("gear_ratio")?)?;
    "backlash_ohm", "output_deg, r_total ohm, electrical_angle_deg, gear_ratio", |i| potentiometer::backlash_ohm(i.num("output_deg")?, i.num("r_total")?, i.num("electrical_angle_deg")?, i.num("gear_ratio")?)?;
    "end_lead_identify", "reading ohm, expected ohm, r_total ohm, tol_pct_total", |i| potentiometer::end_lead_identify(i.num("reading")?, i.num("expected")?, i.num("r_total")?, i.num("tol_pct_total")?)?;
    "end_lead_two_point", "r_closed ohm, r_open ohm, r_total ohm, [min_change_pct]", |i| potentiometer::end_lead_two_point(i.num("r_closed")?, i.num("r_open")?, i.num("r_total")?, i.num_or("min_change_pct", 2.0)?)?;
    "pot_three_terminal", "r_aw ohm, r_wb ohm, r_ab ohm", |i| potentiometer::three_terminal(i.num("r_aw")?, i.num("r_wb")?, i.num("r_ab")?)?;
    "pot_three_terminal_leads_unzeroed", "r_aw ohm, r_wb ohm, r_ab ohm, leads ohm", |i| potentiometer::three_terminal_leads_unzeroed(i.num("r_aw")?, i.num("r_wb")?, i.num("r_ab")?, i.num("leads")?);
    "pot_in_circuit_readings", "r_aw ohm, r_wb ohm, r_source_ab ohm, r_in_wb ohm", |i| potentiometer::in_circuit_readings(i.num("r_aw")?, i.num("r_wb")?, i.num("r_source_ab")?, i.num("r_in_wb")?)?;
    "wiper_loading", "x, r_total ohm, r_load ohm", |i| potentiometer::wiper_loading(i.num("x")?, i.num("r_total")?, i.num("r_load")?)?;
    "wiper_loading_max", "r_total ohm, r_load ohm", |i| potentiometer::wiper_loading_max(i.num("r_total")?, i.num("r_load")?)?;
    "lead_zero_subtract", "reading ohm, leads_shorted ohm", |i| i.num("reading")? - i.num("leads_shorted")?;
    "pot_diagnose", "r_ab ohm or OL, r_aw ohm or OL, r_wb ohm or OL, nominal ohm, tol_pct", |i| {
        let limits = diagnosis::Limits::usual(i.num("nominal")?, i.num("tol_pct")?);
        diagnosis::pot_diagnose(i.ohms("r_ab")?, i.ohms("r_aw")?, i.ohms("r_wb")?, &limits)?
    };

    "loop_max_resistance", "v_supply V, v_min_device V, i_max_mA", |i| loops::loop_max_resistance(i.num("v_supply")?, i.num("v_min_device")?, i.num("i_max_mA")?)?;
    "loop_terminal_voltage", "v_supply V, i_mA, r_loop ohm", |i| loops::loop_terminal_voltage(i.num("v_supply")?, i.num("i_mA")?, i.num("r_loop")?);
    "source_output_voltage_needed", "i_mA, r_input ohm, r_leads ohm", |i| loops::source_output_voltage_needed(i.num("i_mA")?, i.num("r_input")?, i.num("r_leads")?);
    "copper_lead_resistance", "ohm_per_km_20C, length_m, temp_C, conductors", |i| loops::copper_lead_resistance(i.num("ohm_per_km_20C")?, i.num("length_m")?, i.num("temp_C")?, i.num("conductors")?)?;
    "iec60228_class1_2_ohm_per_km", "mm2", |i| loops::iec60228_class1_2_ohm_per_km(i.num("mm2")?)?;
    "iec60228_class5_ohm_per_km", "mm2", |i| loops::iec60228_class5_ohm_per_km(i.num("mm2")?)?;
    "iec60228_kt", "temp_C", |i| loops::iec60228_kt(i.num("temp_C")?)?;
    "awg_ohm_per_kft_solid_20C", "awg", |i| loops::awg_ohm_per_kft_solid_20c(i.num("awg")?)?;
    "awg_diameter_mm", "awg", |i| loops::awg_diameter_mm(i.num("awg")?)?;
    "awg_ohm_per_km_from_formula", "awg", |i| loops::awg_ohm_per_km_from_formula(i.num("awg")?)?;
    "e_series_e6", "", |_i| loops::E6;
    "e_series_e12", "", |_i| loops::E12;
    "iec60062_tolerance_letter", "letter", |i| loops::iec60062_tolerance_letter(i.text("letter")?)?;
    "rkm_code", "text", |i| loops::rkm_code(i.text("text")?)?;

    "max_measured_error", "x, up, down", |i| i.run()?.max_measured_error();
    "hysteresis_pct_span", "x, up, down", |i| i.run()?.hysteresis();
    "nonlin_terminal_based", "x, up, down", |i| i.run()?.terminal_based();
    "nonlin_independent", "x, up, down", |i| i.run()?.independent();
    "nonlin_independent_lsq", "x, up, down", |i| i.run()?.least_squares();
    "nonlin_zero_based", "x, up, down", |i| i.run()?.zero_based();
    "isa51_hysteresis", "hysteretic_error_pct, dead_band_pct", |i| curves::isa51_hysteresis(i.num("hysteretic_error_pct")?, i.num("dead_band_pct")?);
    "repeatability_pct_span", "cycles_up, cycles_down, span", |i| {
        let mut cycles = i.lists("cycles_up")?;
        if i.has("cycles_down") { cycles.extend(i.lists("cycles_down")?); }
        curves::repeatability_pct_span(&cycles, i.num("span")?)?
    };
    "dead_band_pct", "moved_at_up, moved_at_down, lo, hi", |i| curves::dead_band_pct(&i.list("moved_at_up")?, &i.list("moved_at_down")?, i.num("lo")?, i.num("hi")?)?;
    "std_dev_sample", "values", |i| curves::std_dev_sample(&i.list("values")?)?;

    "travel_deg", "closed_deg, open_deg, nominal deg", |i| travel::travel_deg(i.num("closed_deg")?, i.num("open_deg")?, i.num("nominal")?)?;
    "stroke_rate", "time_s, travel_pct", |i| travel::stroke_rate(i.num("time_s")?, i.num("travel_pct")?)?;
    "stroke_time_freq_scale", "time_s, f_rated Hz, f_site Hz", |i| travel::stroke_time_freq_scale(i.num("time_s")?, i.num("f_rated")?, i.num("f_site")?)?;
    "stroke_time_deviation_pct", "measured_s, nameplate_s", |i| travel::stroke_time_deviation_pct(i.num("measured_s")?, i.num("nameplate_s")?)?;
    "speed_asymmetry_pct", "open_s, close_s", |i| travel::speed_asymmetry_pct(i.num("open_s")?, i.num("close_s")?)?;
    "duty_cycle_pct", "on_s, window_s", |i| travel::duty_cycle_pct(&i.list("on_s")?, i.num("window_s")?)?;
    "starts_per_hour", "starts, window_s", |i| travel::starts_per_hour(i.num("starts")?, i.num("window_s")?)?;
    "starts_vs_duty", "starts, window_s, limit_per_h", |i| travel::starts_vs_duty(i.num("starts")?, i.num("window_s")?, i.num("limit_per_h")?)?;
    "class_c_starts_per_hour", "rated_torque_Nm", |i| travel::class_c_starts_per_hour(i.num("rated_torque_Nm")?)?;
    "class_c_endurance_starts", "rated_torque_Nm", |i| travel::class_c_endurance_starts(i.num("rated_torque_Nm")?)?;
    "step_T63_T86", "t s, y, t_step s, y_start, y_final", |i| travel::step_t63_t86(&i.list("t")?, &i.list("y")?, i.num("t_step")?, i.num("y_start")?, i.num("y_final")?)?;
    "step_first_order", "dead_time s, tau s", |i| travel::step_first_order(i.num("dead_time")?, i.num("tau")?)?;
    "step_rate_limited", "dead_time s, step_pct, rate_pct_per_s", |i| travel::step_rate_limited(i.num("dead_time")?, i.num("step_pct")?, i.num("rate_pct_per_s")?)?;
    "dead_time_from_trace", "t s, y, t_step s, threshold_pct", |i| travel::dead_time_from_trace(&i.list("t")?, &i.list("y")?, i.num("t_step")?, i.num("threshold_pct")?)?;
    "supply_voltage_ok", "measured V, nominal V, tol_pct", |i| {
        let (deviation, ok) = travel::supply_voltage_ok(i.num("measured")?, i.num("nominal")?, i.num("tol_pct")?)?;
        (deviation, pass(ok))
    };
    "voltage_drop_pct", "no_load V, running V", |i| travel::voltage_drop_pct(i.num("no_load")?, i.num("running")?)?;
    "ir_temp_correct_to_40C", "ir_Mohm, temp_C", |i| travel::ir_temp_correct_to_40c(i.num("ir_Mohm")?, i.num("temp_C")?)?;

    "meter_limit_and_u", "pct_rdg, counts, resolution, reading", |i| {
        let spec = meter::MeterSpec { percent_of_reading: i.num("pct_rdg")?, counts: i.num("counts")?, resolution: i.num("resolution")? };
        (spec.limit(i.num("reading")?)?, spec.standard_uncertainty(i.num("reading")?)?)
    };
    "gum_rectangular_u", "half_width", |i| meter::rectangular_u(i.num("half_width")?)?;
    "gum_triangular_u", "half_width", |i| meter::triangular_u(i.num("half_width")?)?;
    "gum_arcsine_u", "half_width", |i| meter::arcsine_u(i.num("half_width")?)?;
    "gum_resolution_u", "resolution", |i| meter::resolution_u(i.num("resolution")?)?;
    "gum_combine", "components (lists of u and sensitivity), [k]", |i| {
        let mut parts = Vec::new();
        for part in i.lists("components")? {
            match part.as_slice() {
                [u, c] => parts.push((*u, *c)),
                [u] => parts.push((*u, 1.0)),
                _ => return Err(Inputs::wrong("components", &json!(part), "lists of an uncertainty and its sensitivity")),
            }
        }
        meter::combine(&parts, i.num_or("k", 2.0)?)?
    };
    "gum_percent_from_mA", "u_reading_mA, u_ref_mA, u_repeat_mA, span_mA, [k]", |i| meter::percent_of_span(&[i.num("u_reading_mA")?, i.num("u_ref_mA")?, i.num("u_repeat_mA")?], i.num("span_mA")?, i.num_or("k", 2.0)?)?;
    "gum_ratio_of_two_readings", "r_aw ohm, u_aw ohm, [r_wb ohm, u_wb ohm, r_total ohm, u_total ohm]", |i| {
        if i.has("r_total") {
            meter::ratio_to_total(i.num("r_aw")?, i.num("u_aw")?, i.num("r_total")?, i.num("u_total")?)?
        } else {
            meter::ratio_of_two_readings(i.num("r_aw")?, i.num("u_aw")?, i.num("r_wb")?, i.num("u_wb")?)?
        }
    };
    "welch_satterthwaite", "u, nu", |i| meter::welch_satterthwaite(&i.list("u")?, &i.list("nu")?)?;
    "coverage_factor_t", "p, nu", |i| meter::coverage_factor_t(i.num("p")?, i.num("nu")?)?;
    "gum_H1_end_gauge", "l_s_nm, u_ls nm, d_nm, u_d nm, d_alpha_half_width, theta K, u_theta K, d_theta_half_width K, alpha_s", |i| published::end_gauge(&published::EndGauge {
        l_s: i.num("l_s_nm")?, u_ls: i.num("u_ls")?, d: i.num("d_nm")?, u_d: i.num("u_d")?,
        d_alpha_half_width: i.num("d_alpha_half_width")?, theta: i.num("theta")?, u_theta: i.num("u_theta")?,
        d_theta_half_width: i.num("d_theta_half_width")?, alpha_s: i.num("alpha_s")?,
    })?;
    "gum_H2_resistance_reactance", "V, I_mA, phi_rad", |i| published::resistance_reactance(&i.list("V")?, &i.list("I_mA")?, &i.list("phi_rad")?)?;
    "gum_H3_thermometer_line", "t, b, t0", |i| {
        let line = i.thermometer()?;
        [line.intercept, line.slope, line.se_intercept, line.se_slope]
    };
    "gum_H3_predict", "t, b, t0, at", |i| i.thermometer()?.at(i.num("at")? - i.num("t0")?);
    "linreg_norris_intercept", "[x, y]", |i| i.norris()?.intercept;
    "linreg_norris_slope", "[x, y]", |i| i.norris()?.slope;
    "linreg_norris_se_intercept", "[x, y]", |i| i.norris()?.se_intercept;
    "linreg_norris_se_slope", "[x, y]", |i| i.norris()?.se_slope;
    "linreg_norris_r2", "[x, y]", |i| i.norris()?.r2;
    "linreg_norris_residual_sd", "[x, y]", |i| i.norris()?.residual_sd;

    "tur", "tol_lo, tol_hi, U", |i| { let (lo, hi) = i.tolerance()?; decision::tur(lo, hi, i.num("U")?)? };
    "measurement_capability_index", "tol_lo, tol_hi, u", |i| { let (lo, hi) = i.tolerance()?; decision::measurement_capability_index(lo, hi, i.num("u")?)? };
    "decision_ilac_g8", "y, tol_lo, tol_hi, U, [w (U, or a number)]", |i| {
        let (lo, hi) = i.tolerance()?;
        let w = match i.0.get("w") {
            None => i.num("U")?,
            Some(Value::String(word)) if word == "U" => i.num("U")?,
            Some(value) => Inputs::number_of("w", value)?,
        };
        decision::classify(i.num("y")?, lo, hi, w)?.word()
    };
    "guard_band_limits", "tol_lo, tol_hi, U", |i| { let (lo, hi) = i.tolerance()?; decision::guard_band_limits(lo, hi, i.num("U")?)? };
    "conformance_prob_one_sided_upper", "y, u, tol_hi", |i| decision::conformance_prob_one_sided_upper(i.num("y")?, i.num("u")?, i.num("tol_hi")?)?;
    "conformance_prob_two_sided", "y, u, tol_lo, tol_hi", |i| { let (lo, hi) = i.tolerance()?; decision::conformance_prob_two_sided(i.num("y")?, i.num("u")?, lo, hi)? };
    "simple_acceptance_max_risk", "[y_at (limit)]", |_i| decision::simple_acceptance_max_risk();
    "guard_band_false_accept", "[y (TU-U)], k", |i| decision::guard_band_false_accept(i.num("k")?)?;

    "drift_pct_span", "as_found_pct, last_as_left_pct, days", |i| history::drift_pct_span(i.num("as_found_pct")?, i.num("last_as_left_pct")?, i.num("days")?)?;
    "interval_suggest", "drift_pct, as_left_pct, days, limit_pct, [k, clamp, bounds_days]", |i| history::interval_suggest(
        i.num("drift_pct")?, i.num("as_left_pct")?, i.num("days")?, i.num("limit_pct")?, i.num_or("k", history::K)?,
        i.pair("clamp", history::CLAMP)?, i.pair("bounds_days", history::BOUNDS_DAYS)?,
    )?;

    "round_half_even_decimal", "value (text), decimals", |i| {
        let decimals = i.num("decimals")?;
        if decimals.fract() != 0.0 || !(0.0..=20.0).contains(&decimals) {
            return Err(CalcError::OutOfRange { name: "decimals", found: decimals.to_string(), fix: "give a whole number, 0 to 20" });
        }
        rounding::half_even(i.text("value")?, whole(decimals))?
    };
    "round_U_two_sig", "U, [sig]", |i| rounding::significant(&i.num("U")?.to_string(), whole(i.num_or("sig", 2.0)?.clamp(1.0, 15.0)))?;
    "report_value_with_U", "value (text), U (text)", |i| rounding::with_uncertainty(i.text("value")?, i.text("U")?)?;
    "spoken_precision_kept", "text", |i| rounding::as_spoken(i.text("text")?)?;
}
