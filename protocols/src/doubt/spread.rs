//! Distribution functions: normal and Student's t, and their quantiles.
//!
//! Formulas from memory (incomplete beta by its continued fraction, modified Lentz); their figures
//! are held against scipy by `tests/doubt.rs`.

/// The normal distribution function: the share below `z` standard deviations, 0 to 1.
#[must_use]
pub fn normal(z: f64) -> f64 {
    0.5 * libm::erfc(-z / core::f64::consts::SQRT_2)
}

/// Student's distribution function for `freedom` degrees of freedom, above 0, not needing to be
/// whole: the share below `t`, 0 to 1.
#[must_use]
pub fn student(t: f64, freedom: f64) -> f64 {
    let square = t * t;
    // Of x and 1 - x the smaller one is reckoned without cancellation.
    let tail = if square < freedom {
        1.0 - beta_share(0.5, freedom / 2.0, square / (freedom + square))
    } else {
        beta_share(freedom / 2.0, 0.5, freedom / (freedom + square))
    };
    if t > 0.0 { 1.0 - tail / 2.0 } else { tail / 2.0 }
}

/// The `z` below which lies the share `p`, 0 < p < 1.
#[must_use]
pub fn normal_at(p: f64) -> f64 {
    solve(p, normal)
}

/// The `t` below which lies the share `p`, 0 < p < 1, for `freedom` degrees of freedom.
#[must_use]
pub fn student_at(p: f64, freedom: f64) -> f64 {
    solve(p, |t| student(t, freedom))
}

/// Where a rising function comes to `p`; halves an interval until it is no wider than a float.
fn solve(p: f64, rising: impl Fn(f64) -> f64) -> f64 {
    if p < 0.5 {
        return -solve(1.0 - p, rising);
    }
    let (mut low, mut high) = (0.0, 1.0);
    while rising(high) < p && high < 1e12 {
        high *= 2.0;
    }
    for _ in 0..200 {
        let middle = f64::midpoint(low, high);
        if rising(middle) < p {
            low = middle;
        } else {
            high = middle;
        }
    }
    f64::midpoint(low, high)
}

/// Regularised incomplete beta function I_x(a, b), 0 to 1.
fn beta_share(a: f64, b: f64, x: f64) -> f64 {
    if x <= 0.0 {
        return 0.0;
    }
    if x >= 1.0 {
        return 1.0;
    }
    let log = libm::lgamma(a + b) - libm::lgamma(a) - libm::lgamma(b);
    let front = libm::exp(log + a * libm::log(x) + b * libm::log1p(-x));
    if x < (a + 1.0) / (a + b + 2.0) {
        front * fraction(a, b, x) / a
    } else {
        1.0 - front * fraction(b, a, 1.0 - x) / b
    }
}

/// The continued fraction of the incomplete beta function.
fn fraction(a: f64, b: f64, x: f64) -> f64 {
    const TINY: f64 = 1e-300;
    let kept = |value: f64| if value.abs() < TINY { TINY } else { value };
    let mut c = 1.0;
    let mut d = 1.0 / kept(1.0 - (a + b) * x / (a + 1.0));
    let mut h = d;
    for step in 1..2_000 {
        let m = f64::from(step);
        let even = m * (b - m) * x / ((a + 2.0 * m - 1.0) * (a + 2.0 * m));
        let odd = -(a + m) * (a + b + m) * x / ((a + 2.0 * m) * (a + 2.0 * m + 1.0));
        let before = h;
        for term in [even, odd] {
            d = 1.0 / kept(1.0 + term * d);
            c = kept(1.0 + term / c);
            h *= d * c;
        }
        if (h - before).abs() <= 1e-16 * h.abs() {
            break;
        }
    }
    h
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Published tables of the normal distribution function: 0.691462, 0.841345, 0.899727,
    /// 0.950015, 0.975002, 0.977250, 0.998650.
    #[test]
    fn the_normal_distribution_agrees_with_published_tables() {
        let table = [
            (0.5, 0.691_462),
            (1.0, 0.841_345),
            (1.28, 0.899_727),
            (1.645, 0.950_015),
            (1.96, 0.975_002),
            (2.0, 0.977_250),
            (3.0, 0.998_650),
        ];
        for (z, want) in table {
            assert!((normal(z) - want).abs() < 1e-6, "{z}: {}", normal(z));
            assert!((normal_at(normal(z)) - z).abs() < 1e-9, "{z}");
        }
        assert!((normal_at(0.025) + 1.959_964).abs() < 1e-6);
    }

    /// GUM Table G.2 (from memory): t for a share of 95.45 % in two tails, two decimals.
    #[test]
    fn student_agrees_with_the_table_of_the_guide() {
        let table = [
            (1.0, 13.97),
            (2.0, 4.53),
            (3.0, 3.31),
            (4.0, 2.87),
            (5.0, 2.65),
            (10.0, 2.28),
            (20.0, 2.13),
            (50.0, 2.05),
            (100.0, 2.025),
        ];
        for (freedom, want) in table {
            let t = student_at(f64::midpoint(1.0, 0.9545), freedom);
            assert!((t - want).abs() < 0.0051, "{freedom}: {t}");
        }
    }
}
