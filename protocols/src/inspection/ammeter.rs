//! What an ammeter around both supply conductors makes of a known current that is put on in both
//! senses: whether it sees all that flows, and whether what it shows of the asset can pass.
//!
//! Currents of one frequency are vectors. With the asset's current a, the known current b and an
//! ammeter that sees the share g, it shows g|a|, g|a + b| and g|a - b|, and
//!
//! ```text
//! (|a + b|^2 + |a - b|^2) / 2 - |a|^2 = |b|^2
//! ```
//!
//! in whatever phase (parallelogram law), so that these three readings alone tell g b. Every step
//! is taken to the side that accepts less: whole nanoamperes, no float, no rounding in favour.

/// The ammeter sees the known current within a tenth of it: neither less nor more.
const WITHIN_PERMILLE: i128 = 100;
/// The known current is at least so many times the limit: with it on nothing reads as little as a
/// value that passes, so that no reading of one kind is taken for one of the other.
pub(super) const TIMES_LIMIT: i128 = 3;
/// Nothing beyond 1 A is reckoned with: squares of squares stay far inside the integers.
const LARGEST: i128 = 1_000_000_000;

/// A size in nanoamperes, between two whole numbers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Nano {
    pub(super) least: i128,
    pub(super) most: i128,
}

/// How far a reading may be from what flows: a share of it in millionths, and nanoamperes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Doubt {
    pub(super) millionths: i128,
    pub(super) nano: i128,
}

/// What it showed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Shown {
    /// Without the known current: the value, and once more afterwards.
    pub(super) off: [Nano; 2],
    /// With it in the one sense and in the other.
    pub(super) on: [Nano; 2],
}

/// The known current by its certificate: as it flows, and at the rated voltage.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Known {
    pub(super) flows: Nano,
    pub(super) rated: Nano,
}

impl Nano {
    /// Of a size in 10^-24 A.
    pub(super) fn of(size: i128) -> Nano {
        const ONE: i128 = 1_000_000_000_000_000;
        let least = size.div_euclid(ONE);
        Nano { least, most: least.saturating_add(i128::from(size.rem_euclid(ONE) != 0)) }
    }

    /// What may flow where this is shown.
    fn by(self, doubt: Doubt) -> Nano {
        let share = self.most.saturating_mul(doubt.millionths).saturating_add(999_999) / 1_000_000;
        let room = share.saturating_add(doubt.nano);
        let least = self.least.saturating_sub(room).max(0);
        Nano { least, most: self.most.saturating_add(room) }
    }

    fn sane(self) -> bool {
        0 <= self.least && self.least <= self.most && self.most <= LARGEST
    }
}

/// The known current that a resistor drives: volts in microvolts, milliohms, and how far the
/// resistor may be off in millionths. `None` for what can't be reckoned.
pub(super) fn driven(microvolts: i128, milliohms: i128, millionths: i128) -> Option<Nano> {
    let volts = microvolts.checked_mul(1_000_000_000_000)?;
    let by = |share: i128| milliohms.checked_mul(share).filter(|ohms| 0 < *ohms);
    let least = volts / by(1_000_000 + millionths)?;
    let most = volts / by(1_000_000 - millionths)? + 1;
    Some(Nano { least, most }).filter(|nano| nano.sane())
}

/// The known current is large enough to prove anything of this limit.
pub(super) fn enough(known: Known, limit: i128) -> bool {
    let wanted = limit.checked_mul(TIMES_LIMIT);
    0 < limit && wanted.is_some_and(|wanted| wanted <= known.rated.least)
}

/// The ammeter sees the known current, and the asset's in its measure keeps the limit (nanoamperes
/// at the rated voltage).
///
/// A share g of the current that it sees is at least 9/10 then, and the asset's current, scaled to
/// the rated voltage, is at most the limit, by the readings as they are: asset and known current
/// come of one voltage and are read by one ammeter, so that neither its share nor the voltage
/// matters.
pub(super) fn proves(shown: Shown, doubt: Doubt, known: Known, limit: i128) -> bool {
    let all = shown.off.iter().chain(&shown.on).chain([&known.flows, &known.rated]);
    if !all.into_iter().all(|one| one.sane()) || !(1..=LARGEST).contains(&limit) {
        return false;
    }
    if !enough(known, limit) {
        return false;
    }
    let Nano { least, most } = twice_squared(shown, doubt, known);
    let square = |size: i128| size * size;
    let part = |permille: i128| 2 * square(permille);
    let seen = part(1000 - WITHIN_PERMILLE) * square(known.flows.most) <= least * 1_000_000
        && most * 1_000_000 <= part(1000 + WITHIN_PERMILLE) * square(known.flows.least);
    let near = shown.on.iter().all(|on| near(on.by(doubt), shown, doubt, known.flows));
    // What is more than the known current by the ammeter's doubt lends nothing to the asset.
    let lends = least.min(2 * square(known.flows.least));
    let off = shown.off[0].most.max(shown.off[1].most);
    // No asset on mains leaks nothing: what the ammeter can't tell from nothing hangs elsewhere.
    let there = shown.off.iter().all(|off| 0 < off.by(doubt).least);
    seen && near && there && 2 * square(off) * square(known.rated.most) <= square(limit) * lends
}

