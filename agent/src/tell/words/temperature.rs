//! Temperatures in their reader's unit. Only here is °C converted.

use super::phrases::{Language, Phrases};
use crate::units::{Celsius, CelsiusDifference};
use traylight_config::TemperatureUnit;

/// How a language writes temperatures.
pub trait Temperatures {
    /// A temperature in a sentence or a column: `52 °C`.
    fn temperature(self, celsius: Celsius) -> String;

    /// The same in a title of the panel: `52C`.
    fn short_temperature(self, celsius: Celsius) -> String;

    /// The number alone, where its unit stands apart.
    fn degrees(self, celsius: Celsius) -> String;

    /// The unit after the sign for degrees: `C`.
    fn degree_letter(self) -> char;

    /// A temperature without rounding, as a limit is compared.
    fn exact_temperature(self, celsius: Celsius) -> String;

    /// How much warmer: `6 °C`.
    fn difference(self, difference: CelsiusDifference) -> String;

    /// The same to a tenth of a degree.
    fn exact_difference(self, difference: CelsiusDifference) -> String;
}

impl Temperatures for Language {
    fn temperature(self, celsius: Celsius) -> String {
        format!("{} °{}", self.degrees(celsius), self.degree_letter())
    }

    fn short_temperature(self, celsius: Celsius) -> String {
        format!("{}{}", self.degrees(celsius), self.degree_letter())
    }

    fn degrees(self, celsius: Celsius) -> String {
        format!("{:.0}", converted(self, celsius))
    }

    fn degree_letter(self) -> char {
        match self.temperatures {
            TemperatureUnit::Celsius => 'C',
            TemperatureUnit::Fahrenheit => 'F',
        }
    }

    fn exact_temperature(self, celsius: Celsius) -> String {
        format!("{} °{}", self.figure(tenths(converted(self, celsius))), self.degree_letter())
    }

    fn difference(self, CelsiusDifference(degrees): CelsiusDifference) -> String {
        format!("{:.0} °{}", degrees * scale(self), self.degree_letter())
    }

    fn exact_difference(self, CelsiusDifference(degrees): CelsiusDifference) -> String {
        format!("{} °{}", self.figure(tenths(degrees * scale(self))), self.degree_letter())
    }
}

fn converted(language: Language, Celsius(degrees): Celsius) -> f64 {
    let zero = match language.temperatures {
        TemperatureUnit::Celsius => 0.0,
        TemperatureUnit::Fahrenheit => 32.0,
    };
    degrees * scale(language) + zero
}

fn scale(language: Language) -> f64 {
    match language.temperatures {
        TemperatureUnit::Celsius => 1.0,
        TemperatureUnit::Fahrenheit => 1.8,
    }
}

/// Without the noise of binary fractions: 45.5 °C is 113.9 °F.
fn tenths(degrees: f64) -> f64 {
    (degrees * 10.0).round() / 10.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fahrenheit_moves_its_zero_for_a_temperature_and_not_for_a_difference() {
        let fahrenheit = Language { temperatures: TemperatureUnit::Fahrenheit, ..Language::GERMAN };
        for (language, words) in [
            (Language::ENGLISH, ["52 °C", "52C", "45.5 °C", "6 °C", "6.5 °C"]),
            (fahrenheit, ["126 °F", "126F", "113,9 °F", "12 °F", "11,7 °F"]),
        ] {
            let written = [
                language.temperature(Celsius(52.0)),
                language.short_temperature(Celsius(52.0)),
                language.exact_temperature(Celsius(45.5)),
                language.difference(CelsiusDifference(6.5)),
                language.exact_difference(CelsiusDifference(6.5)),
            ];
            assert_eq!(written, words);
        }
    }
}
