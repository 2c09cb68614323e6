//! Induced velocity of a rotor by momentum theory, and by a published fit where that does not apply.
//!
//! With `vh = sqrt(T/(2 rho A))` and the axial flow V (positive in a climb):
//! - `V >= 0`: `v = -V/2 + sqrt(V^2/4 + vh^2)`;
//! - vortex ring and turbulent wake, `-2 vh < V < 0`:
//!   `v/vh = 1 - 1.125 x - 1.372 x^2 - 1.718 x^3 - 0.655 x^4`, `x = V/vh`;
//! - windmill: `v = -V/2 - sqrt(V^2/4 - vh^2)`
//!
//! (Leishman, Principles of Helicopter Aerodynamics, 2nd ed. 2006, ch. 2; coefficients of the fit from
//! memory). The fit ends at 1.026 vh, where the windmill branch begins at 1 vh. It is therefore extended to
//! their intersection at x = -2.042. Just below hover the fit has more than twice the slope of momentum
//! theory, so a rotor in a slow descent would lose thrust. The wake is still regular there, so the fit is
//! blended in linearly from the climb branch over `-0.5 < x < 0`.

//! An edgewise flow e convects the wake away: `v sqrt(e^2 + (V + v)^2) = vh^2` (Glauert 1926, ARC R&M 1111;
//! Leishman, ibid.). In an inclined descent the increase of the fit over hover is blended into Glauert's as e
//! grows to vh.

/// Intersection of the fit with the windmill branch.
const MEETING: f64 = -2.042_327_301_921_998;
/// Start of the fit at full weight.
const FIT_BEGINS: f64 = -0.5;

/// Induced velocity (m/s) at the axial flow `axial_m_s` for the hover value `hover_m_s` = vh >= 0.
///
/// ```
/// use aplomb_craft::propeller::momentum::induced_m_s;
/// assert!((induced_m_s(1.0, 1.0) - 0.618034).abs() < 1e-6);
/// assert_eq!(induced_m_s(3.0, 0.0), 0.0);
/// ```
pub fn induced_m_s(axial_m_s: f64, hover_m_s: f64) -> f64 {
    if hover_m_s <= 0.0 {
        return 0.0;
    }
    let x = axial_m_s / hover_m_s;
    let half = 0.5 * x;
    // -x/2 + sqrt(x^2/4 + 1) without cancellation.
    let climb = || 1.0 / (half + libm::sqrt(half * half + 1.0));
    let ratio = if x >= 0.0 {
        climb()
    } else if x > MEETING {
        let fit = 1.0 + x * (-1.125 + x * (-1.372 + x * (-1.718 - 0.655 * x)));
        if x < FIT_BEGINS { fit } else { climb() + (fit - climb()) * (x / FIT_BEGINS) }
    } else {
        1.0 / (-half + libm::sqrt(half * half - 1.0))
    };
    ratio * hover_m_s
}

/// [`induced_m_s`] with an additional edgewise flow `edgewise_m_s`.
pub fn induced_edgewise_m_s(axial_m_s: f64, edgewise_m_s: f64, hover_m_s: f64) -> f64 {
    if hover_m_s <= 0.0 || edgewise_m_s == 0.0 {
        return induced_m_s(axial_m_s, hover_m_s);
    }
    let (x, m) = (axial_m_s / hover_m_s, edgewise_m_s.abs() / hover_m_s);
    if x >= 0.0 {
        return hover_m_s * swept(x, m);
    }
    let level = swept(0.0, m);
    let vortex = (1.0 - m).max(0.0);
    let rise = (induced_m_s(x, 1.0) - 1.0) * vortex + (swept(x, m) / level - 1.0) * (1.0 - vortex);
    hover_m_s * level * (1.0 + rise)
}