/// With the known current on it shows no less than that without the asset's, and no more than both
/// together, whatever the phase (triangle inequality).
fn near(on: Nano, shown: Shown, doubt: Doubt, flows: Nano) -> bool {
    let off = shown.off.iter().map(|off| off.by(doubt).most).max().unwrap_or(0);
    (1000 - WITHIN_PERMILLE) * flows.least <= (on.most + off) * 1000
        && (on.least - off) * 1000 <= (1000 + WITHIN_PERMILLE) * flows.most
}

/// Twice the square of the known current as the ammeter shows it.
fn twice_squared(shown: Shown, doubt: Doubt, known: Known) -> Nano {
    let square = |size: i128| size * size;
    let [off, after] = shown.off.map(|one| one.by(doubt));
    let [plus, minus] = shown.on.map(|one| one.by(doubt));
    let (low, high) = (off.least.min(after.least), off.most.max(after.most));
    // Both senses need not be one current to the last nanoampere: each is within the resistor's
    // tolerance.
    let uneven = 2 * high * (known.flows.most - known.flows.least);
    let on = |of: fn(Nano) -> i128| square(of(plus)) + square(of(minus));
    Nano {
        least: on(|one| one.least) - 2 * square(high) - uneven,
        most: on(|one| one.most) - 2 * square(low) + uneven,
    }
}

