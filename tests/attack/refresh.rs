//! R08: families of refresh tokens against a small model, written by hand: two clients, lost answers, a thief, time.

use std::fmt::Write as _;

use caselot::auth::token;
use caselot::common::clock;
use caselot::common::ids::{AccountId, SessionId};
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::strategy::ValueTree as _;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use serde_json::json;
use sqlx::postgres::PgConnection;
use uuid::Uuid;

use crate::aim::long;
use crate::support::client::Answered;
use crate::support::fixture::CLARA;
use crate::support::scenario;
use crate::support::world::World;

const DAY: i64 = 24 * 3_600;

/// What somebody does.
#[derive(Clone, Debug)]
enum Act {
    /// A client signs in: a new session.
    SignIn(usize),
    /// A client sends one of the tokens that it has, the last one or one that many before it. A lost answer is one that
    /// the client never sees.
    Refresh { client: usize, back: usize, lost: bool },
    /// A client gets hold of everything that the other one has.
    Steal(usize),
    /// So many seconds pass.
    Wait(i64),
}

fn act() -> impl Strategy<Value = Act> {
    let back = prop_oneof![6 => Just(0_usize), 3 => Just(1), 1 => 2_usize..5];
    prop_oneof![
        1 => (0_usize..2).prop_map(Act::SignIn),
        8 => (0_usize..2, back, prop::bool::weighted(0.3)).prop_map(|(client, back, lost)| Act::Refresh { client, back, lost }),
        1 => (0_usize..2).prop_map(Act::Steal),
        // Seven seconds four times are within thirty, whatever the machine needs for them; five times are not.
        3 => prop_oneof![4 => Just(7), 2 => Just(40), 1 => Just(5 * DAY), 1 => Just(8 * DAY)].prop_map(Act::Wait),
    ]
}

/// A token of the model.
#[derive(Clone, Debug)]
struct Token {
    session: usize,
    secret: String,
    ends: i64,
    first_used: Option<i64>,
    next: Option<usize>,
    void: bool,
}

/// A session of the model.
#[derive(Clone, Debug)]
struct Family {
    id: Uuid,
    ends: i64,
    over: bool,
    access: String,
}

/// The model: what reliability.md R08 says, and nothing of how the program does it.
#[derive(Default)]
struct Model {
    now: i64,
    tokens: Vec<Token>,
    families: Vec<Family>,
    /// Which tokens each client has, in the order in which it got them.
    known: [Vec<usize>; 2],
}

/// What must be answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Verdict {
    /// A new pair; the token before is spent.
    Renewed,
    /// Nothing, and nothing changes.
    Refused,
    /// Nothing, and the whole family is over.
    Revoked,
}

impl Model {
    fn verdict(&self, sent: usize) -> Verdict {
        let token = &self.tokens[sent];
        let family = &self.families[token.session];
        if family.over || self.now >= family.ends || self.now >= token.ends {
            return Verdict::Refused;
        }
        if token.void {
            return Verdict::Revoked;
        }
        let Some(used) = token.first_used else { return Verdict::Renewed };
        let next_is_unused = token.next.is_none_or(|next| self.tokens[next].first_used.is_none());
        if next_is_unused && self.now - used <= 30 { Verdict::Renewed } else { Verdict::Revoked }
    }

    /// After an answer with a new token.
    fn renew(&mut self, sent: usize, secret: String) -> usize {
        if let Some(unseen) = self.tokens[sent].next {
            self.tokens[unseen].void = true;
        }
        let session = self.tokens[sent].session;
        let next = self.add(session, secret);
        let token = &mut self.tokens[sent];
        token.first_used = token.first_used.or(Some(self.now));
        token.next = Some(next);
        next
    }

    fn add(&mut self, session: usize, secret: String) -> usize {
        let ends = (self.now + 7 * DAY).min(self.families[session].ends);
        self.tokens.push(Token { session, secret, ends, first_used: None, next: None, void: false });
        self.tokens.len() - 1
    }

