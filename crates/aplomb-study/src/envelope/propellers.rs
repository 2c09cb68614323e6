//! What is known about the accuracy of the propellers' thrust and power.

use aplomb_craft::propeller::{CROSS_VALIDATED_ERROR, MEASURED_PROPELLERS};
use aplomb_craft::rotor::Inflow;

use crate::craft::Craft;
use crate::number::fixed;

/// Accuracy of thrust and power of the propellers of `craft`, in words for its builder. Flights of the same
/// model do not show this error.
#[must_use]
pub fn accuracy_words(craft: &Craft) -> String {
    let origin = match craft.config.rotor.inflow {
        Inflow::Designated(_) => {
            let [thrust, power] = CROSS_VALIDATED_ERROR.map(|share| fixed(100.0 * share, 0));
            format!(
                "Thrust and power of its propellers are computed from their designation. For a make of propeller that the \
                 computation has not seen, they differ from measurements by {thrust} % and {power} % on average (each make \
                 left out in turn, {MEASURED_PROPELLERS} propellers in static tests). Expect errors of that size in \
                 thrust, climb and endurance; measured rows or coefficients in the craft file replace the computation."
            )
        }
        Inflow::Measured(..) => {
            "Thrust and power of its propellers are those of the measured rows in the craft file, at the \
                                 measured speeds within 0.5 %."
                .to_owned()
        }
        Inflow::Constant => {
            "Thrust and power of its propellers follow from the constants in the craft file, and are as \
                             accurate as these. Constants do not depend on the flow through the propellers."
                .to_owned()
        }
    };
    format!("{origin} The confirming flights use the same propellers, so they do not show this error.")
}
