//! Random numbers that are the same on every machine.
//!
//! They come from ChaCha with eight rounds, its key made of a quote's seed, its stream of a name: each quantity has
//! numbers of its own. Normal numbers by the ziggurat (Marsaglia and Tsang 2000a, 256 strips), gamma numbers by Marsaglia
//! and Tsang (2000b). Logarithms, exponentials and powers are libm's, which are the same on every platform; roots and the
//! four operations are exact by IEEE 754.
//!
//! Both methods are written out here, because a library's (`rand_distr`) make a quote of 14 rooms a quarter slower, and
//! use the platform's logarithms once any crate of the build asks for them; `benches/README.md` has the figures.

use std::sync::LazyLock;

use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// Strips of the ziggurat.
const STRIPS: usize = 256;
/// Where its lowest strip ends; beyond is the tail.
const LAST_END: f64 = 3.654_152_885_361_009;
/// The area of each strip.
const STRIP_AREA: f64 = 0.004_928_673_233_974_655;
/// One third, of Marsaglia and Tsang's method.
pub(super) const THIRD: f64 = 1.0 / 3.0;
/// How finely a number between 0 and 1 is drawn.
const UNITS: f64 = (1_u64 << 52) as f64;
/// How finely a place in a strip is drawn.
const PLACES: f64 = (1_u64 << 40) as f64;
/// How many values the bits have that a normal number leaves unused.
const SPARE: u64 = 1 << 15;

/// The ziggurat under exp(−x²/2).
struct Ziggurat {
    strips: [Strip; STRIPS],
    /// The curve's height where each strip ends, and at 0.
    heights: [f64; STRIPS + 1],
}

/// A strip of the ziggurat.
#[derive(Clone, Copy)]
struct Strip {
    /// How wide one of its places is.
    place_width: f64,
    /// How many of its places are under the curve at any height.
    places_under: u64,
}

static NORMAL: LazyLock<Ziggurat> = LazyLock::new(|| {
    let height = |x: f64| libm::exp(-0.5 * x * x);
    let mut ends = [0.0; STRIPS + 1];
    ends[0] = STRIP_AREA / height(LAST_END);
    ends[1] = LAST_END;
    for strip in 2..STRIPS {
        let below = ends[strip - 1];
        ends[strip] = (-2.0 * libm::log(STRIP_AREA / below + height(below))).sqrt();
    }
    Ziggurat {
        strips: std::array::from_fn(|strip| Strip {
            place_width: ends[strip] / PLACES,
            places_under: (ends[strip + 1] / ends[strip] * PLACES) as u64,
        }),
        heights: ends.map(height),
    }
});

/// A normal number, and what is left of the bits that it was made of.
struct Normal {
    x: f64,
    /// A number below [`SPARE`] whose bits decided nothing in it.
    spare: u64,
}

/// Random numbers of one stream.
pub(super) struct Source {
    generator: ChaCha8Rng,
    ziggurat: &'static Ziggurat,
}

impl Source {
    pub(super) fn new(seed: u64, stream: u64) -> Source {
        let mut generator = ChaCha8Rng::seed_from_u64(seed);
        generator.set_stream(stream);
        Source {
            generator,
            ziggurat: &NORMAL,
        }
    }

    /// Returns a number between 0 and 1, both excluded.
    #[inline]
    pub(super) fn unit(&mut self) -> f64 {
        ((self.generator.next_u64() >> 12) as f64 + 0.5) * (1.0 / UNITS)
    }

    /// Returns a normal number of mean 0 and variance 1.
    #[inline]
    pub(super) fn normal(&mut self) -> f64 {
        self.normal_and_spare().x
    }

    #[inline]
    fn normal_and_spare(&mut self) -> Normal {
        loop {
            let bits = self.generator.next_u64();
            let (strip, place) = ((bits & 0xff) as usize, bits >> 24);
            let spare = bits >> 9 & (SPARE - 1);
            let Strip {
                place_width,
                places_under,
            } = self.ziggurat.strips[strip];
            let x = place as f64 * place_width;
            if place < places_under {
                return Normal {
                    x: signed(x, bits),
                    spare,
                };
            }
            if let Some(x) = self.beside(strip, x) {
                return Normal {
                    x: signed(x, bits),
                    spare,
                };
            }
        }
    }

    /// Decides on a place where the curve crosses its strip; `None`: it is above the curve.
    #[cold]
    fn beside(&mut self, strip: usize, x: f64) -> Option<f64> {
        if strip == 0 {
            return Some(self.tail());
        }
        let heights = &self.ziggurat.heights;
        let (low, high) = (heights[strip], heights[strip + 1]);
        let above = high + (low - high) * self.unit();
        (above < libm::exp(-0.5 * x * x)).then_some(x)
    }