    /// Tokens of a family that would be taken, and were never used.
    fn live_tips(&self, session: usize) -> usize {
        let family = &self.families[session];
        if family.over || self.now >= family.ends {
            return 0;
        }
        let live = |token: &&Token| {
            token.session == session && token.first_used.is_none() && !token.void && self.now < token.ends
        };
        self.tokens.iter().filter(live).count()
    }
}

async fn sign_in(db: &mut PgConnection, model: &mut Model, client: usize) {
    let (id, now) = (Uuid::now_v7(), clock::real_now());
    let (secret, digest) = token::new_secret();
    sqlx::query("insert into session (session_id, account_id, created_at, expires_at) values ($1, $2, $3, $3 + interval '30 days')")
        .bind(id)
        .bind(CLARA.account)
        .bind(now)
        .execute(&mut *db)
        .await
        .expect("a session");
    sqlx::query("insert into refresh_token (token_sha256, session_id, issued_at, expires_at) values ($1, $2, $3, $3 + interval '7 days')")
        .bind(digest)
        .bind(id)
        .bind(now)
        .execute(&mut *db)
        .await
        .expect("a refresh token");
    let access = crate::support::server::signing_keys();
    let access = access.issue(AccountId(CLARA.account), SessionId(id), now).expect("a token");
    model.families.push(Family { id, ends: model.now + 30 * DAY, over: false, access });
    let first = model.add(model.families.len() - 1, secret);
    model.known[client].push(first);
}

/// Time passes for the sessions of this case: everything that is kept of them lies so much further back.
async fn wait(db: &mut PgConnection, model: &mut Model, seconds: i64) {
    model.now += seconds;
    let sessions: Vec<Uuid> = model.families.iter().map(|family| family.id).collect();
    for statement in [
        "update refresh_token set issued_at = issued_at - make_interval(secs => $1), expires_at = expires_at - make_interval(secs => $1),
             used_at = used_at - make_interval(secs => $1), voided_at = voided_at - make_interval(secs => $1) where session_id = any ($2)",
        "update session set created_at = created_at - make_interval(secs => $1), expires_at = expires_at - make_interval(secs => $1),
             ended_at = ended_at - make_interval(secs => $1) where session_id = any ($2)",
    ] {
        let seconds = f64::from(i32::try_from(seconds).expect("a few days"));
        sqlx::query(statement).bind(seconds).bind(&sessions).execute(&mut *db).await.expect("time passes");
    }
}

async fn send(world: &World, secret: &str) -> Answered {
    world.nobody.post("/v1/sessions/refresh", json!({"refresh_token": secret})).await
}

/// What the database holds of a session: live tips, and whether it is over.
async fn held(db: &mut PgConnection, session: Uuid) -> (usize, bool) {
    let (tips, over): (i64, bool) = sqlx::query_as(
        "select count(r.token_sha256) filter (where s.ended_at is null and s.expires_at > $2 and r.used_at is null and r.voided_at is null
                    and r.expires_at > $2), bool_or(s.ended_at is not null)
         from session s join refresh_token r using (session_id) where session_id = $1",
    )
    .bind(session)
    .bind(clock::real_now())
    .fetch_one(db)
    .await
    .expect("the session");
    (usize::try_from(tips).expect("a count"), over)
}

