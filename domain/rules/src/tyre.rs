//! Tyre pressure and temperature (section 1 of the computation).

/// Standard atmosphere, kPa (ISO 2533).
const ATMOSPHERE_KPA: f64 = 101.325;

/// 0 degC in kelvin.
const ZERO_C_K: f64 = 273.15;

/// Pressure over atmosphere, kPa, that a tyre holding `pressure_kpa` at `measured_c` has at `at_c`: the gas law at
/// constant volume, on absolute pressure. A 17 psi tyre loses 0.6 psi per 10 degF, not 1.
pub fn pressure_at(pressure_kpa: f64, measured_c: f64, at_c: f64) -> f64 {
    (pressure_kpa + ATMOSPHERE_KPA) * (at_c + ZERO_C_K) / (measured_c + ZERO_C_K) - ATMOSPHERE_KPA
}
