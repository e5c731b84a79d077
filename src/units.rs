//! Vocabulary: angles on the circle, places on the ellipsoid, and the factors between units.

use crate::time::{DAY_US, Time, civil};
use geographiclib_rs::{Geodesic, InverseGeodesic};
use std::sync::LazyLock;
use world_magnetic_model::GeomagneticField;
use world_magnetic_model::time::{Date, Month};
use world_magnetic_model::uom::si::angle::degree;
use world_magnetic_model::uom::si::f32::{Angle, Length};
use world_magnetic_model::uom::si::length::meter;

/// Knots in one metre per second (1 kn = 1852 m/h exactly).
pub const KNOTS_PER_M_S: f64 = 3600.0 / 1852.0;

/// Metres in one international foot.
pub const M_PER_FOOT: f64 = 0.3048;

/// Metres in one fathom (six feet).
pub const M_PER_FATHOM: f64 = 1.8288;

/// Metres in one nautical mile.
pub const M_PER_NM: f64 = 1852.0;

/// A place: latitude and longitude in degrees on WGS-84, north and east positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Latitude, -90 to 90.
    pub lat_deg: f64,
    /// Longitude, -180 to 180.
    pub lon_deg: f64,
}

impl Place {
    /// A place, or `None` when a coordinate is not a number or lies outside the globe.
    #[must_use]
    pub fn new(lat_deg: f64, lon_deg: f64) -> Option<Self> {
        ((-90.0..=90.0).contains(&lat_deg) && (-180.0..=180.0).contains(&lon_deg))
            .then_some(Self { lat_deg, lon_deg })
    }

    /// Metres along the geodesic to `other` and the azimuth there in degrees (0 to 360, from true north).
    ///
    /// Source: C. F. F. Karney, "Algorithms for geodesics", J. Geodesy 87 (2013), by crate `geographiclib-rs`.
    #[must_use]
    pub fn to(self, other: Self) -> (f64, f64) {
        static WGS84: LazyLock<Geodesic> = LazyLock::new(Geodesic::wgs84);
        let (distance_m, azimuth, _, _) =
            WGS84.inverse(self.lat_deg, self.lon_deg, other.lat_deg, other.lon_deg);
        (distance_m, wrap_360(azimuth))
    }

    /// Metres north and east from here to a near `other` (error under 0.1 % within 50 km, below 85 degrees).
    ///
    /// The radii of curvature at this latitude (WGS-84, NIMA TR8350.2) carry the small differences; longitudes are
    /// compared on the circle, so the antimeridian is no edge.
    #[must_use]
    pub fn offset_to(self, other: Self) -> (f64, f64) {
        const A: f64 = 6_378_137.0;
        const E2: f64 = 6.694_379_990_141_317e-3;
        let phi = self.lat_deg.to_radians();
        let (sin, cos) = phi.sin_cos();
        let w2 = 1.0 - E2 * sin * sin;
        let w = w2.sqrt();
        let meridian = A * (1.0 - E2) / (w2 * w);
        let normal = A / w;
        let north = (other.lat_deg - self.lat_deg).to_radians() * meridian;
        let east = wrap_180(other.lon_deg - self.lon_deg).to_radians() * normal * cos;
        (north, east)
    }

    /// Magnetic variation here on a day, degrees, east positive; `None` for days that the model does not cover.
    ///
    /// Source: World Magnetic Model of NOAA NCEI and BGS, height 0, by crate `world_magnetic_model`.
    #[must_use]
    pub fn declination_deg(self, day: Time) -> Option<f64> {
        let (year, month, day) = civil(day.0.div_euclid(DAY_US));
        let month = Month::try_from(u8::try_from(month).ok()?).ok()?;
        let date =
            Date::from_calendar_date(i32::try_from(year).ok()?, month, u8::try_from(day).ok()?).ok()?;
        let field = GeomagneticField::new(
            Length::new::<meter>(0.0),
            Angle::new::<degree>(self.lat_deg as f32),
            Angle::new::<degree>(self.lon_deg as f32),
            date,
        )
        .ok()?;
        Some(f64::from(field.declination().get::<degree>()))
    }
}

/// The angle in 0 (included) to 360 (excluded).
#[must_use]
pub fn wrap_360(deg: f64) -> f64 {
    // Most angles are less than a turn away, where a sum is exact and much sooner done than a remainder.
    let wrapped = match deg {
        0.0..360.0 => deg,
        360.0..720.0 => deg - 360.0,
        -360.0..0.0 => deg + 360.0,
        _ => deg.rem_euclid(360.0),
    };
    if wrapped >= 360.0 { 0.0 } else { wrapped }
}

/// The length of a way or a change of so much along each of two axes. The library's takes care of squares that are no numbers any
/// more, which nothing on the water reaches, and takes five times as long.
#[must_use]
pub fn length([x, y]: [f64; 2]) -> f64 {
    (x * x + y * y).sqrt()
}

/// The angle in -180 (included) to 180 (excluded). `wrap_180(a - b)` is the way from `b` to `a`.
#[must_use]
pub fn wrap_180(deg: f64) -> f64 {
    wrap_360(deg + 180.0) - 180.0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked examples, section 4: difference of angles.
    #[test]
    fn differences_on_the_circle() {
        for (a, b, want) in [(359.0, 1.0, -2.0), (1.0, 359.0, 2.0), (90.0, 270.0, -180.0)] {
            assert_eq!(wrap_180(a - b), want);
        }
        assert_eq!(wrap_360(-1e-18), 0.0);
    }

    /// C. Karney's GeodTest selection as shipped in PyPI geographiclib 2.1, and his 2013 paper's short line.
    #[test]
    fn geodesic_lines() {
        let lines = [
            (35.60777, -139.44815, 111.098_748_430, -11.17491, -69.95921, 8_935_244.560_5),
            (-50.56724, -16.30485, -105.439_679_908, -33.56571, -94.97412, 6_455_670.511_9),
            (-30.12345, 0.0, 77.043_533_5, -30.12344, 0.00005, 4.944_208),
        ];
        for (lat1, lon1, azimuth, lat2, lon2, want) in lines {
            let (a, b) = (Place::new(lat1, lon1).unwrap(), Place::new(lat2, lon2).unwrap());
            let (metres, to) = a.to(b);
            assert!((metres - want).abs() < 1e-4, "{metres} for {want}");
            assert!(wrap_180(to - azimuth).abs() < 1e-6);
        }
    }

    /// The flat offset agrees with the geodesic over a few kilometres, across the antimeridian too.
    #[test]
    fn near_offsets() {
        for (lat, lon, dlat, dlon) in [(54.3233, 10.1394, 0.0267, 0.0606), (-17.0, 179.99, 0.01, -359.97)] {
            let (a, b) = (Place::new(lat, lon).unwrap(), Place::new(lat + dlat, lon + dlon).unwrap());
            let (north, east) = a.offset_to(b);
            let (metres, azimuth) = a.to(b);
            assert!((north.hypot(east) / metres - 1.0).abs() < 1e-3);
            assert!(wrap_180(east.atan2(north).to_degrees() - azimuth).abs() < 0.1);
        }
    }
}
