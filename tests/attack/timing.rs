//! R03: nobody learns from how long a refusal takes which accounts exist. Only in the long form: it measures, so it wants a
//! machine that does nothing else, and takes minutes.

use std::time::Instant;

use serde_json::json;

use crate::aim::long;
use crate::support::fixture::{CLARA, PIOTR, Somebody, YESENIA};
use crate::support::scenario;
use crate::support::world::World;

/// How many tries of each kind.
const SAMPLES: usize = 200;
/// Two sides of one hundredth under the normal curve (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1).
const Z_AT_ONE_IN_A_HUNDRED: f64 = 2.576;
/// How far medians may lie apart.
const GAP: f64 = 0.05;

/// Whose sign-in is tried, and what is so about the account.
const KINDS: [(&str, &str); 4] = [
    ("wrong password", CLARA.email),
    ("unknown address", "nobody.at.all@example.org"),
    ("disabled account", PIOTR.email),
    ("no password yet", YESENIA.email),
];

async fn with_password(world: &World, who: &Somebody) {
    let link = caselot::accounts::command_line::reset_link(&world.system(), who.email).await.expect("a reset link");
    let body = json!({"token": link, "password": "plum jam on oat rounds"});
    world.nobody.post("/v1/password-resets/accept", body).await.expect(201);
}

/// How long the refusal took, in seconds; no earlier try stands in its way.
async fn refused_in(world: &World, email: &str) -> f64 {
    sqlx::query("delete from sign_in_delay").execute(&mut world.owner().await).await.expect("no earlier tries");
    let body = json!({"email": email, "password": "seed crackers by the lake"});
    let began = Instant::now();
    let answered = world.nobody.post("/v1/sessions", body).await;
    let took = began.elapsed().as_secs_f64();
    answered.expect_problem(401, "bad_credentials");
    took
}

fn median(of: &[f64]) -> f64 {
    let mut sorted = of.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[sorted.len() / 2]
}

/// How many standard deviations the rank sum of two samples lies from what one distribution would give (Mann and Whitney,
/// On a Test of Whether One of Two Random Variables is Stochastically Larger than the Other, 1947; samples of equal size).
fn rank_z(one: &[f64], other: &[f64]) -> f64 {
    let number = |count: usize| f64::from(u32::try_from(count).expect("a few hundred"));
    let wins: f64 = one.iter().map(|a| number(other.iter().filter(|b| a > *b).count())).sum();
    let n = number(one.len());
    (wins - n * n / 2.0) / (n * n * (2.0 * n + 1.0) / 12.0).sqrt()
}

/// What one round of tries shows, and which kinds differ from a wrong password.
async fn round(world: &World) -> Vec<String> {
    let mut took = KINDS.map(|_| Vec::with_capacity(SAMPLES));
    for place in 0..SAMPLES + 5 {
        // each kind comes first, second, third and last as often
        for turn in 0..KINDS.len() {
            let kind = (place + turn) % KINDS.len();
            let seconds = refused_in(world, KINDS[kind].1).await;
            if place >= 5 {
                took[kind].push(seconds);
            }
        }
    }
    let usual = median(&took[0]);
    let mut differ = Vec::new();
    for ((name, _), samples) in KINDS.iter().zip(&took).skip(1) {
        let (gap, z) = (median(samples) / usual - 1.0, rank_z(samples, &took[0]));
        println!(
            "{name}: median {:.1} ms, {:+.2} % of a wrong password's {:.1} ms, z {z:+.2}",
            median(samples) * 1e3,
            gap * 100.0,
            usual * 1e3
        );
        if gap.abs() >= GAP || z.abs() >= Z_AT_ONE_IN_A_HUNDRED {
            differ.push(format!("{name}: {:+.2} %, z {z:+.2}", gap * 100.0));
        }
    }
    differ
}

#[test]
fn a_refusal_takes_as_long_whoever_is_meant() {
    if !long() {
        println!("timing was not measured: it is part of the long form (.ci/attack)");
        return;
    }
    scenario(async |world| {
        with_password(world, &CLARA).await;
        with_password(world, &PIOTR).await;
        let disable = "update account set disabled_at = now() where account_id = $1";
        sqlx::query(disable).bind(PIOTR.account).execute(&mut world.owner().await).await.expect("a disabled account");
        let mut differ = round(world).await;
        if !differ.is_empty() {
            println!("once more, since the machine may have been busy: {differ:?}");
            differ = round(world).await;
        }
        assert_eq!(differ, Vec::<String>::new(), "refusals that take another time");
    });
}

/// The measure itself: equal samples give nothing, and a shift that the eye hardly sees is found.
#[test]
fn the_rank_test_finds_a_shift_and_none_where_there_is_none() {
    let even: Vec<f64> = (0..200).map(|n| f64::from(n * 2)).collect();
    let odd: Vec<f64> = (0..200).map(|n| f64::from(n * 2 + 1)).collect();
    // by hand: each even number n beats n/2 odd ones: 0 + 1 + ... + 199 = 19,900 of 40,000; (19,900 - 20,000) / sqrt(40,000 * 401 / 12)
    assert!((rank_z(&even, &odd) + 0.0865).abs() < 0.0001, "{}", rank_z(&even, &odd));
    let later: Vec<f64> = even.iter().map(|n| n + 80.0).collect();
    assert!(rank_z(&later, &even) > Z_AT_ONE_IN_A_HUNDRED);
}