/// Does all of it, and says where the program and the model part.
async fn play(world: &World, db: &mut PgConnection, acts: &[Act], verdicts: &mut [usize; 3]) -> Result<(), String> {
    let mut model = Model::default();
    for client in 0..2 {
        sign_in(db, &mut model, client).await;
    }
    for (step, act) in acts.iter().enumerate() {
        match act {
            Act::SignIn(client) => sign_in(db, &mut model, *client).await,
            Act::Wait(seconds) => wait(db, &mut model, *seconds).await,
            Act::Steal(client) => {
                let loot = model.known[1 - client].clone();
                model.known[*client].extend(loot);
            }
            Act::Refresh { client, back, lost } => {
                let known = &model.known[*client];
                let sent = known[known.len() - 1 - back.min(&(known.len() - 1))];
                let wanted = model.verdict(sent);
                verdicts[match wanted {
                    Verdict::Renewed => 0,
                    Verdict::Refused => 1,
                    Verdict::Revoked => 2,
                }] += 1;
                let answer = send(world, &model.tokens[sent].secret).await;
                let session = model.tokens[sent].session;
                match (wanted, answer.status) {
                    (Verdict::Renewed, 201) => {
                        let next = model.renew(sent, answer.text("/refresh_token"));
                        model.families[session].access = answer.text("/access_token");
                        if !lost {
                            model.known[*client].push(next);
                        }
                    }
                    (Verdict::Revoked, 401) => model.families[session].over = true,
                    (Verdict::Refused, 401) => {}
                    _ => return Err(format!("step {step}, {act:?}: wanted {wanted:?}, {answer}")),
                }
                check(world, db, &model, session, step).await?;
            }
        }
    }
    for session in 0..model.families.len() {
        check(world, db, &model, session, acts.len()).await?;
    }
    Ok(())
}

/// Never two live tips; what the model says is over is over, for the access token too.
async fn check(world: &World, db: &mut PgConnection, model: &Model, session: usize, step: usize) -> Result<(), String> {
    let family = &model.families[session];
    let held = held(db, family.id).await;
    let wanted = (model.live_tips(session), family.over);
    if held != wanted || held.0 > 1 {
        return Err(format!("after step {step}: live tips and whether it is over: {held:?}, by the model {wanted:?}"));
    }
    let me = world.nobody.with_token(family.access.clone()).get("/v1/me").await.status;
    let lives = !family.over && model.now < family.ends;
    // Access tokens live for ten minutes of the real clock, which the model's waiting does not move.
    if (me == 200) != lives {
        return Err(format!("after step {step}: the access token of a session (lives: {lives}) got {me}"));
    }
    Ok(())
}

#[test]
fn families_of_refresh_tokens_do_as_the_model_says() {
    let seed: [u8; 32] = rand::random();
    let seed = std::env::var("ATTACK_SEED").ok().map_or(seed, |text| seed_of(&text));
    println!(
        "ATTACK_SEED={}",
        seed.iter().fold(String::new(), |mut text, byte| {
            let _ = write!(text, "{byte:02x}");
            text
        })
    );
    let cases = if long() { 2_000 } else { 200 };
    scenario(async |world| {
        let db = &mut world.owner().await;
        let mut runner = TestRunner::new_with_rng(Config::default(), TestRng::from_seed(RngAlgorithm::ChaCha, &seed));
        let strategy = vec(act(), 1..16);
        let (mut acts, mut verdicts) = (0, [0_usize; 3]);
        for _ in 0..cases {
            let mut tree = strategy.new_tree(&mut runner).expect("a case");
            acts += tree.current().len();
            let Err(first) = play(world, db, &tree.current(), &mut verdicts).await else { continue };
            // Made smaller, as far as it still fails.
            let mut smallest = (tree.current(), first);
            let mut more = tree.simplify();
            while more {
                let case = tree.current();
                more = match play(world, db, &case, &mut verdicts).await {
                    Err(fault) => {
                        smallest = (case, fault);
                        tree.simplify()
                    }
                    Ok(()) => tree.complicate(),
                };
            }
            panic!("{:#?}\n{}", smallest.0, smallest.1);
        }
        println!(
            "{cases} cases, {acts} acts: {} renewed, {} refused, {} revoked",
            verdicts[0], verdicts[1], verdicts[2]
        );
        assert!(verdicts.iter().all(|count| *count >= cases / 10), "each verdict is met: {verdicts:?}");
    });
}

fn seed_of(text: &str) -> [u8; 32] {
    let mut seed = [0; 32];
    for (place, byte) in seed.iter_mut().enumerate() {
        *byte = text.get(2 * place..2 * place + 2).and_then(|two| u8::from_str_radix(two, 16).ok()).unwrap_or(0);
    }
    seed
}