    /// Returns a normal number beyond the lowest strip.
    fn tail(&mut self) -> f64 {
        loop {
            let x = -libm::log(self.unit()) / LAST_END;
            if -2.0 * libm::log(self.unit()) > x * x {
                return LAST_END + x;
            }
        }
    }

    /// Returns a gamma number of that shape, scale 1.
    #[inline]
    pub(super) fn gamma(&mut self, shape: f64) -> f64 {
        if shape < 1.0 {
            // Γ(k) = Γ(k + 1) U^(1/k).
            return self.gamma(shape + 1.0) * libm::pow(self.unit(), 1.0 / shape);
        }
        let most = shape - THIRD;
        most * self.cube(1.0 / (9.0 * most).sqrt())
    }

    /// Returns a gamma number of a shape from 1 on, over its shape less a third; the slope is 1 / √(9 (shape − 1/3)).
    #[inline]
    pub(super) fn cube(&mut self, slope: f64) -> f64 {
        loop {
            let Normal { x, spare } = self.normal_and_spare();
            let apart = slope * x;
            let root = 1.0 + apart;
            if root <= 0.0 {
                continue;
            }
            let (v, square) = (root * root * root, x * x);
            // The number that decides is drawn in two parts: its first bits are at hand, and nearly always enough.
            let at_most = (spare + 1) as f64 * (1.0 / SPARE as f64);
            // The logarithm of what is accepted is −3 d Σ (−y)^n / n from n = 4 on, with y = x / √(9 d). For |y| < 0.3
            // that is more than −0.117 y² x². Below that bound a draw is accepted without working out a logarithm, and
            // it would be accepted with it too.
            if apart.abs() < 0.3 && at_most < 1.0 - 0.117 * apart * apart * square {
                return v;
            }
            let u = (spare as f64 + self.unit()) * (1.0 / SPARE as f64);
            if u < 1.0 - 0.0331 * square * square
                || libm::log(u) < 0.5 * square + (1.0 - v + libm::log(v)) / (9.0 * slope * slope)
            {
                return v;
            }
        }
    }
}

/// Gives a number a sign, by a bit that decides nothing else.
#[inline]
fn signed(x: f64, bits: u64) -> f64 {
    f64::from_bits(x.to_bits() | (bits & 0x100) << 55)
}

#[cfg(test)]
mod tests {
    use cdflib::special::{dinvnr, try_gamma_inc_inv};

    use super::*;

    const DRAWS: usize = 200_000;

    #[test]
    fn the_first_numbers_of_a_stream_are_the_same_to_the_last_bit() {
        // A change of generator, method or platform shows here.
        let mut source = Source::new(7, 1);
        let drawn = [
            source.normal(),
            source.unit(),
            source.gamma(0.5),
            source.gamma(30.0),
        ];
        let expected = [
            4607338310875274632,
            4576371404556718656,
            4560431025980206133,
            4628247579521164377,
        ];
        assert_eq!(drawn.map(f64::to_bits), expected, "{drawn:?}");
    }

    fn in_order(mut draw: impl FnMut() -> f64) -> Vec<f64> {
        let mut drawn: Vec<f64> = (0..DRAWS).map(|_| draw()).collect();
        drawn.sort_unstable_by(f64::total_cmp);
        drawn
    }

    #[test]
    fn normal_numbers_are_distributed_as_they_should() {
        let mut source = Source::new(3, 9);
        let drawn = in_order(|| source.normal());
        for level in [0.0005, 0.01, 0.1, 0.3, 0.5, 0.8, 0.95, 0.999] {
            let found = drawn[(level * DRAWS as f64) as usize];
            let expected = dinvnr(level, 1.0 - level);
            assert!(
                (found - expected).abs() < 0.01 + 0.02 * expected.abs(),
                "{level}: {found}"
            );
        }
    }

    #[test]
    fn gamma_numbers_are_distributed_as_they_should() {
        let mut source = Source::new(3, 10);
        for shape in [0.2, 0.9, 1.0, 3.5, 80.0] {
            let drawn = in_order(|| source.gamma(shape));
            let mean = drawn.iter().sum::<f64>() / DRAWS as f64;
            assert!(
                (mean - shape).abs() <= 0.015 * shape,
                "shape {shape}: {mean}"
            );
            for level in [0.1, 0.5, 0.9, 0.99] {
                let found = drawn[(level * DRAWS as f64) as usize];
                let (expected, _) = try_gamma_inc_inv(shape, -1.0, level, 1.0 - level).unwrap();
                assert!(
                    (found - expected).abs() <= 0.02 * (expected + 0.01),
                    "shape {shape}, {level}: {found}, not {expected}"
                );
            }
        }
    }
}