#[cfg(test)]
#[allow(
    clippy::cast_possible_truncation,
    clippy::float_arithmetic,
    reason = "phases are drawn and vectors added without the code that is tested"
)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// 1 % and 5 counts of 1 uA, 150 kohm to 1 % at 230 V: 1.533 mA.
    const DOUBT: Doubt = Doubt { millionths: 10_000, nano: 5_000 };
    const LIMIT: i128 = 500_000;

    fn known() -> Known {
        let flows = driven(230_000_000, 150_000_000, 10_000).unwrap();
        Known { flows, rated: flows }
    }

    fn exactly(size: f64) -> Nano {
        Nano::of((size * 1e15).round().max(0.0) as i128)
    }

    /// What an ammeter with the share `g` shows of an asset's current `a` at `phase`.
    fn shows(g: f64, a: f64, phase: f64, b: [f64; 2]) -> Shown {
        let with =
            |b: f64| exactly(g * (a * a + b * b + 2.0 * a * b * phase.cos()).max(0.0).sqrt());
        Shown { off: [exactly(g * a); 2], on: [with(b[0]), with(-b[1])] }
    }

    fn plain(g: f64, a: f64, phase: f64) -> Shown {
        shows(g, a, phase, [1_533_333.0; 2])
    }

    fn proved(shown: Shown) -> bool {
        proves(shown, DOUBT, known(), LIMIT)
    }

    /// By hand: 230 V over 150 kohm are 1.5333 mA; over 151.5 and 148.5 kohm 1.51815 and 1.54882.
    #[test]
    fn the_known_current_is_volts_over_ohms() {
        assert_eq!(known().flows, Nano { least: 1_518_151, most: 1_548_822 });
        assert_eq!(driven(230_000_000, 0, 10_000), None);
        assert_eq!(driven(230_000_000, 100, 10_000), None, "2300 A");
    }

    #[test]
    fn a_sound_asset_passes_in_any_phase() {
        for step in 0..72 {
            let phase = f64::from(step) * core::f64::consts::PI / 36.0;
            assert!(proved(plain(1.0, 159_000.0, phase)), "{step}");
            assert!(proved(plain(1.0, 450_000.0, phase)), "{step}");
            assert!(!proved(plain(1.0, 501_000.0, phase)), "{step}");
        }
    }

    /// What was said of one sense alone: in phase, a third of the current would pass for all of it.
    #[test]
    fn a_third_of_the_current_is_not_all_of_it() {
        for step in 0..72 {
            let phase = f64::from(step) * core::f64::consts::PI / 36.0;
            for share in [0.0, 0.31, 0.5, 0.85, 1.2, 2.0] {
                assert!(!proved(plain(share, 400_000.0, phase)), "{share} {step}");
            }
        }
    }

    #[test]
    fn what_was_never_switched_in_shows_nothing() {
        let never = Shown { on: [exactly(159_000.0); 2], ..plain(1.0, 159_000.0, 1.0) };
        assert!(!proved(never));
    }

    #[test]
    fn an_asset_that_hangs_elsewhere_shows_nothing() {
        assert!(!proved(plain(1.0, 0.0, 0.0)));
        assert!(!proved(plain(1.0, 5_000.0, 0.0)));
        assert!(proved(plain(1.0, 6_000.0, 0.0)));
    }

    #[test]
    fn a_current_that_is_too_small_for_the_limit_proves_nothing() {
        assert!(enough(known(), 506_050) && !enough(known(), 506_051));
        assert!(!enough(known(), 0));
        let shown = plain(1.0, 159_000.0, 0.3);
        assert!(proves(shown, DOUBT, known(), 400_000) && !proves(shown, DOUBT, known(), 507_000));
    }

    #[test]
    fn what_is_out_of_all_measure_proves_nothing() {
        let shown = plain(1.0, 159_000.0, 0.3);
        for size in [-1, LARGEST + 1, i128::MAX] {
            let bad = Nano { least: size, most: size };
            assert!(!proved(Shown { off: [bad, shown.off[1]], ..shown }));
            assert!(!proved(Shown { on: [shown.on[0], bad], ..shown }));
            assert!(!proves(shown, DOUBT, known(), size));
        }
    }

    /// What no arithmetic can tell, and the page for plans says so: the lever at minus for off, at
    /// off for both senses, and an asset that leaks as much as the known current, in phase.
    #[test]
    fn a_lever_that_is_wrong_four_times_may_cancel_what_leaks() {
        let one = plain(1.0, 1_550_000.0, 0.0);
        let shown = Shown { off: [one.on[1]; 2], on: [one.off[0]; 2] };
        assert!(proved(shown));
        let right_once = Shown { off: [one.on[1], one.off[0]], ..shown };
        assert!(!proved(right_once));
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 10_000, ..ProptestConfig::default() })]

        /// Whatever the phase, the share, the voltage, how far readings and the two senses are off:
        /// what is accepted was seen, and keeps the limit at the rated voltage as far as its own
        /// reading tells.
        #[test]
        fn what_is_proved_was_seen_and_keeps_the_limit(
            g in 0.0..1.6f64,
            a in 0.0..4_000_000.0f64,
            phase in 0.0..core::f64::consts::TAU,
            swing in 0.85..1.1f64,
            uneven in prop::array::uniform2(-1.0..1.0f64),
            off in prop::array::uniform4(-1.0..1.0f64),
        ) {
            let flows = driven((230e6 * swing) as i128, 150_000_000, 10_000).unwrap();
            let known = Known { flows, rated: known().rated };
            let b = uneven.map(|to| 1_533_333.0 * swing / (1.0 + 0.01 * to));
            let true_one = shows(g, a * swing, phase, b);
            let moved = |one: Nano, to: f64| {
                let size = one.most as f64;
                exactly(size + to * (0.0099 * size + 4_900.0))
            };
            let shown = Shown {
                off: [moved(true_one.off[0], off[0]), moved(true_one.off[1], off[1])],
                on: [moved(true_one.on[0], off[2]), moved(true_one.on[1], off[3])],
            };
            if proves(shown, DOUBT, known, LIMIT) {
                prop_assert!(0.9 <= g, "share {g}");
                let own = a * swing * g;
                let doubt = 0.01 * own + 5_002.0;
                prop_assert!((own - doubt) / g / swing <= 500_000.0, "{a} nA");
            }
        }

        /// And near the limit of what the ammeter can tell, a sound asset with a good one passes.
        #[test]
        fn a_good_ammeter_is_proved(
            a in 6_000.0..470_000.0f64,
            phase in 0.0..core::f64::consts::TAU,
            swing in 0.9..1.1f64,
            drift in 0.97..1.03f64,
        ) {
            let flows = driven((230e6 * swing) as i128, 150_000_000, 10_000).unwrap();
            let known = Known { flows, rated: known().rated };
            let now = swing * drift;
            let shown = shows(1.0, a * now, phase, [1_533_333.0 * now; 2]);
            prop_assert!(proves(shown, DOUBT, known, LIMIT));
        }

        /// The lever stood in one sense whenever it was said to be off, and not at off for both
        /// senses: what reads as little as the limit is never proved then, whatever leaks.
        #[test]
        fn a_current_that_was_never_off_shows_itself(
            a in 500_000.0..4_000_000.0f64,
            phase in 0.0..core::f64::consts::TAU,
            g in 0.9..1.1f64,
        ) {
            let one = plain(g, a, phase);
            for stuck in one.on {
                let shown = Shown { off: [stuck; 2], on: one.on };
                prop_assert!(!proved(shown));
                let swapped = Shown { off: [stuck; 2], on: [one.off[0], one.on[0]] };
                let other = Shown { off: [stuck; 2], on: [one.off[0], one.on[1]] };
                prop_assert!(!proved(swapped) && !proved(other));
            }
        }

        /// One sense was read twice, or was read as without: with an ammeter that sees all, no
        /// asset beyond the limit passes.
        #[test]
        fn a_sense_that_was_read_twice_passes_nothing(
            a in 506_000.0..4_000_000.0f64,
            phase in 0.0..core::f64::consts::TAU,
        ) {
            let one = plain(1.0, a, phase);
            let [plus, minus] = one.on;
            for on in [[plus; 2], [minus; 2], [plus, one.off[0]], [minus, one.off[0]]] {
                let firsts = [one.off[0], plus, minus];
                let offs = firsts.map(|first| [[first, one.off[0]], [one.off[0], first]]);
                for off in offs.into_iter().flatten() {
                    let shown = Shown { off, on };
                    prop_assert!(!proved(shown));
                }
            }
        }
    }
}