/// A model that is wrong in one place must be found out, or the comparison proves nothing.
#[test]
fn a_program_that_forgot_one_rule_would_be_found_out() {
    let planted = [
        // A token is never spent.
        "create function forget() returns trigger language plpgsql as $$ begin new.used_at := null; return new; end $$;
         create trigger forget before update on refresh_token for each row when (new.used_at is not null) execute function forget()",
        // What was voided is good again.
        "create function forget() returns trigger language plpgsql as $$ begin new.voided_at := null; return new; end $$;
         create trigger forget before update on refresh_token for each row when (new.voided_at is not null) execute function forget()",
        // A stolen token ends nothing.
        "create function forget() returns trigger language plpgsql as $$ begin new.ended_at := null; new.ended_because := null; return new; end $$;
         create trigger forget before update on session for each row when (new.ended_because = 'refresh_token_reused') execute function forget()",
    ];
    let found = std::cell::Cell::new(0);
    for plant in planted {
        scenario(async |world| {
            let db = &mut world.owner().await;
            sqlx::raw_sql(crate::support::built::built(plant)).execute(&mut *db).await.expect("planted");
            let refresh = |back| Act::Refresh { client: 0, back, lost: false };
            let lost = Act::Refresh { client: 0, back: 0, lost: true };
            // Replayed after its successor was used; and the unseen one after a lost answer.
            let replay = [refresh(0), refresh(0), refresh(2), refresh(0)];
            let unseen = [refresh(0), Act::Steal(1), refresh(1), Act::Refresh { client: 1, back: 0, lost: false }];
            let stolen = [lost, Act::Wait(40), refresh(0), refresh(0)];
            for acts in [&replay[..], &unseen, &stolen] {
                if play(world, db, acts, &mut [0; 3]).await.is_err() {
                    found.set(found.get() + 1);
                    break;
                }
            }
        });
    }
    assert_eq!(found.get(), planted.len(), "a planted fault was not found");
}

/// Twenty at once: whatever each is answered, one lineage lives, and its tip carries on.
#[test]
fn of_twenty_refreshes_at_once_exactly_one_lineage_lives() {
    scenario(async |world| {
        let db = &mut world.owner().await;
        let rounds = if long() { 50 } else { 5 };
        let mut renewed = 0;
        for _ in 0..rounds {
            let mut model = Model::default();
            sign_in(db, &mut model, 0).await;
            let (session, secret) = (model.families[0].id, model.tokens[0].secret.clone());
            let answers = futures_util::future::join_all((0..20).map(|_| send(world, &secret))).await;
            let given: Vec<String> = answers
                .iter()
                .filter(|answer| answer.status == 201)
                .map(|answer| answer.text("/refresh_token"))
                .collect();
            renewed += given.len();
            for answer in answers.iter().filter(|answer| answer.status != 201) {
                assert!(matches!(answer.status, 401 | 503), "{answer}");
            }
            let over = answers.iter().any(|answer| answer.status == 401);
            let (tips, ended) = held(db, session).await;
            assert_eq!((tips, ended), (usize::from(!over), over), "{} were renewed", given.len());
            if over {
                continue;
            }
            // The one that lives is among those that were given, and no other one is good.
            let mut live = Vec::new();
            for secret in &given {
                let row: i64 = sqlx::query_scalar(
                    "select count(*) from refresh_token where token_sha256 = $1 and used_at is null and voided_at is null",
                )
                .bind(token::digest(secret))
                .fetch_one(&mut *db)
                .await
                .expect("a token");
                if row == 1 {
                    live.push(secret);
                }
            }
            assert_eq!(live.len(), 1, "{} tips of {} live", live.len(), given.len());
            send(world, live[0]).await.expect(201);
            let other = given.iter().find(|secret| *secret != live[0]);
            if let Some(other) = other {
                send(world, other).await.expect_problem(401, "bad_refresh_token");
                assert_eq!(held(db, session).await, (0, true), "a voided one that comes ends the family");
            }
        }
        println!("{rounds} rounds of 20, {renewed} renewed");
        assert!(renewed >= rounds);
    });
}
