//! Wind: PGN 130306.

use super::field::Fields;
use crate::messages::{Reading, WindReference};

/// PGN 130306: wind speed and direction. References 3 (over ground) and 4 (through water) both count from the bow.
pub(super) fn wind(message: &[u8], out: &mut Vec<Reading>) {
    let fields = Fields(message);
    let reference = match fields.unsigned(40, 3) {
        Ok(0) => Some(WindReference::TrueNorth),
        Ok(1) => Some(WindReference::MagneticNorth),
        Ok(2) => Some(WindReference::Apparent),
        Ok(3 | 4) => Some(WindReference::TrueFromBow),
        _ => None,
    };
    let (angle_deg, speed_kn) = (fields.direction_deg(24), fields.speed_kn(8));
    out.push(Reading::Wind { angle_deg, speed_kn, reference });
}
