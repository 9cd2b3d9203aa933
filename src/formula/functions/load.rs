//! Functions of load: how often a line is too small, and when it will be.

use super::super::Ty;
use super::{Body, Function, More, param};
use crate::units::{Dim, Measure};

const PLAIN: Ty = Ty::Number(Measure::NUMBER);
const RATE: Ty = Ty::Number(Measure::amount(Dim::RATE));
const TIME: Ty = Ty::Number(Measure::amount(Dim::TIME));

/// The Julian year of 365.25 days, in seconds.
const YEAR: f64 = 31_557_600.0;

/// The most users that are counted one by one.
const MAX_USERS: f64 = 1e6;

/// The functions in the order of the manual.
pub(super) fn functions() -> Vec<Function> {
    vec![
        Function {
            name: "busy_chance",
            doc: "The chance that users who are active by chance want more than the capacity",
            params: vec![
                param("users", "how many users, rounded to a whole number", PLAIN),
                param(
                    "activity",
                    "the share of time each is active, 0 to 1",
                    PLAIN,
                ),
                param("user_rate", "what one active user takes", RATE),
                param("capacity", "the capacity they share", RATE),
            ],
            more: More::No,
            source: "binomial distribution (independent users)",
            example: ("busy_chance(2, 50 %, 1 Gb/s, 1 Gb/s)", "0.25"),
            workbook: "IF({4}/{3}>={1},0,1-BINOM.DIST(INT({4}/{3}+0.000000001),ROUND({1},0),{2},TRUE))",
            body: Body::Numbers {
                kernel: busy_chance,
                result: PLAIN,
            },
        },
        Function {
            name: "years_until",
            doc: "The time until a growing load reaches a capacity; missing when it never does",
            params: vec![
                param("load", "the load today", RATE),
                param("capacity", "the capacity", RATE),
                param("growth", "the growth in a year, e.g. 20 %", PLAIN),
            ],
            more: More::No,
            source: "compound growth; a year has 365.25 days",
            example: ("0 yr + years_until(1 Gb/s, 4 Gb/s, 100 %)", "2 yr"),
            workbook: "IF({1}>={2},0,IF({3}<=0,\"\",LN({2}/{1})/LN(1+{3})*31557600))",
            body: Body::Numbers {
                kernel: years_until,
                result: TIME,
            },
        },
        Function {
            name: "bucket_share",
            doc: "The share of the flows that the busiest member of a bundle carries, when they fall evenly on buckets that are dealt to the members",
            params: vec![
                param("members", "how many members", PLAIN),
                param("buckets", "how many buckets", PLAIN),
            ],
            more: More::No,
            source: "vendor practice: of 16 slots over 3 members one has six, the others five",
            example: ("bucket_share(3, 16)", "0.375"),
            workbook: "(ROUND({2}/{1}-0.000000001+0.5,0)/{2})",
            body: Body::Formula("next_up(buckets / members, 1) / buckets"),
        },
        Function {
            name: "members_used",
            doc: "How many members of a bundle a number of flows use on average, when each falls on any member by chance",
            params: vec![
                param("flows", "how many flows there are at once", PLAIN),
                param("members", "how many members", PLAIN),
            ],
            more: More::No,
            source: "occupancy of independent flows",
            example: ("members_used(2, 2)", "1.5"),
            workbook: "({2}*(1-(1-1/{2})^{1}))",
            body: Body::Formula("members * (1 - (1 - 1 / members) ^ flows)"),
        },
    ]
}

/// The upper tail of a binomial distribution; not a number outside its range.
fn busy_chance(args: &[f64]) -> f64 {
    let (n, p) = (args[0].round(), args[1]);
    let (rate, capacity) = (args[2], args[3]);
    let in_range = (0.0..=MAX_USERS).contains(&n) && (0.0..=1.0).contains(&p);
    if !in_range || rate < 0.0 || capacity < 0.0 {
        return f64::NAN;
    }
    if rate == 0.0 {
        return 0.0;
    }
    // A share such as 0.3 / 0.1 comes out just below the whole number that is meant.
    let fit = (capacity / rate + 1e-9).floor();
    if fit >= n || p == 0.0 {
        return 0.0;
    }
    if p == 1.0 {
        return 1.0;
    }
    tail(n, p, fit)
}

