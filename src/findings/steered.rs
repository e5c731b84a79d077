//! Which headings a boat steered, in sectors that begin wherever they fit best.
//!
//! Where the compass rose begins is of no matter to a compass: a boat that steers the same courses some degrees further is
//! told alike.

use crate::units::{wrap_180, wrap_360};

/// Sectors of the compass.
const SECTORS: usize = 8;

/// Degrees of a sector.
const SECTOR_DEG: usize = DEGREES / SECTORS;

/// Two courses are reverse that lie so far apart, degrees: a current pushes a boat to one side on the one and to the other on the other
/// (common practice, no source).
const REVERSE_DEG: f64 = 160.0;

/// Degrees of the compass.
const DEGREES: usize = 360;

/// Moments by the heading's whole degrees.
pub(super) struct Steered([usize; DEGREES]);

impl FromIterator<f64> for Steered {
    /// Of headings, degrees.
    fn from_iter<I: IntoIterator<Item = f64>>(headings: I) -> Self {
        let mut steered = Self([0; DEGREES]);
        for deg in headings {
            if let Some(moments) = steered.0.get_mut(wrap_360(deg) as usize) {
                *moments += 1;
            }
        }
        steered
    }
}

impl Steered {
    /// The eight sectors, where they begin so that as many as can be have `enough` moments.
    pub(super) fn sectors(&self, enough: usize) -> Sectors {
        // Moments, and the sum of their headings, before each degree of two rounds.
        let mut before = Vec::with_capacity(2 * DEGREES + 1);
        before.push((0, 0));
        for (deg, moments) in self.0.iter().chain(&self.0).enumerate() {
            let (count, sum) = before.last().unwrap_or(&(0, 0));
            before.push((count + moments, sum + moments * deg));
        }
        let at = |deg: usize| before.get(deg).copied().unwrap_or_default();
        let begun_at = |begin: usize| {
            let sectors = std::array::from_fn(|n| {
                let from = begin + n * SECTOR_DEG;
                let ((count, sum), (whole, both)) = (at(from), at(from + SECTOR_DEG));
                Sector {
                    moments: whole - count,
                    mean_deg: (both - sum) as f64 / (whole - count).max(1) as f64,
                }
            });
            Sectors { begin, sectors, enough }
        };
        // Of those that fill as many, the first.
        let begun_best = |best: Sectors, begin| {
            let other = begun_at(begin);
            if other.courses() > best.courses() { other } else { best }
        };
        (1..SECTOR_DEG).fold(begun_at(0), begun_best)
    }
}

/// Eight sectors of the compass.
pub(super) struct Sectors {
    /// Where the first begins, degrees.
    begin: usize,
    sectors: [Sector; SECTORS],
    enough: usize,
}

struct Sector {
    moments: usize,
    /// The mean of their headings, going on over 360.
    mean_deg: f64,
}

impl Sectors {
    /// Whether two of those that were steered are reverse courses.
    pub(super) fn are_reversed(&self) -> bool {
        let steered = || self.sectors.iter().filter(|sector| sector.moments >= self.enough);
        let apart = |a: &Sector, b: &Sector| wrap_180(a.mean_deg - b.mean_deg).abs();
        steered().any(|a| steered().any(|b| apart(a, b) >= REVERSE_DEG))
    }

    /// How many were steered; one course on both sides of an edge is one.
    pub(super) fn courses(&self) -> usize {
        let steered = self.sectors.iter().filter(|sector| sector.moments >= self.enough);
        let means = steered.map(|sector| sector.mean_deg);
        let apart = SECTOR_DEG as f64 / 2.0;
        let (mut first, mut last, mut courses) = (None, f64::NEG_INFINITY, 0);
        for mean in means {
            if mean - last >= apart {
                (last, courses) = (mean, courses + 1);
            }
            first.get_or_insert(mean);
        }
        let closes = first.is_some_and(|first| first + DEGREES as f64 - last < apart);
        courses - usize::from(closes && courses > 1)
    }

    /// The moments in the sector of a heading, degrees.
    pub(super) fn moments_about(&self, deg: f64) -> usize {
        let sector = wrap_360(deg - self.begin as f64) as usize / SECTOR_DEG;
        self.sectors.get(sector).map_or(0, |sector| sector.moments)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn where_the_rose_begins_is_of_no_matter() {
        let courses = [12.0, 61.5, 110.0, 200.3, 250.0, 331.0];
        let steered = |turned: f64| {
            let headings = courses.iter().flat_map(|c| [c - 1.5, c - 0.5, c + 0.5, c + 1.5]);
            let sectors = headings.map(|deg| deg + turned).collect::<Steered>().sectors(4);
            assert_eq!(sectors.moments_about(courses[0] + turned), 4, "{turned}");
            sectors.courses()
        };
        for turned in 0..360 {
            assert_eq!(steered(f64::from(turned)), 6, "{turned}");
        }
        assert_eq!([10.0, 11.0, 12.0, 90.0].into_iter().collect::<Steered>().sectors(3).courses(), 1);
    }

    #[test]
    fn a_course_beside_an_edge_is_one() {
        for turned in 0..90 {
            let headings = (0..360).map(|i| f64::from(90 * (i % 4) + turned) + f64::from(i / 4 % 9 - 4));
            assert_eq!(headings.collect::<Steered>().sectors(4).courses(), 4, "{turned}");
        }
        assert_eq!((0..720).map(f64::from).collect::<Steered>().sectors(91).courses(), 0);
        assert_eq!((0..1440).map(|i| f64::from(i) / 4.0).collect::<Steered>().sectors(4).courses(), 8);
    }
}