/// Glauert's induced velocity over vh at the axial flow `x` and the edgewise flow `m` > 0, both over vh.
fn swept(x: f64, m: f64) -> f64 {
    // The product is monotonic in v for x >= 0, else for m of about 1 and above. Newton's method from below
    // overshoots once, then converges from above.
    let mut v = 1.0 / libm::sqrt(m * m + libm::fmax(x, 0.0) * libm::fmax(x, 0.0) + 1.0);
    for _ in 0..12 {
        let through = x + v;
        let whole = libm::sqrt(m * m + through * through);
        let slope = whole + v * through / whole;
        v = (v - (v * whole - 1.0) / libm::fmax(slope, 0.2)).clamp(0.0, 1.0 + x.abs());
    }
    v
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn validate_branches() {
        // Leishman 2006, ch. 2: V/vh, vi/vh.
        for (axial, induced) in
            [(0.0, 1.0), (0.5, 0.780_776), (1.0, 0.618_034), (2.0, 0.414_214), (-2.5, 0.5), (-3.0, 0.381_966)]
        {
            assert!((induced_m_s(axial, 1.0) - induced).abs() < 1e-6, "{axial}");
            // Scaling with vh.
            assert!((induced_m_s(5.0 * axial, 5.0) - 5.0 * induced).abs() < 5e-6, "{axial}");
        }
        // D 0.2032 m, 2 N, 1.225 kg/m3: vh 5.0172 m/s.
        let area = core::f64::consts::PI * 0.1016 * 0.1016;
        assert!((libm::sqrt(2.0 / (2.0 * 1.225 * area)) - 5.0172).abs() < 5e-5);
    }

    #[test]
    fn validate_vortex_ring_by_its_fit() {
        // The published polynomial at x = -1 and -1.5, by hand.
        assert!((induced_m_s(-1.0, 1.0) - 1.816).abs() < 1e-12);
        assert!((induced_m_s(-1.5, 1.0) - 2.082_812_5).abs() < 1e-12);
        // The twin: the climb branch continued grows instead of falling towards the windmill state.
        let continued = |x: f64| -0.5 * x + (0.25 * x * x + 1.0).sqrt();
        assert!(induced_m_s(-1.9, 1.0) < induced_m_s(-1.5, 1.0) && continued(-1.9) > continued(-1.5));
    }

    #[test]
    fn validate_level_flight() {
        // Glauert's equation at V = 0 (Leishman 2006, ch. 2): edgewise flow over vh, vi/vh.
        for (edgewise, induced) in [(0.5, 0.939_565), (1.0, 0.786_151), (2.0, 0.485_868), (3.0, 0.331_319)] {
            let found = induced_edgewise_m_s(0.0, 5.0 * edgewise, 5.0) / 5.0;
            assert!((found - induced).abs() < 1e-6, "{edgewise}: {found}");
            // The twin: the axial law does not depend on it.
            assert!((induced_m_s(0.0, 5.0) / 5.0 - induced).abs() > 0.05);
        }
        // Glauert's equation holds in climb and in a fast inclined descent.
        for (x, m) in [(0.5, 0.3), (2.0, 1.0), (0.1, 4.0), (-0.5, 1.5), (-1.5, 2.0), (-2.5, 3.0)] {
            let v: f64 = swept(x, m);
            assert!((v * (m * m + (x + v) * (x + v)).sqrt() - 1.0).abs() < 1e-9, "{x} {m}: {v}");
        }
        // Without edgewise flow both agree, and they join.
        for x in [-1.5, -0.3, 0.0, 0.7] {
            assert_eq!(induced_edgewise_m_s(x, 0.0, 1.0), induced_m_s(x, 1.0));
            assert!((induced_edgewise_m_s(x, 1e-7, 1.0) - induced_m_s(x, 1.0)).abs() < 1e-6, "{x}");
        }
        let jump = induced_edgewise_m_s(1e-9, 0.6, 1.0) - induced_edgewise_m_s(-1e-9, 0.6, 1.0);
        assert!(jump.abs() < 1e-6, "{jump}");
    }

    #[test]
    fn slow_descent_has_less_flow_through_the_disc_than_hover() {
        // The flow through the disc, V + v, falls monotonically from hover on; otherwise a descent would be
        // unstable.
        for step in 0..50 {
            let x = -0.01 * f64::from(step);
            assert!(x + induced_m_s(x, 1.0) > x - 0.01 + induced_m_s(x - 0.01, 1.0), "{x}");
        }
        let slope = (induced_m_s(1e-6, 1.0) - induced_m_s(-1e-6, 1.0)) / 2e-6;
        assert!((slope + 0.5).abs() < 1e-5, "{slope}");
    }

    #[test]
    fn branches_meet() {
        for x in [0.0, FIT_BEGINS, MEETING] {
            let jump = induced_m_s(x + 1e-9, 1.0) - induced_m_s(x - 1e-9, 1.0);
            assert!(jump.abs() < 1e-6, "{x}: {jump}");
        }
    }
}