/// The chance of more than `fit` out of `n`, each with chance `p`, both strictly inside.
///
/// The side of the mean with the smaller chance is summed, from its greatest term outwards, so
/// that nothing is lost by taking it from 1 and far terms stop the sum.
fn tail(n: f64, p: f64, fit: f64) -> f64 {
    if fit + 1.0 > n * p {
        sum_up(n, p, fit + 1.0)
    } else {
        // At most `fit` active is at least `n - fit` idle.
        1.0 - sum_up(n, 1.0 - p, n - fit)
    }
}

/// The chance of `from` or more out of `n`, where `from` is at or above the mean.
fn sum_up(n: f64, p: f64, from: f64) -> f64 {
    let odds = p / (1.0 - p);
    let mut term = log_chance(n, p, from).exp();
    let (mut sum, mut k) = (term, from);
    while k < n && term > sum * 1e-17 {
        term *= (n - k) / (k + 1.0) * odds;
        k += 1.0;
        sum += term;
    }
    sum.min(1.0)
}

/// The logarithm of the chance of exactly `k` out of `n`.
fn log_chance(n: f64, p: f64, k: f64) -> f64 {
    log_factorial(n) - log_factorial(k) - log_factorial(n - k) + k * p.ln() + (n - k) * (-p).ln_1p()
}

/// The logarithm of `n!`: added up for small `n`, from 32 on Stirling's series.
fn log_factorial(n: f64) -> f64 {
    if n < 32.0 {
        let mut product = 1.0;
        let mut k = 2.0;
        while k <= n {
            product *= k;
            k += 1.0;
        }
        return f64::ln(product);
    }
    let series = (1.0 / 12.0 - (1.0 / 360.0 - 1.0 / (1260.0 * n * n)) / (n * n)) / n;
    (n + 0.5) * n.ln() - n + 0.5 * std::f64::consts::TAU.ln() + series
}

/// The time to the capacity in seconds; not a number when it is never reached.
fn years_until(args: &[f64]) -> f64 {
    let (load, capacity, growth) = (args[0], args[1], args[2]);
    if load >= capacity {
        0.0
    } else if growth <= 0.0 || load <= 0.0 {
        f64::NAN
    } else {
        (capacity / load).ln() / growth.ln_1p() * YEAR
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The tail added up term by term, for small numbers.
    fn by_hand(n: u32, p: f64, fit: u32) -> f64 {
        let choose = |k: u32| {
            (0..k)
                .map(|i| f64::from(n - i) / f64::from(i + 1))
                .product::<f64>()
        };
        (fit + 1..=n)
            .map(|k| choose(k) * p.powi(k as i32) * (1.0 - p).powi((n - k) as i32))
            .sum()
    }

    #[test]
    fn the_tail_is_that_of_the_binomial_distribution() {
        for (n, p, fit) in [
            (10, 0.3, 2),
            (10, 0.3, 7),
            (48, 0.1, 10),
            (40, 0.9, 20),
            (60, 0.5, 30),
        ] {
            let expected = by_hand(n, p, fit);
            let got = busy_chance(&[f64::from(n), p, 1e9, f64::from(fit) * 1e9]);
            assert!(
                (got - expected).abs() < 1e-12,
                "{n} {p} {fit}: {got} {expected}"
            );
        }
    }

    #[test]
    fn many_users_are_no_wait_and_lose_no_small_chance() {
        let half = busy_chance(&[1e6, 0.5, 1.0, 499_999.0]);
        assert!((half - 0.500_398_942).abs() < 1e-8, "{half}");
        let rare = busy_chance(&[1e6, 1e-3, 1.0, 2_000.0]);
        assert!(rare > 0.0 && rare < 1e-100, "{rare}");
        assert_eq!(busy_chance(&[1e6, 0.999, 1.0, 10.0]), 1.0);
    }

    #[test]
    fn ends_of_the_range_are_exact() {
        assert_eq!(busy_chance(&[3.0, 1.0, 0.1, 0.3]), 0.0);
        assert_eq!(busy_chance(&[3.0, 1.0, 0.1, 0.25]), 1.0);
        assert_eq!(busy_chance(&[0.0, 0.5, 1.0, 0.0]), 0.0);
        assert!(busy_chance(&[5.0, 1.5, 1.0, 1.0]).is_nan());
        assert_eq!(years_until(&[5.0, 5.0, -0.5]), 0.0);
        assert!(years_until(&[4.0, 5.0, 0.0]).is_nan());
        assert!((years_until(&[1.0, 2.0, 1.0]) / YEAR - 1.0).abs() < 1e-15);
    }
}
