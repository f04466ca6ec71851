//! A budget: what contributes to the uncertainty of a value, and what comes of it together.
//!
//! Law of propagation with correlations (GUM 5.1.2, 5.2.2), effective degrees of freedom by
//! Welch and Satterthwaite (GUM G.4.1), coverage factor from Student's distribution for the next
//! lower whole number (GUM G.4.1, G.6.4); clauses from memory. The worked examples of the guide
//! and a library of another make are held against it in `tests/doubt.rs`.

use alloc::vec::Vec;

use super::spread;

/// Share that an expanded uncertainty covers: two standard deviations of a normal distribution,
/// so that unlimited freedom gives k = 2.
pub const COVERED: f64 = 0.954_499_736_103_641_6;

/// What contributes, and what of it goes together.
#[derive(Debug, Clone, Default)]
pub struct Budget {
    parts: Vec<Part>,
    /// Two parts and their correlation.
    ties: Vec<(usize, usize, f64)>,
}

/// One contribution.
#[derive(Debug, Clone, Copy)]
struct Part {
    /// Sensitivity times standard uncertainty, in the unit of the value, with its sign.
    share: f64,
    /// Degrees of freedom; `None`: unlimited.
    freedom: Option<f64>,
}

impl Budget {
    /// Adds a contribution: sensitivity times standard uncertainty, in the unit of the value,
    /// with the sign of the sensitivity. `freedom`: degrees of freedom, `None` for unlimited.
    /// Returns its place.
    pub fn add(&mut self, share: f64, freedom: Option<f64>) -> usize {
        self.parts.push(Part { share, freedom });
        self.parts.len() - 1
    }

    /// Two contributions go together with correlation `r`, -1 to 1.
    pub fn tie(&mut self, one: usize, other: usize, r: f64) {
        self.ties.push((one, other, r.clamp(-1.0, 1.0)));
    }

    /// Combined standard uncertainty, in the unit of the value.
    #[must_use]
    pub fn combined(&self) -> f64 {
        let own: f64 = self.parts.iter().map(|part| part.share * part.share).sum();
        let tied = |(one, other, r): &(usize, usize, f64)| {
            2.0 * r * self.parts[*one].share * self.parts[*other].share
        };
        let square = own + self.ties.iter().map(tied).sum::<f64>();
        libm::sqrt(if square > 0.0 { square } else { 0.0 })
    }

    /// Effective degrees of freedom; `None`: unlimited.
    ///
    /// The formula of Welch and Satterthwaite is for parts that do not go together. Where a tied
    /// part has limited freedom, the least freedom of all parts stands instead: the coverage
    /// factor is then never too small.
    #[must_use]
    pub fn freedom(&self) -> Option<f64> {
        let limited = |part: &Part| part.freedom.is_some() && part.share != 0.0;
        let tied = self.ties.iter().filter(|(_, _, r)| *r != 0.0);
        let mut ends = tied.flat_map(|(one, other, _)| [one, other]);
        if ends.any(|at| limited(&self.parts[*at])) {
            let all = self.parts.iter().filter(|part| limited(part)).filter_map(|p| p.freedom);
            return all.reduce(f64::min);
        }
        let fourth = |x: f64| x * x * x * x;
        let weigh = |part: &Part| Some(fourth(part.share) / part.freedom?);
        let weight: f64 = self.parts.iter().filter_map(weigh).sum();
        (weight > 0.0).then(|| fourth(self.combined()) / weight)
    }

    /// Coverage factor for [`COVERED`]: 2 for unlimited freedom, else Student's t for the next
    /// lower whole number, at least 1.
    #[must_use]
    pub fn coverage(&self) -> f64 {
        match self.freedom() {
            None => 2.0,
            // The same in five digits, and Student's formula would lose more.
            Some(freedom) if freedom > 1e6 => 2.0,
            Some(freedom) => {
                let whole = f64::max(libm::floor(freedom), 1.0);
                spread::student_at(f64::midpoint(1.0, COVERED), whole)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn budget(parts: &[(f64, Option<f64>)]) -> Budget {
        let mut budget = Budget::default();
        for (share, freedom) in parts {
            budget.add(*share, *freedom);
        }
        budget
    }

    #[test]
    fn unlimited_freedom_covers_with_two() {
        let found = budget(&[(3.0, None), (-4.0, None)]);
        assert!((found.combined() - 5.0).abs() < 1e-12);
        assert_eq!((found.freedom(), found.coverage()), (None, 2.0));
    }

    /// A single part keeps its own freedom: t of GUM Table G.2 (from memory) for 95.45 %.
    #[test]
    fn a_part_that_stands_alone_keeps_its_freedom() {
        let found = budget(&[(0.7, Some(4.0)), (0.0, Some(1.0))]);
        assert!((found.freedom().unwrap() - 4.0).abs() < 1e-9);
        assert!((found.coverage() - 2.87).abs() < 0.005);
    }

    #[test]
    fn tied_parts_of_limited_freedom_count_as_the_least() {
        let mut found = budget(&[(1.0, Some(9.0)), (1.0, Some(4.0)), (5.0, None)]);
        found.tie(0, 1, 0.5);
        assert_eq!(found.freedom(), Some(4.0));
    }

    proptest! {
        /// A value and its null by one meter go together between not at all and wholly: taking
        /// them as independent is never too small.
        #[test]
        fn what_goes_together_takes_away_from_a_difference(
            value in 0.0..10.0_f64, null in 0.0..10.0_f64, r in 0.0..1.0_f64,
        ) {
            let apart = budget(&[(value, None), (-null, None)]);
            let mut tied = apart.clone();
            tied.tie(0, 1, r);
            prop_assert!(tied.combined() <= apart.combined());
            prop_assert!(tied.combined() + 1e-9 >= (value - null).abs());
        }

        #[test]
        fn more_of_a_part_never_gives_less_together(
            parts in proptest::collection::vec(0.0..10.0_f64, 1..6), more in 0.0..5.0_f64,
        ) {
            let of = |first: f64| {
                let mut list: Vec<_> = parts.iter().map(|share| (*share, None)).collect();
                list[0].0 += first;
                budget(&list).combined()
            };
            prop_assert!(of(0.0) <= of(more));
        }
    }
}
