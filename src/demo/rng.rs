//! The demo's only source of chance: SplitMix64, so that a seed gives the same recordings on every machine.

/// A stream of pseudo-random numbers.
///
/// Source: G. L. Steele, D. Lea, C. H. Flood, "Fast splittable pseudorandom number generators", OOPSLA 2014.
#[derive(Debug, Clone)]
pub(super) struct Rng(u64);

impl Rng {
    /// The stream of a seed.
    pub(super) const fn new(seed: u64) -> Self {
        Self(seed)
    }

    /// A stream of its own for one purpose, so that a fault in one stream leaves every other as it was.
    pub(super) fn stream(seed: u64, purpose: &str) -> Self {
        // FNV-1a (64 bit): offset basis and prime as published by its authors.
        let hash = purpose.bytes().fold(0xCBF2_9CE4_8422_2325_u64, |hash, byte| {
            (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01B3)
        });
        Self::new(seed ^ hash)
    }

    /// The next 64 bits.
    pub(super) const fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ (z >> 31)
    }

    /// A number from 0 (included) to 1 (excluded).
    pub(super) fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A number from `low` to `high`.
    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// A number that is nearly normally distributed: mean 0, standard deviation 1, never beyond 6.
    ///
    /// The sum of twelve uniform numbers needs no logarithm, whose last digit differs between machines.
    pub(super) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }
}

/// A slow error: a first-order Gauss-Markov process, with a knot every second and straight lines between.
#[derive(Debug, Clone)]
pub(super) struct Drift {
    knots: Vec<f64>,
}

impl Drift {
    /// An error with standard deviation `sigma` that forgets itself in about `memory_s` (over 1) seconds.
    pub(super) fn new(mut rng: Rng, sigma: f64, memory_s: f64, seconds: f64) -> Self {
        let keep = 1.0 - 1.0 / memory_s;
        let fresh = (1.0 - keep * keep).sqrt();
        let mut value = rng.normal();
        let knots = (0..seconds.ceil() as usize + 2).map(|_| {
            value = keep * value + fresh * rng.normal();
            value * sigma
        });
        Self { knots: knots.collect() }
    }

    /// The error at `t` seconds; 0 outside the time it was made for.
    pub(super) fn at(&self, t: f64) -> f64 {
        let index = t.max(0.0) as usize;
        match (self.knots.get(index), self.knots.get(index + 1)) {
            (Some(a), Some(b)) => a + (b - a) * (t.max(0.0) - index as f64),
            _ => 0.0,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The numbers that the widely published reference code gives for seed 1234567.
    #[test]
    fn gives_the_published_numbers() {
        let mut rng = Rng::new(1_234_567);
        assert_eq!(rng.bits(), 6_457_827_717_110_365_317);
        assert_eq!(rng.bits(), 3_203_168_211_198_807_973);
        assert_eq!(rng.bits(), 9_817_491_932_198_370_423);
    }

    #[test]
    fn spread_is_as_promised() {
        let mut rng = Rng::stream(1, "spread");
        let values: Vec<f64> = (0..20_000).map(|_| rng.normal()).collect();
        let mean = values.iter().sum::<f64>() / 20_000.0;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / 20_000.0;
        assert!(mean.abs() < 0.03 && (variance - 1.0).abs() < 0.05, "{mean} {variance}");

        let drift = Drift::new(Rng::stream(1, "drift"), 2.0, 20.0, 20_000.0);
        let variance = drift.knots.iter().map(|v| v * v).sum::<f64>() / drift.knots.len() as f64;
        assert!((variance.sqrt() - 2.0).abs() < 0.3, "{variance}");
        assert_eq!(drift.at(1e9), 0.0);
    }
}
